//! Reading rows: one column names the measure, another holds the score.

use super::aliases::{Aliases, likeness, plain_words};
use super::column::Column;
use super::scores::{Named, ScaleGuess, named, scale};
use crate::catalogue::Measures;
use crate::rows::number::NumberForm;

/// More names than this are no list of measures.
const MOST_NAMES: usize = 60;

/// A long file.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct LongForm {
    pub measure_column: usize,
    pub value_column: usize,
    /// The export's own name of each measure, and what it seems to be.
    pub kinds: Vec<(String, Option<(Named, ScaleGuess)>)>,
}

/// Finds the two columns; `None` for a file of visit rows.
pub(super) fn find(
    columns: &[Column],
    rows: &[Vec<String>],
    numbers: NumberForm,
    aliases: &Aliases,
    measures: &Measures,
) -> Option<LongForm> {
    let measure_column = columns.iter().position(|column| names_measures(column, aliases, measures))?;
    let like = |column: &Column| likeness(&column.words, &aliases.long.value_column);
    let value_column = columns
        .iter()
        .enumerate()
        .filter(|(i, column)| *i != measure_column && !column.shape.is_free_text() && like(column) >= 0.9)
        .reduce(|best, next| if like(next.1) > like(best.1) { next } else { best })?
        .0;
    let kinds = columns.get(measure_column)?.shape.distinct.iter().map(|(name, _)| {
        let of_name = rows.iter().filter(|row| row.get(measure_column) == Some(name));
        let scores: Vec<f64> = of_name.filter_map(|row| numbers.read(row.get(value_column)?.as_bytes())).collect();
        let known = named(&plain_words(name), aliases, measures).filter(|named| named.likeness >= 0.88);
        (name.clone(), known.map(|known| (known, scale(measures.get(known.measure), &scores, name))))
    });
    Some(LongForm { measure_column, value_column, kinds: kinds.collect() })
}

fn names_measures(column: &Column, aliases: &Aliases, measures: &Measures) -> bool {
    let names = &column.shape.distinct;
    if !column.shape.is_text() || column.shape.identifier.is_some() || names.len() > MOST_NAMES {
        return false;
    }
    let is_known = |name: &str| named(&plain_words(name), aliases, measures).is_some_and(|named| named.likeness >= 0.9);
    let known = names.iter().filter(|(name, _)| is_known(name)).count();
    let called_so = likeness(&column.words, &aliases.long.measure_column) >= 0.9;
    (known >= 2 && 2 * known >= names.len()) || (known >= 1 && called_so)
}
