//! `[measures.NAME]` and `[conditions.NAME]` of `group.toml`: the registries as the group wants them.

use super::document::{Node, Table, Value, refuse_formula};
use crate::catalogue::{CatalogueError, Conditions, Measures};
use crate::error::Problem;

/// The shipped measures with the group's overrides.
pub(super) fn measures(group: &Table) -> Result<Measures, Problem> {
    let shipped = Measures::embedded().map_err(|error| program_fault(&error))?;
    match group.get("measures") {
        Some(node) => {
            let table = node.table("[measures]")?;
            refuse_formulas(table)?;
            shipped.with_overrides(&plain_table(table)).map_err(|error| place(&error, table))
        }
        None => Ok(shipped),
    }
}

/// A registry that was shipped cannot be read.
fn program_fault(error: &CatalogueError) -> Problem {
    Problem::failure(error.to_string()).hint("this is a fault of the program; report it")
}

/// The shipped conditions with the group's overrides.
pub(super) fn conditions(group: &Table) -> Result<Conditions, Problem> {
    let shipped = Conditions::embedded().map_err(|error| program_fault(&error))?;
    match group.get("conditions") {
        Some(node) => {
            let table = node.table("[conditions]")?;
            refuse_formulas(table)?;
            shipped.with_overrides(&plain_table(table)).map_err(|error| place(&error, table))
        }
        None => Ok(shipped),
    }
}

/// Refuses keys and titles that a spreadsheet would take for formulas.
fn refuse_formulas(section: &Table) -> Result<(), Problem> {
    for entry in &section.entries {
        refuse_formula(&entry.key, &entry.key, &entry.key_spot)?;
        match &entry.node.value {
            Value::Table(inner) => refuse_formulas(inner)?,
            Value::Text(text) if matches!(entry.key.as_str(), "title" | "short_title" | "label" | "unit") => {
                refuse_formula(text, &entry.key, &entry.node.spot)?;
            }
            _ => (),
        }
    }
    Ok(())
}

/// Points a registry's complaint at the field, else the entry, that it is about.
fn place(error: &CatalogueError, section: &Table) -> Problem {
    let entry = section.entry(&error.key);
    let field = match (entry.map(|entry| &entry.node.value), &error.field) {
        (Some(Value::Table(fields)), Some(field)) => fields.entry(field),
        _ => None,
    };
    let spot = field.or(entry).map_or(&section.spot, |entry| &entry.key_spot);
    Problem::input(error.to_string())
        .at(spot.clone())
        .hint("an entry names only the fields it changes; a new one needs them all")
}

/// The same table without its places.
fn plain_table(table: &Table) -> toml::Table {
    table.entries.iter().map(|entry| (entry.key.clone(), plain(&entry.node))).collect()
}

fn plain(node: &Node) -> toml::Value {
    match &node.value {
        Value::Text(text) => toml::Value::String(text.clone()),
        Value::Number { whole: Some(whole), .. } => toml::Value::Integer(*whole),
        Value::Number { value, .. } => toml::Value::Float(*value),
        Value::YesNo(yes) => toml::Value::Boolean(*yes),
        Value::List(items) => toml::Value::Array(items.iter().map(plain).collect()),
        Value::Table(table) => toml::Value::Table(plain_table(table)),
        Value::Date(date) => toml::Value::Datetime(*date),
    }
}
