//! A sheet: named and typed columns, and lines of cells, written as CSV (RFC 4180, UTF-8).
//!
//! Numbers are written in full, as the shortest text that reads back as the same number; a cell that
//! is missing or withheld is empty, and the `withheld` column tells the two apart.
//!
//! A text that a spreadsheet would take for a formula (it begins with `=` `+` `-` `@`, their full-width forms or a control
//! character) is written with an apostrophe before it; so is one that already has apostrophes before such a sign, so that
//! taking one off gives every text back. Numbers are no texts, and -0.5 stays -0.5.

use crate::error::{Problem, Spot};
use crate::findings::bulletin::{Estimate, Period, Shown};
use crate::group::plain_text::begins_like_a_formula;
use crate::outputs::create::create;
use std::path::Path;

/// What a column holds, in the words of the Table Schema standard.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// `string`.
    Text,
    /// `integer`, zero or more.
    Count,
    /// `number`.
    Number,
    /// `number`, 0 to 1.
    Share,
    /// `boolean`, written true and false.
    Flag,
    /// `string`: `all`, or a quarter like 2026-Q3.
    Period,
    /// `string`: one of these.
    OneOf(&'static [&'static str]),
}

/// One column.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Whether it is never empty.
    pub required: bool,
    /// What it means.
    pub description: &'static str,
}

/// A column that is never empty.
pub const fn always(name: &'static str, kind: Kind, description: &'static str) -> Column {
    Column { name, kind, required: true, description }
}

/// A column that may be empty.
pub const fn maybe(name: &'static str, kind: Kind, description: &'static str) -> Column {
    Column { name, kind, required: false, description }
}

/// One cell.
#[derive(Clone, PartialEq, Debug)]
pub enum Cell {
    /// Missing or withheld.
    Empty,
    /// Text.
    Text(String),
    /// A count.
    Count(u64),
    /// A number.
    Number(f64),
    /// Yes or no.
    Flag(bool),
}

/// What a sheet is, whatever its lines.
#[derive(Clone, Copy, Debug)]
pub struct Form {
    /// The file's name without `.csv`.
    pub name: &'static str,
    /// What it holds, in a sentence.
    pub title: &'static str,
    /// Its columns.
    pub columns: &'static [Column],
    /// The columns that together name a line, or none.
    pub key: &'static [&'static str],
}

/// Writes `FOLDER/NAME.csv`.
///
/// # Errors
/// The file cannot be written.
pub fn write(folder: &Path, form: &Form, lines: impl IntoIterator<Item = Vec<Cell>>) -> Result<(), Problem> {
    let path = folder.join(form.name).with_extension("csv");
    let failed = |error: csv::Error| match error.into_kind() {
        csv::ErrorKind::Io(error) => Problem::io(&path, &error),
        other => Problem::failure(format!("{other:?}")).at(Spot::file(&path)),
    };
    let file = create(&path).map_err(|error| Problem::io(&path, &error))?;
    let mut writer = csv::Writer::from_writer(file);
    writer.write_record(form.columns.iter().map(|column| column.name)).map_err(failed)?;
    for line in lines {
        writer.write_record(line.iter().map(written)).map_err(failed)?;
    }
    writer.flush().map_err(|error| Problem::io(&path, &error))
}

fn written(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) if begins_like_a_formula(text.trim_start_matches('\'')) => format!("'{text}"),
        Cell::Text(text) => text.clone(),
        Cell::Count(count) => count.to_string(),
        Cell::Number(number) if number.is_finite() => (number + 0.0).to_string(), // no -0
        Cell::Number(_) => String::new(),
        Cell::Flag(flag) => flag.to_string(),
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<u64> for Cell {
    fn from(count: u64) -> Self {
        Self::Count(count)
    }
}

impl From<f64> for Cell {
    fn from(number: f64) -> Self {
        Self::Number(number)
    }
}

impl From<Shown<u32>> for Cell {
    fn from(shown: Shown<u32>) -> Self {
        match shown {
            Shown::Value(count) => Self::Count(u64::from(count)),
            _ => Self::Empty,
        }
    }
}

impl From<Shown<f64>> for Cell {
    fn from(shown: Shown<f64>) -> Self {
        match shown {
            Shown::Value(number) => Self::Number(number),
            _ => Self::Empty,
        }
    }
}

/// An estimate as three cells: value, low, high.
pub fn three(shown: Shown<Estimate>) -> [Cell; 3] {
    match shown {
        Shown::Value(Estimate { value, low, high }) => [value.into(), low.into(), high.into()],
        _ => [Cell::Empty, Cell::Empty, Cell::Empty],
    }
}

/// Whether a number is withheld.
pub fn is_withheld<T>(shown: &Shown<T>) -> bool {
    matches!(shown, Shown::Withheld)
}

/// The period as it is written: `all` or a quarter.
pub fn period(period: &Period) -> Cell {
    match period {
        Period::All => "all".into(),
        Period::Quarter(quarter) => Cell::Text(quarter.to_string()),
    }
}

/// The site as it is written: its name, or `all`.
pub fn site(site: Option<&String>) -> Cell {
    site.map_or("all", String::as_str).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_back_as_the_same_number_and_what_is_no_number_is_empty() {
        for number in [0.1 + 0.2, 1.0 / 3.0, 1e-7, 123_456_789.123, -0.5] {
            assert_eq!(written(&number.into()).parse::<f64>(), Ok(number));
        }
        assert_eq!(written(&f64::NAN.into()), "");
        assert_eq!(written(&(-0.0).into()), "0");
        assert_eq!(written(&Shown::<u32>::Withheld.into()), "");
        assert_eq!(written(&Shown::Value(0u32).into()), "0");
    }

    #[test]
    fn a_text_is_never_a_formula_and_reads_back_by_taking_one_apostrophe_off() {
        for (text, cell) in [
            ("=HYPERLINK(\"x\")", "'=HYPERLINK(\"x\")"),
            ("+1", "'+1"),
            ("-2+3", "'-2+3"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\t=1", "'\t=1"),
            ("＝1", "'＝1"),
            ("'=1", "''=1"),
            ("'quoted'", "'quoted'"),
            ("K-12", "K-12"),
        ] {
            assert_eq!(written(&text.into()), cell);
        }
        assert_eq!(written(&(-0.5).into()), "-0.5");
    }
}
