//! The unit of a quantity: stated once for the column, in another column, or in each cell. Never guessed.

use super::super::document::Table;
use super::super::field::Field;
use super::super::mapping::UnitRule;
use super::filters::column_name;
use crate::error::Problem;
use crate::units::{Dimension, Unit};

/// Reads `unit` or `unit_column` of a field's table.
pub(super) fn of_field(field: Field, table: &Table) -> Result<Option<UnitRule>, Problem> {
    let unit = table.entry("unit");
    let unit_column = table.entry("unit_column");
    let Some(dimension) = field.kind().dimension() else {
        return match unit.or(unit_column) {
            Some(entry) => Err(Problem::input(format!("`{field}` has no unit"))
                .at(entry.key_spot.clone())
                .hint(format!("take `{}` out", entry.key))),
            None => Ok(None),
        };
    };
    match (unit, unit_column) {
        (Some(_), Some(entry)) => Err(Problem::input(format!("the unit of `{field}` is given twice"))
            .at(entry.key_spot.clone())
            .hint("keep `unit` or `unit_column`")),
        (None, Some(entry)) => Ok(Some(UnitRule::Column(column_name(&entry.node, "unit_column")?))),
        (Some(entry), None) => match entry.node.filled_text("unit")? {
            "in cell" => Ok(Some(UnitRule::InCell)),
            text => match Unit::parse(text, dimension) {
                Some(unit) => Ok(Some(UnitRule::Fixed(unit))),
                None => Err(entry
                    .node
                    .problem(format!("`{field}` cannot be in `{text}`"))
                    .hint(format!("use {}, or \"in cell\" when each cell names its unit", dimension.units()))),
            },
        },
        // degrees are the only unit of an angle; every other quantity must say
        (None, None) if dimension == Dimension::Angle => Ok(Some(UnitRule::Fixed(Unit::Degree))),
        (None, None) => Ok(None),
    }
}

/// How to state the unit of a field that needs one, as it would stand in the mapping.
pub(super) fn remedy(field: Field, dimension: Dimension, column: &str) -> String {
    format!(
        "write {field} = {{ column = \"{column}\", unit = \"...\" }} with {}; or unit_column = \"...\" for a column that \
         names it; or unit = \"in cell\"",
        dimension.units()
    )
}
