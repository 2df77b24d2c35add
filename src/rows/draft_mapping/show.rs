//! Cells and names as a draft may show them.

use super::column::Column;
use super::uses::Use;
use crate::group::field::{Field, Kind};

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

/// `such as 20, 22.5, 25`, or why no cell is shown.
pub(super) fn samples(column: &Column, used: &Use) -> String {
    let shape = &column.shape;
    if shape.filled == 0 {
        return "no cell is filled".to_owned();
    }
    if !may_be_shown(column, used) {
        return match shape.distinct.len() {
            1 => "one cell throughout, not shown".to_owned(),
            count => format!("{count} different cells, not shown"),
        };
    }
    let over_89 = |cell: &str| cell.parse::<f64>().is_ok_and(|age| age > 89.0);
    let is_age = matches!(used, Use::Field(Field::Age, _));
    let shown: Vec<String> = shape
        .distinct
        .iter()
        .filter(|(cell, _)| !(is_age && over_89(cell)))
        .take(MOST_SHOWN)
        .map(|(cell, _)| plain(cell))
        .collect();
    format!("such as {}", shown.join(", "))
}

/// Only cells whose kind is known are shown: numbers, dates of visits, words of a vocabulary, codes. Keys
/// and columns that are not understood are not, unless they hold short numbers.
fn may_be_shown(column: &Column, used: &Use) -> bool {
    let shape = &column.shape;
    if shape.identifier.is_some() {
        return false;
    }
    match used {
        Use::Field(field, _) => match field.kind() {
            Kind::Name => false,
            Kind::ConditionLabel => !shape.is_key_like(),
            _ => true,
        },
        Use::Score(_) | Use::UnitOf(_) => !shape.is_key_like() || shape.is_number(),
        Use::Spare(_) | Use::Unknown => {
            shape.is_number() && shape.range().is_some_and(|(low, high)| low.abs() < 1_000.0 && high.abs() < 1_000.0)
        }
        Use::Reading | Use::Drop(_) | Use::Empty => false,
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
