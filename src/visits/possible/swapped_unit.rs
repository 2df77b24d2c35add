//! A number that is to the patient's other visits as one unit is to another.

use super::Marks;
use crate::catalogue::rule::{Rule, UnitSwapped};
use crate::rows::row::Row;
use crate::units::Unit;

/// Adds the marks of pulls and body masses as if in another unit. Allocates once for the whole course.
pub(super) fn mark(rows: &[&Row], limits: &UnitSwapped, marks: &mut [Marks]) {
    let mut sorted = Vec::with_capacity(rows.len());
    let pull = |row: &Row| row.dose.peak_force.map(|pull| pull.get());
    let mass = |row: &Row| row.dose.body_mass.map(|mass| mass.get());
    mark_one(rows, pull, &factors_of_force(), limits, marks, &mut sorted);
    mark_one(rows, mass, &factors_of_mass(), limits, marks, &mut sorted);
}

/// Factors over 1 between two units of force: N, lbf, kgf.
fn factors_of_force() -> [f64; 3] {
    let [lbf, kgf] = [Unit::PoundForce, Unit::KilogramForce].map(|unit| unit.factor().unwrap_or(1.0));
    [kgf / lbf, lbf, kgf]
}

/// Factor over 1 between kg and lb.
fn factors_of_mass() -> [f64; 1] {
    [1.0 / Unit::Pound.factor().unwrap_or(1.0)]
}

fn mark_one(
    rows: &[&Row],
    number_of: impl Fn(&Row) -> Option<f64>,
    factors: &[f64],
    limits: &UnitSwapped,
    marks: &mut [Marks],
    sorted: &mut Vec<f64>,
) {
    sorted.clear();
    sorted.extend(rows.iter().filter_map(|row| number_of(row)));
    sorted.sort_unstable_by(f64::total_cmp);
    for (row, marks) in rows.iter().zip(marks) {
        let is_swapped = number_of(row).and_then(|number| is_swapped(number, sorted, factors, limits));
        marks.note(Rule::UnitSwapped, is_swapped);
    }
}

/// Whether x, one of the numbers of a course, is about f m or m / f, where m is the median of the others and f the factor
/// between two units. `None` unless the others agree: enough of them lie near m, and any that do not are themselves about
/// f m or m / f, so that a unit swapped on several visits is found on each.
fn is_swapped(x: f64, sorted: &[f64], factors: &[f64], limits: &UnitSwapped) -> Option<bool> {
    let own = sorted.partition_point(|number| *number < x);
    let other = |at: usize| sorted.get(if at < own { at } else { at + 1 }).copied();
    let others = sorted.len().checked_sub(1)?;
    let median = (other(others.checked_sub(1)? / 2)? + other(others / 2)?) / 2.0;
    if median <= 0.0 {
        return None;
    }
    // how many of the others lie from low to high
    let within = |(low, high): (f64, f64)| {
        let from = sorted.partition_point(|number| *number < low);
        let to = sorted.partition_point(|number| *number <= high);
        (to - from) - usize::from((low..=high).contains(&x))
    };
    let bands = factors.iter().flat_map(|factor| [factor * median, median / factor]).map(|at| {
        let off = limits.factor_share * at;
        (at - off, at + off)
    });
    let near = within((median / (1.0 + limits.agree_share), median * (1.0 + limits.agree_share)));
    let explained: usize = bands.clone().map(within).sum();
    let agree = near as f64 >= limits.least_others && near + explained >= others;
    agree.then(|| bands.into_iter().any(|(low, high)| (low..=high).contains(&x)))
}
