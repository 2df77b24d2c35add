//! What each column is used for.

use super::aliases::likeness;
use super::column::Column;
use super::fields::{self, Confidence, FieldGuess, Known};
use super::long_form::{self, LongForm};
use super::scores::{self, ScoreGuess};
use crate::catalogue::Measures;
use crate::catalogue::identifiers::screen_header;
use crate::group::field::{Field, Kind};
use crate::rows::number::NumberForm;
use crate::units::{Dimension, Unit};
use chrono::Datelike;

/// The use of one column.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum Use {
    /// Fills a field.
    Field(Field, Confidence),
    /// Holds a score, or an item of it: a position in the plan's scores.
    Score(usize),
    /// Names the measure of a reading row, or holds its score.
    Reading,
    /// Names the unit of the quantities in other columns.
    UnitOf(Vec<usize>),
    /// Never to be read, and why.
    Drop(String),
    /// Without any cell.
    Empty,
    /// Another column is used for the same thing.
    Spare(String),
    /// Not understood.
    Unknown,
}

/// The use of every column.
#[derive(Debug)]
pub(super) struct Plan {
    pub uses: Vec<Use>,
    pub scores: Vec<ScoreGuess>,
    pub long: Option<LongForm>,
}

impl Plan {
    /// The column of a field.
    pub fn column_of(&self, field: Field) -> Option<usize> {
        self.uses.iter().position(|used| matches!(used, Use::Field(known, _) if *known == field))
    }

    /// The column that names the unit of another.
    pub fn unit_column(&self, column: usize) -> Option<usize> {
        self.uses.iter().position(|used| matches!(used, Use::UnitOf(columns) if columns.contains(&column)))
    }
}

/// Dates whose middle lies before this year are taken for dates of birth.
const LATEST_BIRTH_YEARS: i32 = 2005;

/// Decides the use of every column.
pub(super) fn decide(
    columns: &[Column],
    rows: &[Vec<String>],
    numbers: NumberForm,
    known: &Known<'_>,
    measures: &Measures,
) -> Plan {
    let mut plan = Plan { uses: vec![Use::Unknown; columns.len()], scores: Vec::new(), long: None };
    for group in scores::item_groups(columns, known.aliases, measures) {
        plan.take_score(group);
    }
    plan.long = long_form::find(columns, rows, numbers, known.aliases, measures);
    if let Some(long) = &plan.long {
        for column in [long.measure_column, long.value_column] {
            set(&mut plan.uses, column, Use::Reading);
        }
    }
    let mut guesses: Vec<FieldGuess> = Vec::new();
    let mut single: Vec<ScoreGuess> = Vec::new();
    for (i, column) in columns.iter().enumerate() {
        if plan.uses.get(i) != Some(&Use::Unknown) {
            continue;
        }
        let of_column = fields::guesses(i, column, known);
        let best = of_column.iter().map(|guess| guess.likeness).fold(0.0, f64::max);
        if let Some(reason) = identifies(column, &of_column) {
            set(&mut plan.uses, i, Use::Drop(reason));
        } else if let Some(score) = scores::guess(i, column, known.aliases, measures).filter(|s| s.likeness >= best) {
            single.push(score);
        } else {
            guesses.extend(of_column);
        }
    }
    // the surest name first, so that 'NRS back' wins over 'pain intensity back'
    single.sort_by(|a, b| b.likeness.total_cmp(&a.likeness).then(a.columns.cmp(&b.columns)));
    for score in single {
        plan.take_score(score);
    }
    plan.scores_in_order();
    for guess in fields::assign(guesses) {
        set(&mut plan.uses, guess.column, Use::Field(guess.field, guess.confidence));
    }
    plan.lone_key(columns);
    plan.one_clock(columns);
    plan.unit_columns(columns, known);
    for (used, column) in plan.uses.iter_mut().zip(columns) {
        if *used == Use::Unknown && column.shape.filled == 0 {
            *used = Use::Empty;
        }
    }
    plan
}

fn set(uses: &mut [Use], column: usize, to: Use) {
    if let Some(used) = uses.get_mut(column) {
        *used = to;
    }
}

/// Why a column may identify a person, unless its name says that it is an opaque key.
fn identifies(column: &Column, guesses: &[FieldGuess]) -> Option<String> {
    let shape = &column.shape;
    let is_key = guesses.iter().any(|guess| guess.field.kind() == Kind::Name && guess.likeness >= 0.99);
    if is_key {
        return None;
    }
    if let Some(kind) = screen_header(&column.header) {
        return Some(format!("its name says {}", kind.label()));
    }
    if let Some(kind) = shape.identifier {
        return Some(format!("its cells look like {}", kind.label()));
    }
    if shape.is_free_text() {
        return Some("free text".to_owned());
    }
    let named_date = guesses.iter().any(|guess| guess.field == Field::Date && guess.likeness >= 0.99);
    match &shape.dates {
        Some(fit) if !named_date && fit.middle.year() < LATEST_BIRTH_YEARS => {
            Some("dates as old as dates of birth".to_owned())
        }
        _ => None,
    }
}

impl Plan {
    fn take_score(&mut self, score: ScoreGuess) {
        let same = |other: &&ScoreGuess| (other.measure, other.pain_site) == (score.measure, score.pain_site);
        if self.scores.iter().any(|other| same(&other)) {
            for column in &score.columns {
                set(&mut self.uses, *column, Use::Spare("another column is used for the same score".to_owned()));
            }
            return;
        }
        for column in &score.columns {
            set(&mut self.uses, *column, Use::Score(self.scores.len()));
        }
        self.scores.push(score);
    }

    /// Scores in the order of their columns.
    fn scores_in_order(&mut self) {
        self.scores.sort_by(|a, b| a.columns.cmp(&b.columns));
        for (i, score) in self.scores.iter().enumerate() {
            for column in &score.columns {
                set(&mut self.uses, *column, Use::Score(i));
            }
        }
    }

    /// Without a column that is called a patient's key, a lone column of opaque words is a guess at it.
    fn lone_key(&mut self, columns: &[Column]) {
        if self.column_of(Field::Patient).is_some() {
            return;
        }
        let may_be = |i: &usize| {
            let free = matches!(self.uses.get(*i), Some(Use::Unknown | Use::Field(Field::Episode, _)));
            free && columns.get(*i).is_some_and(|column| {
                let shape = &column.shape;
                let opaque = |cell: &str| !cell.contains(' ') && cell.contains(|c: char| c.is_ascii_digit());
                shape.is_text() && shape.distinct.len() >= 10 && shape.distinct.iter().all(|(cell, _)| opaque(cell))
            })
        };
        let mut candidates = (0..columns.len()).filter(may_be);
        if let (Some(only), None) = (candidates.next(), candidates.next()) {
            set(&mut self.uses, only, Use::Field(Field::Patient, Confidence::Guess));
        }
    }

    /// A row has one clock: a date, or a day with at most a quarter.
    fn one_clock(&mut self, columns: &[Column]) {
        if self.column_of(Field::Date).is_none() && self.column_of(Field::Day).is_none() {
            let mut dates = (0..columns.len()).filter(|i| {
                self.uses.get(*i) == Some(&Use::Unknown) && columns.get(*i).is_some_and(|c| c.shape.dates.is_some())
            });
            if let (Some(only), None) = (dates.next(), dates.next()) {
                set(&mut self.uses, only, Use::Field(Field::Date, Confidence::Guess));
            }
        }
        if self.column_of(Field::Date).is_some() {
            for field in [Field::Day, Field::Quarter] {
                if let Some(column) = self.column_of(field) {
                    set(&mut self.uses, column, Use::Spare("the date says when".to_owned()));
                }
            }
        }
    }

    /// Columns of unit names, each beside the quantity it names or stands next to.
    fn unit_columns(&mut self, columns: &[Column], known: &Known<'_>) {
        for (i, column) in columns.iter().enumerate() {
            if self.uses.get(i) != Some(&Use::Unknown) || !column.shape.is_text() {
                continue;
            }
            let dimension = [Dimension::Force, Dimension::Length, Dimension::Mass, Dimension::Time]
                .into_iter()
                .filter(|d| column.shape.distinct.iter().all(|(cell, _)| Unit::parse(cell, *d).is_some()));
            let dimensions: Vec<Dimension> = dimension.collect();
            let is_such_quantity = |used: &Use| matches!(used, Use::Field(field, _) if field.kind().dimension().is_some_and(|d| dimensions.contains(&d)));
            let quantities: Vec<usize> =
                self.uses.iter().enumerate().filter(|(_, used)| is_such_quantity(used)).map(|(at, _)| at).collect();
            let rest: Vec<String> =
                column.words.iter().filter(|word| !known.aliases.long.unit_column.contains(word)).cloned().collect();
            // 'pull unit' serves 'pull' and 'low pull'
            let named = |at: &usize| columns.get(*at).is_some_and(|c| likeness(&c.words, &[rest.join(" ")]) >= 0.9);
            let mut of: Vec<usize> = quantities.iter().copied().filter(named).collect();
            if of.is_empty() {
                of.extend(quantities.iter().rev().copied().find(|at| *at < i));
            }
            if !of.is_empty() {
                set(&mut self.uses, i, Use::UnitOf(of));
            }
        }
    }
}
