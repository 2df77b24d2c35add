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
use crate::rows::row::NameId;
use mendcurve_stats::energy::{energy, energy_test};
use mendcurve_stats::random::{stream, uniform};
use mendcurve_stats::siblings::beside_siblings;

/// Most episodes of a side whose distance is taken, drawn by a keyed hash of their patients' keys: whom else the data hold does not
/// matter.
const MOST: usize = 1500;
/// Most episodes of a side that are permuted, the first drawn of these: enough for any distance that matters.
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
    let drawn: Vec<Vec<Drawn>> = means.units.iter().map(|unit| first_drawn(of_unit(unit, names))).collect();
    let sides: Vec<(Vec<f64>, Vec<f64>)> = (0..drawn.len())
        .map(|own| {
            let others = drawn.iter().enumerate().filter(|(other, _)| *other != own).flat_map(|(_, of)| of).copied();
            let own = drawn.get(own).map(|own| values_of(own)).unwrap_or_default();
            (own, values_of(&first_drawn(others.collect())))
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
            let [own, others] = [&side.0, &side.1].map(|side| side.get(..MOST_PERMUTED).unwrap_or(side));
            let p =
                |permutations| energy_test(own, others, permutations, SEED, key.as_bytes()).map_or(1.0, |test| test.p);
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

/// An episode's value less its unit's mean, and when it is drawn: a number on (0, 1) that follows from its patient's key.
#[derive(Clone, Copy)]
struct Drawn {
    turn: f64,
    value: f64,
}

fn of_unit(unit: &UnitMean, names: &Names) -> Vec<Drawn> {
    let turn = |patient: NameId| uniform(&mut stream(SEED, names.patients.get(patient).as_bytes()));
    let drawn = |(patient, value): (&NameId, &f64)| Drawn { turn: turn(*patient), value: value - unit.mean };
    unit.whose.iter().zip(&unit.values).map(drawn).collect()
}

/// The [`MOST`] that are drawn first, in that order.
fn first_drawn(mut of: Vec<Drawn>) -> Vec<Drawn> {
    of.sort_unstable_by(|a, b| a.turn.total_cmp(&b.turn).then(a.value.total_cmp(&b.value)));
    of.truncate(MOST);
    of
}

fn values_of(drawn: &[Drawn]) -> Vec<f64> {
    drawn.iter().map(|one| one.value).collect()
}

#[cfg(test)]
mod tests {
    use super::super::visits::UnitId;
    use super::*;

    #[test]
    fn whether_an_episode_is_drawn_follows_from_its_patient_and_not_from_whom_the_data_hold_before() {
        let mut names = Names::default();
        let patients: Vec<NameId> = (0..4_000).filter_map(|i| names.patients.intern(&format!("P{i}"))).collect();
        let unit = |whose: &[NameId]| UnitMean {
            unit: UnitId::at(0),
            values: whose.iter().map(|patient| f64::from(patient.0.get())).collect(),
            whose: whose.to_vec(),
            mean: 0.0,
            as_seen: 0.0,
            by_condition: 0.0,
            visits: 0,
            patients: 0,
        };
        let drawn = |whose: &[NameId]| values_of(&first_drawn(of_unit(&unit(whose), &names)));
        let of_all = drawn(&patients);
        assert_eq!(of_all.len(), MOST);
        let without_one = drawn(&patients[1..]);
        let kept = of_all.iter().filter(|value| without_one.contains(value)).count();
        assert!(kept >= MOST - 1, "{kept}");
        let backwards: Vec<NameId> = patients.iter().rev().copied().collect();
        assert_eq!(drawn(&backwards), of_all);
    }
}
