//! One parameter of one region over the treated visits.

use super::visits::{Level, SetupVisit, SetupVisits, UnitId};
use crate::catalogue::parameter::{About, Parameter};
use crate::catalogue::{ConditionId, Region};
use crate::rows::row::NameId;
use crate::visits::parameter_value::{can_open_the_split, value};
use mendcurve_stats::sum::mean;
use std::collections::BTreeMap;

/// The recorded values of a parameter in a region, in the order of the visits.
#[derive(Clone, Debug)]
pub struct Column<'a> {
    /// Which.
    pub about: About,
    /// Treated visits of the region, recorded or not.
    pub of: u32,
    /// The visits that record it, with their values. An opening that the pull could not bring about is left out.
    pub values: Vec<(&'a SetupVisit, f64)>,
}

/// What is usual for one episode at one unit: the median of its visits there.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Usual {
    /// The unit.
    pub unit: UnitId,
    /// The patient.
    pub patient: NameId,
    /// The episode.
    pub episode: u32,
    /// What is treated.
    pub condition: Option<ConditionId>,
    /// The day of the first of these visits.
    pub day: Option<i32>,
    /// The median.
    pub value: f64,
    /// Visits behind it.
    pub visits: u32,
}

impl<'a> Column<'a> {
    /// A parameter of a region.
    pub fn of(visits: &'a SetupVisits<'_>, about: About) -> Self {
        let in_region = || visits.list.iter().filter(move |visit| visit.region == Some(about.region));
        let read = |visit: &'a SetupVisit| {
            let row = visits.row(visit)?;
            let opens = about.parameter != Parameter::SplitGap || can_open_the_split(row);
            Some((visit, value(row, about.parameter).filter(|_| opens)?))
        };
        Self { about, of: in_region().count() as u32, values: in_region().filter_map(read).collect() }
    }

    /// All that some visit records, in the order of the pages: lumbar, then cervical.
    pub fn all(visits: &'a SetupVisits<'_>) -> Vec<Self> {
        let abouts = [Region::Lumbar, Region::Cervical]
            .into_iter()
            .flat_map(|region| Parameter::ALL.map(|parameter| About { parameter, region }));
        let abouts: Vec<About> = abouts.collect();
        use rayon::prelude::*;
        abouts.into_par_iter().map(|about| Self::of(visits, about)).filter(|column| !column.values.is_empty()).collect()
    }

    /// Number of patients behind it.
    pub fn patients(&self) -> u32 {
        patients(self.values.iter().map(|(visit, _)| visit.patient))
    }

    /// What is usual for each episode at each of its units of a level, in the order of episodes.
    pub fn usual(&self, level: Level) -> Vec<Usual> {
        let mut usual = Vec::new();
        let mut scratch: Vec<(UnitId, f64, Option<i32>)> = Vec::new();
        for episode in self.values.chunk_by(|a, b| a.0.episode == b.0.episode) {
            scratch.clear();
            scratch.extend(episode.iter().filter_map(|(visit, value)| Some((visit.unit(level)?, *value, visit.day))));
            scratch.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
            let Some((visit, _)) = episode.first() else { continue };
            for at_unit in scratch.chunk_by(|a, b| a.0 == b.0) {
                let Some(middle) = median_of_sorted(at_unit) else { continue };
                usual.push(Usual {
                    unit: at_unit.first().map_or(visit.site, |first| first.0),
                    patient: visit.patient,
                    episode: visit.episode,
                    condition: visit.condition,
                    day: at_unit.iter().filter_map(|(_, _, day)| *day).min(),
                    value: middle,
                    visits: at_unit.len() as u32,
                });
            }
        }
        usual
    }
}

/// The middle of values in order.
fn median_of_sorted<T>(sorted: &[(T, f64, Option<i32>)]) -> Option<f64> {
    let n = sorted.len();
    let at = |i: usize| sorted.get(i).map(|(_, value, _)| *value);
    Some(if n % 2 == 1 { at(n / 2)? } else { 0.5 * (at((n / 2).checked_sub(1)?)? + at(n / 2)?) })
}

/// How many patients there are; one after another in the order of visits or not.
pub fn patients(of: impl Iterator<Item = NameId>) -> u32 {
    let mut all: Vec<NameId> = of.collect();
    all.sort_unstable();
    all.dedup();
    all.len() as u32
}

/// Takes out what conditions differ by: each value less its condition's mean, plus the mean of all.
pub fn allow_for_condition(usual: &mut [Usual]) {
    let values: Vec<f64> = usual.iter().map(|one| one.value).collect();
    let Some(of_all) = mean(&values) else { return };
    let mut by_condition: BTreeMap<Option<ConditionId>, Vec<f64>> = BTreeMap::new();
    for one in usual.iter() {
        by_condition.entry(one.condition).or_default().push(one.value);
    }
    let means: BTreeMap<Option<ConditionId>, f64> =
        by_condition.into_iter().filter_map(|(condition, values)| Some((condition, mean(&values)?))).collect();
    for one in usual {
        one.value += of_all - means.get(&one.condition).copied().unwrap_or(of_all);
    }
}
