//! Which reading stands for the start of care, and which for its endpoint.
//!
//! Days count from the first treated visit.
//!
//! - Baseline: the last reading in `baseline_days`; else the first reading on or after the first visit and before
//!   the second treated visit, as long as the endpoint window has not begun. With one visit there is no such "else".
//! - Endpoint: the last reading in `endpoint_days`; never the baseline itself.

use super::attach::Readings;
use super::reading::{Outcome, Reading};
use crate::catalogue::{ConditionId, Measures};
use crate::episodes::episode::{Episode, Episodes};
use crate::episodes::regions::{Regions, fits};
use crate::group::settings::EpisodeRules;
use std::ops::Range;

/// The readings of one outcome over one episode. Positions are those of [`Readings::list`].
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Course {
    /// The episode, by position.
    pub episode: u32,
    /// What is followed.
    pub outcome: Outcome,
    /// The reading at the start of care.
    pub baseline: Option<u32>,
    /// The reading at the endpoint.
    pub endpoint: Option<u32>,
    /// All of them, in order of day; at least one.
    pub readings: Range<u32>,
}

/// Every course that has at least one reading.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct Courses {
    /// In order of episode, then outcome.
    pub list: Vec<Course>,
    /// For each episode where its courses begin in `list`; one more at the end.
    starts: Vec<u32>,
}

impl Courses {
    /// Finds every course among the readings.
    pub fn of(readings: &Readings, episodes: &Episodes, rules: &EpisodeRules) -> Self {
        let mut courses = Self { list: Vec::new(), starts: Vec::with_capacity(episodes.list.len() + 1) };
        let mut start = 0u32;
        for same in readings.list.chunk_by(|a, b| a.episode() == b.episode() && a.outcome == b.outcome) {
            let range = start..start + same.len() as u32;
            start = range.end;
            let Some(first) = same.first() else { continue };
            let Some(id) = first.episode() else { continue };
            let Some(episode) = episodes.list.get(id as usize) else { continue };
            while courses.starts.len() <= id as usize {
                courses.starts.push(courses.list.len() as u32);
            }
            courses.list.push(course(id, episode, same, range, rules));
        }
        courses.starts.resize(episodes.list.len() + 1, courses.list.len() as u32);
        courses
    }

    /// The courses of an episode, in order of outcome; none when it has no reading.
    pub fn of_episode(&self, episode: u32) -> &[Course] {
        let bounds = self.starts.get(episode as usize).zip(self.starts.get(episode as usize + 1));
        bounds.and_then(|(&from, &to)| self.list.get(from as usize..to as usize)).unwrap_or_default()
    }

    /// The course of one outcome over an episode.
    pub fn get(&self, episode: u32, outcome: Outcome) -> Option<&Course> {
        self.of_episode(episode).iter().find(|course| course.outcome == outcome)
    }

    /// Every episode of a condition that started, those without a reading of the outcome included: the denominator.
    pub fn started<'a>(
        &'a self,
        episodes: &'a Episodes,
        condition: Option<ConditionId>,
        outcome: Outcome,
    ) -> impl Iterator<Item = (u32, &'a Episode, Option<&'a Course>)> {
        (0u32..)
            .zip(&episodes.list)
            .filter(move |(_, episode)| episode.condition == condition)
            .map(move |(id, episode)| (id, episode, self.get(id, outcome)))
    }

    /// The outcomes with at least one reading in an episode of a condition, in order.
    pub fn outcomes(&self, episodes: &Episodes, condition: Option<ConditionId>) -> Vec<Outcome> {
        let mut outcomes = std::collections::BTreeSet::new();
        for course in &self.list {
            if episodes.list.get(course.episode as usize).is_some_and(|episode| episode.condition == condition) {
                outcomes.insert(course.outcome);
            }
        }
        outcomes.into_iter().collect()
    }
}

/// Whether episodes of a condition are expected to have readings of an outcome: the regions are the same, or the
/// outcome is of no region, or the condition's is not known or neither lumbar nor cervical.
pub fn is_expected(outcome: Outcome, condition: Option<ConditionId>, measures: &Measures, regions: &Regions) -> bool {
    fits(outcome.region(measures), condition.and_then(|id| regions.condition(id)))
}

fn course(id: u32, episode: &Episode, readings: &[Reading], range: Range<u32>, rules: &EpisodeRules) -> Course {
    let days = || (range.start..).zip(readings).filter_map(|(i, reading)| Some((i, reading.day()?)));
    let last_in = |(from, to): (i32, i32)| days().filter(|(_, day)| (from..=to).contains(day)).last().map(|(i, _)| i);
    let before_second = || {
        let end = episode.second_visit_day?.min(rules.endpoint_days.0);
        days().find(|(_, day)| (0..end).contains(day)).map(|(i, _)| i)
    };
    let baseline = last_in(rules.baseline_days).or_else(before_second);
    let endpoint = last_in(rules.endpoint_days).filter(|endpoint| Some(*endpoint) != baseline);
    Course { episode: id, outcome: readings[0].outcome, baseline, endpoint, readings: range.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::PainSite;
    use crate::episodes::timeline::*;
    use crate::readings::attach_tests::{measures, read, read_with, score};
    use crate::rows::row::{Row, Score};

    fn back() -> Score {
        score("pain_nrs", PainSite::Back, 5.0)
    }

    fn outcome() -> Outcome {
        Outcome { measure: back().measure, pain_site: PainSite::Back }
    }

    /// Treated visits without readings on some days, readings beside them on others.
    fn timeline(visits: &[i32], readings: &[i32]) -> Vec<(Row, Vec<Score>)> {
        let treated = visits.iter().map(|&day| (visit(day), Vec::new()));
        treated.chain(readings.iter().map(|&day| (visit(day).readings_only(), vec![back()]))).collect()
    }

    /// Days of baseline and endpoint.
    fn days(visits: &[i32], days: &[i32]) -> (Option<i32>, Option<i32>) {
        let rules = EpisodeRules::default();
        let (episodes, readings) = read(timeline(visits, days));
        let courses = Courses::of(&readings, &episodes, &rules);
        let course = courses.get(0, outcome()).unwrap();
        let day = |i: Option<u32>| i.and_then(|i| readings.list[i as usize].day());
        (day(course.baseline), day(course.endpoint))
    }

    #[test]
    fn the_baseline_is_the_last_reading_in_its_window() {
        assert_eq!(days(&[0, 7], &[-14, -3, 1]).0, Some(-3));
        assert_eq!(days(&[0, 7], &[-14, 0, 1]).0, Some(0));
        assert_eq!(days(&[0, 7], &[-14]).0, Some(-14));
    }

    #[test]
    fn else_it_is_the_first_reading_before_the_second_treated_visit() {
        assert_eq!(days(&[0, 7], &[2, 6]).0, Some(2));
        assert_eq!(days(&[0, 7], &[7, 8]).0, None, "the day of the second visit is too late");
        assert_eq!(days(&[0, 0, 7], &[2]).0, None, "the second visit was on the first day");
        assert_eq!(days(&[0], &[2]).0, None, "there is no second visit");
        assert_eq!(days(&[0, 50], &[27]).0, Some(27));
        assert_eq!(days(&[0, 50], &[28]).0, None, "the endpoint window has begun");
    }

    #[test]
    fn the_endpoint_is_the_last_reading_in_its_window() {
        assert_eq!(days(&[0], &[27, 85]).1, None);
        assert_eq!(days(&[0], &[28]).1, Some(28));
        assert_eq!(days(&[0], &[28, 84, 85]).1, Some(84));
    }

    #[test]
    fn one_reading_is_never_both_baseline_and_endpoint() {
        let rules = EpisodeRules { baseline_days: (-14, 7), endpoint_days: (0, 84), ..EpisodeRules::default() };
        let (episodes, readings) = read_with(timeline(&[0], &[3]), &rules);
        let courses = Courses::of(&readings, &episodes, &rules);
        assert_eq!((courses.list[0].baseline, courses.list[0].endpoint), (Some(0), None));
    }

    #[test]
    fn the_denominator_holds_episodes_without_a_reading() {
        let rules = EpisodeRules::default();
        let of = |patient, scores| (visit(0).of(patient).for_condition(1), scores);
        let other = (visit(0).of(5).for_condition(0), vec![back()]);
        let (episodes, readings) = read(vec![of(1, vec![]), of(2, vec![back()]), of(3, vec![]), of(4, vec![]), other]);
        let courses = Courses::of(&readings, &episodes, &rules);
        let condition = Some(ConditionId(1));
        let started: Vec<_> =
            courses.started(&episodes, condition, outcome()).map(|(id, _, c)| (id, c.is_some())).collect();
        assert_eq!(started, [(0, false), (1, true), (2, false), (3, false)]);
        assert_eq!(courses.list.len(), 2);
        assert_eq!(courses.of_episode(4), &courses.list[1..]);
        assert!(courses.of_episode(5).is_empty());
        assert_eq!(courses.outcomes(&episodes, condition), [outcome()]);
        assert!(courses.outcomes(&episodes, None).is_empty());
    }

    #[test]
    fn an_episode_is_expected_to_have_outcomes_of_its_conditions_region() {
        let of = |key: &str, site| {
            let score = score(key, site, 0.0);
            Outcome { measure: score.measure, pain_site: score.pain_site }
        };
        let expected = |outcome, condition| is_expected(outcome, Some(ConditionId(condition)), measures(), &regions());
        assert!(expected(of("odi", PainSite::Unspecified), 0) && !expected(of("odi", PainSite::Unspecified), 2));
        assert!(expected(of("pain_nrs", PainSite::Arm), 2) && !expected(of("pain_nrs", PainSite::Arm), 0));
        assert!(expected(of("psfs", PainSite::Unspecified), 0) && expected(of("psfs", PainSite::Unspecified), 2));
        assert!(is_expected(of("ndi", PainSite::Unspecified), None, measures(), &regions()));
    }
}
