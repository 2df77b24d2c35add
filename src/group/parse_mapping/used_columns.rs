//! No column of the export is used for two things (a code and a label in one cell excepted).

use super::super::field::Field;
use super::super::mapping::{ColumnName, Mapping, ScoreColumns, Source, UnitRule};
use crate::error::Problem;

/// What a column is used for.
#[derive(Clone, Copy, PartialEq)]
enum Use {
    Field(Field),
    Score,
    Item,
    Measure,
    Value,
    /// Names a unit or filters rows; may serve several rules, and a field as well.
    Beside,
    Drop,
    Ignore,
}

impl Use {
    fn describe(self) -> String {
        match self {
            Use::Field(field) => format!("`{field}`"),
            Use::Score => "a score".to_owned(),
            Use::Item => "an item of a score".to_owned(),
            Use::Measure => "measure_column".to_owned(),
            Use::Value => "value_column".to_owned(),
            Use::Beside => "a unit or a filter".to_owned(),
            Use::Drop => "[drop]".to_owned(),
            Use::Ignore => "[ignore]".to_owned(),
        }
    }

    fn may_share(self, other: Use) -> bool {
        match (self, other) {
            // a code and a label may stand in one cell, each read by its own rule
            (Use::Field(a), Use::Field(b)) => {
                matches!((a, b), (Field::Condition, Field::Icd10) | (Field::Icd10, Field::Condition))
            }
            (Use::Beside, other) | (other, Use::Beside) => !matches!(other, Use::Drop | Use::Ignore),
            _ => false,
        }
    }
}

/// Refuses a column that is used twice, or used and dropped.
pub(super) fn check(mapping: &Mapping) -> Result<(), Problem> {
    let uses = uses(mapping);
    for (i, (column, used)) in uses.iter().enumerate() {
        let same = |(earlier, _): &&(&ColumnName, Use)| earlier.text == column.text && earlier.nth == column.nth;
        let clash = uses.iter().take(i).filter(same).find(|(_, earlier)| !earlier.may_share(*used));
        if let Some((first, earlier)) = clash {
            return Err(clash_of(column, *used, first, *earlier));
        }
    }
    Ok(())
}

fn clash_of(column: &ColumnName, used: Use, first: &ColumnName, earlier: Use) -> Problem {
    let name = match column.nth {
        1 => format!("`{}`", column.text),
        nth => format!("`{}#{nth}`", column.text),
    };
    let remedy = match (earlier, used) {
        (Use::Drop, Use::Drop) | (Use::Ignore, Use::Ignore) => "list it once",
        (Use::Drop, Use::Ignore) => "a dropped column need not be ignored: keep it under [drop]",
        (_, Use::Drop) => "a dropped column is never read: take it out of [drop], or do not use it",
        (_, Use::Ignore) => "take it out of [ignore], or do not use it",
        _ => {
            "name another column for one of them, or take one out; a second column with the same header is written with #2 behind it"
        }
    };
    Problem::input(format!(
        "column {name} is used twice: for {} and for {} (first at {})",
        earlier.describe(),
        used.describe(),
        first.spot
    ))
    .at(column.spot.clone())
    .hint(remedy)
}

fn uses(mapping: &Mapping) -> Vec<(&ColumnName, Use)> {
    let mut uses = Vec::new();
    for rule in &mapping.fields {
        if let Source::Column(column) = &rule.source {
            uses.push((column, Use::Field(rule.field)));
        }
        if let Some(UnitRule::Column(column)) = &rule.unit {
            uses.push((column, Use::Beside));
        }
    }
    for rule in &mapping.scores {
        match &rule.columns {
            ScoreColumns::Whole(column) => uses.push((column, Use::Score)),
            ScoreColumns::Items(columns) => uses.extend(columns.iter().map(|column| (column, Use::Item))),
        }
    }
    if let Some(readings) = &mapping.readings {
        uses.push((&readings.measure_column, Use::Measure));
        uses.push((&readings.value_column, Use::Value));
    }
    uses.extend(mapping.keep.iter().map(|rule| (&rule.column, Use::Beside)));
    uses.extend(mapping.drop.iter().map(|column| (column, Use::Drop)));
    uses.extend(mapping.ignore.iter().map(|column| (column, Use::Ignore)));
    uses
}
