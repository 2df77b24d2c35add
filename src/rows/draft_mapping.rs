//! `inspect`: the draft of a mapping for an unknown export.
//!
//! Everything in a draft is a proposal with its confidence in words: certain, likely, guess or unknown.
//! What cannot be told (the unit of a pull, the order of day and month) is left for a person to
//! decide. No cell is shown but words that the program knows itself; others are named by their line.

mod aliases;
mod column;
mod dates;
mod fields;
mod long_form;
mod marks;
mod sample;
mod scores;
mod shape;
mod show;
mod uses;
mod words;
mod write;

use crate::catalogue::{Conditions, Measures};
use crate::error::Problem;
use crate::group::field::Field;
use crate::group::parse_mapping::yes_and_no;
use aliases::{Aliases, likeness, plain_words};
use column::Column;
use fields::Known;
use shape::Shape;
use std::path::Path;
use write::Findings;

/// A drafted mapping.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Draft {
    /// The mapping as TOML, with a comment on every line that needs one.
    pub text: String,
    /// What a person must look at before the mapping can be used, one sentence each.
    pub warnings: Vec<String>,
}

/// Reads the first records of an export (plain, gzip or zstd) and drafts its mapping.
///
/// # Errors
/// The file cannot be read, or is not a table of text with a header and rows.
pub fn inspect(path: &Path) -> Result<Draft, Problem> {
    let registry = |error: crate::catalogue::CatalogueError| {
        Problem::failure(error.to_string()).hint("this is a fault of the program; report it")
    };
    let measures = Measures::embedded().map_err(registry)?;
    let conditions = Conditions::embedded().map_err(registry)?;
    let aliases = Aliases::load()?;
    let yes_and_no = yes_and_no()?;
    let known = Known { aliases: &aliases, conditions: &conditions, yes_and_no: &yes_and_no };

    let sample = sample::read(path)?;
    let marks = marks::of(sample.rows.iter().flatten().map(String::as_str));
    let names = column::names(&sample.header);
    let columns: Vec<Column> = sample
        .header
        .iter()
        .zip(names)
        .enumerate()
        .map(|(i, (header, name))| Column {
            header: header.clone(),
            name,
            words: plain_words(header),
            shape: Shape::of(sample.rows.iter().filter_map(|row| row.get(i)).map(String::as_str), marks.form, &aliases),
        })
        .collect();
    let plan = uses::decide(&columns, &sample.rows, marks.form, &known, &measures);
    let findings =
        Findings { sample: &sample, marks, columns: &columns, plan: &plan, known: &known, measures: &measures };
    Ok(write::draft(&findings))
}

/// The field that each header is a usual name of, if it is one.
///
/// # Errors
/// The embedded aliases cannot be read.
pub(super) fn fields_called(headers: &[String]) -> Result<Vec<Option<Field>>, Problem> {
    let aliases = Aliases::load()?;
    let called = |header: &String| {
        let words = plain_words(header);
        let entry = aliases.field.iter().find(|entry| likeness(&words, &entry.words) >= 0.99)?;
        Field::named(&entry.name)
    };
    Ok(headers.iter().map(called).collect())
}

#[cfg(test)]
mod tests;
