//! Every built-in query on hand-made datasets, and what goes wrong with a query of one's own.

use super::*;
use crate::error::Exit;
use polars_io::prelude::ParquetWriter;
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
