//! `[columns]`: which column fills which field, and how its cells are read.

use super::super::document::{Entry, Table, Value};
use super::super::field::Field;
use super::super::mapping::{FieldRule, FileForm, Source, UnitRule};
use super::super::suggest::did_you_mean;
use super::filters::column_name;
use super::{constant, units, words};
use crate::catalogue::{Conditions, Measures};
use crate::error::Problem;
use crate::units::Unit;

/// Reads `[columns]`.
pub(super) fn parse(
    mapping: &Table,
    form: &FileForm,
    measures: &Measures,
    conditions: &Conditions,
) -> Result<Vec<FieldRule>, Problem> {
    let table = match mapping.get("columns") {
        Some(node) => node.table("[columns]")?,
        None => {
            return Err(mapping
                .problem("the mapping has no [columns]")
                .hint("add [columns] with at least `patient`, and `date` or `day`"));
        }
    };
    let mut rules = Vec::with_capacity(table.entries.len());
    for entry in &table.entries {
        let field = Field::named(&entry.key).ok_or_else(|| unknown_field(entry, measures))?;
        rules.push(rule(field, entry, mapping, form, conditions)?);
    }
    require_fields(table, &rules)?;
    Ok(rules)
}

fn unknown_field(entry: &Entry, measures: &Measures) -> Problem {
    let remedy = match measures.find(&entry.key) {
        Some(_) => "scores are mapped under [[scores]] with measure and column".to_owned(),
        None => did_you_mean(&entry.key, Field::ALL.iter().map(|field| field.name())),
    };
    Problem::input(format!("there is no field `{}`", entry.key)).at(entry.key_spot.clone()).hint(remedy)
}

fn rule(
    field: Field,
    entry: &Entry,
    mapping: &Table,
    form: &FileForm,
    conditions: &Conditions,
) -> Result<FieldRule, Problem> {
    let spot = entry.key_spot.clone();
    let (source, unit, missing, beside_column) = match &entry.node.value {
        Value::Text(_) => {
            let unit = units::of_field(field, &Table { entries: Vec::new(), spot: spot.clone() })?;
            (Source::Column(column_name(&entry.node, field.name())?), unit, Vec::new(), None)
        }
        Value::Table(table) => {
            table.only(&["column", "fixed", "unit", "unit_column", "missing", "words"], &format!("`{field}`"))?;
            let missing = table.get("missing").map_or(Ok(Vec::new()), |node| node.cells("missing"))?;
            (source(field, table)?, units::of_field(field, table)?, missing, table.get("words"))
        }
        _ => {
            return Err(entry
                .node
                .problem(format!("`{field}` must be the text of a column's header"))
                .hint(format!("write {field} = \"header text\", or {field} = {{ column = \"header text\", ... }}")));
        }
    };
    if let (Some(dimension), None) = (field.kind().dimension(), &unit) {
        let column = match &source {
            Source::Column(column) => &column.text,
            Source::Fixed(_) => "...",
        };
        return Err(Problem::input(format!("`{field}` must state its unit"))
            .at(spot)
            .hint(units::remedy(field, dimension, column)));
    }
    let words = words::of_field(field, beside_column, mapping, conditions)?;
    let mut rule = FieldRule { field, source, unit, missing, words, spot };
    if let Source::Fixed(text) = &rule.source {
        rule.source = Source::Fixed(constant::as_cell(&rule, text, form, conditions, &entry.node)?);
    }
    Ok(rule)
}

fn source(field: Field, table: &Table) -> Result<Source, Problem> {
    match (table.get("column"), table.entry("fixed")) {
        (Some(column), None) => Ok(Source::Column(column_name(column, "column")?)),
        (None, Some(fixed)) if field == Field::Patient => {
            Err(Problem::input("every row would be the same patient").at(fixed.key_spot.clone()).hint("name a column"))
        }
        (None, Some(fixed)) => Ok(Source::Fixed(fixed.node.cell("fixed")?.to_owned())),
        (Some(_), Some(fixed)) => Err(Problem::input(format!("`{field}` has both a column and a fixed value"))
            .at(fixed.key_spot.clone())
            .hint("keep one; either may stand in a mapping that this one extends")),
        (None, None) => Err(table
            .problem(format!("`{field}` names no column"))
            .hint("add column = \"header text\", or fixed = \"...\" for the same value in every row")),
    }
}

/// What must be mapped, and what only makes sense together.
fn require_fields(table: &Table, rules: &[FieldRule]) -> Result<(), Problem> {
    let find = |field: Field| rules.iter().find(|rule| rule.field == field);
    if find(Field::Patient).is_none() {
        return Err(table
            .problem("no column is mapped to `patient`")
            .hint("add patient = \"...\" under [columns]: the column with the patient's opaque key"));
    }
    match (find(Field::Date), find(Field::Day), find(Field::Quarter)) {
        (None, None, _) => Err(table
            .problem("neither `date` nor `day` is mapped")
            .hint("add date = \"...\" under [columns]; or day = \"...\" for a day count, with quarter = \"...\" if there is one")),
        (Some(date), Some(day), _) => Err(Problem::input("both `date` and `day` are mapped, and a row has one clock")
            .at(later(date, day).spot.clone())
            .hint("keep `date`, unless calendar dates must not leave the site")),
        (Some(_), None, Some(quarter)) => Err(Problem::input("`quarter` goes with `day`, not with `date`")
            .at(quarter.spot.clone())
            .hint("take `quarter` out: the date says which quarter it is")),
        _ => Ok(()),
    }?;
    let in_body_weight = rules.iter().find(|rule| rule.unit == Some(UnitRule::Fixed(Unit::PercentBodyWeight)));
    match in_body_weight {
        Some(rule) if find(Field::BodyMass).is_none() => {
            Err(Problem::input(format!("`{}` is in percent of body weight, and `body_mass` is not mapped", rule.field))
                .at(rule.spot.clone())
                .hint("map body_mass as well, or give the pull in N, lbf or kgf"))
        }
        _ => Ok(()),
    }
}

fn later<'a>(a: &'a FieldRule, b: &'a FieldRule) -> &'a FieldRule {
    if (&a.spot.file, a.spot.line) > (&b.spot.file, b.spot.line) { a } else { b }
}
