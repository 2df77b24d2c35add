//! Every outcome of a run with the missing drawn, once for all that is said of it.
//!
//! The rates of a condition and those of its sites come from the same draws, so that they agree with one another.

use super::fitted_course::{FittedCourse, FittedCourses, Records};
use super::followed::Followed;
use super::imputation::Imputed;
use super::panel::Track;
use crate::catalogue::{ConditionId, Region};
use crate::readings::reading::Outcome;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// One outcome with its missing drawn.
#[derive(Clone, Debug)]
pub struct ImputedOutcome {
    /// The due episodes of the condition, by position in the run, in order.
    episodes: Vec<u32>,
    /// The same episodes as the outcome sees them.
    pub imputed: Imputed,
}

impl ImputedOutcome {
    /// Where an episode stands among the due ones.
    pub fn position(&self, episode: u32) -> Option<u32> {
        self.episodes.binary_search(&episode).ok().and_then(|position| u32::try_from(position).ok())
    }
}

/// The outcomes that have a fitted course.
#[derive(Clone, Default, Debug)]
pub struct ImputedOutcomes {
    by_outcome: BTreeMap<(Option<ConditionId>, Outcome), ImputedOutcome>,
}

impl ImputedOutcomes {
    /// Draws what is missing. `not_recorded` names the episodes without a condition among the random streams.
    pub fn of(records: &Records<'_>, fitted: &FittedCourses, not_recorded: &str) -> Self {
        let mut due: BTreeMap<Option<ConditionId>, Vec<u32>> = BTreeMap::new();
        for (id, episode) in (0..).zip(&records.episodes.list).filter(|(_, episode)| episode.is_due) {
            due.entry(episode.condition).or_default().push(id);
        }
        let courses: Vec<&FittedCourse> = fitted.iter().collect();
        let one = |course: &&FittedCourse| {
            let episodes = due.get(&course.condition).cloned().unwrap_or_default();
            let condition =
                course.condition.map_or(not_recorded, |condition| records.conditions.get(condition).key.as_str());
            let key = format!("{condition} {}", course.outcome.key(records.measures));
            Some(((course.condition, course.outcome), impute(records, course, &key, episodes)?))
        };
        Self { by_outcome: courses.par_iter().filter_map(one).collect::<Vec<_>>().into_iter().collect() }
    }

    /// One outcome of a condition; none without a fitted course.
    pub fn get(&self, condition: Option<ConditionId>, outcome: Outcome) -> Option<&ImputedOutcome> {
        self.by_outcome.get(&(condition, outcome))
    }
}

fn impute(records: &Records<'_>, course: &FittedCourse, key: &str, episodes: Vec<u32>) -> Option<ImputedOutcome> {
    let model = &course.fit.as_ref().ok()?.model;
    let followed: Vec<Followed> = episodes.iter().filter_map(|id| records.followed(*id, course.outcome)).collect();
    let tracks: Vec<Option<Track<'_>>> = episodes.iter().map(|id| course.panel.track(*id)).collect();
    let name = |position: u32| {
        let id = episodes.get(position as usize).copied();
        let episode = id.and_then(|id| records.episodes.list.get(id as usize));
        episode.map_or_else(String::new, |episode| {
            let region = episode.region.map_or("", Region::key);
            format!("{}\0{}\0{region}", records.names.patients.get(episode.patient), episode.first.day())
        })
    };
    let imputed = Imputed::of(model, course.scale, course.endpoint_day, key, followed, &tracks, name);
    Some(ImputedOutcome { episodes, imputed })
}
