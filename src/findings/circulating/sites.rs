//! Sites compared, and what their pages say.

use super::{Estimate, Precision, Shown, error_of_share, standard_error};
use crate::findings::sites::{FunnelAt, Limits, QuartersOf, SeenAndLost, SiteComparison, SiteFindings, SiteRow};
use crate::models::sites::cases::Quantity;

/// SD of the days of readings within a week, all days alike.
const DAYS_OF_WEEK: f64 = 2.0;
/// Error of the calibration slope of a logistic model on one case, of predictions of middling spread.
const SLOPE_OF_ONE: f64 = 3.0;

pub(super) fn comparison(of: &mut SiteComparison, precision: Precision) {
    let error_of_one = of.funnel.last().map(|at| error_behind(at.limits_95) * at.episodes.sqrt());
    let n = match of.episodes {
        Shown::Value(n) => f64::from(n.max(1)),
        Shown::Withheld | Shown::Missing => 1.0,
    };
    if let (Shown::Value(overall), Some(error)) = (&mut of.overall, error_of_one) {
        let exact = *overall;
        *overall = precision.number(exact, error / n.sqrt());
        // limits of chance around what is shown: drawn finely, they would tell the rest
        let (by, to) = (*overall - exact, if of.quantity == Quantity::Change { 0.5 } else { 0.005 });
        of.funnel.iter_mut().for_each(|at| move_funnel(at, by, to));
    }
    let sites = of.rows.len().max(2) as f64;
    of.between_sd = of.between_sd.map(|sd| precision.number(sd, sd / (2.0 * (sites - 1.0)).sqrt()));
    of.discrimination = of.discrimination.map(|quality| match quality.high > quality.low {
        true => precision.estimate(quality),
        // a share of variance has no interval here; its error is at most that of a correlation
        false => {
            let value = precision.number(quality.value, 1.0 / n.sqrt());
            Estimate { value, low: value, high: value }
        }
    });
    of.calibration_slope = of.calibration_slope.map(|slope| precision.number(slope, SLOPE_OF_ONE / n.sqrt()));
    for (_, lacking) in &mut of.entered {
        if precision.is_release() && matches!(lacking, Shown::Value(1..=10)) {
            *lacking = Shown::Withheld;
        }
        precision.shown(lacking);
    }
    let quantity = of.quantity;
    of.rows.iter_mut().chain(&mut of.by_quarter).for_each(|row| site_row(row, quantity, precision));
    precision.shown(&mut of.episodes);
}

fn move_funnel(at: &mut FunnelAt, by: f64, to: f64) {
    for (low, high) in [&mut at.limits_95, &mut at.limits_998] {
        for limit in [low, high] {
            *limit = ((*limit + by) / to).round() * to;
        }
    }
}

fn error_behind((low, high): Limits) -> f64 {
    standard_error(Estimate { value: low, low, high })
}

fn site_row(row: &mut SiteRow, quantity: Quantity, precision: Precision) {
    let (Shown::Value(limits), Shown::Value(episodes)) = (row.limits_95, row.episodes) else {
        row.q = row.q.map(|q| precision.p(q));
        precision.shown(&mut row.episodes);
        return;
    };
    let (error, n) = (error_behind(limits), f64::from(episodes.max(1)));
    let is_counted = quantity != Quantity::Change;
    let counts = match row.observed {
        Shown::Value(observed) if is_counted => Some((observed.round() as u32, episodes)),
        _ => None,
    };
    let to = |number: &mut Shown<f64>, error: f64| {
        if let Shown::Value(value) = number {
            *value = precision.number(*value, error);
        }
    };
    if let Shown::Value(expected) = row.expected
        && expected > 0.0
    {
        to(&mut row.ratio, error * n / expected);
    }
    match counts {
        Some((some, all)) => precision.share(&mut row.raw, (Shown::Value(some), Shown::Value(all))),
        None => to(&mut row.raw, error),
    }
    match (&mut row.observed, counts) {
        (Shown::Value(observed), Some((some, _))) => *observed = f64::from(precision.people(some)),
        (observed, _) => to(observed, error * n),
    }
    to(&mut row.expected, error * n);
    [&mut row.expected_rate, &mut row.adjusted].into_iter().for_each(|rate| to(rate, error));
    to(&mut row.score, 1.0);
    if let Shown::Value(shrunken) = &mut row.shrunken {
        *shrunken = precision.estimate(*shrunken);
    }
    for limits in [&mut row.limits_95, &mut row.limits_998] {
        if let Shown::Value(limits) = limits {
            *limits = precision.limits(*limits, error);
        }
    }
    row.q = row.q.map(|q| precision.p(q));
    precision.shown(&mut row.episodes);
}

pub(super) fn site(of: &mut SiteFindings, precision: Precision) {
    for course in &mut of.courses {
        for week in course.site.iter_mut().chain(&mut course.group) {
            week.mean = precision.estimate(week.mean);
            week.day = precision.number(week.day, DAYS_OF_WEEK / f64::from(week.episodes.max(1)).sqrt());
            week.episodes = precision.people(week.episodes);
        }
    }
    of.lost.iter_mut().for_each(|lost| seen_and_lost(lost, precision));
    of.quarters.iter_mut().for_each(|quarters| by_quarter(quarters, precision));
    let ended = &mut of.ended;
    [&mut ended.due, &mut ended.completed, &mut ended.stopped_early]
        .into_iter()
        .for_each(|count| precision.shown(count));
    [&mut ended.referred_on, &mut ended.lost, &mut ended.not_recorded]
        .into_iter()
        .for_each(|count| precision.shown(count));
}

pub(super) fn seen_and_lost(of: &mut SeenAndLost, precision: Precision) {
    precision.share(&mut of.share, (of.followed_up, of.due));
    for rate in [&mut of.seen, &mut of.imputed] {
        if let Shown::Value(rate) = rate {
            *rate = precision.estimate(*rate);
        }
    }
    if let Shown::Value(gap) = &mut of.gap
        && precision.is_release()
    {
        *gap = (20.0 * *gap).round() / 20.0;
    }
    [&mut of.due, &mut of.followed_up].into_iter().for_each(|count| precision.shown(count));
}

fn by_quarter(of: &mut QuartersOf, precision: Precision) {
    let all: u32 = of.quarters.iter().filter_map(|(_, point)| Some(point.as_ref()?.episodes)).sum();
    for rate in [&mut of.centre, &mut of.group] {
        *rate = precision.number(*rate, error_of_share(*rate, all));
    }
    for point in of.quarters.iter_mut().filter_map(|(_, point)| point.as_mut()) {
        let error = error_of_share(point.value, point.episodes);
        point.value = precision.number(point.value, error);
        point.limits = precision.limits(point.limits, error);
        point.is_rounded |= precision.is_release();
        point.episodes = precision.people(point.episodes);
    }
}
