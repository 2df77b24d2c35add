//! What two definitions of a response tell of those who meet one and not the other.
//!
//! **The attacker** knows which definition asks for more, that counts add up over quarters and sites, and that whoever meets the stricter
//! definition meets the other. From the responders shown and the sums, the least and most that each withheld count can be are narrowed
//! until nothing changes. Where few in truth lie between two definitions of a cell, what is left must be wider than the rule: 1 to 4.
//! In an edition for release the counts are in fives on top.

use super::{SampleOptions, write};
use crate::catalogue::Measures;
use crate::findings::bulletin::{Bulletin, OutcomeFindings, Period, Shown};
use crate::findings::whole_tests::run_by;
use crate::findings::withhold::Rule;
use crate::group::settings::Audience;
use crate::models::fitted_course::FittedCourses;
use std::collections::BTreeMap;

/// Least and most.
type Bounds = (i64, i64);
/// A period (`None`: in no quarter) and a site (`None`: the group).
type Place = (Option<Period>, Option<String>);

fn places(bulletin: &Bulletin) -> Vec<Place> {
    let periods =
        [Some(Period::All), None].into_iter().chain(bulletin.quarters.iter().map(|q| Some(Period::Quarter(*q))));
    let sites: Vec<Option<String>> = std::iter::once(None).chain(bulletin.sites.iter().cloned().map(Some)).collect();
    periods.flat_map(|period| sites.iter().map(move |site| (period.clone(), site.clone()))).collect()
}

/// Sums as (whole, parts).
fn sums(bulletin: &Bulletin) -> Vec<(Place, Vec<Place>)> {
    let all = places(bulletin);
    let mut found = Vec::new();
    for (period, site) in &all {
        if site.is_none() {
            let parts = all.iter().filter(|(p, s)| p == period && s.is_some()).cloned().collect();
            found.push(((period.clone(), None), parts));
        }
        if *period == Some(Period::All) {
            let parts = all.iter().filter(|(p, s)| s == site && *p != Some(Period::All)).cloned().collect();
            found.push(((period.clone(), site.clone()), parts));
        }
    }
    found
}

/// The responders of a definition by place, where there is a line.
fn responders(outcome: &OutcomeFindings, definition: &str) -> BTreeMap<Place, Shown<u32>> {
    let rows = outcome.responders.iter().filter(|row| row.definition == definition);
    rows.map(|row| ((Some(row.period.clone()), row.site.clone()), row.responders)).collect()
}

/// What each count can be, from what is shown and what adds up.
fn narrowed(
    bulletin: &Bulletin,
    shown: &BTreeMap<Place, Shown<u32>>,
    most: impl Fn(&Place) -> i64,
) -> BTreeMap<Place, Bounds> {
    let mut bounds: BTreeMap<Place, Bounds> = places(bulletin)
        .into_iter()
        .map(|place| {
            let known = match shown.get(&place) {
                Some(Shown::Value(n)) => (i64::from(*n), i64::from(*n)),
                Some(_) => (0, most(&place)),
                None if place.0.is_some() => (0, 0), // no line: nobody there
                None => (0, most(&place)),
            };
            (place, known)
        })
        .collect();
    for _ in 0..50 {
        let before = bounds.clone();
        for (whole, parts) in sums(bulletin) {
            let (low, high) = parts.iter().fold((0, 0), |sum, part| (sum.0 + bounds[part].0, sum.1 + bounds[part].1));
            let of_whole = bounds[&whole];
            bounds.insert(whole.clone(), (of_whole.0.max(low), of_whole.1.min(high)));
            let of_whole = bounds[&whole];
            for part in parts {
                let own = bounds[&part];
                let others = (low - own.0, high - own.1);
                bounds.insert(part, (own.0.max(of_whole.0 - others.1), own.1.min(of_whole.1 - others.0)));
            }
        }
        if bounds == before {
            break;
        }
    }
    bounds
}

fn group(seed: u64, patients: usize, audience: Audience) -> [Bulletin; 2] {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), SampleOptions { seed, patients, faults: true }).unwrap();
    let nothing_small = Rule { up_to: 0, also_left_out: false };
    run_by(folder.path(), audience, [Rule::of(audience), nothing_small], |_| FittedCourses::default())
}

#[test]
fn those_who_meet_one_definition_and_not_a_stricter_one_are_not_told_where_they_are_few() {
    let measures = Measures::embedded().unwrap();
    let (mut few, mut shown_pairs) = (0, 0);
    for (seed, patients) in [(2, 120), (4, 500), (5, 900)] {
        let [report, open] = group(seed, patients, Audience::Internal);
        let outcomes = |bulletin: &Bulletin| -> Vec<OutcomeFindings> {
            bulletin.conditions.iter().flat_map(|condition| condition.outcomes.clone()).collect()
        };
        for (outcome, truth) in outcomes(&report).iter().zip(&outcomes(&open)) {
            // the stricter one of each pair that the shipped registry nests; half better is also 30 % better
            let has = |key: &str| outcome.definitions.iter().any(|(of, _)| of == key);
            let pairs = [("thirty_percent", "fifty_percent"), ("thirty_percent", "minimal_important")];
            for (wide, strict) in pairs.into_iter().filter(|(wide, strict)| has(wide) && has(strict)) {
                if !is_nested(&measures, &outcome.key, wide, strict) {
                    continue;
                }
                let (of_wide, of_strict) = (responders(outcome, wide), responders(outcome, strict));
                let (true_wide, true_strict) = (responders(truth, wide), responders(truth, strict));
                let wide_bounds = narrowed(&report, &of_wide, |_| 10_000);
                let strict_bounds = narrowed(&report, &of_strict, |place| wide_bounds[place].1);
                for (place, wide) in &true_wide {
                    let (Shown::Value(wide), Some(Shown::Value(strict))) = (wide, true_strict.get(place)) else {
                        continue;
                    };
                    let between = i64::from(*wide) - i64::from(*strict);
                    assert!(between >= 0, "{} is not nested in {wide}", outcome.key);
                    let (w, s) = (wide_bounds[place], strict_bounds[place]);
                    shown_pairs += u32::from(w.0 == w.1 && s.0 == s.1);
                    if !(1..=4).contains(&between) {
                        continue;
                    }
                    few += 1;
                    let (least, most) = ((w.0 - s.1).max(0), w.1 - s.0);
                    assert!(
                        most - least >= 3,
                        "seed {seed}, {}: {between} at {place:?} is within {least} to {most}",
                        outcome.key
                    );
                }
            }
        }
    }
    assert!(few > 50 && shown_pairs > 0, "{few} to protect, {shown_pairs} shown");
}

pub(super) fn is_nested(measures: &Measures, outcome: &str, wide: &str, strict: &str) -> bool {
    let longest = measures.iter().filter(|(_, measure)| outcome.starts_with(measure.key.as_str()));
    let Some((_, measure)) = longest.max_by_key(|(_, measure)| measure.key.len()) else { return false };
    let definitions = measure.definitions(false);
    let find = |key: &str| definitions.iter().find(|definition| definition.key == key);
    find(wide).zip(find(strict)).is_some_and(|(wide, strict)| strict.asks_as_much_as(wide))
}
