//! Export -> the rows of one file, in order of line, with its ledger.

use super::kept_names::KeptNames;
use super::ledger::FileLedger;
use super::match_columns::{Plan, plan};
use super::names::{NameList, Names};
use super::privacy::{self, Screen};
use super::quotes::quote_rule;
use super::read_block::{BlockRows, read_block};
use super::row::{NameId, Row, Score};
use crate::error::{Problem, Spot};
use crate::export::blocks::{Block, Blocks};
use crate::export::encoding::Utf8Reader;
use crate::export::head::Head;
use crate::export::open::{open_counted, read_problem};
use crate::export::place::FileId;
use crate::group::field::Field;
use crate::group::mapping::Mapping;
use crate::group::plain_text::{column_text, has_control};
use crate::group::settings::{Group, PatientKeys};
use rayon::prelude::*;
use std::path::Path;

/// The rows of one file; names are numbers of the run's lists.
#[derive(Default, Debug)]
pub struct FileRows {
    /// Rows in order of line.
    pub rows: Vec<Row>,
    /// Their scores.
    pub scores: Vec<Score>,
    /// The account so far: `kept` counts every row here until duplicates are taken out.
    pub ledger: FileLedger,
}

/// Reads one export through its mapping. `tell`: bytes of the file read since the last call.
///
/// # Errors
/// The file is not a table of text, its header does not fit the mapping, or it holds direct identifiers.
pub fn read_file(
    group: &Group,
    mapping: &Mapping,
    site: Option<&str>,
    path: &Path,
    file: FileId,
    names: &mut Names,
    tell: &(dyn Fn(u64) + Sync),
) -> Result<FileRows, Problem> {
    let shown = path.strip_prefix(&group.folder).unwrap_or(path);
    let (reader, bytes) = open_counted(path, shown, group.unpacked_limit)?;
    let reader = Utf8Reader::new(reader, mapping.form.encoding).map_err(|e| read_problem(shown, &e))?;
    let mut blocks = Blocks::new(reader, shown, mapping.form.delimiter);
    let head = blocks.head(mapping.form.skip_lines)?;
    let header = header_of(&head, mapping, shown)?;
    let plan = plan(group, mapping, site, &header, shown)?;
    let mut blocks = blocks.with_rule(quote_rule(&plan));
    privacy::screen_headers(&plan, shown)?;
    let first = blocks.next_block()?;
    let mut screen = Screen::new(&plan);
    if let Some(first) = &first {
        screen.observe(first);
    }
    screen.verdict(&plan, shown)?;

    let mut out = FileRows { ledger: file_ledger(&plan, &head), ..FileRows::default() };
    let at_once = 2 * rayon::current_num_threads();
    let mut batch: Vec<Block> = first.into_iter().collect();
    let mut understood: Vec<BlockRows> = Vec::new();
    let mut kept = KeptNames::default();
    let mut told = 0;
    while !(batch.is_empty() && understood.is_empty()) {
        // while these blocks are understood, the next are read from the disk and those before are joined
        let (now, next) = rayon::join(
            || batch.into_par_iter().map(|block| read_block(&plan, &block, file, group.as_of)).collect::<Vec<_>>(),
            || {
                let next = next_blocks(&mut blocks, at_once);
                understood.into_iter().for_each(|block| out.append(block, names, group.patient_keys, &mut kept));
                next
            },
        );
        understood = now;
        batch = next?;
        let so_far = bytes.so_far();
        tell(so_far - told);
        told = so_far;
    }
    kept.screened(&plan, names, shown)?.take_off(&mut out, &plan);
    out.ledger.kept = out.rows.len() as u64;
    out.ledger.lines = blocks.lines();
    Ok(out)
}

fn next_blocks(blocks: &mut Blocks<'_>, most: usize) -> Result<Vec<Block>, Problem> {
    let mut out = Vec::with_capacity(most);
    while out.len() < most {
        match blocks.next_block()? {
            Some(block) => out.push(block),
            None => break,
        }
    }
    Ok(out)
}

fn file_ledger(plan: &Plan<'_>, head: &Head) -> FileLedger {
    FileLedger {
        lines_of_head: head.lines,
        lines_blank: head.blank_lines,
        header: plan.header.clone(),
        dropped: plan.dropped.clone(),
        unmapped: plan.unmapped.clone(),
        calendar: plan.fields.iter().any(|f| f.field == Field::Date),
        ..FileLedger::default()
    }
}

/// The names of the columns.
fn header_of(head: &Head, mapping: &Mapping, shown: &Path) -> Result<Vec<String>, Problem> {
    let header: Vec<String> = head.cells.iter().map(|cell| column_text(cell)).collect();
    let spot = || Spot::line(shown, head.line);
    if header.len() > usize::from(u16::MAX) {
        return Err(Problem::input("the header has more than 65,535 columns")
            .at(spot())
            .hint("check the delimiter under [file] in the mapping"));
    }
    if let Some(at) = header.iter().position(|text| has_control(text)) {
        return Err(Problem::input(format!("the name of column {} holds a control character", at + 1))
            .at(spot())
            .hint("take it out of the header, and export again"));
    }
    let names_of = |text: &str| mapping.columns().any(|name| name.text == text);
    let swallowed = head.cells.iter().zip(&header).position(|(cell, text)| {
        // a stray quote in the header would swallow rows; a name that the mapping knows has none in it
        let inner = cell.trim_matches([' ', '\t', '\u{feff}']);
        let is_whole = !inner.starts_with(['\n', '\r']) && !inner.ends_with(['\n', '\r']) && names_of(text);
        cell.contains(['\n', '\r']) && !is_whole
    });
    match swallowed {
        None => Ok(header),
        Some(at) => Err(Problem::input(format!("the name of column {} runs over several lines", at + 1)).at(spot()).hint(
            "take a stray quotation mark out of the header; if the name does so, write it into the mapping on one line, \
             under [ignore] if it is not needed",
        )),
    }
}

impl FileRows {
    /// Joins the next block: its names become the run's, its scores this file's.
    fn append(&mut self, block: BlockRows, names: &mut Names, keys: PatientKeys, kept: &mut KeptNames) {
        self.take_account(&block);
        let BlockRows { rows, scores, names: own, .. } = block;
        let to = Translation::new(&own, names, keys, &rows);
        to.note(kept);
        let first_score = self.scores.len() as u32;
        self.rows.reserve(rows.len());
        for mut row in rows {
            row.patient = to.patient(&row);
            row.site = Translation::of(&to.sites, row.site);
            row.clinician = row.clinician.map(|id| Translation::of(&to.clinicians, id));
            row.table = row.table.map(|id| Translation::of(&to.tables, id));
            row.episode = row.episode.map(|id| Translation::of(&to.episodes, id));
            row.icd10 = row.icd10.map(|id| Translation::of(&to.codes, id));
            row.scores_from += first_score;
            self.rows.push(row);
        }
        self.scores.extend(scores);
    }

    fn take_account(&mut self, block: &BlockRows) {
        self.ledger.read += block.read;
        self.ledger.lines_blank += block.blank_lines;
        self.ledger.lines_in_cells.merge(&block.lines_in_cells);
        self.ledger.rejected.merge(&block.rejected);
        self.ledger.blanks.merge(&block.blanks);
    }
}

/// A block's numbers of names -> the run's.
struct Translation {
    patients: Vec<NameId>,
    patients_by_site: std::collections::HashMap<(NameId, NameId), NameId>,
    sites: Vec<NameId>,
    clinicians: Vec<NameId>,
    tables: Vec<NameId>,
    episodes: Vec<NameId>,
    codes: Vec<NameId>,
}

impl Translation {
    fn new(own: &Names, run: &mut Names, keys: PatientKeys, rows: &[Row]) -> Self {
        let list = |from: &NameList, to: &mut NameList| from.iter().filter_map(|(_, name)| to.intern(name)).collect();
        let mut patients_by_site = std::collections::HashMap::new();
        let mut patients = Vec::new();
        match keys {
            PatientKeys::Group => patients = list(&own.patients, &mut run.patients),
            PatientKeys::Site => {
                for row in rows {
                    patients_by_site.entry((row.site, row.patient)).or_insert_with(|| {
                        let key = format!("{}/{}", own.sites.get(row.site), own.patients.get(row.patient));
                        run.patients.intern(&key).unwrap_or(row.patient)
                    });
                }
            }
        }
        Self {
            patients,
            patients_by_site,
            sites: list(&own.sites, &mut run.sites),
            clinicians: list(&own.clinicians, &mut run.clinicians),
            tables: list(&own.tables, &mut run.tables),
            episodes: list(&own.episodes, &mut run.episodes),
            codes: list(&own.codes, &mut run.codes),
        }
    }

    /// The names of the block are the file's.
    fn note(&self, kept: &mut KeptNames) {
        kept.add(Field::Patient, self.patients.iter().chain(self.patients_by_site.values()).copied());
        kept.add(Field::Site, self.sites.iter().copied());
        kept.add(Field::Clinician, self.clinicians.iter().copied());
        kept.add(Field::Table, self.tables.iter().copied());
        kept.add(Field::Episode, self.episodes.iter().copied());
    }

    fn of(list: &[NameId], id: NameId) -> NameId {
        list.get(id.0.get() as usize - 1).copied().unwrap_or(id)
    }

    fn patient(&self, row: &Row) -> NameId {
        match self.patients_by_site.get(&(row.site, row.patient)) {
            Some(id) => *id,
            None => Self::of(&self.patients, row.patient),
        }
    }
}
