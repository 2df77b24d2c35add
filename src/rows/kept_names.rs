//! The privacy gate's last look: every distinct name kept of a file (patients' keys, clinicians, tables, labels, sites).
//!
//! A few names that look like direct identifiers are slips: somebody typed a name where a key belongs. What stands on their
//! rows under that name is not kept: without its patient or site a row is rejected, any other cell blanked, and both are
//! counted with their lines, so that a slip costs a monthly report one row and not the run. As many as one name in 200,
//! or half of a short list, are the way the file is written: then the run stops, since the export is what must be mended.

use super::ledger::Rejected;
use super::match_columns::{CellSource, FieldPlan, Plan};
use super::names::{NameList, Names};
use super::privacy::refusal;
use super::read_file::FileRows;
use super::reason::Reason;
use super::row::{NameId, Row};
use crate::catalogue::identifiers::{IdentifierKind, NameRole, suspicious};
use crate::error::{Problem, Spot};
use crate::group::field::Field;
use crate::group::settings::PatientKeys;
use std::path::Path;

/// Fewer identifiers among many names are slips.
const FEWEST_TO_STOP: usize = 3;
/// One identifier in so many names is no slip.
const NAMES_A_SLIP: usize = 200;

/// Numbers of names of one list.
#[derive(Clone, Default, Debug)]
struct Marks(Vec<bool>);

impl Marks {
    fn add(&mut self, id: NameId) {
        let at = id.0.get() as usize;
        if self.0.len() <= at {
            self.0.resize(at + 1, false);
        }
        if let Some(mark) = self.0.get_mut(at) {
            *mark = true;
        }
    }

    fn has(&self, id: NameId) -> bool {
        self.0.get(id.0.get() as usize).copied().unwrap_or(false)
    }
}

/// The names met in one file, by their numbers in the run's lists.
#[derive(Clone, Default, Debug)]
pub struct KeptNames {
    patients: Marks,
    sites: Marks,
    clinicians: Marks,
    tables: Marks,
    episodes: Marks,
}

impl KeptNames {
    /// Adds the names of one field.
    pub fn add(&mut self, field: Field, ids: impl IntoIterator<Item = NameId>) {
        if let Some(marks) = self.of_mut(field) {
            ids.into_iter().for_each(|id| marks.add(id));
        }
    }

    fn of_mut(&mut self, field: Field) -> Option<&mut Marks> {
        match field {
            Field::Patient => Some(&mut self.patients),
            Field::Site => Some(&mut self.sites),
            Field::Clinician => Some(&mut self.clinicians),
            Field::Table => Some(&mut self.tables),
            Field::Episode => Some(&mut self.episodes),
            _ => None,
        }
    }

    fn of(&self, field: Field) -> Option<&Marks> {
        match field {
            Field::Patient => Some(&self.patients),
            Field::Site => Some(&self.sites),
            Field::Clinician => Some(&self.clinicians),
            Field::Table => Some(&self.tables),
            Field::Episode => Some(&self.episodes),
            _ => None,
        }
    }

    /// The names that look like direct identifiers, if they are slips.
    ///
    /// # Errors
    /// They are too many to be slips.
    pub fn screened(&self, plan: &Plan<'_>, names: &Names, shown: &Path) -> Result<Self, Problem> {
        let mut slips = Self::default();
        for field in [Field::Patient, Field::Site, Field::Clinician, Field::Table, Field::Episode] {
            let rule = plan.fields.iter().find(|rule| rule.field == field);
            let (Some(marks), Some(rule)) = (self.of(field), rule) else { continue };
            let list = list_of(names, field);
            let (ids, texts): (Vec<NameId>, Vec<&str>) = list
                .iter()
                .filter(|(id, name)| marks.has(*id) && !is_declared(rule, name))
                .map(|(id, name)| (id, if field == Field::Patient { own_key(name, names, plan) } else { name }))
                .unzip();
            let found = suspicious(&texts, role_of(field));
            if found.len() * 2 >= ids.len() && !found.is_empty()
                || found.len() >= FEWEST_TO_STOP && found.len() * NAMES_A_SLIP >= ids.len()
            {
                return Err(stop(field, rule, plan, &found, ids.len()).at(Spot::file(shown)));
            }
            slips.add(field, found.into_iter().filter_map(|(at, _)| ids.get(at).copied()));
        }
        Ok(slips)
    }

    fn is_empty(&self) -> bool {
        [&self.patients, &self.sites, &self.clinicians, &self.tables, &self.episodes]
            .iter()
            .all(|marks| marks.0.is_empty())
    }

    /// Takes these names off a file's rows.
    pub fn take_off(&self, file: &mut FileRows, plan: &Plan<'_>) {
        if self.is_empty() {
            return;
        }
        let column = |field: Field| plan.fields.iter().find(|rule| rule.field == field).map(FieldPlan::column);
        let mut scores = Vec::with_capacity(file.scores.len());
        let mut rows: Vec<Row> = Vec::with_capacity(file.rows.len());
        for mut row in std::mem::take(&mut file.rows) {
            let at_fault = [(Field::Patient, self.patients.has(row.patient)), (Field::Site, self.sites.has(row.site))];
            if let Some((field, _)) = at_fault.into_iter().find(|(_, slipped)| *slipped) {
                let rejected = Rejected { place: row.place, column: column(field), reason: Reason::MayIdentify };
                file.ledger.rejected.add(rejected);
                continue;
            }
            let cells = [
                (Field::Clinician, &self.clinicians, &mut row.clinician),
                (Field::Table, &self.tables, &mut row.table),
                (Field::Episode, &self.episodes, &mut row.episode),
            ];
            for (field, marks, cell) in cells {
                if cell.is_some_and(|id| marks.has(id)) {
                    *cell = None;
                    file.ledger.blanks.add(column(field).unwrap_or_default(), Reason::MayIdentify, row.place.line);
                }
            }
            let from = row.scores_from as usize;
            let own = file.scores.get(from..from + usize::from(row.scores_len)).unwrap_or_default();
            row.scores_from = scores.len() as u32;
            scores.extend_from_slice(own);
            rows.push(row);
        }
        (file.rows, file.scores) = (rows, scores);
    }
}

fn list_of(names: &Names, field: Field) -> &NameList {
    match field {
        Field::Patient => &names.patients,
        Field::Site => &names.sites,
        Field::Clinician => &names.clinicians,
        Field::Table => &names.tables,
        _ => &names.episodes,
    }
}

fn role_of(field: Field) -> NameRole {
    match field {
        Field::Patient => NameRole::Patient,
        Field::Site => NameRole::Site,
        Field::Clinician => NameRole::Clinician,
        Field::Table => NameRole::Table,
        _ => NameRole::Episode,
    }
}

/// A name that the mapping itself gives, as a fixed text or before the = of a word list, is the group's own choice.
fn is_declared(rule: &FieldPlan<'_>, name: &str) -> bool {
    let fixed = matches!(rule.source, CellSource::Fixed(text) if text == name.as_bytes());
    fixed || rule.words.iter().any(|(_, canonical)| canonical == name)
}

/// The key as the export writes it: where keys are a site's own, the run's list has the site before them.
fn own_key<'n>(name: &'n str, names: &Names, plan: &Plan<'_>) -> &'n str {
    match plan.group.patient_keys {
        PatientKeys::Group => name,
        PatientKeys::Site => {
            let keys = names.sites.iter().filter_map(|(_, site)| name.strip_prefix(site)?.strip_prefix('/'));
            keys.min_by_key(|key| key.len()).unwrap_or(name)
        }
    }
}

fn stop(field: Field, rule: &FieldPlan<'_>, plan: &Plan<'_>, found: &[(usize, IdentifierKind)], of: usize) -> Problem {
    // the kind most of them have
    let mut kinds: Vec<IdentifierKind> = found.iter().map(|(_, kind)| *kind).collect();
    kinds.sort_unstable();
    let most = kinds.chunk_by(|a, b| a == b).max_by_key(|chunk| chunk.len()).and_then(|chunk| chunk.first());
    let header = plan.header.get(usize::from(rule.column())).map_or("", String::as_str);
    let what = format!(
        "{} of the {of} names read as `{field}` (column '{header}') look like direct identifiers, most like {}",
        found.len(),
        most.map_or("one", |kind| kind.label())
    );
    refusal(what).hint(match field {
        Field::Patient => "replace them by opaque keys at the clinic: mendcurve pseudonymise --key-columns",
        _ => {
            "write codes instead, as mendcurve pseudonymise --key-columns does; a name that is no person's may be declared in \
             the mapping, before the = under [words.FIELD]"
        }
    })
}
