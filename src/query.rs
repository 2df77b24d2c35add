//! Answers a SQL question over the datasets a report wrote: `visits`, `readings`, `episodes`.
//!
//! The datasets hold patients' rows, so every answer is restricted: it may name patients, and small cells
//! are not withheld.

pub mod answer;
pub mod built_in;

use crate::error::{Problem, Spot};
use crate::rows::when::date_of;
pub use answer::Format;
use answer::{Answer, Value};
use built_in::{BUILT_IN, BuiltIn, head};
use polars::prelude::*;
use polars::sql::SQLContext;
use std::io::{self, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// What stands under every answer for people, and belongs beside every other.
pub const RESTRICTED_NOTE: &str =
    "Restricted: drawn from patients' rows, small numbers not withheld. Not to be circulated.";

/// Answers a built-in query or a file of SQL over the datasets in `from/restricted`, onto `out`.
/// Without a query, lists the built-in ones. A reader that closes its end early is no error.
///
/// # Errors
/// No such query or file; something other than a SELECT; SQL that does not parse or cannot be computed, with its place;
/// no datasets in `from`.
pub fn run(query: Option<&str>, from: &Path, format: Format, out: &mut dyn Write) -> Result<(), Problem> {
    let written = match query {
        None => list().write(format, out),
        Some(query) => {
            let question = find(query)?;
            let frame = ask(&question, from)?;
            write_answer(&question, &frame, format, out)
        }
    };
    match written {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Problem::failure(format!("the answer cannot be written: {error}")))
        }
        _ => Ok(()),
    }
}

/// A question in SQL and where it stands.
struct Question {
    file: PathBuf,
    sql: String,
}

impl Question {
    fn problem(&self, what: impl Into<String>) -> Problem {
        Problem::input(what).at(Spot::file(&self.file))
    }
}

fn list<'a>() -> Answer<'a> {
    Answer {
        columns: ["query", "asked by", "question"].map(str::to_owned).to_vec(),
        rows: BUILT_IN.len(),
        cell: Box::new(|row, column| {
            let Some(query) = BUILT_IN.get(row) else {
                return Value::Missing;
            };
            let text = match column {
                0 => query.name,
                1 => head(query.sql, "Asked by"),
                _ => head(query.sql, "Question"),
            };
            Value::Text(text.to_owned())
        }),
    }
}

fn find(query: &str) -> Result<Question, Problem> {
    if let Some(known) = BuiltIn::find(query) {
        return Ok(Question { file: format!("queries/{query}.sql").into(), sql: known.sql.to_owned() });
    }
    let file = PathBuf::from(query);
    let is_path = query.ends_with(".sql") || file.components().count() > 1 || file.is_file();
    if !is_path {
        let hint = match BuiltIn::nearest(query) {
            Some(near) => format!("did you mean {}? `mendcurve query` lists them all", near.name),
            None => "`mendcurve query` lists them all; a file of your own ends in .sql".into(),
        };
        return Err(Problem::input(format!("there is no query named {query}")).hint(hint));
    }
    let bytes = std::fs::read(&file).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => Problem::input("there is no such file").at(Spot::file(&file)),
        _ => Problem::io(&file, &error),
    })?;
    let text =
        String::from_utf8(bytes).map_err(|_| Problem::input("the query is not UTF-8 text").at(Spot::file(&file)))?;
    let sql = text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned();
    Ok(Question { file, sql })
}

/// Whether the first word of code is SELECT or WITH.
fn only_selects(sql: &str) -> bool {
    let mut rest = sql;
    loop {
        rest = rest.trim_start_matches(|c: char| c.is_whitespace() || c == '(');
        if let Some(comment) = rest.strip_prefix("--") {
            rest = comment.split_once('\n').map_or("", |(_, after)| after);
        } else if let Some(comment) = rest.strip_prefix("/*") {
            rest = comment.split_once("*/").map_or("", |(_, after)| after);
        } else {
            let word: String = rest.chars().take_while(|c| c.is_alphabetic()).collect();
            return word.eq_ignore_ascii_case("select") || word.eq_ignore_ascii_case("with");
        }
    }
}

fn ask(question: &Question, from: &Path) -> Result<DataFrame, Problem> {
    if !only_selects(&question.sql) {
        return Err(question.problem("a query may only read: it begins with SELECT or WITH"));
    }
    let (mut context, names) = datasets(from)?;
    // The engine refuses most of what it cannot do, but meets some of it with a panic.
    let outcome = catch_unwind(AssertUnwindSafe(|| {
        let plan = context.execute(&question.sql).map_err(|error| in_words(question, &error, &names))?;
        plan.collect().map_err(|error| in_words(question, &error, &names))
    }));
    outcome.unwrap_or_else(|_| {
        Err(question
            .problem("the query uses something that is not supported")
            .hint("keep to plain joins on equal columns and to the constructs of the built-in queries"))
    })
}

/// Every Parquet file of `from/restricted` under its own name.
fn datasets(from: &Path) -> Result<(SQLContext, String), Problem> {
    let folder = from.join("restricted");
    let mut files: Vec<PathBuf> = match std::fs::read_dir(&folder) {
        Ok(entries) => entries
            .flatten()
            .map(|entry| entry.path())
            .filter(|path| path.extension().is_some_and(|e| e == "parquet"))
            .collect(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Vec::new(),
        Err(error) => return Err(Problem::io(&folder, &error)),
    };
    files.sort();
    if files.is_empty() {
        return Err(Problem::input("there are no datasets to ask")
            .at(Spot::file(&folder))
            .hint("run `mendcurve report` first, then name its output with --from"));
    }
    let (context, mut names) = (SQLContext::new(), Vec::new());
    for file in &files {
        let unreadable =
            |error: PolarsError| Problem::input(format!("not a dataset of a report: {error}")).at(Spot::file(file));
        let name = file.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
        let path = PlRefPath::try_from_path(file).map_err(unreadable)?;
        let args = ScanArgsParquet { glob: false, ..ScanArgsParquet::default() };
        let mut scan = LazyFrame::scan_parquet(path, args).map_err(unreadable)?;
        scan.collect_schema().map_err(unreadable)?; // reads the file's own description of its columns
        context.register(name, scan);
        names.push(name);
    }
    let names = names.join(", ");
    Ok((context, names))
}

/// An error of the engine for the person who wrote the query. A failed computation may quote cells, so its words are kept back.
fn in_words(question: &Question, error: &PolarsError, names: &str) -> Problem {
    use PolarsError as E;
    match error {
        E::Context { error, .. } | E::ExprContext { error, .. } => in_words(question, error, names),
        E::SQLInterface(text) | E::SQLSyntax(text) => {
            let text = text.lines().next().unwrap_or_default().trim_start_matches("sql parser error: ");
            let problem = question.problem(text);
            let hint = if text.contains("relation") {
                format!("the datasets are {names}")
            } else {
                "`mendcurve query` lists queries that work".into()
            };
            match place_in(text) {
                Some((line, column)) => {
                    problem.at(Spot { line: Some(line), column: Some(column), ..Spot::file(&question.file) })
                }
                None => problem,
            }
            .hint(hint)
        }
        E::ColumnNotFound(text) | E::SchemaFieldNotFound(text) => {
            let text = text.lines().next().unwrap_or_default();
            let column = text.split('"').nth(1).unwrap_or(text);
            let there = text.split_once("valid columns: ").map_or("", |(_, columns)| columns);
            question.problem(format!("there is no column {column}")).hint(match there {
                "" => format!("SELECT * FROM the dataset ({names}) LIMIT 1 shows its columns"),
                there => format!("the columns at that point are {}", there.trim_matches(['[', ']']).replace('"', "")),
            })
        }
        E::IO { error, .. } => {
            Problem::failure(format!("a dataset cannot be read: {error}")).at(Spot::file(&question.file))
        }
        E::SchemaMismatch(_) | E::InvalidOperation(_) | E::ComputeError(_) => question
            .problem("the query cannot be computed: a function or a comparison does not fit the kind of its columns")
            .hint("TRY_CAST(column AS DOUBLE) turns what is no number into nothing"),
        _ => question.problem("the query cannot be computed"),
    }
}

/// The `Line: 3, Column: 5` of a parser's message.
fn place_in(text: &str) -> Option<(u64, u64)> {
    let number = |after: &str| -> Option<u64> {
        let digits = &text[text.find(after)? + after.len()..];
        digits.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok()
    };
    Some((number("Line: ")?, number("Column: ")?))
}

fn write_answer(question: &Question, frame: &DataFrame, format: Format, out: &mut dyn Write) -> io::Result<()> {
    let columns = frame.columns();
    let answer = Answer {
        columns: columns.iter().map(|column| column.name().to_string()).collect(),
        rows: frame.height(),
        cell: Box::new(|row, column| {
            columns.get(column).and_then(|column| column.get(row).ok()).map_or(Value::Missing, value)
        }),
    };
    let asked = head(&question.sql, "Question");
    if format == Format::Sheet && !asked.is_empty() {
        writeln!(out, "{asked}\n")?;
    }
    answer.write(format, out)?;
    if format == Format::Sheet {
        writeln!(out, "\n{RESTRICTED_NOTE}")?;
    }
    Ok(())
}

fn value(cell: AnyValue<'_>) -> Value {
    match cell {
        AnyValue::Null => Value::Missing,
        AnyValue::Boolean(yes) => Value::Flag(yes),
        AnyValue::String(text) => Value::Text(text.to_owned()),
        AnyValue::StringOwned(text) => Value::Text(text.to_string()),
        AnyValue::Date(day) => date_of(day).map_or(Value::Missing, |date| Value::Text(date.to_string())),
        number if number.dtype().is_integer() => number.extract().map_or(Value::Missing, Value::Whole),
        number if number.dtype().is_float() => {
            number.extract().filter(|x: &f64| x.is_finite()).map_or(Value::Missing, Value::Number)
        }
        other => Value::Text(other.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Exit;
    use std::collections::HashMap;
    use std::fs::{self, File};

    const FIXTURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/queries");

    /// A dataset's columns with no row.
    fn columns_of(dataset: &str) -> DataFrame {
        match dataset {
            "visits" => crate::visits::tables::no_visits(),
            "readings" => crate::readings::tables::no_readings(),
            _ => crate::episodes::tables::no_episodes(),
        }
        .unwrap()
    }

    /// A hand-made dataset: the cells of a CSV file in the columns a report writes; columns the file leaves out are empty.
    fn dataset(name: &str) -> DataFrame {
        let mut reader = csv::Reader::from_path(format!("{FIXTURE}/{name}.csv")).unwrap();
        let headers: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        let given: HashMap<&str, usize> = headers.iter().enumerate().map(|(i, name)| (name.as_str(), i)).collect();
        let model = columns_of(name);
        let unknown: Vec<_> = headers.iter().filter(|name| model.column(name).is_err()).collect();
        assert!(unknown.is_empty(), "{name} has no columns {unknown:?}");
        let columns = model.columns().iter().map(|model| {
            let at = given.get(model.name().as_str());
            let cells = rows.iter().map(|row| at.map(|at| &row[*at]).filter(|cell| !cell.is_empty()));
            let name = model.name().clone();
            match model.dtype() {
                DataType::String => StringChunked::from_iter_options(name, cells).into_column(),
                DataType::Int64 => {
                    Int64Chunked::from_iter_options(name, cells.map(|cell| cell.map(|cell| cell.parse().unwrap())))
                        .into_column()
                }
                DataType::Float64 => {
                    Float64Chunked::from_iter_options(name, cells.map(|cell| cell.map(|cell| cell.parse().unwrap())))
                        .into_column()
                }
                DataType::Boolean => {
                    BooleanChunked::from_iter_options(name, cells.map(|cell| cell.map(|cell| cell.parse().unwrap())))
                        .into_column()
                }
                DataType::Date => {
                    let day = |cell: &str| crate::rows::when::When::calendar(cell.parse().unwrap()).day();
                    Int32Chunked::from_iter_options(name, cells.map(|cell| cell.map(day))).into_date().into_column()
                }
                other => panic!("a column of {other}"),
            }
        });
        DataFrame::new(rows.len(), columns.collect()).unwrap()
    }

    /// A report's folder with the three datasets.
    fn report() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("restricted")).unwrap();
        for name in ["visits", "readings", "episodes"] {
            let file = File::create(folder.path().join(format!("restricted/{name}.parquet"))).unwrap();
            ParquetWriter::new(file).finish(&mut dataset(name)).unwrap();
        }
        folder
    }

    fn answer(query: &str, from: &Path, format: Format) -> Result<String, Problem> {
        let mut out = Vec::new();
        run(Some(query), from, format, &mut out).map(|()| String::from_utf8(out).unwrap())
    }

    /// Asks a file of SQL.
    fn ask_file(sql: &str) -> Result<String, Problem> {
        let report = report();
        let file = report.path().join("own.sql");
        fs::write(&file, sql).unwrap();
        answer(file.to_str().unwrap(), report.path(), Format::Csv)
    }

    /// Whether two cells are the same up to the last digits of a fraction.
    fn same_cell(a: &str, b: &str) -> bool {
        match (a.parse::<f64>(), b.parse::<f64>()) {
            (Ok(a), Ok(b)) => (a - b).abs() <= 1e-12 * b.abs(),
            _ => a == b,
        }
    }

    fn same_rows(a: &str, b: &str) -> bool {
        let cells =
            |text: &str| text.lines().map(|line| line.split(',').map(str::to_owned).collect()).collect::<Vec<Vec<_>>>();
        let (a, b) = (cells(a), cells(b));
        let same_row =
            |(a, b): (&Vec<String>, &Vec<String>)| a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same_cell(a, b));
        a.len() == b.len() && a.iter().zip(&b).all(same_row)
    }

    /// The expected rows were worked out by another engine and checked by hand.
    #[test]
    fn every_built_in_query_gives_the_rows_expected_of_the_hand_made_datasets() {
        let report = report();
        let mut wrong = String::new();
        for query in BUILT_IN {
            let found = answer(query.name, report.path(), Format::Csv).unwrap_or_else(|problem| problem.to_string());
            let expected = fs::read_to_string(format!("{FIXTURE}/expected/{}.csv", query.name)).unwrap();
            if !same_rows(&found, &expected) {
                wrong.push_str(&format!("\n{}: expected\n{expected}found\n{found}", query.name));
            }
        }
        assert!(wrong.is_empty(), "{wrong}");
        assert!(!same_rows("a,b\n1,2.0\n", "a,b\n1,2.1\n") && !same_rows("a\n1\n", "a\n1\n1\n"));
    }

    #[test]
    fn a_sheet_carries_its_question_and_the_note_that_it_is_restricted() {
        let report = report();
        let sheet = answer("time_to_endpoint", report.path(), Format::Sheet).unwrap();
        let expected = "\
How long after the first treated visit are endpoints read?

condition      measure        endpoints  median_day  first_day  last_day
─────────────────────────────────────────────────────────────────────────
low_back_pain  odi                    1          42         42        42
low_back_pain  pain_nrs_back          2          35         28        42
neck_pain      pain_nrs_neck          1          30         30        30

Restricted: drawn from patients' rows, small numbers not withheld. Not to be circulated.
";
        assert_eq!(sheet, expected);
        let json = answer("patients_at_two_sites", report.path(), Format::Json).unwrap();
        let rows: Vec<serde_json::Value> = serde_json::from_str(&json).unwrap();
        assert_eq!(rows[0]["first_date"], "2026-06-01");
        assert_eq!(rows[0]["visits"], 4);
    }

    #[test]
    fn without_a_name_the_questions_are_listed_and_need_no_report() {
        let mut out = Vec::new();
        run(None, Path::new("/nowhere"), Format::Csv, &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        assert_eq!(text.lines().count(), BUILT_IN.len() + 1);
        assert!(text.contains("\nattendance,quality lead,"), "{text}");
    }

    #[test]
    fn a_file_of_ones_own_is_answered_over_the_datasets() {
        let sql = "/* mine */ -- two comments\nwith care as (select site from visits where visit_no = 1)\nSELECT site, COUNT(*) AS n FROM care GROUP BY site ORDER BY site;";
        assert_eq!(ask_file(sql).unwrap(), "site,n\nAlderwick,2\nBrindleford,4\n");
    }

    #[test]
    fn anything_but_a_select_is_refused() {
        for sql in [
            "DELETE FROM visits",
            "-- SELECT\nDROP TABLE visits",
            "CREATE TABLE x AS SELECT 1",
            "TRUNCATE visits",
            "",
            "SELECT 1; DROP TABLE visits",
        ] {
            let problem = ask_file(sql).unwrap_err();
            assert_eq!(problem.exit, Exit::BadInput, "{sql}");
            assert!(problem.to_string().contains("own.sql"), "{problem}");
        }
    }

    #[test]
    fn an_error_in_a_query_names_file_line_and_column_and_what_to_do() {
        let problem = ask_file("SELECT site\nFROM visits WHERE ORDER BY site").unwrap_err();
        let spot = problem.spot.as_ref().unwrap();
        assert_eq!(spot.line, Some(2), "{problem}");
        assert!(problem.remedy.is_some());
        let problem = ask_file("SELECT weather FROM visits ORDER BY weather").unwrap_err();
        assert!(problem.to_string().contains("no column") && problem.to_string().contains("weather"), "{problem}");
        let problem = ask_file("SELECT site FROM visit ORDER BY site").unwrap_err();
        assert!(problem.to_string().contains("episodes, readings, visits"), "{problem}");
    }

    #[test]
    fn an_error_in_a_computation_never_quotes_a_cell() {
        let problem = ask_file("SELECT CAST(patient AS BIGINT) AS n FROM visits ORDER BY n").unwrap_err();
        assert!(!problem.to_string().contains("P1"), "{problem}");
    }

    #[test]
    fn a_query_the_engine_cannot_run_is_a_problem_and_no_panic() {
        let sql =
            "SELECT a.site FROM visits AS a INNER JOIN visits AS b ON a.day < b.day OR a.site = b.site ORDER BY a.site";
        if let Err(problem) = ask_file(sql) {
            assert_eq!(problem.exit, Exit::BadInput);
        }
    }

    #[test]
    fn a_wrong_name_suggests_the_right_one_and_a_missing_report_says_so() {
        let report = report();
        let problem = answer("atendance", report.path(), Format::Csv).unwrap_err();
        assert!(problem.remedy.unwrap().contains("attendance"));
        let problem = answer("nowhere/own.sql", report.path(), Format::Csv).unwrap_err();
        assert!(problem.to_string().contains("no such file"), "{problem}");
        let problem = answer("attendance", Path::new("/nowhere"), Format::Csv).unwrap_err();
        assert!(problem.to_string().contains("no datasets"), "{problem}");
        fs::write(report.path().join("restricted/visits.parquet"), "not columns").unwrap();
        let problem = answer("attendance", report.path(), Format::Csv).unwrap_err();
        assert!(problem.to_string().contains("visits.parquet"), "{problem}");
    }

    #[test]
    fn a_closed_pipe_is_no_error_but_a_full_disk_is() {
        struct Fails(io::ErrorKind);
        impl Write for Fails {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(self.0.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Err(self.0.into())
            }
        }
        let report = report();
        for format in [Format::Sheet, Format::Csv, Format::Json] {
            let written = |kind| run(Some("attendance"), report.path(), format, &mut Fails(kind));
            assert_eq!(written(io::ErrorKind::BrokenPipe), Ok(()), "{format:?}");
            assert_eq!(written(io::ErrorKind::StorageFull).unwrap_err().exit, Exit::Failed, "{format:?}");
        }
    }
}
