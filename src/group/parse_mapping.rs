//! A mapping file -> a checked [`Mapping`].

mod columns;
mod constant;
mod filters;
mod form;
mod readings;
mod scores;
mod units;
mod used_columns;
mod words;

use super::document::{self, Table};
use super::extends;
use super::inside::Inside;
use super::mapping::Mapping;
use crate::catalogue::{Conditions, Measures};
use crate::error::Problem;
use std::path::Path;

pub(crate) use form::{DELIMITERS, USUAL_ENCODINGS, delimiter_of, encoding_of};
pub(crate) use words::yes_and_no;

const SECTIONS: [&str; 9] = ["extends", "file", "columns", "words", "scores", "readings", "keep", "drop", "ignore"];

/// Reads and checks a mapping file together with the files it extends.
///
/// # Errors
/// Whatever is wrong first, with the file, line and column that holds it and what to do.
pub(super) fn read_mapping(
    path: &Path,
    inside: &Inside,
    measures: &Measures,
    conditions: &Conditions,
) -> Result<Mapping, Problem> {
    checked(path, &extends::read_with_parents(path, inside)?, measures, conditions)
}

/// Checks the text of a mapping as if it stood in `path`; what it extends must lie in the same folder or below.
///
/// # Errors
/// Whatever is wrong first, with the file, line and column that holds it and what to do.
pub fn parse_mapping(
    path: &Path,
    text: &str,
    measures: &Measures,
    conditions: &Conditions,
) -> Result<Mapping, Problem> {
    let inside = Inside::folder(path.parent().unwrap_or(Path::new("")));
    checked(path, &extends::with_parents(path, document::parse(path, text)?, &inside)?, measures, conditions)
}

fn checked(path: &Path, table: &Table, measures: &Measures, conditions: &Conditions) -> Result<Mapping, Problem> {
    table.only(&SECTIONS, "a mapping")?;
    let form = form::parse(table)?;
    words::check_sections(table, conditions)?;
    let mapping = Mapping {
        path: path.to_path_buf(),
        fields: columns::parse(table, &form, measures, conditions)?,
        scores: scores::parse(table, form.layout, measures)?,
        readings: readings::parse(table, form.layout, measures)?,
        keep: filters::keep(table)?,
        drop: filters::columns(table, "drop")?,
        ignore: filters::columns(table, "ignore")?,
        form,
    };
    used_columns::check(&mapping)?;
    Ok(mapping)
}

#[cfg(test)]
mod tests;
