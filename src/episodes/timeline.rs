//! Hand-made timelines for tests.

use super::boundaries::cut;
use super::episode::Episodes;
use super::regions::Regions;
use crate::catalogue::{ConditionId, Region};
use crate::export::place::Place;
use crate::group::settings::EpisodeRules;
pub use crate::rows::made::visit;
use crate::rows::row::{Facts, NameId, Row, Score, Setup};
use crate::rows::when::{Quarter, When};
use crate::visits::visits::Visits;
use std::num::NonZeroU32;

pub const LUMBAR: Option<Region> = Some(Region::Lumbar);
pub const CERVICAL: Option<Region> = Some(Region::Cervical);

pub fn name(number: u32) -> NameId {
    NameId(NonZeroU32::new(number).unwrap())
}

impl Row {
    pub(crate) fn at(self, site: u32) -> Self {
        Self { site: name(site), ..self }
    }
    pub(crate) fn of(self, patient: u32) -> Self {
        Self { patient: name(patient), ..self }
    }
    pub(crate) fn line(self, line: u32) -> Self {
        Self { place: Place { line, ..self.place }, ..self }
    }
    pub(crate) fn region(self, region: Option<Region>) -> Self {
        Self { setup: Setup { region, ..self.setup }, ..self }
    }
    pub(crate) fn label(self, label: u32) -> Self {
        Self { episode: Some(name(label)), ..self }
    }
    pub(crate) fn for_condition(self, condition: u16) -> Self {
        Self { condition: Some(ConditionId(condition)), ..self }
    }
    pub(crate) fn missed(self) -> Self {
        Self { attended: Some(false), ..self }
    }
    pub(crate) fn readings_only(self) -> Self {
        Self { is_visit: false, ..self }.region(None)
    }
    /// The same day number as an offset.
    pub(crate) fn offset(self, quarter: Option<Quarter>) -> Self {
        Self { when: When::Offset { day: self.when.day(), quarter }, ..self }
    }
    pub(crate) fn facts(self, facts: Facts) -> Self {
        Self { facts, ..self }
    }
}

/// Condition 0 is lumbar, 1 lumbar too, 2 cervical, 3 not known; code cell 1 is cervical.
pub fn regions() -> Regions {
    Regions { of_condition: vec![Region::Lumbar, Region::Lumbar, Region::Cervical], of_codes: vec![CERVICAL] }
}

/// Rows with their scores, put in the order `Visits` promises.
pub fn visits_with_scores(mut entries: Vec<(Row, Vec<Score>)>) -> Visits {
    entries.sort_by_key(|(row, _)| {
        (row.patient, matches!(row.when, When::Offset { .. }), row.when.day(), row.site, row.place)
    });
    let mut visits = Visits::default();
    for (mut row, scores) in entries {
        row.scores_from = visits.scores.len() as u32;
        row.scores_len = scores.len() as u8;
        visits.scores.extend(scores);
        visits.rows.push(row);
    }
    visits
}

pub fn visits_of(rows: Vec<Row>) -> Visits {
    visits_with_scores(rows.into_iter().map(|row| (row, Vec::new())).collect())
}

/// The episodes of some rows, with the default rules.
pub fn cut_rows(rows: Vec<Row>) -> Episodes {
    cut(&visits_of(rows), &regions(), &EpisodeRules::default())
}
