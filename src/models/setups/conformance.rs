//! How often each item of the written standard is met.

use super::column::Column;
use super::shares::{Shares, UnitShare};
use super::tested::{Question, Tested};
use super::visits::{Level, SetupVisit, SetupVisits};
use crate::catalogue::parameter::{Nature, Parameter};
use crate::catalogue::setup_standard::{Grade, StandardItem};
use crate::visits::parameter_value::value;
use mendcurve_stats::Level as Confidence;

/// What a required item must reach at every site, as a share of visits: a design choice, no published source.
pub const LEAST_SHARE_OF_REQUIRED: f64 = 0.9;
/// How much less often than elsewhere an item must be met to matter.
const MATTERS: f64 = 0.05;

/// An item with how often it is *not* met.
#[derive(Clone, PartialEq, Debug)]
pub struct ItemShares {
    /// Its position in the standard.
    pub item: usize,
    /// Visits that record it and for which it holds; a hit is one that does not meet it.
    pub missed: Shares,
}

/// Counts an item over the visits of its parameter and region.
pub fn item_shares(visits: &SetupVisits<'_>, column: &Column<'_>, item: usize, of: &StandardItem) -> ItemShares {
    let holds = |visit: &&(&SetupVisit, f64)| of.position.is_none() || position(visits, visit.0) == of.position;
    let marked = column.values.iter().filter(holds).map(|(visit, value)| (*visit, !of.target.is_met_by(*value)));
    ItemShares { item, missed: Shares::of(visits, marked) }
}

/// The position of a visit as a word.
fn position(visits: &SetupVisits<'_>, visit: &SetupVisit) -> Option<&'static str> {
    let Nature::Word(words) = Parameter::Position.nature() else { return None };
    words.get(value(visits.row(visit)?, Parameter::Position)? as usize).copied()
}

/// Holds each unit against the others, and each site against what is required.
pub fn tests(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    shares: &ItemShares,
    item: &StandardItem,
    confidence: Confidence,
) -> Vec<Tested> {
    shares.missed.units.iter().filter_map(|unit| test(visits, column, shares, item, unit, confidence)).collect()
}

fn test(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    shares: &ItemShares,
    item: &StandardItem,
    unit: &UnitShare,
    confidence: Confidence,
) -> Option<Tested> {
    let against_others = shares.missed.held(visits, unit);
    let is_site = visits.units.get(unit.unit)?.level == Level::Site;
    let least = (is_site && item.grade == Grade::Required && unit.is_enough())
        .then(|| unit.tail(1.0 - LEAST_SHARE_OF_REQUIRED))
        .flatten();
    let met = |missed: f64| 1.0 - missed;
    // two looks at one share: Bonferroni between the two
    let (reference, p) = match (against_others, least) {
        (Some(held), Some(p)) => {
            let is_unlike_others = held.p <= 0.05;
            let reference = if is_unlike_others { met(held.reference) } else { LEAST_SHARE_OF_REQUIRED };
            (reference, (2.0 * p.min(held.p)).min(1.0))
        }
        (Some(held), None) => (met(held.reference), held.p),
        (None, Some(p)) => (LEAST_SHARE_OF_REQUIRED, p),
        (None, None) => return None,
    };
    let (low, high) = unit.interval(confidence)?;
    Some(Tested {
        question: Question::Conformance { item: shares.item },
        unit: unit.unit,
        about: Some(column.about),
        observed: met(unit.share()),
        reference,
        interval: (met(high), met(low)),
        since: None,
        sides: Some((unit.with_hits, unit.with_misses)),
        visits: unit.visits,
        patients: unit.patients,
        matters: met(unit.share()) <= reference - MATTERS,
        p,
    })
}
