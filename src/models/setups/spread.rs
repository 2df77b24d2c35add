//! Are a site's values spread unlike the other sites', beyond a shift of all of them?
//!
//! Energy distance (Szekely & Rizzo 2013, J Stat Plan Inference 143:1249-72) between a site's episodes and the others', each
//! less its own site's mean, with a permutation test; and how far it lies from the other sites' distances, which differ
//! for ordinary reasons (a site with two tables spreads less than one with three). The larger p value counts.

use super::column::Column;
use super::tested::{Question, Tested, by_permutations};
use super::unlike::{UnitMean, UnitMeans};
use super::visits::SetupVisits;
use crate::rows::names::Names;
use mendcurve_stats::energy::{energy, energy_test};
use mendcurve_stats::siblings::beside_siblings;

/// Most episodes of a side whose distance is taken, evenly picked.
const MOST: usize = 1500;
/// Most episodes of a side that are permuted, evenly picked of these: enough for any distance that matters.
const MOST_PERMUTED: usize = 500;
/// Share of the most that a distance can be, from which on it matters.
const MATTERS: f64 = 0.1;
/// Distinct values below which a spread is a matter of a few choices, and their shares say more.
const FEWEST_DISTINCT: usize = 8;
const SEED: u64 = 12;

/// Holds the spread of each site against the others'. `means`: those of the column's sites.
pub fn tests(visits: &SetupVisits<'_>, column: &Column<'_>, means: &UnitMeans, names: &Names) -> Vec<Tested> {
    if means.units.len() < 2 || distinct_values(column) < FEWEST_DISTINCT {
        return Vec::new();
    }
    let centred = |unit: &UnitMean| -> Vec<f64> { unit.values.iter().map(|value| value - unit.mean).collect() };
    let sides: Vec<(Vec<f64>, Vec<f64>)> = means
        .units
        .iter()
        .map(|unit| {
            let others: Vec<f64> =
                means.units.iter().filter(|other| other.unit != unit.unit).flat_map(centred).collect();
            (picked(&centred(unit), MOST), picked(&others, MOST))
        })
        .collect();
    let distance = |(own, others): &(Vec<f64>, Vec<f64>)| energy(own, others).map_or(0.0, |found| found.inhomogeneity);
    let distances: Vec<f64> = sides.iter().map(distance).collect();
    let mut families = means.as_families(visits, |_| 0.0);
    families.iter_mut().zip(&distances).for_each(|(unit, distance)| unit.value = distance.sqrt());
    let Ok(beside) = beside_siblings(&families) else { return Vec::new() };
    let mut found = Vec::new();
    for (((unit, side), seen), beside) in means.units.iter().zip(&sides).zip(&distances).zip(beside) {
        let Some(beside) = beside else { continue };
        // one-sided: only a larger distance than the others' says something
        let among = if beside.t > 0.0 { 0.5 * beside.p } else { 1.0 };
        let key = format!(
            "{:?}\0{}\0{}",
            column.about.region,
            column.about.parameter.key(),
            visits.units.key(unit.unit, names)
        );
        let by_chance = || {
            let (own, others) = (picked(&side.0, MOST_PERMUTED), picked(&side.1, MOST_PERMUTED));
            let p = |permutations| {
                energy_test(&own, &others, permutations, SEED, key.as_bytes()).map_or(1.0, |test| test.p)
            };
            by_permutations(|permutations| p(permutations).max(among))
        };
        let matters = *seen >= MATTERS;
        // permutations cost, and cannot speak where the other yardstick is silent or the distance is too small to be told
        let p = if among > 0.01 || !matters { among.max(0.01) } else { by_chance() };
        found.push(Tested {
            question: Question::Spread,
            unit: unit.unit,
            about: Some(column.about),
            observed: *seen,
            reference: beside.reference.powi(2),
            interval: (*seen, *seen),
            since: None,
            sides: None,
            visits: unit.visits,
            patients: unit.patients,
            matters,
            p,
        });
    }
    found
}

/// How many distinct values are recorded, counted no further than needed.
fn distinct_values(column: &Column<'_>) -> usize {
    let mut seen: Vec<f64> = Vec::with_capacity(FEWEST_DISTINCT);
    for (_, value) in &column.values {
        if seen.len() < FEWEST_DISTINCT && !seen.contains(value) {
            seen.push(*value);
        }
    }
    seen.len()
}

/// At most this many values, evenly picked in their order.
fn picked(values: &[f64], most: usize) -> Vec<f64> {
    let step = values.len().div_ceil(most).max(1);
    values.iter().copied().step_by(step).collect()
}
