//! Cells and names as a draft may show them.

use super::column::Column;
use super::fields::Known;
use super::uses::Use;
use crate::catalogue::CodeMatch;
use crate::group::field::Kind;
use crate::rows::when::Quarter;
use crate::units::{Dimension, Unit};

/// Cells shown of a column.
const MOST_SHOWN: usize = 3;
const LONGEST_SHOWN: usize = 24;

/// A TOML string.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// Text inside a comment: one line.
pub(super) fn plain(text: &str) -> String {
    let shown: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(LONGEST_SHOWN).collect();
    if text.chars().count() > LONGEST_SHOWN { format!("{shown}...") } else { shown }
}

/// `numbers from 20 to 30`, `such as prone, supine`, or how many different cells there are. A draft repeats no cell but
/// words that the program knows itself; limits of numbers are rounded outwards to one digit, so that they are nobody's.
pub(super) fn samples(column: &Column, used: &Use, known: &Known<'_>) -> String {
    let shape = &column.shape;
    if shape.filled == 0 {
        return "no cell is filled".to_owned();
    }
    if let Some((low, high)) = shape.range().filter(|_| shape.is_number() && is_number(used)) {
        return format!("numbers from {} to {}", one_digit(low, f64::floor), one_digit(high, f64::ceil));
    }
    let words: Vec<&str> =
        shape.distinct.iter().map(|(cell, _)| cell.as_str()).filter(|cell| is_known(cell, used, known)).collect();
    match (words.as_slice(), shape.distinct.len()) {
        ([], 1) => "one cell throughout, not shown".to_owned(),
        ([], count) => format!("{count} different cells, not shown"),
        (words, _) => {
            let shown: Vec<String> = words.iter().take(MOST_SHOWN).map(|word| plain(word)).collect();
            format!("such as {}", shown.join(", "))
        }
    }
}

/// Whether the column's numbers are read as such.
fn is_number(used: &Use) -> bool {
    match used {
        Use::Field(field, _) => !matches!(field.kind(), Kind::Name | Kind::Date),
        Use::Score(_) | Use::Spare(_) | Use::Unknown => true,
        Use::UnitOf(_) | Use::Reading | Use::Drop(_) | Use::Empty => false,
    }
}

/// A number rounded to its first digit.
fn one_digit(number: f64, round: fn(f64) -> f64) -> f64 {
    if number == 0.0 {
        return 0.0;
    }
    let step = 10f64.powf(number.abs().log10().floor());
    if step >= 1.0 { round(number / step) * step } else { round(number) }
}

/// Whether a cell is a word of a vocabulary, a registered code or label, a quarter, a unit: no person's.
pub(super) fn is_known(cell: &str, used: &Use, known: &Known<'_>) -> bool {
    match used {
        Use::Field(field, _) => match field.kind() {
            Kind::Word(words) => {
                words.contains(&cell.to_lowercase().as_str()) || known.aliases.canonical(field.name(), cell).is_some()
            }
            Kind::YesNo => known.yes_and_no.iter().any(|(word, _)| *word == cell.to_lowercase()),
            Kind::ConditionLabel => known.conditions.by_label(cell).is_some(),
            Kind::Codes => known.conditions.by_code(cell, None) != CodeMatch::Unknown,
            Kind::Quarter => Quarter::parse(cell).is_some(),
            _ => false,
        },
        Use::UnitOf(_) => [Dimension::Force, Dimension::Length, Dimension::Mass, Dimension::Time]
            .into_iter()
            .any(|dimension| Unit::parse(cell, dimension).is_some()),
        _ => false,
    }
}

/// What the cells of a column that is not understood are.
pub(super) fn kind(column: &Column) -> &'static str {
    let shape = &column.shape;
    if shape.dates.is_some() {
        "dates"
    } else if shape.is_whole() {
        "whole numbers"
    } else if shape.is_number() {
        "numbers"
    } else if shape.has_units_in_cells() {
        "numbers with units"
    } else {
        "text"
    }
}
