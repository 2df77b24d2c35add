//! Answers a SQL question over the datasets a report wrote: `visits`, `readings`, `episodes`.
//!
//! The datasets hold patients' rows, so every answer is restricted: it may name patients, and small cells
//! are not withheld.

mod allowed;
pub mod answer;
pub mod built_in;
mod dataset;

use crate::error::{Problem, Spot, plain};
use crate::rows::when::date_of;
use allowed::Refused;
pub use answer::Format;
use answer::{Answer, Value};
use built_in::{BUILT_IN, BuiltIn, head};
use polars::prelude::*;
use polars::sql::SQLContext;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// All that can be asked.
const DATASETS: [&str; 3] = ["episodes", "readings", "visits"];

/// What stands under every answer for people, and is said beside every other.
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
            Err(Problem::failure(format!("the answer cannot be written: {error}"))
                .hint("free some space where it goes, or write it elsewhere"))
        }
        _ => Ok(()),
    }
}

/// Address space for the engine's stack; memory is taken only as far down as it is used.
const STACK_BYTES: usize = 512 << 20;

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
        io::ErrorKind::NotFound => Problem::input("there is no such file")
            .at(Spot::file(&file))
            .hint("name a file with a question in SQL; `mendcurve query` lists questions that need no file"),
        _ => Problem::path(&file, &error),
    })?;
    let not_text = |_| Problem::input("the query is not UTF-8 text").at(Spot::file(&file)).hint("save it as UTF-8");
    let text = String::from_utf8(bytes).map_err(not_text)?;
    let sql = text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned();
    Ok(Question { file, sql })
}

fn ask(question: &Question, from: &Path) -> Result<DataFrame, Problem> {
    let names = DATASETS.join(", ");
    allowed::check(&question.sql).map_err(|refused| in_words_of_check(question, refused, &names))?;
    let answer = || {
        let plan = datasets(from)?.execute(&question.sql).map_err(|error| in_words(question, &error, &names))?;
        plan.collect().map_err(|error| in_words(question, &error, &names))
    };
    // The engine works down a question step by step, on the stack; and it refuses most of what it cannot do, but meets some
    // of it with a panic. So it has a thread of its own.
    std::thread::scope(|scope| {
        let thread = std::thread::Builder::new().stack_size(STACK_BYTES).spawn_scoped(scope, answer);
        let thread = thread.map_err(|error| {
            Problem::failure(format!("no thread for the question: {error}")).hint("free some memory, then ask again")
        })?;
        thread.join().unwrap_or_else(|_| {
            Err(question
                .problem("the query uses something that is not supported")
                .hint("keep to plain joins on equal columns and to the constructs of the built-in queries"))
        })
    })
}

fn in_words_of_check(question: &Question, refused: Refused, names: &str) -> Problem {
    match refused {
        Refused::Syntax(text) => syntax(question, &text, names),
        Refused::NotASelect => question
            .problem("a query may only read: it is one statement that begins with SELECT or WITH")
            .hint("ask several questions one after the other, each in a file of its own"),
        Refused::OtherSource(source) => question
            .problem(format!("a query reads the datasets and no file: {source} is neither"))
            .hint(format!("the datasets are {names}")),
        Refused::TooDeep(line, column) => question
            .problem(format!("more than {} brackets or CASEs stand within one another", allowed::DEEPEST))
            .at(Spot { line: Some(line), column: Some(column), ..Spot::file(&question.file) })
            .hint("name inner parts in a WITH, and build on them"),
        Refused::TooLong => question
            .problem("the query is too long to be worked through")
            .hint("put a long row of conditions into one IN (...), or ask in several steps"),
    }
}

/// The datasets of a report, each under its own name; no other file is looked at.
fn datasets(from: &Path) -> Result<SQLContext, Problem> {
    let folder = from.join("restricted");
    let report_first = |problem: Problem| {
        problem.hint(
            "run `mendcurve report` first, then name its output with --from; an edition for release holds no datasets",
        )
    };
    let inside = match folder.canonicalize() {
        Ok(inside) => inside,
        Err(_) => return Err(report_first(Problem::input("there are no datasets to ask").at(Spot::file(&folder)))),
    };
    let context = SQLContext::new();
    for name in DATASETS {
        let file = folder.join(name).with_extension("parquet");
        if !file.canonicalize().is_ok_and(|real| real.starts_with(&inside)) {
            return Err(report_first(Problem::input("the dataset is not there").at(Spot::file(&file))));
        }
        let unreadable = |error: PolarsError| {
            report_first(Problem::input(format!("not a dataset of a report: {error}")).at(Spot::file(&file)))
        };
        context.register(name, dataset::open(&file).map_err(unreadable)?);
    }
    Ok(context)
}

/// An error of the engine for the person who wrote the query. A failed computation may quote cells, so its words are kept back.
fn in_words(question: &Question, error: &PolarsError, names: &str) -> Problem {
    use PolarsError as E;
    match error {
        E::Context { error, .. } | E::ExprContext { error, .. } => in_words(question, error, names),
        E::SQLInterface(text) | E::SQLSyntax(text) => syntax(question, text, names),
        E::ColumnNotFound(text) | E::SchemaFieldNotFound(text) => {
            let text = text.lines().next().unwrap_or_default();
            let column = text.split('"').nth(1).unwrap_or(text);
            let there = text.split_once("valid columns: ").map_or("", |(_, columns)| columns);
            question.problem(format!("there is no column {column}")).hint(match there {
                "" => format!("SELECT * FROM the dataset ({names}) LIMIT 1 shows its columns"),
                there => format!("the columns at that point are {}", there.trim_matches(['[', ']']).replace('"', "")),
            })
        }
        E::IO { error, .. } => Problem::failure(format!("a dataset cannot be read: {error}"))
            .at(Spot::file(&question.file))
            .hint("make the report again, then ask again"),
        E::SchemaMismatch(_) | E::InvalidOperation(_) | E::ComputeError(_) => question
            .problem("the query cannot be computed: a function or a comparison does not fit the kind of its columns")
            .hint("TRY_CAST(column AS DOUBLE) turns what is no number into nothing"),
        _ => question
            .problem("the query cannot be computed")
            .hint("keep to the constructs of the built-in queries; `mendcurve query` lists them"),
    }
}

/// What a parser says, without its own surroundings.
fn syntax(question: &Question, text: &str, names: &str) -> Problem {
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
        writeln!(out, "{}\n", plain(asked))?;
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
mod tests;
