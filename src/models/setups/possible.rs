//! How often each rule of what is possible is broken, by unit.

use super::shares::{FEWEST_VISITS, Shares};
use super::tested::{Question, Tested};
use super::visits::{SetupVisit, SetupVisits};
use crate::catalogue::Region;
use crate::catalogue::possible_rules::PossibleRules;
use crate::catalogue::rule::Rule;
use crate::episodes::episode::Episodes;
use crate::rows::row::Row;
use crate::visits::possible::{Marks, marks_of_course};
use mendcurve_stats::Level as Confidence;
use rayon::prelude::*;

/// How much more often than elsewhere a rule must be broken to matter, as a share of visits.
const MATTERS: f64 = 0.02;
/// How many visits must break it.
const FEWEST_BROKEN: u32 = 5;

/// A rule with how often it is broken.
#[derive(Clone, PartialEq, Debug)]
pub struct RuleShares {
    pub rule: Rule,
    /// Visits that record what it needs; a hit is one that breaks it.
    pub broken: Shares,
}

/// The marks of each visit, in the order of `visits`.
pub fn marks(visits: &SetupVisits<'_>, episodes: &Episodes, rules: &PossibleRules) -> Vec<Marks> {
    let mut marks = vec![Marks::default(); visits.list.len()];
    let mut rows: Vec<&Row> = Vec::new();
    let mut begin = 0;
    for course in visits.list.chunk_by(|a, b| a.episode == b.episode) {
        rows.clear();
        rows.extend(course.iter().filter_map(|visit| visits.row(visit)));
        let end = begin + course.len();
        let region: Option<Region> = course
            .first()
            .and_then(|visit| episodes.list.get(visit.episode as usize))
            .and_then(|episode| episode.region);
        if let Some(own) = marks.get_mut(begin..end).filter(|own| own.len() == rows.len()) {
            marks_of_course(&rows, region, rules, own);
        }
        begin = end;
    }
    marks
}

/// Each rule that is on and that some visit records enough for.
pub fn rule_shares(visits: &SetupVisits<'_>, marks: &[Marks]) -> Vec<RuleShares> {
    let of = |rule: Rule| {
        let marked = visits.list.iter().zip(marks).filter(move |(_, marks)| marks.asked(rule));
        let marked = marked.map(move |(visit, marks): (&SetupVisit, &Marks)| (visit, marks.broken(rule)));
        RuleShares { rule, broken: Shares::of(visits, marked) }
    };
    Rule::ALL.into_par_iter().map(of).filter(|shares| shares.broken.group.visits > 0).collect()
}

/// Holds each unit against the others.
pub fn tests(visits: &SetupVisits<'_>, shares: &RuleShares, confidence: Confidence) -> Vec<Tested> {
    let position = Rule::ALL.iter().position(|rule| *rule == shares.rule).unwrap_or(0);
    let test = |unit: &super::shares::UnitShare| {
        let held = shares.broken.held(visits, unit)?;
        let share = unit.share();
        Some(Tested {
            question: Question::NotPossible { rule: position },
            unit: unit.unit,
            about: None,
            observed: share,
            reference: held.reference,
            interval: unit.interval(confidence)?,
            since: None,
            sides: Some((unit.with_hits, unit.with_misses)),
            visits: unit.visits,
            patients: unit.patients,
            matters: share >= held.reference + MATTERS && unit.hits >= FEWEST_BROKEN,
            p: held.p,
        })
    };
    // a rule that nobody breaks asks nothing of anybody
    let any = shares.broken.group.hits > 0 && shares.broken.group.visits >= FEWEST_VISITS;
    shares.broken.units.iter().filter(|_| any).filter_map(test).collect()
}
