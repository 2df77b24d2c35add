//! The privacy gate on what is about to be written: the headers and cells of every column that is kept.

use super::columns::{Action, Columns};
use crate::catalogue::identifiers::{IdentifierKind, NameRole, ValueScreen, screen_header, suspicious};
use crate::error::{Problem, Spot};
use crate::group::field::Field;
use crate::rows::draft_mapping::fields_called;
use crate::rows::privacy::refusal;
use std::collections::BTreeMap;
use std::path::Path;

/// Screens the columns of the result that are neither keys nor left out.
pub(super) struct OutputGate {
    columns: Vec<Option<Screened>>,
}

/// One column.
struct Screened {
    header: String,
    by_header: Option<IdentifierKind>,
    values: ValueScreen,
    /// What its names stand for, if the header says so.
    role: Option<NameRole>,
    /// Distinct cells and the line each stands on first, of columns of names.
    names: BTreeMap<String, u64>,
}

impl OutputGate {
    /// A gate for the columns of a header.
    pub fn new(columns: &Columns) -> Result<Self, Problem> {
        let fields = fields_called(&columns.header)?;
        let kept = columns.header.iter().zip(&columns.actions).zip(fields).map(|((header, action), field)| {
            matches!(action, Action::Keep | Action::Date).then(|| Screened {
                header: header.clone(),
                by_header: screen_header(header),
                values: ValueScreen::default(),
                role: field.filter(|_| *action == Action::Keep).and_then(role_of),
                names: BTreeMap::new(),
            })
        });
        Ok(Self { columns: kept.collect() })
    }

    /// Looks at a cell as it is written.
    pub fn observe(&mut self, column: usize, cell: &str, line: u64) {
        let cell = cell.trim();
        let Some(Some(screened)) = self.columns.get_mut(column) else { return };
        screened.values.observe(cell.as_bytes());
        if screened.role.is_some() && !cell.is_empty() && !screened.names.contains_key(cell) {
            screened.names.insert(cell.to_owned(), line);
        }
    }

    /// # Errors
    /// A column still holds direct identifiers.
    pub fn verdict(&self, path: &Path) -> Result<(), Problem> {
        let found: Vec<String> = self.columns.iter().flatten().filter_map(Screened::finding).collect();
        match found.as_slice() {
            [] => Ok(()),
            found => Err(refusal(format!("the result would still hold direct identifiers: {}", found.join(", ")))
                .at(Spot::file(path))
                .hint("name the columns under --drop, or under --key-columns where their cells are keys or codes")),
        }
    }
}

impl Screened {
    fn finding(&self) -> Option<String> {
        if let Some(kind) = self.by_header.or_else(|| self.values.finding()) {
            return Some(format!("'{}' ({})", self.header, kind.label()));
        }
        let names: Vec<&str> = self.names.keys().map(String::as_str).collect();
        let (first, kind) = suspicious(&names, self.role?).into_iter().next()?;
        let line = names.get(first).and_then(|name| self.names.get(*name))?;
        Some(format!("'{}' (line {line}: {})", self.header, kind.label()))
    }
}

fn role_of(field: Field) -> Option<NameRole> {
    match field {
        Field::Patient => Some(NameRole::Patient),
        Field::Episode => Some(NameRole::Episode),
        Field::Clinician => Some(NameRole::Clinician),
        Field::Table => Some(NameRole::Table),
        Field::Site => Some(NameRole::Site),
        _ => None,
    }
}
