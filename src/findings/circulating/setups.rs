//! Setups and dose. Counts of visits stand in tens already, shares in whole percent.

use super::{Estimate, Precision, Shown, standard_error};
use crate::findings::dose::DoseFindings;
use crate::findings::rounding::ERRORS_ACROSS;
use crate::findings::setups::{ParameterFindings, SetupFinding, SetupFindings, TableOpening, Variation};
use crate::findings::sites::Limits;

/// Standard errors from the centre of a chart to its limits.
const TO_LIMIT: f64 = 3.0;
/// Percent of body weight, minutes or visits to which a release gives usual doses.
const DOSE: f64 = 0.5;

pub(super) fn setups(of: &mut SetupFindings, precision: Precision) {
    of.findings.iter_mut().for_each(|found| finding(found, precision));
    of.parameters.iter_mut().for_each(|of| parameter(of, precision));
    of.tables.iter_mut().for_each(|of| table(of, precision));
    [&mut of.visits, &mut of.undated].into_iter().for_each(|count| *count = precision.count(*count));
}

fn error_behind((low, high): Limits) -> f64 {
    standard_error(Estimate { value: low, low, high })
}

fn finding(of: &mut SetupFinding, precision: Precision) {
    let error = error_behind(of.interval);
    if of.unit != "share" {
        of.observed = precision.number(of.observed, error);
        of.reference = precision.number(of.reference, error);
        of.interval = precision.limits(of.interval, error);
    }
    if let Some(usual) = &mut of.usual {
        let apart = 0.25 * (usual.observed - usual.reference).abs();
        usual.observed = precision.number(usual.observed, apart);
        usual.reference = precision.number(usual.reference, apart);
    }
    [&mut of.p, &mut of.q].into_iter().for_each(|p| *p = precision.p(*p));
    of.visits = precision.count(of.visits);
    of.patients = precision.people(of.patients);
}

fn parameter(of: &mut ParameterFindings, precision: Precision) {
    if let Variation::Levels(levels) = &mut of.variation {
        for level in levels {
            level.share = precision.estimate(level.share);
            level.variance = precision.rough(level.variance);
            level.visits = precision.count(level.visits);
            // the levels of patients and visits are counts of them
            if level.level == "patient" || level.level == "visit" {
                level.groups = precision.count(level.groups);
            }
        }
    }
    for met in &mut of.conformance {
        met.group = (100.0 * met.group).round() / 100.0;
        for line in &mut met.lines {
            line.q = line.q.map(|q| precision.p(q));
            if let (Some(share), Some(interval)) = (&mut line.share, &mut line.interval) {
                let error = error_behind(*interval);
                *share = precision.number(*share, error);
                *interval = precision.limits(*interval, error);
            }
        }
    }
    for chart in &mut of.charts {
        for point in &mut chart.points {
            let error = (point.limits.1 - point.limits.0) / (2.0 * TO_LIMIT);
            point.value = precision.number(point.value, error);
            point.limits = precision.limits(point.limits, error);
        }
    }
    if let Some(within) = &mut of.within {
        within.changed = precision.rough(within.changed);
        within.steps = precision.count(within.steps);
    }
    for shares in of.words.iter_mut().filter_map(|line| line.shares.as_mut()) {
        shares.iter_mut().for_each(|(_, share)| *share = (100.0 * *share).round() / 100.0);
    }
    [&mut of.visits, &mut of.recorded].into_iter().for_each(|count| *count = precision.count(*count));
    of.patients = precision.people(of.patients);
}

fn table(of: &mut TableOpening, precision: Precision) {
    let error = standard_error(of.at_equal_tension);
    of.at_equal_tension = precision.estimate(of.at_equal_tension);
    of.recorded = precision.number(of.recorded, error);
    of.siblings = of.siblings.map(|siblings| precision.number(siblings, error));
    of.q = of.q.map(|q| precision.p(q));
    of.visits = precision.count(of.visits);
}

pub(super) fn dose(of: &mut DoseFindings, precision: Precision) {
    for line in &mut of.associations {
        // limits of an odds ratio lie evenly on the scale of its logarithm
        let error = (line.odds_ratio.high / line.odds_ratio.low).ln() / ERRORS_ACROSS * line.odds_ratio.value;
        let [value, low, high] = [line.odds_ratio.value, line.odds_ratio.low, line.odds_ratio.high];
        line.odds_ratio = Estimate {
            value: precision.number(value, error),
            low: precision.number(low, error * low / value),
            high: precision.number(high, error * high / value),
        };
        line.spread = precision.rough(line.spread);
        line.p = precision.p(line.p);
        line.q = line.q.map(|q| precision.p(q));
        [&mut line.e_value, &mut line.e_value_of_limit].into_iter().for_each(|value| *value = precision.rough(*value));
    }
    for line in &mut of.by_visit {
        if let Shown::Value(percent) = &mut line.percent {
            percent.iter_mut().for_each(|percent| *percent = in_doses(*percent, precision));
        }
    }
    for line in &mut of.by_site {
        let numbers = [&mut line.first, &mut line.last, &mut line.rise, &mut line.minutes, &mut line.visits_a_week];
        for number in numbers {
            if let Shown::Value(number) = number {
                *number = in_doses(*number, precision);
            }
        }
        for number in [&mut line.progression, &mut line.delivered, &mut line.most_delivered] {
            if let Shown::Value(number) = number {
                *number = precision.rough(*number);
            }
        }
    }
}

/// Inside the group to a tenth.
fn in_doses(number: f64, precision: Precision) -> f64 {
    let steps = if precision.is_release() { 1.0 / DOSE } else { 10.0 };
    (number * steps).round() / steps
}
