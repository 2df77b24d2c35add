//! The privacy gate: no direct identifier is read past here.
//!
//! Headers are screened before anything else, then the cells of every column that is not dropped, on
//! the file's first block; after each file every distinct name that was kept of it (`kept_names.rs`).
//! Other columns pass as checked numbers, dates and known words only, so nothing else can carry an
//! identifier. Values are never shown.

use super::match_columns::Plan;
use crate::catalogue::identifiers::{IdentifierKind, ValueScreen, screen_header};
use crate::error::{Exit, Problem, Spot};
use crate::export::blocks::Block;
use crate::export::records::Records;
use crate::group::field::Field;
use std::path::Path;

/// Records of a file's first block that are looked at.
const SCREENED_RECORDS: usize = 5_000;

/// Screens the headers of the columns that the mapping does not drop.
///
/// # Errors
/// A header names a direct identifier. The patient key's own header may: its values are screened instead.
pub fn screen_headers(plan: &Plan<'_>, shown: &Path) -> Result<(), Problem> {
    let found: Vec<(&str, IdentifierKind)> = plan
        .screened
        .iter()
        .filter(|column| !is_key_column(plan, **column))
        .filter_map(|column| {
            let text = plan.header.get(usize::from(*column))?;
            Some((text.as_str(), screen_header(text)?))
        })
        .collect();
    refuse(&found, shown)
}

/// Columns whose mapping says what they are: a patient's key, and the codes of clinicians, tables and sites.
fn is_key_column(plan: &Plan<'_>, column: u16) -> bool {
    plan.fields.iter().any(|f| {
        f.column() == column
            && matches!(f.field, Field::Patient | Field::Clinician | Field::Table | Field::Site | Field::Episode)
    })
}

/// Screens cells column by column.
pub struct Screen {
    columns: Vec<(u16, ValueScreen)>,
    delimiter: u8,
}

impl Screen {
    /// One screen a column that the mapping does not drop.
    pub fn new(plan: &Plan<'_>) -> Self {
        Self {
            columns: plan.screened.iter().map(|column| (*column, ValueScreen::default())).collect(),
            delimiter: plan.mapping.form.delimiter,
        }
    }

    /// Looks at the first records of a block.
    pub fn observe(&mut self, block: &Block) {
        let mut records = Records::new(block, self.delimiter);
        for _ in 0..SCREENED_RECORDS {
            let Some(record) = records.next_record() else { break };
            for (column, screen) in &mut self.columns {
                screen.observe(record.get(usize::from(*column)).trim_ascii());
            }
        }
    }

    /// # Errors
    /// A column's cells look like a direct identifier.
    pub fn verdict(&self, plan: &Plan<'_>, shown: &Path) -> Result<(), Problem> {
        let found: Vec<(&str, IdentifierKind)> = self
            .columns
            .iter()
            .filter_map(|(column, screen)| {
                let text = plan.header.get(usize::from(*column))?;
                Some((text.as_str(), screen.finding()?))
            })
            .collect();
        refuse(&found, shown)
    }
}

fn refuse(found: &[(&str, IdentifierKind)], shown: &Path) -> Result<(), Problem> {
    if found.is_empty() {
        return Ok(());
    }
    let list: Vec<String> = found.iter().map(|(column, kind)| format!("'{column}' ({})", kind.label())).collect();
    let what = match found.len() {
        1 => format!("a column looks like a direct identifier: {}", list.join(", ")),
        n => format!("{n} columns look like direct identifiers: {}", list.join(", ")),
    };
    Err(refusal(what).at(Spot::file(shown)).hint(
        "take the columns out of the export, or name them under [drop] in the mapping; for a patient key use mendcurve pseudonymise",
    ))
}

/// A refusal of the gate.
pub(super) fn refusal(what: String) -> Problem {
    Problem { exit: Exit::PrivacyGate, ..Problem::input(what) }
}
