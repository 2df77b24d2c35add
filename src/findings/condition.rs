//! One condition: its episodes, and its outcomes from the most complete to the least.

use super::NOT_RECORDED;
use super::about::{About, Numbered};
use super::bulletin::{ConditionFindings, OutcomeFindings};
use super::outcome::{Evaluated, Follow};
use super::shown::as_count;
use super::sources::Sources;
use super::withhold::{Rule, count, line_pattern, patterns};
use crate::catalogue::{ConditionId, Region};
use crate::models::completeness::Completeness;
use crate::models::followed::Followed;
use crate::models::grid::{Cell, Grid, Table};
use crate::readings::reading::Outcome;
use crate::rows::row::Onset;

/// Works out one condition.
pub(super) fn condition(sources: &Sources<'_>, rule: Rule, grid: &Grid, id: Option<ConditionId>) -> ConditionFindings {
    let started: Vec<Numbered<'_>> =
        (0..).zip(&sources.records.episodes.list).filter(|(_, episode)| episode.condition == id).collect();
    let due: Vec<Numbered<'_>> = started.iter().filter(|(_, episode)| episode.is_due).copied().collect();
    let known = id.map(|id| sources.records.conditions.get(id));
    let about = About {
        key: known.map_or(NOT_RECORDED.to_owned(), |condition| condition.key.clone()),
        region: known.map_or(Region::Other, |condition| condition.region),
        radicular: known.is_some_and(|condition| condition.radicular),
        onset: dominant_onset(&started),
    };

    let evaluated: Vec<Evaluated<'_>> = sources
        .records
        .courses
        .outcomes(sources.records.episodes, id)
        .into_iter()
        .map(|outcome| Follow { sources, about: &about, grid, condition: id, outcome }.evaluate(&started, &due))
        .collect();
    let episodes = episodes_by_cell(grid, &due);
    let counts: Vec<_> = evaluated.iter().map(Evaluated::counts).collect();
    let patterns = patterns(rule, &episodes, &counts);
    let mut outcomes: Vec<(f64, Outcome, OutcomeFindings)> = evaluated
        .into_iter()
        .zip(&patterns.outcomes)
        .map(|(evaluated, own)| (evaluated.share(), evaluated.outcome(), evaluated.show(rule, &patterns.episodes, own)))
        .collect();
    // most complete first; at a tie in the order of the registry
    outcomes.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));

    let not_due = started.len() - due.len();
    let onsets = onset_counts(&started);
    let (onset_withheld, started_withheld) = line_pattern(rule, &onsets, rule.is_small(as_count(not_due)));
    let onset = |i: usize| {
        let number = onsets.get(i).copied().unwrap_or(0);
        count(onset_withheld.get(i).copied().unwrap_or(true), number)
    };
    ConditionFindings {
        title: known.map_or("Condition not recorded".to_owned(), |condition| condition.title.clone()),
        region: about.region,
        episodes_started: count(started_withheld, as_count(started.len())),
        episodes_due: count(patterns.episodes.has(Cell::WHOLE), as_count(due.len())),
        onset_mix: [onset(0), onset(1), onset(2), onset(3)],
        outcomes: outcomes.into_iter().map(|(_, _, findings)| findings).collect(),
        key: about.key,
    }
}

/// Due episodes by cell. It does not matter on what they are followed.
fn episodes_by_cell(grid: &Grid, due: &[Numbered<'_>]) -> Table<u32> {
    let bare = |(_, episode): &Numbered<'_>| Followed {
        quarter: episode.due,
        site: episode.site,
        baseline: None,
        endpoint: None,
    };
    let followed: Vec<Followed> = due.iter().map(bare).collect();
    grid.sort(&followed).map(|cell| Completeness::of(cell, false).episodes)
}

/// Acute, subacute, persistent, not recorded.
fn onset_counts(started: &[Numbered<'_>]) -> [u32; 4] {
    [Some(Onset::Acute), Some(Onset::Subacute), Some(Onset::Persistent), None]
        .map(|onset| as_count(started.iter().filter(|(_, episode)| episode.onset == onset).count()))
}

/// The onset class of most episodes that have one; at a tie the shorter.
fn dominant_onset(started: &[Numbered<'_>]) -> Option<Onset> {
    let counts = onset_counts(started);
    let classes = [Onset::Acute, Onset::Subacute, Onset::Persistent].into_iter().zip(counts);
    let met = classes.filter(|(_, count)| *count > 0);
    met.max_by_key(|(onset, count)| (*count, std::cmp::Reverse(*onset))).map(|(onset, _)| onset)
}
