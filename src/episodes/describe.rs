//! What is known of one episode, from its visits and from the rows beside them.

use super::dose_totals::dose_totals;
use super::due::SiteEnds;
use super::episode::{CutCounts, Episode, days_between, is_treated, looked_at};
use super::regions::Regions;
use crate::catalogue::{ConditionId, Region};
use crate::group::settings::EpisodeRules;
use crate::rows::row::{Facts, NameId, Row, Sex};

/// Describes episodes; reads only.
pub(super) struct Describer<'a> {
    pub rows: &'a [Row],
    pub regions: &'a Regions,
    pub rules: &'a EpisodeRules,
    pub ends: &'a SiteEnds,
}

/// Scratch space for counting what most visits name.
#[derive(Default)]
pub(super) struct Tallies {
    sites: Tally<NameId>,
    clinicians: Tally<NameId>,
    conditions: Tally<ConditionId>,
}

impl Describer<'_> {
    /// The episode of these treated visits, which stand from `visit_rows_from` on among all episodes' visits.
    /// `None` without a visit.
    pub fn describe(
        &self,
        visits: &[u32],
        visit_rows_from: u32,
        region: Option<Region>,
        tallies: &mut Tallies,
        counts: &mut CutCounts,
    ) -> Option<Episode> {
        let rows = || visits.iter().filter_map(|&i| self.rows.get(i as usize));
        let (first, last) = (rows().next()?, rows().next_back()?);
        let Tallies { sites, clinicians, conditions } = tallies;
        sites.start(rows().map(|row| row.site));
        clinicians.start(rows().filter_map(|row| row.clinician));
        let of_region = |id: &ConditionId| {
            let own = self.regions.condition(*id);
            own.is_none() || region.is_none() || own == region
        };
        conditions.start(rows().filter_map(|row| row.condition).filter(of_region));
        counts.visits_with_condition_of_another_region +=
            rows().filter_map(|row| row.condition).filter(|id| !of_region(id)).count() as u64;
        let site = sites.most().unwrap_or(first.site);
        let (due, is_due) = self.ends.due(first.when, site, self.rules);
        let mut episode = Episode {
            patient: first.patient,
            label: None,
            site,
            transferred: sites.differ(),
            clinician: clinicians.most(),
            condition: conditions.most(),
            condition_changed: conditions.differ(),
            region,
            icd10: rows().find_map(|row| row.icd10),
            caution: rows().any(|row| row.caution),
            onset: None,
            age: None,
            sex: None,
            body_mass_index: None,
            prior_surgery: None,
            compensation: None,
            first: first.when,
            last: last.when,
            second_visit_day: rows().nth(1).and_then(|row| day_of(first, row)),
            visits: visits.len() as u32,
            missed_visits: 0,
            planned_visits: None,
            ended_how: rows().rev().find_map(|row| row.facts.ended_how),
            due,
            is_due,
            overlaps: false,
            dose: dose_totals(rows()),
            visit_rows: visit_rows_from..visit_rows_from + visits.len() as u32,
        };
        for row in rows() {
            fill(&mut episode, &row.facts);
        }
        Some(episode)
    }

    /// Adds what the other rows of the patient on this clock say, where the visits are silent: missed visits of the
    /// episode, and rows that hold readings only, from the start of the baseline window to the last visit. How the
    /// episode ended may also stand on such a row up to `gap_days` later.
    ///
    /// `episode_of_row` counts from the first episode of the run's part, `base` is the position of `episodes` there.
    pub fn complete(&self, episodes: &mut [Episode], base: u32, rows: &[Row], episode_of_row: &[Option<u32>]) {
        for (row, id) in rows.iter().zip(episode_of_row).filter(|(row, _)| !is_treated(row)) {
            if row.is_visit {
                if let Some(episode) = id.and_then(|id| episodes.get_mut((id - base) as usize)) {
                    episode.missed_visits += 1;
                    self.add_beside(episode, row);
                }
                continue;
            }
            let stated = self.regions.stated(row);
            let opens = i64::from(self.rules.baseline_days.0);
            let begun = looked_at(episodes, |episode| days_between(episode.first.day(), row.when.day()) >= opens);
            for episode in episodes.get_mut(begun).unwrap_or_default() {
                if stated.is_some() && episode.region.is_some() && stated != episode.region {
                    continue;
                }
                let day = days_between(episode.first.day(), row.when.day());
                let length = days_between(episode.first.day(), episode.last.day());
                if (opens..=length).contains(&day) {
                    self.add_beside(episode, row);
                } else if (length..=length + i64::from(self.rules.gap_days)).contains(&day) {
                    episode.ended_how = episode.ended_how.or(row.facts.ended_how);
                }
            }
        }
    }

    fn add_beside(&self, episode: &mut Episode, row: &Row) {
        fill(episode, &row.facts);
        let named = row.condition.filter(|id| {
            let own = self.regions.condition(*id);
            own.is_none() || episode.region.is_none() || own == episode.region
        });
        episode.condition = episode.condition.or(named);
        episode.icd10 = episode.icd10.or(row.icd10);
        episode.caution |= row.caution;
    }
}

/// Days from one row to another on the same clock; `None` beyond the range of `i32`.
fn day_of(first: &Row, row: &Row) -> Option<i32> {
    i32::try_from(days_between(first.when.day(), row.when.day())).ok()
}

/// Takes over each fact not yet known.
fn fill(episode: &mut Episode, facts: &Facts) {
    episode.age = episode.age.or(facts.age);
    episode.sex = episode.sex.or(facts.sex);
    episode.onset = episode.onset.or(facts.onset);
    episode.prior_surgery = episode.prior_surgery.or(facts.prior_surgery);
    episode.compensation = episode.compensation.or(facts.compensation);
    episode.planned_visits = episode.planned_visits.or(facts.planned_visits);
    episode.body_mass_index = episode.body_mass_index.or(facts.body_mass_index);
    episode.ended_how = episode.ended_how.or(facts.ended_how);
}

/// Gives the sex any row of the patient names to the episodes whose own rows name none.
pub(super) fn complete_sex(episodes: &mut [Episode], rows: &[Row]) {
    let known = sexes(rows).next();
    for episode in episodes {
        episode.sex = episode.sex.or(known);
    }
}

/// Whether a patient's rows name more than one sex.
pub(super) fn sexes_conflict(rows: &[Row]) -> bool {
    let mut named = sexes(rows);
    named.next().is_some_and(|first| named.any(|other| other != first))
}

fn sexes(rows: &[Row]) -> impl Iterator<Item = Sex> {
    rows.iter().filter_map(|row| row.facts.sex)
}

/// Counts how often each of a few values comes up.
struct Tally<T>(Vec<(T, u32)>);

impl<T> Default for Tally<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Copy + PartialEq> Tally<T> {
    fn start(&mut self, values: impl Iterator<Item = T>) {
        self.0.clear();
        for value in values {
            match self.0.iter_mut().find(|(known, _)| *known == value) {
                Some((_, count)) => *count += 1,
                None => self.0.push((value, 1)),
            }
        }
    }

    /// The most frequent value; at a tie the one met first.
    fn most(&self) -> Option<T> {
        self.0.iter().rev().max_by_key(|(_, count)| *count).map(|(value, _)| *value)
    }

    /// Whether more than one value came up.
    fn differ(&self) -> bool {
        self.0.len() > 1
    }
}
