//! Dose delivered: pull by condition and number of the visit, and dose by site.
//!
//! **By visit.** Peak pull as percent of body weight of the treated visits 1 to 12 of every episode, begun or finished. Later
//! visits are those of patients still in care, so that a rise from visit to visit is partly a change of who is there.
//!
//! **By site and region.** Episodes that have ended or are due, at the site where most of their visits fell:
//! - first and last visit: mean pull of the episodes of two visits or more that record it at both;
//! - progression: median of the episodes' least-squares slopes of pull on the number of the visit, percent of body weight a
//!   visit, of those with three pulls or more;
//! - minutes under pull: median over visits; visits a week: median over episodes (see [`crate::episodes::dose_totals`]);
//! - delivered: visits delivered / visits planned, summed over the episodes with a plan, and the share of these that got at
//!   least 80 % of it (common practice, no published source).

use super::episode_dose::EpisodeDose;
use crate::catalogue::{ConditionId, Region};
use crate::episodes::episode::Episode;
use crate::rows::row::{EndedHow, NameId};
use mendcurve_stats::quantile::Sorted;
use std::collections::BTreeMap;

/// Last visit that is summed up on its own.
pub const LAST_VISIT: usize = 12;
/// Share of the plan from which on most of it was delivered.
pub const MOST_OF_PLAN: f64 = 0.8;
/// Shares of visits at or below the quantiles given.
const QUANTILES: [f64; 5] = [0.10, 0.25, 0.50, 0.75, 0.90];

/// Pull at one visit of a condition's episodes.
#[derive(Clone, PartialEq, Debug)]
pub struct PullAtVisit {
    pub condition: Option<ConditionId>,
    /// Number of the treated visit, from 1.
    pub visit_no: u32,
    /// Visits that record the pull.
    pub visits: u32,
    /// Their patients.
    pub patients: u32,
    /// 10, 25, 50, 75 and 90 % of visits lie at or below these, percent of body weight.
    pub percent: [f64; 5],
}

/// A number with the patients behind it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Behind {
    pub value: f64,
    pub patients: u32,
}

/// Dose of one site in one region.
#[derive(Clone, PartialEq, Debug)]
pub struct DoseAtSite {
    pub region: Region,
    /// The site; the whole group when absent.
    pub site: Option<NameId>,
    /// Episodes that have ended or are due.
    pub episodes: u32,
    /// Their patients.
    pub patients: u32,
    /// Mean pull at the first visit, percent of body weight.
    pub first: Option<Behind>,
    /// Mean pull at the last visit of the same episodes, percent of body weight.
    pub last: Option<Behind>,
    /// Median progression, percent of body weight a visit.
    pub progression: Option<Behind>,
    /// Median of minutes under pull a visit.
    pub minutes: Option<Behind>,
    /// Visits delivered / visits planned.
    pub delivered: Option<Behind>,
    /// Share of the episodes with a plan that got at least [`MOST_OF_PLAN`] of it.
    pub most_delivered: Option<Behind>,
    /// Patients with an episode that did, and with one that did not.
    pub most_and_less: (u32, u32),
    /// Median of visits a week.
    pub visits_a_week: Option<Behind>,
}

impl DoseAtSite {
    /// How much higher the mean pull is at the last visit than at the first, points of body weight.
    pub fn rise(&self) -> Option<Behind> {
        let (first, last) = self.first.zip(self.last)?;
        Some(Behind { value: last.value - first.value, ..last })
    }
}

/// Values with the patients behind them; episodes must come patient by patient.
#[derive(Default)]
struct Tally {
    values: Vec<f64>,
    patients: u32,
    latest: Option<NameId>,
}

impl Tally {
    fn add(&mut self, patient: NameId, values: impl IntoIterator<Item = f64>) {
        let before = self.values.len();
        self.values.extend(values);
        if self.values.len() > before && self.latest != Some(patient) {
            self.latest = Some(patient);
            self.patients += 1;
        }
    }

    fn behind(&self, value: Option<f64>) -> Option<Behind> {
        Some(Behind { value: value?, patients: self.patients })
    }

    fn sum(&self) -> f64 {
        self.values.iter().sum()
    }

    fn mean(&self) -> Option<Behind> {
        self.behind((!self.values.is_empty()).then(|| self.sum() / self.values.len() as f64))
    }

    fn median(&self) -> Option<Behind> {
        self.behind(Sorted::new(&self.values).ok().map(|sorted| sorted.median()))
    }
}

/// Pull by condition and visit, in order of both; visits that nobody has a pull at have no line.
pub fn by_visit(episodes: &[Episode], doses: &[EpisodeDose]) -> Vec<PullAtVisit> {
    let mut tallies: BTreeMap<(Option<ConditionId>, u32), Tally> = BTreeMap::new();
    for (episode, dose) in episodes.iter().zip(doses) {
        for (number, pull) in (1..).zip(dose.pulls.iter().take(LAST_VISIT)) {
            if let Some(pull) = pull {
                tallies.entry((episode.condition, number)).or_default().add(episode.patient, [*pull]);
            }
        }
    }
    let line = |((condition, visit_no), tally): ((Option<ConditionId>, u32), Tally)| {
        let sorted = Sorted::new(&tally.values).ok()?;
        let mut percent = [0.0; 5];
        for (value, share) in percent.iter_mut().zip(QUANTILES) {
            *value = sorted.quantile(share).ok()?;
        }
        Some(PullAtVisit {
            condition,
            visit_no,
            visits: as_count(tally.values.len()),
            patients: tally.patients,
            percent,
        })
    };
    tallies.into_iter().filter_map(line).collect()
}

/// Dose by region and site, the whole group of a region first.
pub fn by_site(episodes: &[Episode], doses: &[EpisodeDose]) -> Vec<DoseAtSite> {
    let mut tallies: BTreeMap<(Region, Option<NameId>), SiteTally> = BTreeMap::new();
    for (episode, dose) in episodes.iter().zip(doses).filter(|(episode, _)| is_over(episode)) {
        let Some(region @ (Region::Lumbar | Region::Cervical)) = episode.region else { continue };
        for site in [None, Some(episode.site)] {
            tallies.entry((region, site)).or_default().add(episode, dose);
        }
    }
    tallies.into_iter().map(|((region, site), tally)| tally.line(region, site)).collect()
}

/// Whether a course of care can be summed up: recorded as ended, or its endpoint window has closed.
fn is_over(episode: &Episode) -> bool {
    episode.is_due || !matches!(episode.ended_how, None | Some(EndedHow::Ongoing))
}

#[derive(Default)]
struct SiteTally {
    /// One 1 an episode.
    episodes: Tally,
    first: Tally,
    last: Tally,
    slopes: Tally,
    minutes: Tally,
    delivered: Tally,
    planned: Tally,
    /// One 1 an episode that got most of its plan.
    most: Tally,
    /// One 1 an episode that did not.
    less: Tally,
    visits_a_week: Tally,
}

impl SiteTally {
    fn add(&mut self, episode: &Episode, dose: &EpisodeDose) {
        let patient = episode.patient;
        self.episodes.add(patient, [1.0]);
        if let [Some(first), .., Some(last)] = dose.pulls.as_slice() {
            self.first.add(patient, [*first]);
            self.last.add(patient, [*last]);
        }
        self.slopes.add(patient, progression(&dose.pulls));
        self.minutes.add(patient, dose.minutes.iter().copied());
        if let Some(planned) = episode.planned_visits.filter(|planned| *planned > 0) {
            self.delivered.add(patient, [f64::from(episode.visits)]);
            self.planned.add(patient, [f64::from(planned)]);
            let got_most = f64::from(episode.visits) >= MOST_OF_PLAN * f64::from(planned);
            if got_most { &mut self.most } else { &mut self.less }.add(patient, [1.0]);
        }
        self.visits_a_week.add(patient, episode.dose.visits_a_week);
    }

    fn line(self, region: Region, site: Option<NameId>) -> DoseAtSite {
        let (most, all) = (self.most.values.len(), self.planned.values.len());
        let planned = self.planned.sum();
        DoseAtSite {
            region,
            site,
            episodes: as_count(self.episodes.values.len()),
            patients: self.episodes.patients,
            first: self.first.mean(),
            last: self.last.mean(),
            progression: self.slopes.median(),
            minutes: self.minutes.median(),
            delivered: self.planned.behind((planned > 0.0).then(|| self.delivered.sum() / planned)),
            most_delivered: self.planned.behind((all > 0).then(|| most as f64 / all as f64)),
            most_and_less: (self.most.patients, self.less.patients),
            visits_a_week: self.visits_a_week.median(),
        }
    }
}

/// Least-squares slope of pull on the number of the visit; `None` under three pulls.
fn progression(pulls: &[Option<f64>]) -> Option<f64> {
    let points = || (1u32..).zip(pulls).filter_map(|(number, pull)| Some((f64::from(number), (*pull)?)));
    let n = points().count();
    if n < 3 {
        return None;
    }
    let (sum_x, sum_y) = points().fold((0.0, 0.0), |(x, y), (number, pull)| (x + number, y + pull));
    let (mean_x, mean_y) = (sum_x / n as f64, sum_y / n as f64);
    let (s_xx, s_xy) = points().fold((0.0, 0.0), |(xx, xy), (number, pull)| {
        (xx + (number - mean_x) * (number - mean_x), xy + (number - mean_x) * (pull - mean_y))
    });
    Some(s_xy / s_xx)
}

fn as_count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episodes::timeline::{cut_rows, name, visit};
    use crate::rows::row::{Facts, Row};

    /// Site, pulls and visits planned.
    type Patient<'a> = (u32, &'a [Option<f64>], Option<u16>);

    /// Episodes of some patients, one visit every third day, with the pulls given in percent of body weight.
    fn made(patients: &[Patient<'_>]) -> (Vec<Episode>, Vec<EpisodeDose>) {
        let facts =
            |planned| Facts { planned_visits: planned, ended_how: Some(EndedHow::Completed), ..Facts::default() };
        let rows: Vec<Row> = (1..)
            .zip(patients)
            .flat_map(|(patient, (site, pulls, planned))| {
                (0..pulls.len() as i32)
                    .map(move |i| visit(3 * i).of(patient).at(*site).for_condition(0).facts(facts(*planned)))
            })
            .collect();
        let dose = |(_, pulls, _): &Patient<'_>| EpisodeDose {
            pulls: pulls.to_vec(),
            minutes: vec![10.0; pulls.len()],
            ..EpisodeDose::default()
        };
        (cut_rows(rows).list, patients.iter().map(dose).collect())
    }

    #[test]
    fn quantiles_by_visit_are_those_of_the_visits_that_record_a_pull() {
        let ten = Some(10.0);
        let (episodes, doses) =
            made(&[(1, &[ten, ten], None), (1, &[Some(20.0), None], None), (1, &[Some(40.0)], None)]);
        let found = by_visit(&episodes, &doses);
        let lines: Vec<_> = found.iter().map(|l| (l.visit_no, l.visits, l.patients, l.percent[2])).collect();
        assert_eq!(lines, [(1, 3, 3, 20.0), (2, 1, 1, 10.0)]);
        // type 7 of 10, 20, 40: h = 2 x 0.25 = 0.5 between the first two, 2 x 0.9 = 1.8 between the others
        assert_eq!((found[0].percent[1], found[0].percent[4]), (15.0, 36.0));
    }

    #[test]
    fn a_site_is_summed_up_over_its_finished_episodes() {
        let rising = [Some(30.0), Some(32.0), Some(34.0)];
        let level = [Some(40.0), None, Some(40.0), Some(40.0)];
        let (episodes, doses) = made(&[(1, &rising, Some(4)), (1, &level, Some(4)), (2, &[Some(50.0)], None)]);
        let found = by_site(&episodes, &doses);
        let sites: Vec<Option<NameId>> = found.iter().map(|line| line.site).collect();
        assert_eq!(sites, [None, Some(name(1)), Some(name(2))]);
        let value = |behind: Option<Behind>| behind.map(|behind| (behind.value, behind.patients));
        let first = &found[1];
        assert_eq!((first.episodes, first.patients), (2, 2));
        assert_eq!(value(first.first), Some((35.0, 2)));
        assert_eq!(value(first.last), Some((37.0, 2)));
        assert_eq!(value(first.progression), Some((1.0, 2)), "slopes 2 and 0");
        assert_eq!(value(first.minutes), Some((10.0, 2)));
        assert_eq!(value(first.delivered), Some((7.0 / 8.0, 2)));
        assert_eq!((value(first.most_delivered), first.most_and_less), (Some((0.5, 2)), (1, 1)), "3 of 4 is 75 %");
        assert_eq!(value(first.visits_a_week), Some((7.0 / 3.0, 2)));
        let second = &found[2];
        assert_eq!((value(second.first), value(second.delivered), second.episodes), (None, None, 1), "one visit only");
    }

    #[test]
    fn an_episode_in_care_is_not_summed_up_until_it_is_due() {
        let (mut episodes, doses) = made(&[(1, &[Some(30.0), Some(31.0)], Some(12))]);
        episodes[0].ended_how = Some(EndedHow::Ongoing);
        episodes[0].is_due = false;
        assert!(by_site(&episodes, &doses).is_empty());
        episodes[0].is_due = true;
        assert_eq!(by_site(&episodes, &doses).len(), 2);
        assert_eq!(by_visit(&episodes, &doses).len(), 2);
    }

    #[test]
    fn a_slope_keeps_the_numbers_of_visits_without_a_pull() {
        assert_eq!(progression(&[Some(1.0), None, Some(3.0), Some(4.0)]), Some(1.0));
        assert_eq!(progression(&[Some(1.0), None, Some(3.0)]), None);
    }

    #[test]
    fn two_episodes_of_one_patient_are_one_patient() {
        let (mut episodes, doses) = made(&[(1, &[Some(30.0)], None), (1, &[Some(32.0)], None)]);
        episodes[1].patient = episodes[0].patient;
        let found = by_visit(&episodes, &doses);
        assert_eq!((found[0].visits, found[0].patients), (2, 1));
    }
}
