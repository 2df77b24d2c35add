//! One parameter of one region over the treated visits.

use super::visits::{Level, SetupVisit, SetupVisits, UnitId};
use crate::catalogue::parameter::{About, Parameter, SetBy};
use crate::catalogue::{ConditionId, Region};
use crate::rows::row::{Mode, NameId};
use crate::visits::parameter_value::{can_open_the_split, value};
use mendcurve_stats::sum::mean;
use std::collections::BTreeMap;

/// Visits of an episode from which what belongs to its whole course is read.
pub const EARLY_VISITS: usize = 3;

/// Visits of an episode at a unit below which it says nothing of what is usual there: who stood in for a day is not asked.
const FEWEST_AT_UNIT: usize = 2;

/// The recorded values of a parameter in a region, in the order of the visits.
#[derive(Clone, Debug)]
pub struct Column<'a> {
    pub about: About,
    /// Treated visits of the region, recorded or not.
    pub of: u32,
    /// The visits that record it, with their values. An opening that the pull could not bring about is left out, and so are hold and rest
    /// of a static pull.
    pub values: Vec<(&'a SetupVisit, f64)>,
}

/// What is usual for one episode at one unit: the mean of its visits there.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Usual {
    pub unit: UnitId,
    pub patient: NameId,
    pub episode: u32,
    /// What is treated.
    pub condition: Option<ConditionId>,
    /// The day of the first of these visits.
    pub day: Option<i32>,
    pub value: f64,
    /// Visits behind it.
    pub visits: u32,
}

impl<'a> Column<'a> {
    /// A parameter of a region.
    pub fn of(visits: &'a SetupVisits<'_>, about: About) -> Self {
        let mut column = Self { about, of: 0, values: Vec::new() };
        for visit in visits.list.iter().filter(|visit| visit.region == Some(about.region)) {
            column.of += 1;
            let Some(row) = visits.row(visit) else { continue };
            let says_something = match about.parameter {
                Parameter::SplitGap => can_open_the_split(row),
                // one steady pull is held for the session and has no rest
                Parameter::Hold | Parameter::Rest => row.dose.mode != Some(Mode::Static),
                _ => true,
            };
            if let Some(value) = value(row, about.parameter).filter(|_| says_something) {
                column.values.push((visit, value));
            }
        }
        column
    }

    /// What a column may be about, in the order of the pages: lumbar, then cervical.
    pub fn abouts() -> impl Iterator<Item = About> {
        let regions = [Region::Lumbar, Region::Cervical].into_iter();
        regions.flat_map(|region| Parameter::ALL.map(|parameter| About { parameter, region }))
    }

    /// Number of patients behind it.
    pub fn patients(&self) -> u32 {
        patients(self.values.iter().map(|(visit, _)| visit.patient))
    }

    /// What is usual for each episode at each of its units of a level, in the order of episodes.
    ///
    /// What builds up over a patient's course (a pull, the length of a session) is read from its first [`EARLY_VISITS`] visits, and
    /// not at all where there are fewer: else a patient who began last week would look as one treated with less.
    pub fn usual(&self, level: Level) -> Vec<Usual> {
        let of_course = self.about.parameter.set_by() == SetBy::Course;
        let mut usual = Vec::new();
        let mut scratch: Vec<(UnitId, f64, Option<i32>)> = Vec::new();
        let mut values: Vec<f64> = Vec::new();
        for episode in self.values.chunk_by(|a, b| a.0.episode == b.0.episode) {
            let early = episode.get(..EARLY_VISITS);
            let Some(counted) = (if of_course { early } else { Some(episode) }) else { continue };
            scratch.clear();
            scratch.extend(counted.iter().filter_map(|(visit, value)| Some((visit.unit(level)?, *value, visit.day))));
            scratch.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
            let Some((visit, _)) = counted.first() else { continue };
            for at_unit in scratch.chunk_by(|a, b| a.0 == b.0) {
                if at_unit.len() < FEWEST_AT_UNIT {
                    continue;
                }
                values.clear();
                values.extend(at_unit.iter().map(|(_, value, _)| *value));
                let Some(value) = mean(&values) else { continue };
                usual.push(Usual {
                    unit: at_unit.first().map_or(visit.site, |first| first.0),
                    patient: visit.patient,
                    episode: visit.episode,
                    condition: visit.condition,
                    day: at_unit.iter().filter_map(|(_, _, day)| *day).min(),
                    value,
                    visits: at_unit.len() as u32,
                });
            }
        }
        usual
    }
}

/// How many patients there are; one after another in the order of visits or not.
pub fn patients(of: impl Iterator<Item = NameId>) -> u32 {
    let mut all = Patients::default();
    of.for_each(|patient| all.note(patient));
    all.count()
}

/// Patients as they come; those who follow one another are noted once.
#[derive(Clone, Default, Debug)]
pub struct Patients(Vec<NameId>);

impl Patients {
    /// Notes one.
    pub fn note(&mut self, patient: NameId) {
        if self.0.last() != Some(&patient) {
            self.0.push(patient);
        }
    }

    /// How many different ones there are.
    pub fn count(mut self) -> u32 {
        self.0.sort_unstable();
        self.0.dedup();
        self.0.len() as u32
    }
}

/// The mean of each condition's values.
pub fn condition_means(usual: &[Usual]) -> BTreeMap<Option<ConditionId>, f64> {
    let mut by_condition: BTreeMap<Option<ConditionId>, Vec<f64>> = BTreeMap::new();
    for one in usual {
        by_condition.entry(one.condition).or_default().push(one.value);
    }
    by_condition.into_iter().filter_map(|(condition, values)| Some((condition, mean(&values)?))).collect()
}
