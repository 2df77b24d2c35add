//! Curves, the time to a response and the trials of predictions.

use super::{Estimate, Precision, Shown, error_of_share, standard_error};
use crate::findings::bulletin::WeekPoint;
use crate::findings::curve::{Backtest, BacktestRow, CurveOutcome, Parameter, TimeToResponse};
use crate::findings::trial_counts;
use rayon::prelude::*;

/// How much less certain a median, and a tenth percentile, of a bell curve is than its mean.
const MEDIAN: f64 = 1.25;
const TENTH: f64 = 1.71;
/// SD of the days of readings within a week, all days alike.
const DAYS_OF_WEEK: f64 = 2.0;
/// Days to which a median without limits is given.
const WEEK: f64 = 7.0;

pub(super) fn weeks(weeks: &mut [WeekPoint], precision: Precision) {
    for week in weeks {
        let error = standard_error(week.mean);
        week.mean = precision.estimate(week.mean);
        week.median = precision.number(week.median, MEDIAN * error);
        week.band = week.band.map(|band| precision.limits(band, TENTH * error));
        week.day = precision.number(week.day, DAYS_OF_WEEK / f64::from(week.episodes.max(1)).sqrt());
        week.episodes = precision.people(week.episodes);
    }
}

/// `patients` and `readings`: those behind the curve, as they are.
pub(super) fn curve(curve: &mut CurveOutcome, patients: Shown<u32>, readings: u32, precision: Precision) {
    let CurveOutcome::Fitted(curve) = curve else { return };
    let n = match patients {
        Shown::Value(n) => f64::from(n.max(1)),
        Shown::Withheld | Shown::Missing => f64::from(readings.max(1)).sqrt(),
    };
    curve.parameters.iter_mut().for_each(|of| parameter(of, n, precision));
    curve.baseline = precision.estimate(curve.baseline);
    for estimate in [&mut curve.plateau, &mut curve.half_time_days, &mut curve.day_of_important_change] {
        *estimate = estimate.map(|estimate| precision.estimate(estimate));
    }
    for point in &mut curve.points {
        let error = standard_error(point.mean);
        point.mean = precision.estimate(point.mean);
        point.band = precision.limits(point.band, TENTH * error);
    }
    if let Some(choice) = &mut curve.choice {
        choice.margin = precision.number(choice.margin, choice.margin_error);
        choice.margin_error = precision.rough(choice.margin_error);
        choice.patients = precision.people(choice.patients);
    }
    for share in [&mut curve.at_best_end, &mut curve.at_worst_end] {
        *share = precision.number(*share, error_of_share(*share, readings));
    }
    curve.drawn_from = curve.drawn_from.map(|all| precision.people(all));
}

fn parameter(of: &mut Parameter, n: f64, precision: Precision) {
    of.value = match of.uncertainty {
        Some((error, ..)) => precision.number(of.value, error),
        None if of.name.starts_with("correlation") => precision.number(of.value, 1.0 / n.sqrt()),
        None => precision.number(of.value, of.value / (2.0 * n).sqrt()),
    };
    of.uncertainty = of.uncertainty.map(|(error, low, high)| {
        (precision.rough(error), precision.number(low, error), precision.number(high, error))
    });
}

pub(super) fn time_to_response(found: &mut TimeToResponse, precision: Precision) {
    let error = match (found.median_low, found.median_high) {
        (Some(low), Some(high)) if high > low => standard_error(Estimate { value: low, low, high }),
        _ => WEEK,
    };
    for day in [&mut found.median_day, &mut found.median_low, &mut found.median_high] {
        *day = day.map(|day| precision.number(day, error).max(0.0));
    }
    found.p_logrank = found.p_logrank.map(|p| precision.p(p));
    for point in &mut found.incidence {
        point.response = precision.estimate(point.response);
    }
    if let Shown::Value(episodes) = found.episodes {
        for (_, share) in &mut found.stopped_by {
            *share = precision.number(*share, error_of_share(*share, episodes));
        }
    }
    [&mut found.episodes, &mut found.events, &mut found.stopped].into_iter().for_each(|count| precision.shown(count));
}

pub(super) fn backtest(backtest: &mut Backtest, precision: Precision) {
    backtest.rows.par_iter_mut().for_each(|row| trial(row, precision));
    backtest.coverage = backtest.coverage.map(|coverage| precision.estimate(coverage));
}

/// A line of a trial is rounded until it leaves open how many responded.
fn trial(row: &mut BacktestRow, precision: Precision) {
    trial_counts::round(row, precision);
    row.patients = precision.people(row.patients);
}
