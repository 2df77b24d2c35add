//! What the digits of a statistic tell of the counts behind it.
//!
//! **The attacker** knows every number that circulates and how it is rounded. A line of the trials of predictions gives patients n, area
//! under the curve, sensitivity, specificity and predictive value with their limits. For every division of n into responders and others, and
//! every number called behind among each, the attacker works out what the line would say, and keeps the divisions that say the same.
//! Of how many responded, the numbers left must lie as far apart as the rule hides: 1 to 4 inside the group, 1 to 10 for release.

use crate::findings::bulletin::{Bulletin, Estimate};
use crate::findings::curve::BacktestRow;
use crate::findings::rounding::{Precision, standard_error};
use crate::findings::whole_tests::circulating_of;
use crate::group::settings::Audience;
use crate::models::fitted_course::FittedCourses;
use mendcurve_stats::Level;
use mendcurve_stats::interval::wilson;

/// By how much more roughly than usual a line may have been rounded.
const TIMES: [f64; 5] = [1.0, 2.0, 4.0, 8.0, 16.0];

fn rows(bulletin: &Bulletin) -> impl Iterator<Item = &BacktestRow> {
    let outcomes = bulletin.conditions.iter().flat_map(|condition| &condition.outcomes);
    outcomes.filter_map(|outcome| outcome.backtest.as_ref()).flat_map(|backtest| &backtest.rows)
}

/// A count out of another as the sheet would give it; `None`: in full digits.
fn told(some: u32, all: u32, rounding: Option<(Precision, f64)>) -> Option<Estimate> {
    let limits = wilson(some.into(), all.into(), Level::NINETY_FIVE).ok()?;
    let exact = Estimate { value: f64::from(some) / f64::from(all), low: limits.low, high: limits.high };
    let Some((precision, times)) = rounding else { return Some(exact) };
    let to = |value: f64| precision.number(value, times * standard_error(exact));
    Some(Estimate { value: to(exact.value), low: to(exact.low), high: to(exact.high) })
}

fn same(a: Estimate, b: Estimate) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
    near(a.value, b.value) && near(a.low, b.low) && near(a.high, b.high)
}

/// The numerators out of `all` that a rate may have; any where none is told.
fn numerators(rate: Option<Estimate>, all: u32, rounding: Option<(Precision, f64)>) -> Vec<u32> {
    (0..=all)
        .filter(|some| rate.is_none_or(|rate| told(*some, all, rounding).is_some_and(|told| same(told, rate))))
        .collect()
}

/// How many may have responded, of so many patients.
fn responders(row: &BacktestRow, patients: u32, rounding: Option<(Precision, f64)>) -> Vec<u32> {
    let is_possible = |responded: &u32| {
        let (responded, others) = (*responded, patients - responded);
        let pairs = 2.0 * f64::from(responded) * f64::from(others);
        let half = rounding.map_or(1e-9, |(precision, _)| {
            row.auc.and_then(|auc| precision.step(standard_error(auc))).map_or(0.0, |step| 0.5 * step.width())
        });
        // 2 x area x pairs is a whole number
        let area = row.auc.is_none_or(|auc| ((auc.value * pairs).round() / pairs - auc.value).abs() <= half + 1e-9);
        area && numerators(row.sensitivity, others, rounding).iter().any(|behind| {
            numerators(row.specificity, responded, rounding).iter().any(|passed| {
                let called = behind + responded - passed;
                row.ppv.is_none_or(|ppv| told(*behind, called, rounding).is_some_and(|told| same(told, ppv)))
            })
        })
    };
    (1..patients).filter(is_possible).collect()
}

#[test]
fn full_digits_tell_how_many_responded_and_what_circulates_does_not() {
    for (audience, apart) in [(Audience::Internal, 3), (Audience::Release, 9)] {
        let [shown, exact] = circulating_of("sample-data", audience, FittedCourses::fit);
        let precision = if audience == Audience::Internal { Precision::Internal } else { Precision::Release(0) };
        let (mut determined, mut lines, mut with_rates) = (0, 0, 0);
        for (row, exact) in rows(&shown).zip(rows(&exact)) {
            lines += 1;
            with_rates += u32::from(row.sensitivity.is_some());
            // an edition for release rounds the patients too; given them, there is less to find
            let n = exact.patients;
            determined += u32::from(responders(exact, n, None).len() == 1);
            // which rounding was used is not told: any that fits may have been
            let mut found: Vec<u32> =
                TIMES.iter().flat_map(|times| responders(row, n, Some((precision, *times)))).collect();
            found.sort_unstable();
            let width = found.last().zip(found.first()).map_or(0, |(last, first)| last - first);
            assert!(width >= apart, "{audience:?}, {n} patients: {found:?} {row:?}");
        }
        assert!(lines > 80 && determined > lines / 2, "{determined} of {lines} lines: the attacker finds nothing");
        assert!(with_rates > 0, "nothing is left to read");
        println!(
            "{audience:?}: {determined} of {lines} lines told how many responded in full digits; {with_rates} keep their rates"
        );
    }
}
