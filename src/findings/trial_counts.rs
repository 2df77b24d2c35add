//! What a line of a trial of predictions leaves open of how many responded.
//!
//! Sensitivity, specificity and predictive value are quotients of four counts that add up to the patients shown, their intervals tell how
//! large the denominators are, and 2 x AUC x responders x others is whole. So a line is rounded, every division of its patients that gives the
//! same rounded line is looked for, and where those lie too close together it is rounded more roughly, in the end without these numbers.

use super::curve::BacktestRow;
use super::rounding::{ERRORS_ACROSS, Precision, error_of_share, standard_error};
use super::shown::Estimate;
use mendcurve_stats::Level;
use mendcurve_stats::interval::wilson;

/// Times the standard error asks for, tried in turn.
const COARSER: [f64; 5] = [1.0, 2.0, 4.0, 8.0, 16.0];
/// A rate told more roughly than to a fifth would say nothing.
const COARSEST: f64 = 0.2;
/// Numbers that are tried at most: what fits lies near the likeliest, and a line that is not found open is only rounded more roughly.
const TRIED: usize = 2_000;
/// Readings of a line are at most so many times the patients whose end is known.
const READINGS: u32 = 4;

/// Rounds a line. Its patients stay as they are.
pub(super) fn round(row: &mut BacktestRow, precision: Precision) {
    let exact = row.clone();
    let apart = if precision.is_release() { 9 } else { 3 };
    let is_open = |row: &BacktestRow, times: f64| is_open(precision, row, times, apart);
    let find = |row: &BacktestRow| {
        COARSER.into_iter().filter(|times| says_something(precision, row, *times)).find_map(|times| {
            let rounded = rounded(precision, row, times);
            is_open(&rounded, times).then_some(rounded)
        })
    };
    let without_rates = BacktestRow { sensitivity: None, specificity: None, ppv: None, ..exact.clone() };
    *row = find(&exact).or_else(|| find(&without_rates)).unwrap_or_else(|| {
        let without_area = BacktestRow { auc: None, ..without_rates.clone() };
        rounded(precision, &without_area, 1.0)
    });
    row.band_coverage = exact.band_coverage.and_then(|coverage| {
        let of = |times: f64| number(precision, coverage, times);
        COARSER.into_iter().find(|times| is_rate_open(precision, of(*times), row.patients, *times, apart)).map(of)
    });
}

/// Whether the rates of a line are told to a fifth or finer.
fn says_something(precision: Precision, row: &BacktestRow, times: f64) -> bool {
    let rates = [row.sensitivity, row.specificity, row.ppv].into_iter().flatten();
    let mut steps = rates.filter_map(|rate| precision.step(times * standard_error(rate)));
    steps.all(|step| step.width() <= COARSEST)
}

/// A line with its rates rounded so many times as roughly, and all else to what it supports.
fn rounded(precision: Precision, row: &BacktestRow, times: f64) -> BacktestRow {
    let rate = |estimate: Option<Estimate>| estimate.map(|estimate| number(precision, estimate, times));
    let of = |estimate: Option<Estimate>| estimate.map(|estimate| precision.estimate(estimate));
    BacktestRow {
        auc: of(row.auc),
        brier: row.brier.map(|brier| precision.number(brier, error_of_share(brier, row.patients))),
        calibration_slope: of(row.calibration_slope),
        calibration_intercept: of(row.calibration_intercept),
        sensitivity: rate(row.sensitivity),
        specificity: rate(row.specificity),
        ppv: rate(row.ppv),
        ..row.clone()
    }
}

fn number(precision: Precision, of: Estimate, times: f64) -> Estimate {
    let error = times * standard_error(of);
    let to = |value: f64| precision.number(value, error);
    Estimate { value: to(of.value), low: to(of.low), high: to(of.high) }
}

/// Whether the numbers of those who responded that fit a line lie this far apart.
fn is_open(precision: Precision, row: &BacktestRow, times: f64, apart: u32) -> bool {
    let n = row.patients;
    let (mut least, mut most) = (u32::MAX, 0);
    for responded in
        outward(n - row.sensitivity.map_or(n / 2, of_how_many).min(n), n).filter(|responded| (1..n).contains(responded))
    {
        if fits(precision, row, times, n - responded, responded) {
            (least, most) = (least.min(responded), most.max(responded));
            if most - least >= apart {
                return true;
            }
        }
    }
    false
}

/// About how many a rate is of, by the width of its interval (the normal approximation, turned round).
fn of_how_many(rate: Estimate) -> u32 {
    let all = rate.value * (1.0 - rate.value) / standard_error(rate).powi(2);
    if all.is_finite() { all.round() as u32 } else { 0 }
}

/// All numbers from 0 to `last`, those nearest to `start` first: what fits lies near it and is found soon.
fn outward(start: u32, last: u32) -> impl Iterator<Item = u32> {
    let below = (0..=start.min(last)).rev().map(Some).chain(std::iter::repeat(None));
    let above = (start.saturating_add(1)..=last).map(Some).chain(std::iter::repeat(None));
    below.zip(above).take(last as usize + 1).flat_map(|(below, above)| below.into_iter().chain(above)).take(TRIED)
}

/// Whether a line may be of so many who failed and so many who responded.
fn fits(precision: Precision, row: &BacktestRow, times: f64, failed: u32, responded: u32) -> bool {
    let whole = 2.0 * f64::from(failed) * f64::from(responded);
    let is_auc = row.auc.is_none_or(|auc| {
        let width = precision.step(standard_error(auc)).map_or(0.0, |step| step.width());
        ((auc.value * whole).round() / whole - auc.value).abs() <= 0.5 * width + 1e-9
    });
    if !is_auc {
        return false;
    }
    let called = numerators(precision, row.sensitivity, failed, times);
    let passed = numerators(precision, row.specificity, responded, times);
    called.into_iter().any(|called| {
        let passed = passed.clone();
        passed.into_iter().any(|passed| {
            let all_called = called + responded - passed;
            row.ppv.is_none_or(|ppv| all_called > 0 && is_rate(precision, called, all_called, ppv, times))
        })
    })
}

/// The numerators by which a rounded rate may have come about; any where there is none.
fn numerators(precision: Precision, rate: Option<Estimate>, all: u32, times: f64) -> Vec<u32> {
    match rate {
        None => (0..=all).collect(),
        Some(rate) => {
            let half = widest_step(precision, rate, times) / 2.0;
            let (low, high) = ((rate.value - half).max(0.0), (rate.value + half).min(1.0));
            let (low, high) = ((low * f64::from(all)).floor() as u32, (high * f64::from(all)).ceil() as u32);
            (low..=high.min(all)).filter(|some| is_rate(precision, *some, all, rate, times)).collect()
        }
    }
}

/// No rate that is rounded to this one was rounded to a wider step. A step is at most so many standard errors, and the interval of what was rounded,
/// 3.92 of these across, is at most one step wider than the rounded one.
fn widest_step(precision: Precision, rate: Estimate, times: f64) -> f64 {
    let of_an_error = times * precision.widest_step();
    if of_an_error < ERRORS_ACROSS {
        of_an_error * (rate.high - rate.low) / (ERRORS_ACROSS - of_an_error) + 1e-9
    } else {
        1.0
    }
}

fn is_rate(precision: Precision, some: u32, all: u32, shown: Estimate, times: f64) -> bool {
    wilson(some.into(), all.into(), Level::NINETY_FIVE).is_ok_and(|limits| {
        let value = f64::from(some) / f64::from(all);
        number(precision, Estimate { value, low: limits.low, high: limits.high }, times) == shown
    })
}

/// The same of a single rate: whether the numbers of those outside lie so far apart.
fn is_rate_open(precision: Precision, rate: Estimate, patients: u32, times: f64, apart: u32) -> bool {
    let (mut least, mut most) = (u32::MAX, 0);
    for all in outward(of_how_many(rate), READINGS * patients).filter(|all| *all > 0) {
        for some in numerators(precision, Some(rate), all, times) {
            (least, most) = (least.min(all - some), most.max(all - some));
        }
        if most.saturating_sub(least) >= apart {
            return true;
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(some: u64, all: u64) -> Option<Estimate> {
        let limits = wilson(some, all, Level::NINETY_FIVE).unwrap();
        Some(Estimate { value: some as f64 / all as f64, low: limits.low, high: limits.high })
    }

    fn line() -> BacktestRow {
        BacktestRow {
            scheme: "five folds by patient",
            visit_no: 1,
            patients: 33,
            auc: Some(Estimate { value: 197.0 / 260.0, low: 0.58, high: 0.93 }),
            brier: Some(0.19),
            calibration_slope: None,
            calibration_intercept: None,
            band_coverage: rate(27, 33),
            sensitivity: rate(12, 20),
            specificity: rate(11, 13),
            ppv: rate(12, 14),
        }
    }

    #[test]
    fn full_digits_leave_one_number_of_responders_and_a_rounded_line_several() {
        let exact = line();
        let fitting: Vec<u32> = (1..33)
            .filter(|responded| {
                let auc = exact.auc.unwrap().value * 2.0 * f64::from(*responded) * f64::from(33 - responded);
                let sensitivity = exact.sensitivity.unwrap().value * f64::from(33 - responded);
                (auc - auc.round()).abs() < 1e-6 && (sensitivity - sensitivity.round()).abs() < 1e-6
            })
            .collect();
        assert_eq!(fitting, [13]);
        for (precision, apart) in [(Precision::Internal, 3), (Precision::Release(1), 9)] {
            let mut row = line();
            round(&mut row, precision);
            assert!(COARSER.iter().any(|times| is_open(precision, &row, *times, apart)), "{row:?}");
            assert!(row.auc.is_some(), "{row:?}");
        }
    }

    #[test]
    fn numbers_are_tried_from_the_likeliest_outward_and_each_once() {
        assert_eq!(outward(2, 5).collect::<Vec<u32>>(), [2, 3, 1, 4, 0, 5]);
        for (start, last) in [(0, 3), (3, 3), (9, 4)] {
            let mut tried: Vec<u32> = outward(start, last).collect();
            tried.sort_unstable();
            assert_eq!(tried, (0..=last).collect::<Vec<u32>>(), "from {start}");
        }
    }

    #[test]
    fn no_rate_that_a_step_could_make_of_another_is_left_out() {
        for precision in [Precision::Internal, Precision::Release(1)] {
            for times in COARSER {
                for (some, all) in [(27, 33), (140, 350), (1, 12), (0, 9), (400, 2_000)] {
                    let shown = rate(some, all).map(|rate| number(precision, rate, times));
                    let found = numerators(precision, shown, all as u32, times);
                    let by_trying_all: Vec<u32> = (0..=all as u32)
                        .filter(|n| is_rate(precision, *n, all as u32, shown.unwrap(), times))
                        .collect();
                    assert_eq!(found, by_trying_all, "{some} of {all}, {times} times as roughly");
                }
            }
        }
    }
}
