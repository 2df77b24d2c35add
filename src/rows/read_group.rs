//! A whole group folder -> rows, names and the ledger.

use super::ledger::Ledger;
use super::names::Names;
use super::read_file::read_file;
use super::row::{Row, Score};
use crate::error::{Problem, Spot};
use crate::export::place::{Files, label};
use crate::group::settings::Group;

/// Everything that was understood, before duplicates are taken out.
#[derive(Default, Debug)]
pub struct Intake {
    /// The export files.
    pub files: Files,
    /// Names, numbered by their text.
    pub names: Names,
    /// Rows of all files, in reading order.
    pub rows: Vec<Row>,
    /// Their scores.
    pub scores: Vec<Score>,
    /// The account of every row.
    pub ledger: Ledger,
}

/// Reads every export of a group. `tell`: bytes of the exports read since the last call, and all, packed as they are.
///
/// # Errors
/// A file cannot be read, does not fit its mapping, or holds direct identifiers.
pub fn read_group(group: &Group, tell: &(dyn Fn(u64, u64) + Sync)) -> Result<Intake, Problem> {
    let files = group.exports.iter().flat_map(|export| &export.files);
    let bytes: u64 = files.filter_map(|path| Some(std::fs::metadata(group.folder.join(path)).ok()?.len())).sum();
    let mut intake = Intake::default();
    for (place, export) in group.exports.iter().enumerate() {
        for (of_export, path) in export.files.iter().enumerate() {
            let shown = path.to_string_lossy().replace('\\', "/");
            let several = (export.files.len() > 1).then_some(of_export + 1);
            let label = label(place + 1, several, export.site.as_deref());
            let file = intake.files.add(shown, label).ok_or_else(|| {
                Problem::input("more than 65,535 export files")
                    .at(Spot::file("group.toml"))
                    .hint("join files, or make groups of fewer")
            })?;
            let full = group.folder.join(path);
            let site = export.site.as_deref();
            let tell = |read| tell(read, bytes);
            let read = read_file(group, &export.mapping, site, &full, file, &mut intake.names, &tell)?;
            if intake.rows.is_empty() {
                intake.rows = read.rows;
                intake.scores = read.scores;
            } else {
                let first_score = intake.scores.len() as u32;
                intake
                    .rows
                    .extend(read.rows.into_iter().map(|row| Row { scores_from: row.scores_from + first_score, ..row }));
                intake.scores.extend(read.scores);
            }
            intake.ledger.push(read.ledger);
        }
    }
    intake.names.sort(&mut intake.rows);
    Ok(intake)
}
