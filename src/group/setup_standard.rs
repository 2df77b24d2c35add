//! `setup-standard.toml` -> a checked [`SetupStandard`].
//!
//! The program's own standard goes through the same reader, with every key of every rule required.

mod item;
mod rule;

use super::document::{self, Table};
use super::inside::Inside;
use crate::catalogue::setup_standard::{SetupStandard, StandardItem, default_text};
use crate::error::{Problem, Spot};
use std::path::Path;

/// The file that is read without being named in `group.toml`.
const FILE: &str = "setup-standard.toml";
/// A slip of the pen that would otherwise go unnoticed.
const MISSPELT: &str = "setup_standard.toml";

/// The program's own standard.
///
/// # Errors
/// The embedded text is wrong; a test makes sure that it is not.
pub fn default_standard() -> Result<SetupStandard, Problem> {
    let path = Path::new("the program's own setup standard");
    let table = document::parse(path, default_text())?;
    table.only(&["item", "rule"], "the setup standard")?;
    let (items, rules) = (items_of(&table)?.unwrap_or_default(), rule::rules(&table, None)?);
    Ok(SetupStandard { is_default: true, items, rules })
}

/// A group's standard and the name of its file: the one that `group.toml` names, else `setup-standard.toml` in the folder,
/// else the program's own.
pub(super) fn of_group(
    folder: &Path,
    inside: &Inside,
    group: &Table,
) -> Result<(SetupStandard, Option<String>), Problem> {
    let default = default_standard()?;
    let name = match group.get("setup_standard") {
        Some(node) => {
            let name = node.filled_text("setup_standard")?;
            inside.check_written(node, "setup_standard", folder, name)?;
            let path = folder.join(name);
            if !path.exists() {
                let what = format!("`setup_standard` names {}, and there is no such file", path.display());
                return Err(node.problem(what).hint(
                    "the path is read from the group folder; take the line out to use the program's own standard",
                ));
            }
            inside.check_found(node, "setup_standard", &path)?;
            name
        }
        None if folder.join(FILE).exists() => {
            inside.check_unnamed(&folder.join(FILE))?;
            FILE
        }
        None if folder.join(MISSPELT).exists() => {
            return Err(Problem::input("this file would not be read")
                .at(Spot::file(folder.join(MISSPELT)))
                .hint(format!("rename it {FILE}, or write setup_standard = \"{MISSPELT}\" in group.toml")));
        }
        None => return Ok((default, None)),
    };
    let standard = of_file(&document::read(&folder.join(name))?, default)?;
    Ok((standard, Some(name.to_owned())))
}

/// The standard of a group's own file: its items in place of the default's, if it has any; its rules over the default's.
fn of_file(table: &Table, default: SetupStandard) -> Result<SetupStandard, Problem> {
    table.only(&["item", "rule"], "the setup standard")?;
    let rules = rule::rules(table, Some(default.rules))?;
    Ok(match items_of(table)? {
        Some(items) => SetupStandard { is_default: false, items, rules },
        None => SetupStandard { is_default: true, items: default.items, rules },
    })
}

fn items_of(table: &Table) -> Result<Option<Vec<StandardItem>>, Problem> {
    table.get("item").map(|node| item::items(&node.tables("item")?)).transpose()
}

#[cfg(test)]
mod tests;
