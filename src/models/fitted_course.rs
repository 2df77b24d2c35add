//! The fitted course of each outcome of each condition, with what predictions need and how well they did.

use super::backtest::{Doubt, HeldOut, Tested, backtest};
use super::choice::{Chosen, choose};
use super::course_model::{CourseModel, EndEffect};
use super::drawn_patients::{drawn_up_to, most_patients};
use super::folds::fold_of;
use super::followed::Followed;
use super::on_track::Yardstick;
use super::panel::{Panel, Track};
use super::score_scale::ScoreScale;
use super::unfit::Unfit;
use crate::catalogue::measure::{Domain, Measure};
use crate::catalogue::{ConditionId, Conditions, Definition, Measures};
use crate::episodes::episode::{Episode, Episodes};
use crate::group::settings::{EpisodeRules, OnTrackRules};
use crate::readings::attach::Readings;
use crate::readings::reading::Outcome;
use crate::readings::windows::{Course, Courses};
use crate::rows::names::Names;
use crate::rows::when::{Quarter, When};
use mendcurve_stats::quantile::Sorted;
use rayon::prelude::*;
use std::collections::BTreeSet;

/// The definition of a response that predictions are about.
pub const RESPONSE: &str = "minimal_important";

/// Share of readings at the ends of the scale from which on their effect is tried.
const MANY_AT_ENDS: f64 = 0.05;

/// What the fits read.
#[derive(Clone, Copy, Debug)]
pub struct Records<'a> {
    pub measures: &'a Measures,
    pub conditions: &'a Conditions,
    pub names: &'a Names,
    pub episodes: &'a Episodes,
    pub readings: &'a Readings,
    /// The readings of each outcome over each episode.
    pub courses: &'a Courses,
    pub windows: EpisodeRules,
    /// Cut-offs.
    pub on_track: OnTrackRules,
    /// The quarter reported: later predictions are tested from its first day.
    pub period: Option<Quarter>,
}

impl Records<'_> {
    /// An episode as one outcome sees it.
    pub fn followed(&self, id: u32, outcome: Outcome) -> Option<Followed> {
        let episode = self.episodes.list.get(id as usize)?;
        let course = self.courses.get(id, outcome);
        let value = |position: Option<u32>| Some(self.readings.list.get(position? as usize)?.value);
        Some(Followed {
            quarter: episode.due,
            site: episode.site,
            baseline: course.and_then(|course| value(course.baseline)),
            endpoint: course.and_then(|course| value(course.endpoint)),
        })
    }
}

/// One outcome of one condition.
#[derive(Clone, Debug)]
pub struct FittedCourse {
    /// The condition; `None` where none was recorded.
    pub condition: Option<ConditionId>,
    /// What is followed.
    pub outcome: Outcome,
    /// Its readings, over every episode that started.
    pub panel: Panel,
    /// Those of the patients drawn for the fit; `None` where it is fitted to all.
    drawn: Option<Panel>,
    pub scale: ScoreScale,
    /// What counts as a response.
    pub response: Option<Definition>,
    /// Change beyond measurement error, own unit.
    pub reliable_change: Option<f64>,
    /// Median day of the endpoints, or the middle of their window.
    pub endpoint_day: f64,
    /// The model, or why there is none.
    pub fit: Result<Chosen, Unfit>,
    /// What the readings at the ends of the scale do to the curve, where more than a few lie there.
    pub end_effect: Option<EndEffect>,
    /// Predictions tried on each fifth of the patients by a model of the others.
    pub tested: Tested,
    /// Predictions tried on episodes that ended after the period began, by a model of those that had ended before.
    pub tested_later: Option<Tested>,
    rules: OnTrackRules,
}

impl FittedCourse {
    /// What patients are held against; `None` without a model.
    pub fn yardstick(&self) -> Option<Yardstick<'_>> {
        self.fit.as_ref().ok().map(|chosen| self.yardstick_of(&chosen.model))
    }

    fn yardstick_of<'a>(&'a self, model: &'a CourseModel) -> Yardstick<'a> {
        Yardstick {
            model,
            scale: self.scale,
            response: self.response.as_ref(),
            reliable_change: self.reliable_change,
            endpoint_day: self.endpoint_day,
            rules: self.rules,
        }
    }

    /// The readings that the model was fitted to and tested on: all, or those of the patients drawn.
    pub fn fitted_to(&self) -> &Panel {
        self.drawn.as_ref().unwrap_or(&self.panel)
    }

    /// Why `behind` and `ahead` are not to be said, if so.
    pub fn doubt(&self) -> Option<Doubt> {
        self.tested.doubt()
    }
}

/// Every fitted course of a run.
#[derive(Clone, Debug, Default)]
pub struct FittedCourses {
    list: Vec<FittedCourse>,
}

impl FittedCourses {
    /// Fits all, side by side.
    pub fn fit(records: Records<'_>) -> Self {
        Self::fit_to(records, records.episodes.list.iter(), &|_, _| ())
    }

    /// Fits those of the conditions that some episodes have. `tell`: courses fitted since the last call, and all.
    pub fn fit_to<'e>(
        records: Records<'_>,
        episodes: impl Iterator<Item = &'e Episode>,
        tell: &(dyn Fn(u64, u64) + Sync),
    ) -> Self {
        let conditions: BTreeSet<Option<ConditionId>> = episodes.map(|episode| episode.condition).collect();
        let wanted: Vec<(Option<ConditionId>, Outcome)> = conditions
            .into_iter()
            .flat_map(|condition| {
                let outcomes = records.courses.outcomes(records.episodes, condition);
                outcomes.into_iter().map(move |outcome| (condition, outcome))
            })
            .filter(|(_, outcome)| has_a_course(records.measures.get(outcome.measure)))
            .collect();
        let all = wanted.len() as u64;
        let most = most_patients(outcomes_of_run(&records)); // the same whichever conditions are asked for
        let fit = |(condition, outcome)| {
            let fitted = fit_one(&records, condition, outcome, most);
            tell(1, all);
            fitted
        };
        Self { list: wanted.into_par_iter().map(fit).collect() }
    }

    /// The fitted course of an outcome of a condition; none for measures that are not averaged.
    pub fn get(&self, condition: Option<ConditionId>, outcome: Outcome) -> Option<&FittedCourse> {
        self.list.iter().find(|course| course.condition == condition && course.outcome == outcome)
    }

    pub fn iter(&self) -> impl Iterator<Item = &FittedCourse> {
        self.list.iter()
    }
}

/// Whether means of the measure over time make sense: not of ordered words, and not of a look back.
pub fn has_a_course(measure: &Measure) -> bool {
    !measure.ordinal && measure.domain != Domain::Change
}

/// How many outcomes of conditions the run has that are followed by a course.
fn outcomes_of_run(records: &Records<'_>) -> usize {
    let of = |course: &Course| {
        let episode = records.episodes.list.get(course.episode as usize)?;
        has_a_course(records.measures.get(course.outcome.measure)).then_some((episode.condition, course.outcome))
    };
    records.courses.list.iter().filter_map(of).collect::<BTreeSet<_>>().len()
}

/// `most`: the patients that its curve is fitted to, at most.
fn fit_one(records: &Records<'_>, condition: Option<ConditionId>, outcome: Outcome, most: usize) -> FittedCourse {
    let measure = records.measures.get(outcome.measure);
    let radicular = condition.is_some_and(|id| records.conditions.get(id).radicular);
    let episodes = (0u32..).zip(&records.episodes.list).filter(|(_, episode)| episode.condition == condition);
    let panel = Panel::of(episodes, records.readings, records.courses, outcome);
    let drawn = drawn_up_to(most, &panel, |episode| patient(records, episode));
    let fitted_to = drawn.as_ref().unwrap_or(&panel);
    let folds: Vec<u8> = fitted_to.tracks().map(|track| patient(records, track.episode).map_or(0, fold_of)).collect();
    let mut course = FittedCourse {
        condition,
        outcome,
        scale: ScoreScale::of(measure, panel.scores()),
        response: measure.definitions(radicular).into_iter().find(|definition| definition.key == RESPONSE),
        reliable_change: match radicular {
            true => measure.reliable_change_limit_with_radiculopathy().or(measure.reliable_change_limit()),
            false => measure.reliable_change_limit(),
        },
        endpoint_day: endpoint_day(records, &panel, outcome),
        fit: choose(fitted_to, &folds),
        end_effect: None,
        tested: Tested::default(),
        tested_later: None,
        panel,
        drawn,
        rules: records.on_track,
    };
    if let Ok(chosen) = &course.fit {
        if share_at_ends(&course) > MANY_AT_ENDS {
            let tracks: Vec<Track<'_>> = course.fitted_to().tracks().collect();
            course.end_effect = chosen.model.end_effect(&tracks, course.scale);
        }
        course.tested = test_folds(records, &course, chosen, &folds);
        course.tested_later = test_later(records, &course, chosen);
    }
    course
}

/// Share of the readings at an end of the scale.
fn share_at_ends(course: &FittedCourse) -> f64 {
    let scores = course.fitted_to().scores();
    let (low, high) = course.scale.ends();
    let at_ends = scores.iter().filter(|score| **score <= low || **score >= high).count();
    at_ends as f64 / scores.len().max(1) as f64
}

fn patient<'r>(records: &Records<'r>, episode: u32) -> Option<&'r str> {
    let episode = records.episodes.list.get(episode as usize)?;
    Some(records.names.patients.get(episode.patient))
}

/// Median day of the endpoint readings; without any, the middle of the endpoint window.
fn endpoint_day(records: &Records<'_>, panel: &Panel, outcome: Outcome) -> f64 {
    let days: Vec<f64> =
        panel.tracks().filter_map(|track| endpoint(records, track, outcome).map(|(day, _)| day)).collect();
    let (from, to) = records.windows.endpoint_days;
    Sorted::new(&days).map_or(0.5 * (f64::from(from) + f64::from(to)), |sorted| sorted.median())
}

/// Day and score of the endpoint reading.
fn endpoint(records: &Records<'_>, track: Track<'_>, outcome: Outcome) -> Option<(f64, f64)> {
    let position = records.courses.get(track.episode, outcome)?.endpoint?;
    let reading = records.readings.list.get(position as usize)?;
    Some((f64::from(reading.day()?), reading.value))
}

fn held_out<'a>(
    records: &Records<'_>,
    course: &'a FittedCourse,
    model: &'a CourseModel,
    track: Track<'a>,
) -> HeldOut<'a> {
    let end = endpoint(records, track, course.outcome).and_then(|(day, score)| {
        let (response, baseline) = (course.response.as_ref()?, track.baseline()?);
        response.reachable(baseline).then(|| (day, response.reached(baseline, score)))
    });
    HeldOut { track, yardstick: course.yardstick_of(model), end }
}

fn test_folds(records: &Records<'_>, course: &FittedCourse, chosen: &Chosen, folds: &[u8]) -> Tested {
    let patients: Vec<HeldOut<'_>> = course
        .fitted_to()
        .tracks()
        .zip(folds)
        .filter_map(|(track, fold)| {
            Some(held_out(records, course, chosen.without_fold.get(usize::from(*fold))?, track))
        })
        .collect();
    backtest(&patients)
}

/// Fits to the episodes that had ended before the period began, and tests on the others. Only episodes with dates.
fn test_later(records: &Records<'_>, course: &FittedCourse, chosen: &Chosen) -> Option<Tested> {
    let first_day = When::calendar(records.period?.first_day()).day();
    let ended_before = |episode: &Episode, track: &Track<'_>| match episode.first {
        When::Calendar { day } => {
            let last = track.last().map_or(0.0, |(day, _)| day);
            Some(f64::from(day) + last < f64::from(first_day))
        }
        When::Offset { .. } => None,
    };
    let (mut before, mut after) = (Vec::new(), Vec::new());
    for track in course.fitted_to().tracks() {
        let Some(episode) = records.episodes.list.get(track.episode as usize) else { continue };
        match ended_before(episode, &track) {
            Some(true) => before.push(track),
            Some(false) => after.push(track),
            None => {}
        }
    }
    // nobody may stand on both sides
    let patients = |tracks: &[Track<'_>]| -> BTreeSet<&str> {
        tracks.iter().filter_map(|track| patient(records, track.episode)).collect()
    };
    let known = patients(&before);
    after.retain(|track| patient(records, track.episode).is_some_and(|patient| !known.contains(patient)));
    let model = chosen.model.refit(&before).ok()?;
    let held: Vec<HeldOut<'_>> = after.into_iter().map(|track| held_out(records, course, &model, track)).collect();
    let tested = backtest(&held);
    (!tested.lines.is_empty()).then_some(tested)
}
