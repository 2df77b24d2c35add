//! Scores -> readings: scored, put on the burden scale, attached to an episode, one a day.
//!
//! A reading goes to
//! 1. the episode of the visit it stands on, when the outcome is of that episode's region or of no region;
//! 2. else the episode whose label its row bears, when the region fits;
//! 3. else, among the patient's episodes that fit, the nearest one, the earlier at a tie, provided the day lies between
//!    the start of the baseline window and the end of the endpoint window or [`FOLLOW_UP_DAYS`] after the last visit,
//!    whichever is later. Episodes of the outcome's own region come before those whose region is not known.
//!
//! The region is that of the outcome (pain in back or leg: lumbar, neck or arm: cervical; else the measure's own), else the one
//! its row states, else open: then episodes of two regions that are equally near leave the reading without
//! an episode. It is kept and counted.
//!
//! Of several readings of one outcome for one episode on one day one is kept: a reading that stands on a visit goes before one that
//! does not, then the later place. Where they differ, the kept one says so.

use super::reading::{InEpisode, Outcome, Reading};
use super::score::{self, Unscorable};
use crate::catalogue::{MeasureId, Measures, Region};
use crate::episodes::episode::{Episode, Episodes, PatientSpan, days_between, is_treated, looked_at};
use crate::episodes::regions::{Regions, fits};
use crate::export::place::FileId;
use crate::group::settings::EpisodeRules;
use crate::rows::row::Row;
use crate::rows::when::When;
use crate::visits::visits::Visits;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// How long after the last visit a reading still counts as a follow-up of the episode, days.
pub const FOLLOW_UP_DAYS: i64 = 400;

const PATIENTS_A_PART: usize = 512;
const PARTS_AT_ONCE: usize = 64;

/// Every reading of a run.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct Readings {
    /// In order of patient, episode (readings without one last), outcome, clock, day.
    pub list: Vec<Reading>,
    /// Scores that could not be scored, in order of file, measure, reason.
    pub unscorable: Vec<UnscorableCount>,
    /// What the attaching met on its way.
    pub counts: ReadingCounts,
}

/// How often one file's scores of one measure could not be scored for one reason.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct UnscorableCount {
    pub file: FileId,
    pub measure: MeasureId,
    pub reason: Unscorable,
    /// How many scores.
    pub count: u64,
    /// The first line it was met on.
    pub first_line: u32,
}

/// What the attaching met and the readings themselves do not show.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct ReadingCounts {
    /// Scores read, scored or not.
    pub scores: u64,
    /// Of these, not scored; the sum of [`Readings::unscorable`].
    pub unscorable: u64,
    /// Readings left out because they repeat another of the day with the same value.
    pub repeated: u64,
    /// Readings left out because another of the day has a different value and goes before.
    pub disagreeing: u64,
    /// Readings kept that have no visit near, of their region.
    pub without_visit_near: u64,
    /// Readings kept that two episodes of different regions may claim.
    pub between_regions: u64,
    /// Treated visits on a day for which the patient has no reading.
    pub visits_without_reading: u64,
}

/// Scores and attaches a run's scores. `episodes` must have been cut from the same `visits`.
pub fn attach(
    visits: &Visits,
    episodes: &Episodes,
    regions: &Regions,
    measures: &Measures,
    rules: &EpisodeRules,
) -> Readings {
    let attacher = Attacher { visits, episodes, regions, measures, rules };
    let part_of = |spans: &[PatientSpan]| {
        let mut part = Part::default();
        for span in spans {
            attacher.attach_patient(span, &mut part);
        }
        part
    };
    let mut joined = Part::default();
    // some parts at a time, so that the readings are not all in memory twice
    for some in episodes.patients.chunks(PATIENTS_A_PART * PARTS_AT_ONCE) {
        let parts: Vec<Part> = some.par_chunks(PATIENTS_A_PART).map(part_of).collect();
        parts.into_iter().for_each(|part| joined.take(part));
    }
    joined.readings()
}

/// The readings of some patients, in the order of the patients.
#[derive(Default)]
struct Part {
    list: Vec<Reading>,
    /// Scratch space: the readings of one patient.
    day: Vec<OnDay>,
    unscorable: BTreeMap<(FileId, MeasureId, Unscorable), (u64, u32)>,
    counts: ReadingCounts,
}

/// A reading of a patient before the day's other readings were looked at.
#[derive(Clone, Copy)]
struct OnDay {
    reading: Reading,
    on_visit: bool,
    contested: bool,
}

impl Part {
    /// Joins the patients that come next.
    fn take(&mut self, part: Self) {
        self.list.extend(part.list);
        self.counts.add(part.counts);
        for (key, (count, line)) in part.unscorable {
            let known = self.unscorable.entry(key).or_insert((0, line));
            *known = (known.0 + count, known.1.min(line));
        }
    }

    fn readings(self) -> Readings {
        let count = |((file, measure, reason), (count, first_line))| UnscorableCount {
            file,
            measure,
            reason,
            count,
            first_line,
        };
        let unscorable = self.unscorable.into_iter().map(count).collect();
        Readings { list: self.list, unscorable, counts: self.counts }
    }
}

impl ReadingCounts {
    fn add(&mut self, other: Self) {
        self.scores += other.scores;
        self.unscorable += other.unscorable;
        self.repeated += other.repeated;
        self.disagreeing += other.disagreeing;
        self.without_visit_near += other.without_visit_near;
        self.between_regions += other.between_regions;
        self.visits_without_reading += other.visits_without_reading;
    }
}

/// The episode a reading goes to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Claim {
    Episode(u32),
    NoVisitNear,
    BetweenRegions,
}

struct Attacher<'a> {
    visits: &'a Visits,
    episodes: &'a Episodes,
    regions: &'a Regions,
    measures: &'a Measures,
    rules: &'a EpisodeRules,
}

impl Attacher<'_> {
    fn attach_patient(&self, span: &PatientSpan, part: &mut Part) {
        part.day.clear();
        let rows = self.visits.rows.get(span.rows.start as usize..span.rows.end as usize).unwrap_or_default();
        let mut position = span.rows.start;
        for of_day in rows.chunk_by(|a, b| a.when.same_clock(b.when) && a.when.day() == b.when.day()) {
            let before = part.day.len();
            for row in of_day {
                self.read_row(row, position, span, part);
                position += 1;
            }
            if part.day.len() == before {
                part.counts.visits_without_reading += of_day.iter().filter(|row| is_treated(row)).count() as u64;
            }
        }
        keep_one_a_day(part);
    }

    /// Scores what stands on one row.
    fn read_row(&self, row: &Row, position: u32, span: &PatientSpan, part: &mut Part) {
        for entry in self.visits.scores_of(row) {
            part.counts.scores += 1;
            let scored = match score::score(self.measures.get(entry.measure), entry.answers()) {
                Ok(scored) => scored,
                Err(reason) => {
                    part.counts.unscorable += 1;
                    let line = row.place.line;
                    let known = part.unscorable.entry((row.place.file, entry.measure, reason)).or_insert((0, line));
                    *known = (known.0 + 1, known.1.min(line));
                    continue;
                }
            };
            let outcome = Outcome { measure: entry.measure, pain_site: entry.pain_site };
            let claim = self.claim(row, position, outcome.region(self.measures), span);
            let episode = match claim {
                Claim::Episode(id) => Some(id),
                Claim::NoVisitNear | Claim::BetweenRegions => None,
            };
            let within = episode.and_then(|id| {
                let first = self.episodes.list.get(id as usize)?.first.day();
                Some(InEpisode::new(id, i32::try_from(days_between(first, row.when.day())).ok()?))
            });
            part.day.push(OnDay {
                reading: Reading {
                    patient: row.patient,
                    site: row.site,
                    within,
                    when: row.when,
                    outcome,
                    value: scored.value,
                    burden: scored.burden,
                    items_answered: scored.items_answered,
                    rule: scored.rule,
                    place: row.place,
                    disagrees: false,
                },
                on_visit: row.is_visit,
                contested: claim == Claim::BetweenRegions,
            });
        }
    }

    fn claim(&self, row: &Row, position: u32, of_outcome: Option<Region>, span: &PatientSpan) -> Claim {
        let own = self.episodes.episode_of_row.get(position as usize).copied().flatten();
        if let Some(id) = own
            && let Some(episode) = self.episodes.list.get(id as usize)
            && (of_outcome.is_none() || of_outcome == episode.region)
        {
            return Claim::Episode(id);
        }
        let region = of_outcome.or_else(|| self.regions.stated(row));
        let (day, opens) = (row.when.day(), i64::from(self.rules.baseline_days.0));
        let all = self.episodes.of_patient(span);
        let begun = looked_at(all, |episode| match (episode.first, row.when) {
            (When::Calendar { .. }, When::Offset { .. }) => true,
            (When::Offset { .. }, When::Calendar { .. }) => false,
            _ => days_between(episode.first.day(), day) >= opens,
        });
        let known = || {
            let ids = (span.episodes.start..).skip(begun.start);
            ids.zip(all.get(begun.clone()).unwrap_or_default())
                .filter(|(_, episode)| episode.first.same_clock(row.when) && fits(region, episode.region))
        };
        // As in the cutting, a label of another site counts only near in time.
        let bears_label = |episode: &Episode| {
            episode.label == row.episode
                && (episode.site == row.site || distance(episode, day) <= i64::from(self.rules.gap_days))
        };
        let labelled = || known().filter(|(_, episode)| bears_label(episode));
        if row.episode.is_some()
            && let Some((id, _)) = labelled().min_by_key(|&(id, episode)| (distance(episode, day), id))
        {
            return Claim::Episode(id);
        }
        let rank = |episode: &Episode| (region.is_some() && episode.region != region, distance(episode, day));
        let near = || known().filter(|(_, episode)| self.is_near(episode, day));
        let Some((id, nearest)) = near().min_by_key(|&(id, episode)| (rank(episode), id)) else {
            return Claim::NoVisitNear;
        };
        let contested =
            region.is_none() && near().any(|(_, other)| other.region != nearest.region && rank(other) == rank(nearest));
        if contested { Claim::BetweenRegions } else { Claim::Episode(id) }
    }

    fn is_near(&self, episode: &Episode, day: i32) -> bool {
        let from_first = days_between(episode.first.day(), day);
        let length = days_between(episode.first.day(), episode.last.day());
        let end = (length + FOLLOW_UP_DAYS).max(i64::from(self.rules.endpoint_days.1));
        (i64::from(self.rules.baseline_days.0)..=end).contains(&from_first)
    }
}

/// Days from the treated span of an episode to a day; 0 inside.
fn distance(episode: &Episode, day: i32) -> i64 {
    days_between(day, episode.first.day()).max(days_between(episode.last.day(), day)).max(0)
}

/// Moves a patient's readings from `part.day` to `part.list`, one for each episode, outcome and day.
fn keep_one_a_day(part: &mut Part) {
    let key = |entry: &OnDay| {
        let reading = &entry.reading;
        let is_offset = matches!(reading.when, When::Offset { .. });
        (reading.within.is_none(), reading.episode(), reading.outcome, is_offset, reading.when.day())
    };
    // Stable: at equal keys the order of the rows decides, then that of the scores on the row.
    part.day.sort_by_key(|entry| (key(entry), entry.on_visit));
    for same in part.day.chunk_by(|a, b| key(a) == key(b)) {
        let Some((kept, others)) = same.split_last() else { continue };
        let mut reading = kept.reading;
        for other in others {
            if is_same_value(other.reading.value, reading.value) {
                part.counts.repeated += 1;
            } else {
                part.counts.disagreeing += 1;
                reading.disagrees = true;
            }
        }
        if kept.contested {
            part.counts.between_regions += 1;
        } else if reading.within.is_none() {
            part.counts.without_visit_near += 1;
        }
        part.list.push(reading);
    }
}

/// Equal but for the rounding of a change of unit.
fn is_same_value(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1.0)
}
