//! Rules that hold a visit against the one before it.

use super::Marks;
use crate::catalogue::Region;
use crate::catalogue::rule::{BodyMassJumps, PullJumps, Rule, RuleLimits};
use crate::rows::row::Row;

/// Adds the marks of the rules that hold a visit against the one before it in the course.
pub(super) fn mark(rows: &[&Row], region: Option<Region>, limits: &RuleLimits, marks: &mut [Marks]) {
    // body mass is not weighed at every visit: the last one that was
    let mut last_weighed: Option<&Row> = None;
    let mut before: Option<&Row> = None;
    for (row, marks) in rows.iter().zip(marks) {
        let in_one_region = |before: &&Row| before.setup.region.or(region) == row.setup.region.or(region);
        let jumps = before.filter(in_one_region).and_then(|before| pull_jumps(before, row, &limits.pull_jumps));
        marks.note(Rule::PullJumps, jumps);
        let jumps = last_weighed.and_then(|before| body_mass_jumps(before, row, &limits.body_mass_jumps));
        marks.note(Rule::BodyMassJumps, jumps);
        before = Some(row);
        if row.dose.body_mass.is_some() {
            last_weighed = Some(row);
        }
    }
}

/// Larger > ratio x smaller, and larger - smaller >= least difference.
fn pull_jumps(before: &Row, now: &Row, limits: &PullJumps) -> Option<bool> {
    let (before, now) = (before.dose.peak_force?.get(), now.dose.peak_force?.get());
    let (smaller, larger) = (before.min(now), before.max(now));
    Some(larger > limits.larger_to_smaller_ratio * smaller && larger - smaller >= limits.least_difference_n)
}

/// |m - m0| >= share m0, for masses m0 and m at most so many days apart; not asked of visits further apart.
fn body_mass_jumps(before: &Row, now: &Row, limits: &BodyMassJumps) -> Option<bool> {
    let (mass_before, mass_now) = (before.dose.body_mass?.get(), now.dose.body_mass?.get());
    let days = i64::from(now.when.day()) - i64::from(before.when.day());
    let is_near = before.when.same_clock(now.when) && days.abs() as f64 <= limits.within_days;
    (is_near && mass_before > 0.0).then(|| (mass_now - mass_before).abs() >= limits.change_share * mass_before)
}
