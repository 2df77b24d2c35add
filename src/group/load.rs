//! A group folder -> a checked [`Group`].

use super::document::{self, Node, Table};
use super::export_files;
use super::field::Field;
use super::inside::Inside;
use super::overrides;
use super::parse_mapping::read_mapping;
use super::settings::{Audience, DEFAULT_UNPACKED_LIMIT, EpisodeRules, Export, Group, OnTrackRules, PatientKeys};
use super::setup_standard;
use super::suggest::did_you_mean;
use crate::catalogue::{Conditions, Measures};
use crate::error::{Problem, Spot};
use std::path::Path;

const FILE: &str = "group.toml";
const DEFAULT_REJECT_LIMIT: f64 = 0.05;

/// Reads and checks `group.toml` in a folder, its mappings, and which export files there are.
/// No export is opened.
///
/// # Errors
/// Whatever is wrong first, with the file, line and column that holds it and what to do.
pub fn load(folder: &Path) -> Result<Group, Problem> {
    let path = folder.join(FILE);
    if !folder.is_dir() {
        let what = if folder.exists() { "this is a file, not a group folder" } else { "there is no such folder" };
        return Err(Problem::input(what)
            .at(Spot::file(folder))
            .hint("name the folder that holds group.toml, the mappings and the exports"));
    }
    if !path.exists() {
        return Err(Problem::input("the folder holds no group.toml").at(Spot::file(folder)).hint(
            "write a group.toml with a name and one [[exports]] a site; `mendcurve inspect FILE` drafts the mapping of an export",
        ));
    }
    let table = document::read(&path)?;
    let keys = [
        "name",
        "audience",
        "reject_limit",
        "unpacked_limit_gb",
        "patient_keys",
        "as_of",
        "allow_outside",
        "episodes",
        "on_track",
        "setup_standard",
        "exports",
        "measures",
        "conditions",
    ];
    table.only(&keys, FILE)?;

    let measures = overrides::measures(&table)?;
    let conditions = overrides::conditions(&table)?;
    let allow_outside = table.get("allow_outside").map_or(Ok(false), |node| node.yes_no("allow_outside"))?;
    let inside = if allow_outside { Inside::anywhere() } else { Inside::folder(folder) };
    let (setup_standard, setup_standard_file) = setup_standard::of_group(folder, &inside, &table)?;
    Ok(Group {
        folder: folder.to_path_buf(),
        name: table.require("name", FILE)?.name("name")?.to_owned(),
        audience: table.get("audience").map_or(Ok(Audience::Internal), audience)?,
        reject_limit: table.get("reject_limit").map_or(Ok(DEFAULT_REJECT_LIMIT), reject_limit)?,
        unpacked_limit: table.get("unpacked_limit_gb").map_or(Ok(DEFAULT_UNPACKED_LIMIT), unpacked_limit)?,
        patient_keys: table.get("patient_keys").map_or(Ok(PatientKeys::Group), patient_keys)?,
        episodes: table.get("episodes").map_or(Ok(EpisodeRules::default()), episodes)?,
        on_track: table.get("on_track").map_or(Ok(OnTrackRules::default()), on_track)?,
        as_of: table.get("as_of").map_or_else(|| Ok(chrono::Local::now().date_naive()), |node| node.date("as_of"))?,
        exports: exports(folder, &inside, &table, &measures, &conditions)?,
        setup_standard,
        setup_standard_file,
        measures,
        conditions,
    })
}

fn one_of<T: Copy>(node: &Node, name: &str, choices: [(&str, T); 2]) -> Result<T, Problem> {
    let word = node.filled_text(name)?;
    choices.iter().find(|(choice, _)| *choice == word).map(|(_, value)| *value).ok_or_else(|| {
        node.problem(format!("`{name}` cannot be `{word}`"))
            .hint(did_you_mean(word, choices.iter().map(|(choice, _)| *choice)))
    })
}

fn audience(node: &Node) -> Result<Audience, Problem> {
    one_of(node, "audience", [("internal", Audience::Internal), ("release", Audience::Release)])
}

fn patient_keys(node: &Node) -> Result<PatientKeys, Problem> {
    one_of(node, "patient_keys", [("group", PatientKeys::Group), ("site", PatientKeys::Site)])
}

fn reject_limit(node: &Node) -> Result<f64, Problem> {
    let limit = node.number("reject_limit")?;
    if (0.0..=1.0).contains(&limit) {
        return Ok(limit);
    }
    Err(node
        .problem("`reject_limit` is a share of the rows and lies between 0 and 1")
        .hint("write 0.05 for five in a hundred"))
}

/// In bytes.
fn unpacked_limit(node: &Node) -> Result<u64, Problem> {
    let gb = node.number("unpacked_limit_gb")?;
    if gb > 0.0 && gb <= 1e6 {
        return Ok((gb * 1e9) as u64);
    }
    Err(node
        .problem("`unpacked_limit_gb` is how many GB of text a compressed export may hold, and over 0")
        .hint("write unpacked_limit_gb = 8, or take the line out"))
}

fn episodes(node: &Node) -> Result<EpisodeRules, Problem> {
    let table = node.table("[episodes]")?;
    table.only(&["gap_days", "baseline_days", "endpoint_days"], "[episodes]")?;
    let default = EpisodeRules::default();
    let days = |key: &str, default| table.get(key).map_or(Ok(default), |node| window(node, key));
    let rules = EpisodeRules {
        gap_days: match table.get("gap_days") {
            Some(node) => i32::try_from(node.whole("gap_days", 1..=3_650)?).unwrap_or(default.gap_days),
            None => default.gap_days,
        },
        baseline_days: days("baseline_days", default.baseline_days)?,
        endpoint_days: days("endpoint_days", default.endpoint_days)?,
    };
    if rules.endpoint_days.0 <= rules.baseline_days.1 {
        let node = table.get("endpoint_days").or(table.get("baseline_days")).unwrap_or(node);
        return Err(node
            .problem("the endpoint window must begin after the baseline window has ended")
            .hint("baseline_days = [-14, 0] and endpoint_days = [28, 84] are the defaults"));
    }
    Ok(rules)
}

fn on_track(node: &Node) -> Result<OnTrackRules, Problem> {
    let table = node.table("[on_track]")?;
    let keys = ["behind_below", "ahead_above", "unlikely_below", "in_care_days", "overdue_days"];
    table.only(&keys, "[on_track]")?;
    let default = OnTrackRules::default();
    let number = |key: &str, default: f64, highest: f64| match table.get(key) {
        None => Ok(default),
        Some(node) => {
            let value = node.number(key)?;
            let inside = (0.0..=highest).contains(&value);
            if inside {
                Ok(value)
            } else {
                Err(node
                    .problem(format!("`{key}` lies between 0 and {highest}"))
                    .hint("correct it, or take the line out to use the default"))
            }
        }
    };
    let days = |key: &str, default: i32| match table.get(key) {
        None => Ok(default),
        Some(node) => node.whole(key, 1..=365).map(|days| i32::try_from(days).unwrap_or(default)),
    };
    let rules = OnTrackRules {
        behind_below: number("behind_below", default.behind_below, 100.0)?,
        ahead_above: number("ahead_above", default.ahead_above, 100.0)?,
        unlikely_below: number("unlikely_below", default.unlikely_below, 1.0)?,
        in_care_days: days("in_care_days", default.in_care_days)?,
        overdue_days: days("overdue_days", default.overdue_days)?,
    };
    if rules.behind_below >= rules.ahead_above {
        return Err(node
            .problem("`behind_below` must be less than `ahead_above`")
            .hint("behind_below = 20 and ahead_above = 80 are the defaults"));
    }
    Ok(rules)
}

/// A window of days: first and last, counted from the first treated visit.
fn window(node: &Node, name: &str) -> Result<(i32, i32), Problem> {
    let day = |node: &Node| node.whole(name, -3_650..=3_650).map(|day| day as i32);
    let (first, last) = match node.list(name)? {
        [first, last] => (day(first)?, day(last)?),
        _ => {
            return Err(node
                .problem(format!("`{name}` must be two days: the first and the last"))
                .hint(format!("write {name} = [first, last]")));
        }
    };
    if first > last {
        return Err(node.problem(format!("`{name}` runs backwards")).hint(format!("write {name} = [{last}, {first}]")));
    }
    Ok((first, last))
}

fn exports(
    folder: &Path,
    inside: &Inside,
    table: &Table,
    measures: &Measures,
    conditions: &Conditions,
) -> Result<Vec<Export>, Problem> {
    let tables = match table.get("exports") {
        Some(node) => node.tables("exports")?,
        None => Vec::new(),
    };
    if tables.is_empty() {
        return Err(table.problem("group.toml names no exports").hint("add [[exports]] with site, files and mapping"));
    }
    let mut claimed = export_files::Claimed::default();
    tables
        .into_iter()
        .map(|table| {
            table.only(&["site", "files", "mapping"], "[[exports]]")?;
            let files = claimed.files(folder, inside, table.require("files", "[[exports]]")?)?;
            let node = table.require("mapping", "[[exports]]")?;
            let name = node.filled_text("mapping")?;
            inside.check_written(node, "mapping", folder, name)?;
            let path = folder.join(name);
            if !path.exists() {
                return Err(node
                    .problem(format!("`mapping` names {}, and there is no such file", path.display()))
                    .hint("the path is read from the group folder; `mendcurve inspect FILE` drafts a mapping"));
            }
            inside.check_found(node, "mapping", &path)?;
            let mapping = read_mapping(&path, inside, measures, conditions)?;
            let site = match table.get("site") {
                Some(node) => Some(node.name("site")?.to_owned()),
                None => None,
            };
            let mapped = mapping.fields.iter().find(|rule| rule.field == Field::Site);
            match (&site, mapped) {
                (None, None) => Err(table
                    .problem("no site: neither this [[exports]] nor its mapping names one")
                    .hint("add site = \"...\" here, or map the field `site` to a column")),
                (Some(_), Some(rule)) => Err(table
                    .problem(format!("the site is given twice: here and by the mapping (at {})", rule.spot))
                    .hint("take `site` out here, or out of the mapping")),
                _ => Ok(Export { site, files, mapping }),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests;
