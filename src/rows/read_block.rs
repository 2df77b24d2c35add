//! Block -> rows: every record becomes a [`Row`] with its scores, or a counted rejection.
//!
//! Blocks are read side by side, each with its own short lists of names; the file joins them in order.

use super::cell::Cell;
use super::codes::Cache;
use super::fields::Draft;
use super::ledger::{Blanks, InCell, Rejected};
use super::match_columns::{CellSource, Plan, ReadingPlan, ScorePlan};
use super::names::Names;
use super::reason::Reason;
use super::row::{Answers, Row, Score};
use super::told::{Capped, Rejections};
use super::when::{Quarter, When};
use crate::catalogue::MeasureId;
use crate::export::blocks::Block;
use crate::export::place::{FileId, Place};
use crate::export::records::{Record, Records};
use crate::group::field::Field;
use crate::group::mapping::ScoreKind;

/// What one block gave.
#[derive(Default, Debug)]
pub struct BlockRows {
    /// The rows; names are numbers of this block's own lists, scores of this block's own scores.
    pub rows: Vec<Row>,
    /// Their scores.
    pub scores: Vec<Score>,
    /// This block's names.
    pub names: Names,
    /// Rejected rows.
    pub rejected: Rejections,
    /// Blanked cells.
    pub blanks: Blanks,
    /// Records read.
    pub read: u64,
    /// Blank lines.
    pub blank_lines: u64,
    /// Lines on which a record goes on.
    pub lines_in_cells: Capped<InCell>,
}

/// Reads the records of a block. The header is not among them.
pub fn read_block(plan: &Plan<'_>, block: &Block, file: FileId, as_of: chrono::NaiveDate) -> BlockRows {
    let mut records = Records::new(block, plan.mapping.form.delimiter);
    let mut reader = BlockReader { plan, as_of, out: BlockRows::default(), cache: Cache::default() };
    while let Some(record) = records.next_record() {
        reader.out.read += 1;
        let place = |line: u64| Place { file, line: u32::try_from(line).unwrap_or(u32::MAX) };
        let first = place(record.line);
        for line in record.line + 1..record.line + record.lines {
            reader.out.lines_in_cells.add(InCell { place: place(line), row_line: first.line });
        }
        if let Err((column, reason)) = reader.read_record(&record, first) {
            reader.out.rejected.add(Rejected { place: first, column, reason });
        }
    }
    reader.out.blank_lines = records.blank_lines();
    reader.out
}

struct BlockReader<'p, 'g> {
    plan: &'p Plan<'g>,
    as_of: chrono::NaiveDate,
    out: BlockRows,
    cache: Cache,
}

type Fault = (Option<u16>, Reason);

impl BlockReader<'_, '_> {
    fn read_record(&mut self, record: &Record<'_>, place: Place) -> Result<(), Fault> {
        let plan = self.plan;
        if let Some(column) = record.stray {
            return Err((u16::try_from(column).ok(), Reason::StrayQuote));
        }
        if record.has_nul() {
            return Err((None, Reason::NulByte));
        }
        if record.len() != plan.width {
            return Err((None, Reason::FieldCount));
        }
        if is_header(record, &plan.header) {
            return Err((None, Reason::RepeatedHeader));
        }
        for (column, only) in &plan.keep {
            let cell = clean(record.get(usize::from(*column)));
            if !only.iter().any(|wanted| wanted.as_bytes() == cell) {
                return Err((Some(*column), Reason::LeftOut));
            }
        }

        let mut draft = Draft::default();
        for field in &plan.fields {
            let text = match field.source {
                CellSource::Column(column) => clean(record.get(usize::from(column))),
                CellSource::Fixed(text) => text,
            };
            if text.is_empty() || field.missing.contains(&text) {
                continue;
            }
            let cell = Cell { text, field, plan, record };
            if let Err(reason) = draft.read(&cell, &mut self.out.names, &mut self.cache, self.as_of) {
                // a row without its site would be another site's
                let rejects = field.field.is_required() || field.field == Field::Site;
                if rejects || reason == Reason::NameTooLong {
                    return Err((Some(field.column()), reason));
                }
                self.out.blanks.add(field.column(), reason, place.line);
            }
        }

        let patient = draft.patient.ok_or((plan.patient_column, Reason::RequiredMissing))?;
        let when = self.when(&draft)?;
        let site = match (draft.site, plan.site) {
            (Some(site), _) => site,
            (None, Some(site)) => self.out.names.sites.intern(site).ok_or((None, Reason::RequiredMissing))?,
            (None, None) => return Err((self.column_of(Field::Site), Reason::RequiredMissing)),
        };
        self.codes(&mut draft, when, place);

        let scores_from = self.out.scores.len() as u32;
        if let Some(readings) = &plan.readings {
            self.reading(readings, record, place)?;
        }
        for score in &plan.scores {
            self.score(score, record, place);
        }
        let scores_len = (self.out.scores.len() as u32 - scores_from).min(255) as u8;
        self.out.rows.push(Row {
            place,
            site,
            patient,
            when,
            episode: draft.episode,
            clinician: draft.clinician,
            table: draft.table,
            visit_no: draft.visit_no,
            is_visit: plan.mapping.form.treated,
            attended: draft.attended,
            condition: draft.condition,
            icd10: draft.icd10,
            caution: draft.caution,
            dose: draft.dose,
            setup: draft.setup,
            facts: draft.facts(),
            scores_from,
            scores_len,
        });
        Ok(())
    }

    fn column_of(&self, field: Field) -> Option<u16> {
        self.plan.fields.iter().find(|f| f.field == field).map(|f| f.column())
    }

    fn when(&self, draft: &Draft) -> Result<When, Fault> {
        if let Some(date) = draft.date {
            return Ok(When::calendar(date));
        }
        match draft.day {
            Some(_) if Quarter::of(self.as_of).is_some_and(|last| draft.quarter > Some(last)) => {
                Err((self.column_of(Field::Quarter), Reason::DateInFuture))
            }
            Some(day) => Ok(When::Offset { day, quarter: draft.quarter }),
            None => Err((self.column_of(Field::Date).or(self.column_of(Field::Day)), Reason::RequiredMissing)),
        }
    }

    /// The codes cell is read last: which codes were valid depends on the day.
    fn codes(&mut self, draft: &mut Draft, when: When, place: Place) {
        let (Some(id), Some(column)) = (draft.icd10, self.column_of(Field::Icd10)) else { return };
        let cell = self.cache.codes(&self.plan.group.conditions, self.out.names.codes.get(id), when);
        draft.caution |= cell.caution;
        if draft.condition.is_none() {
            draft.condition = cell.condition;
        }
        if cell.not_valid > 0 {
            self.out.blanks.add(column, Reason::CodeNotValid, place.line);
        }
        if cell.condition.is_none() && !cell.caution {
            self.out.blanks.add(column, Reason::UnknownCode, place.line);
        }
    }

    fn reading(&mut self, readings: &ReadingPlan<'_>, record: &Record<'_>, place: Place) -> Result<(), Fault> {
        let name = clean(record.get(usize::from(readings.measure_column)));
        if name.is_empty() {
            return Ok(()); // a visit without a reading
        }
        let kind = readings.kinds.get(name).ok_or((Some(readings.measure_column), Reason::UnknownMeasure))?;
        if let Some(kind) = kind {
            self.whole(kind, readings.value_column, record, place);
        }
        Ok(())
    }

    fn score(&mut self, score: &ScorePlan<'_>, record: &Record<'_>, place: Place) {
        match score.columns.as_slice() {
            [column] if !score.items => self.whole(score.kind, *column, record, place),
            columns => self.items(score.kind, columns, record, place),
        }
    }

    fn whole(&mut self, kind: &ScoreKind, column: u16, record: &Record<'_>, place: Place) {
        let cell = clean(record.get(usize::from(column)));
        if cell.is_empty() || self.is_missing(cell) {
            return;
        }
        let written = word_or_number(self.plan, kind, cell);
        let measure = self.plan.group.measures.get(kind.measure);
        match written.map(|x| x * kind.factor + kind.offset) {
            Some(value) if measure.contains(value) => {
                self.out.scores.push(Score::new(kind.measure, kind.pain_site, Answers::Value(value)));
            }
            Some(_) => self.out.blanks.add(column, Reason::ScoreOutsideScale, place.line),
            None => self.out.blanks.add(column, Reason::NotANumber, place.line),
        }
    }

    fn items(&mut self, kind: &ScoreKind, columns: &[u16], record: &Record<'_>, place: Place) {
        let most = self.item_max(kind.measure);
        let (mut sum, mut answered) = (0.0, 0u8);
        for column in columns {
            let cell = clean(record.get(usize::from(*column)));
            if cell.is_empty() || self.is_missing(cell) {
                continue;
            }
            match word_or_number(self.plan, kind, cell) {
                Some(item) if (0.0..=most).contains(&item) => {
                    sum += item as f32;
                    answered = answered.saturating_add(1);
                }
                Some(_) => self.out.blanks.add(*column, Reason::ItemOutsideRange, place.line),
                None => self.out.blanks.add(*column, Reason::NotANumber, place.line),
            }
        }
        if answered > 0 {
            let asked = columns.len().min(255) as u8;
            let answers = Answers::Items { sum, answered, asked };
            self.out.scores.push(Score::new(kind.measure, kind.pain_site, answers));
        }
    }

    fn item_max(&self, measure: MeasureId) -> f64 {
        self.plan.group.measures.get(measure).items.as_ref().map_or(0.0, |items| items.item_max)
    }

    fn is_missing(&self, cell: &[u8]) -> bool {
        self.plan.mapping.form.missing.iter().any(|text| text.as_bytes() == cell)
    }
}

/// A cell without the spaces round it and without byte-order marks from files joined end to end.
pub(super) fn clean(cell: &[u8]) -> &[u8] {
    const MARK: &[u8] = "\u{feff}".as_bytes();
    const NO_BREAK_SPACE: &[u8] = "\u{a0}".as_bytes();
    let mut cell = cell.trim_ascii();
    // the common case has only ASCII at both ends
    while let Some(rest) =
        cell.strip_prefix(MARK).or(cell.strip_prefix(NO_BREAK_SPACE)).or(cell.strip_suffix(NO_BREAK_SPACE))
    {
        cell = rest.trim_ascii();
    }
    cell
}

fn is_header(record: &Record<'_>, header: &[String]) -> bool {
    // one comparison settles it for almost every row
    header.first().is_some_and(|first| clean(record.get(0)) == first.as_bytes())
        && header.iter().enumerate().all(|(i, text)| clean(record.get(i)) == text.as_bytes())
}

fn word_or_number(plan: &Plan<'_>, kind: &ScoreKind, cell: &[u8]) -> Option<f64> {
    if !kind.words.is_empty() {
        let text = std::str::from_utf8(cell).ok()?.to_lowercase();
        if let Some((_, number)) = kind.words.iter().find(|(word, _)| *word == text) {
            return Some(*number);
        }
    }
    plan.numbers.read(cell)
}
