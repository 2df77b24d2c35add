//! Export -> the rows of one file, in order of line, with its ledger.

use super::ledger::{Blanks, FileLedger, Rejected};
use super::match_columns::{Plan, plan};
use super::names::{NameList, Names};
use super::privacy::{self, Screen};
use super::read_block::{BlockRows, read_block};
use super::row::{NameId, Row, Score};
use crate::error::{Problem, Spot};
use crate::export::blocks::{Block, Blocks};
use crate::export::encoding::Utf8Reader;
use crate::export::open::{open_counted, read_problem};
use crate::export::place::FileId;
use crate::export::records::Records;
use crate::group::field::Field;
use crate::group::mapping::Mapping;
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
    let (reader, bytes) = open_counted(path, shown)?;
    let reader = Utf8Reader::new(reader, mapping.form.encoding).map_err(|e| read_problem(shown, &e))?;
    let mut blocks = Blocks::new(reader, shown, mapping.form.delimiter);

    let first = blocks.next_block()?.ok_or_else(|| {
        Problem::input("the file is empty").at(Spot::file(shown)).hint("export it again, or take it out of `files`")
    })?;
    let (header, first) = split_header(first, mapping, shown)?;
    let plan = plan(group, mapping, site, &header, shown)?;
    privacy::screen_headers(&plan, shown)?;
    let mut screen = Screen::new(&plan);
    screen.observe(&first);
    screen.verdict(&plan, shown)?;

    let mut out = FileRows { ledger: file_ledger(&plan), ..FileRows::default() };
    let at_once = 2 * rayon::current_num_threads();
    let mut batch = vec![first];
    let mut understood: Vec<BlockRows> = Vec::new();
    let mut told = 0;
    while !(batch.is_empty() && understood.is_empty()) {
        // while these blocks are understood, the next are read from the disk and those before are joined
        let (now, next) = rayon::join(
            || batch.into_par_iter().map(|block| read_block(&plan, &block, file, group.as_of)).collect::<Vec<_>>(),
            || {
                let next = next_blocks(&mut blocks, at_once);
                understood.into_iter().for_each(|block| out.append(block, names, group.patient_keys));
                next
            },
        );
        understood = now;
        batch = next?;
        let so_far = bytes.so_far();
        tell(so_far - told);
        told = so_far;
    }
    out.ledger.kept = out.rows.len() as u64;
    Ok(out)
}

fn next_blocks(blocks: &mut Blocks, most: usize) -> Result<Vec<Block>, Problem> {
    let mut out = Vec::with_capacity(most);
    while out.len() < most {
        match blocks.next_block()? {
            Some(block) => out.push(block),
            None => break,
        }
    }
    Ok(out)
}

fn file_ledger(plan: &Plan<'_>) -> FileLedger {
    FileLedger {
        header: plan.header.clone(),
        dropped: plan.dropped.clone(),
        unmapped: plan.unmapped.iter().filter_map(|i| plan.header.get(usize::from(*i)).cloned()).collect(),
        calendar: plan.fields.iter().any(|f| f.field == Field::Date),
        ..FileLedger::default()
    }
}

/// Takes the lines before the header and the header itself off the first block.
fn split_header(block: Block, mapping: &Mapping, shown: &Path) -> Result<(Vec<String>, Block), Problem> {
    let skip = skipped(&block.bytes, mapping.form.skip_lines);
    let text = block.bytes.get(skip..).unwrap_or_default();
    if looks_binary(text) {
        return Err(Problem::input("this is not a table of text")
            .at(Spot::file(shown))
            .hint("export as CSV; a spreadsheet or a database file cannot be read"));
    }
    let first_line = block.first_line + u64::from(mapping.form.skip_lines);
    let mut records = Records::of_text(text, first_line, mapping.form.delimiter);
    let Some(record) = records.next_record() else {
        return Err(Problem::input("the file holds no header").at(Spot::file(shown)).hint("export it again"));
    };
    let header: Vec<String> = record
        .iter()
        .map(|cell| String::from_utf8_lossy(cell).trim().trim_start_matches('\u{feff}').to_owned())
        .collect();
    if header.len() > usize::from(u16::MAX) {
        return Err(Problem::input("the header has more than 65,535 columns")
            .at(Spot::line(shown, first_line))
            .hint("check the delimiter under [file] in the mapping"));
    }
    let (rest, line) = records.position();
    let rest = text.len() - rest;
    let bytes = text.get(rest..).unwrap_or_default().to_vec();
    Ok((header, Block { bytes, first_line: line }))
}

fn skipped(bytes: &[u8], lines: u32) -> usize {
    let mut at = 0;
    for _ in 0..lines {
        match memchr::memchr(b'\n', bytes.get(at..).unwrap_or_default()) {
            Some(i) => at += i + 1,
            None => return bytes.len(),
        }
    }
    at
}

/// A header with control characters is no header: a spreadsheet, a picture, a database.
fn looks_binary(text: &[u8]) -> bool {
    let line = text.split(|b| matches!(b, b'\n' | b'\r')).find(|line| !line.is_empty()).unwrap_or_default();
    line.iter().any(|b| *b < 0x20 && *b != b'\t')
}

impl FileRows {
    /// Joins the next block: its names become the run's, its scores this file's.
    fn append(&mut self, block: BlockRows, names: &mut Names, keys: PatientKeys) {
        let BlockRows { rows, scores, names: own, rejected, blanks, read } = block;
        let to = Translation::new(&own, names, keys, &rows);
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
        self.take_account(read, rejected, &blanks);
    }

    fn take_account(&mut self, read: u64, mut rejected: Vec<Rejected>, blanks: &Blanks) {
        self.ledger.read += read;
        self.ledger.rejected.append(&mut rejected);
        self.ledger.blanks.merge(blanks);
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
