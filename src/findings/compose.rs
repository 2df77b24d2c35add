//! A run's episodes and readings -> everything the report says.

use super::bulletin::Bulletin;
use super::condition::condition;
use super::quality::DataQuality;
use super::withhold::Rule;
use crate::catalogue::natural_course::Courses as NaturalCourses;
use crate::catalogue::{ConditionId, Conditions, Measures};
use crate::episodes::episode::{Episode, Episodes};
use crate::group::settings::Audience;
use crate::models::grid::Grid;
use crate::readings::attach::Readings;
use crate::readings::windows::Courses;
use crate::rows::names::Names;
use crate::rows::row::NameId;
use crate::rows::when::{Quarter, When, date_of};
use std::collections::BTreeSet;

/// A quarter counts as over this many days before its last day: exports are made at its end.
const DAYS_OF_GRACE: i32 = 7;

/// What a bulletin is made from.
#[derive(Clone, Copy, Debug)]
pub struct Sources<'a> {
    /// The group's name for people.
    pub group: &'a str,
    /// Who may see the report.
    pub audience: Audience,
    /// The quarter to report; see [`default_period`].
    pub period: Option<Quarter>,
    /// The registry of measures, the group's overrides applied.
    pub measures: &'a Measures,
    /// The registry of conditions, the group's overrides applied.
    pub conditions: &'a Conditions,
    /// Published courses.
    pub natural_courses: &'a NaturalCourses,
    /// The run's names.
    pub names: &'a Names,
    /// The run's episodes.
    pub episodes: &'a Episodes,
    /// The run's readings.
    pub readings: &'a Readings,
    /// The readings of each outcome over each episode.
    pub courses: &'a Courses,
}

/// Everything the report says.
pub fn bulletin(sources: Sources<'_>, quality: DataQuality) -> Bulletin {
    let rule = Rule::of(sources.audience);
    let episodes = &sources.episodes.list;
    let quarters: BTreeSet<Quarter> =
        episodes.iter().filter(|episode| episode.is_due).filter_map(|episode| episode.due).collect();
    let sites = sites_by_name(episodes, sources.names);
    let grid = Grid::new(quarters.iter().copied().collect(), sites.clone());
    let conditions = conditions_by_size(episodes);
    Bulletin {
        group: sources.group.to_owned(),
        period: sources.period,
        quarters: quarters.into_iter().collect(),
        sites: sites.into_iter().map(|site| sources.names.sites.get(site).to_owned()).collect(),
        withhold_up_to: rule.up_to,
        audience: match sources.audience {
            Audience::Internal => "internal",
            Audience::Release => "release",
        },
        conditions: conditions.into_iter().map(|id| condition(&sources, rule, &grid, id)).collect(),
        quality,
    }
}

/// The sites that have episodes, in order of name.
fn sites_by_name(episodes: &[Episode], names: &Names) -> Vec<NameId> {
    let sites: BTreeSet<NameId> = episodes.iter().map(|episode| episode.site).collect();
    let mut sites: Vec<NameId> = sites.into_iter().collect();
    sites.sort_by(|a, b| names.sites.get(*a).cmp(names.sites.get(*b)));
    sites
}

/// The conditions that have episodes, most episodes first, then in the order of the registry; last, if any, those
/// without a condition.
fn conditions_by_size(episodes: &[Episode]) -> Vec<Option<ConditionId>> {
    let met: BTreeSet<Option<ConditionId>> = episodes.iter().map(|episode| episode.condition).collect();
    let mut sized: Vec<(Option<ConditionId>, usize)> =
        met.into_iter().map(|id| (id, episodes.iter().filter(|episode| episode.condition == id).count())).collect();
    sized.sort_by_key(|(id, size)| (id.is_none(), std::cmp::Reverse(*size), *id));
    sized.into_iter().map(|(id, _)| id).collect()
}

/// The quarter reported unless another is asked for: the latest that ended on or before the last visit and a week.
/// Where no export has dates, the latest quarter named beside a visit; exports by offset come by whole quarters.
pub fn default_period(episodes: &Episodes) -> Option<Quarter> {
    let calendar = episodes.list.iter().filter_map(|episode| match episode.last {
        When::Calendar { day } => Some(day),
        When::Offset { .. } => None,
    });
    match calendar.max() {
        Some(day) => date_of(day.checked_add(DAYS_OF_GRACE + 1)?).and_then(Quarter::of).map(Quarter::previous),
        None => episodes.list.iter().filter_map(|episode| episode.last.quarter()).max(),
    }
}
