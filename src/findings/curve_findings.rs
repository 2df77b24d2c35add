//! Fitted courses -> what the condition pages say of curve, time to response and predictions.

use super::about::Numbered;
use super::curve::{
    Backtest, BacktestRow, Choice, Curve, CurveModel, CurveOutcome, CurvePoint, IncidencePoint, Parameter,
    TimeToResponse,
};
use super::reasons;
use super::shown::{Estimate, as_count};
use super::withhold::{Rule, count};
use crate::catalogue::Definition;
use crate::models::backtest::{Line, Tested};
use crate::models::course_model::{CourseModel, EndEffect, Kind};
use crate::models::fitted_course::FittedCourse;
use crate::models::score_scale::Bell;
use crate::models::time_to_response::{self as waiting, Step};
use crate::models::unfit::Unfit;
use mendcurve_stats::Interval;
use mendcurve_stats::interval::ERRORS_95;
use mendcurve_stats::prediction::Rate;

/// Days for which a mean stands among the parameters: the first, two weeks, six weeks, twelve weeks.
const DAYS_OF_MEANS: [(f64, &str); 4] =
    [(0.0, "mean_day_0"), (14.0, "mean_day_14"), (42.0, "mean_day_42"), (84.0, "mean_day_84")];

/// Which model, for people.
pub fn model_of(model: &CourseModel) -> CurveModel {
    match model.kind() {
        Kind::Exponential => CurveModel::Exponential,
        Kind::Spline => CurveModel::Spline,
    }
}

/// The curve of an outcome up to a day. `important_change` is an improvement in the measure's own unit.
pub fn curve(course: &FittedCourse, important_change: Option<f64>, last_day: f64) -> CurveOutcome {
    let chosen = match &course.fit {
        Ok(chosen) => chosen,
        Err(Unfit::TooFew) => return CurveOutcome::TooFewReadings,
        Err(why) => return CurveOutcome::NotIdentifiable(why.in_words()),
    };
    let model = &chosen.model;
    let Some(baseline) = model.baseline() else {
        return CurveOutcome::NotIdentifiable("its mean at the start could not be worked out".to_owned());
    };
    let day_of_important_change =
        important_change.and_then(|amount| model.day_of_improvement(course.scale, amount, last_day));
    let scores = course.fitted_to().scores();
    let share_at = |end: fn((bool, bool)) -> bool| {
        let at_end = scores.iter().filter(|score| end(course.scale.at_ends(**score))).count();
        at_end as f64 / scores.len().max(1) as f64
    };
    let mut evidence = model.evidence();
    if let Some(why) = &chosen.other {
        evidence.push_str(&format!("; the other model was not used: {}", why.in_words()));
    }
    CurveOutcome::Fitted(Box::new(Curve {
        model: model_of(model),
        parameters: parameters(
            course,
            model,
            last_day,
            day_of_important_change,
            chosen.margin.map(|m| (m.value, m.standard_error)),
        ),
        baseline: baseline.into(),
        plateau: model.plateau().map(Estimate::from),
        half_time_days: model.half_time_days().map(Estimate::from),
        important_change,
        day_of_important_change: day_of_important_change.map(Estimate::from),
        points: points(course, model, last_day),
        choice: chosen.margin.map(|margin| Choice {
            margin: margin.value,
            margin_error: margin.standard_error,
            patients: margin.patients,
        }),
        at_best_end: share_at(|(best, _)| best),
        at_worst_end: share_at(|(_, worst)| worst),
        drawn_from: (course.fitted_to().len() < course.panel.len()).then(|| as_count(course.panel.len())),
        ends: course.end_effect.map(end_effect),
        singular: model.singular(),
        evidence,
    }))
}

/// What the ends of the scale do to the curve, as a sentence.
fn end_effect(effect: EndEffect) -> String {
    match effect {
        EndEffect::Changed { plateau, half_time_ratio } => format!(
            "Fitted again without the readings at the ends of the scale, the plateau changes by {plateau:+.1} and the half-time              is {half_time_ratio:.1} times as long"
        ),
        EndEffect::NoFit => "Without the readings at the ends of the scale no such curve can be fitted".to_owned(),
    }
}

fn points(course: &FittedCourse, model: &CourseModel, last_day: f64) -> Vec<CurvePoint> {
    let days: Vec<f64> = (0..=last_day.max(0.0) as u32).map(f64::from).collect();
    let population = model.population(&days);
    let point = |(day, (mean, bell)): (f64, (mendcurve_stats::Estimate, Bell))| CurvePoint {
        day,
        mean: mean.into(),
        band: course.scale.band(bell),
    };
    days.into_iter().zip(population).map(point).collect()
}

fn parameters(
    course: &FittedCourse,
    model: &CourseModel,
    last_day: f64,
    day_of_important_change: Option<mendcurve_stats::Estimate>,
    margin: Option<(f64, f64)>,
) -> Vec<Parameter> {
    let estimated = |name: &'static str, estimate: mendcurve_stats::Estimate| Parameter {
        name,
        value: estimate.value,
        uncertainty: Some((estimate.standard_error, estimate.interval.low, estimate.interval.high)),
    };
    let mut list = Vec::new();
    list.extend(model.plateau().and(model.baseline()).map(|estimate| estimated("baseline", estimate)));
    list.extend(model.plateau().map(|estimate| estimated("plateau", estimate)));
    list.extend(model.half_time_days().map(|estimate| estimated("half_time_days", estimate)));
    list.extend(day_of_important_change.map(|estimate| estimated("day_of_important_change", estimate)));
    let means = DAYS_OF_MEANS.into_iter().filter(|(day, _)| *day <= last_day.max(course.endpoint_day));
    let (days, names): (Vec<f64>, Vec<&'static str>) = means.unzip();
    list.extend(names.into_iter().zip(model.population(&days)).map(|(name, (mean, _))| estimated(name, mean)));
    list.extend(model.spread().into_iter().map(|(name, value)| Parameter { name, value, uncertainty: None }));
    list.extend(margin.map(|(value, error)| Parameter {
        name: "held_out_margin",
        value,
        uncertainty: Some((error, value - ERRORS_95 * error, value + ERRORS_95 * error)),
    }));
    list
}

/// The time to a response by one definition, seen once and at two readings in a row, over every episode that started; an entry is missing
/// where none could respond. Small counts are withheld, and with one of them all that add up to the same whole; likewise those of the
/// sustained response where few responded once and not in a row, since the two are one table.
pub(super) fn times_to_response(
    course: &FittedCourse,
    started: &[Numbered<'_>],
    definition: &Definition,
    window_begins: i32,
    rule: Rule,
) -> Vec<TimeToResponse> {
    let found = |sustained| {
        let spell = |(id, episode): &Numbered<'_>| {
            let spell = waiting::spell(episode, course.panel.track(*id)?, definition, sustained, window_begins)?;
            Some((episode.onset, spell))
        };
        waiting::time_to_response(&started.iter().filter_map(spell).collect::<Vec<_>>())
    };
    let (once, sustained) = (found(false), found(true));
    let is_apart = |a: u32, b: u32| rule.is_small(a.abs_diff(b));
    let few_between = once.as_ref().zip(sustained.as_ref()).is_some_and(|(once, sustained)| {
        is_apart(once.events, sustained.events)
            || is_apart(once.stopped, sustained.stopped)
            || is_apart(once.waiting(), sustained.waiting())
    });
    let once = once.map(|found| shown_time(&found, String::new(), definition.label.clone(), definition, false, rule));
    let sustained = sustained.map(|found| {
        let label = format!("{}, at two readings in a row", definition.label);
        shown_time(&found, "sustained_".to_owned(), label, definition, few_between, rule)
    });
    once.into_iter().chain(sustained).collect()
}

fn shown_time(
    found: &waiting::TimeToResponse,
    prefix: String,
    label: String,
    definition: &Definition,
    few_between: bool,
    rule: Rule,
) -> TimeToResponse {
    let counts = [found.episodes, found.events, found.stopped, found.waiting()];
    let withheld = few_between || counts.iter().any(|n| rule.is_small(*n));
    // steps are people: none where their sum is withheld
    let steps = if withheld { &[] } else { found.incidence.as_slice() };
    TimeToResponse {
        definition: prefix + &definition.key,
        label,
        episodes: count(rule.is_small(found.episodes), found.episodes),
        events: count(withheld, found.events),
        stopped: count(withheld, found.stopped),
        median_day: found.median,
        median_low: found.median_limits.0,
        median_high: found.median_limits.1,
        p_logrank: found.p_onset,
        incidence: weekly(steps, |step| step.responses, rule)
            .into_iter()
            .map(|(day, step)| {
                let (value, interval) = step.map_or((0.0, Interval { low: 0.0, high: 0.0 }), |step| step.response);
                IncidencePoint { day, response: Estimate { value, low: interval.low, high: interval.high } }
            })
            .collect(),
        stopped_by: weekly(steps, |step| step.stops, rule)
            .into_iter()
            .map(|(day, step)| (day, step.map_or(0.0, |step| step.stopped)))
            .collect(),
    }
}

/// The first day and those ends of weeks between which none or more than a few were counted, with the last step before each. Those still
/// to come after a week are none or more than a few, too: their sum over all weeks is told.
fn weekly(steps: &[Step], counted: fn(&Step) -> u32, rule: Rule) -> Vec<(f64, Option<&Step>)> {
    let Some(last) = steps.last() else { return Vec::new() };
    let (mut points, mut seen) = (vec![(0.0, None)], 0);
    for day in (1..=(last.day / 7.0).ceil() as u32).map(|week| 7.0 * f64::from(week)) {
        let step = steps.partition_point(|step| step.day <= day).checked_sub(1).and_then(|at| steps.get(at));
        let so_far = step.map_or(0, counted);
        if !rule.is_small(so_far - seen) && !rule.is_small(counted(last) - so_far) {
            seen = so_far;
            points.push((day, step));
        }
    }
    points
}

/// How predictions did; `None` without a model.
pub fn backtest(course: &FittedCourse, rule: Rule) -> Option<Backtest> {
    course.fit.as_ref().ok()?;
    let rows = |scheme: &'static str, tested: &Tested| -> Vec<BacktestRow> {
        tested.lines.iter().map(|line| row(scheme, line, rule)).collect()
    };
    let mut all = rows("five folds by patient", &course.tested);
    all.extend(course.tested_later.iter().flat_map(|tested| rows("later episodes", tested)));
    Some(Backtest {
        rows: all,
        coverage: course.tested.coverage.and_then(|rate| shown(rate, rule)),
        withheld: course.doubt().map(reasons::no_prediction),
    })
}

fn row(scheme: &'static str, line: &Line, rule: Rule) -> BacktestRow {
    let rate = |rate: Option<Rate>| rate.and_then(|rate| shown(rate, rule));
    BacktestRow {
        scheme,
        visit_no: line.visit_no,
        patients: line.patients,
        auc: line.auc.map(Estimate::from),
        brier: line.brier,
        calibration_slope: line.calibration.map(|(_, slope)| slope.into()),
        calibration_intercept: line.calibration.map(|(intercept, _)| intercept.into()),
        band_coverage: rate(line.coverage),
        sensitivity: rate(line.sensitivity),
        specificity: rate(line.specificity),
        ppv: rate(line.ppv),
    }
}

/// A share, unless it would give away a small count.
fn shown(rate: Rate, rule: Rule) -> Option<Estimate> {
    let is_small = |n: u64| u32::try_from(n).is_ok_and(|n| rule.is_small(n));
    let small = is_small(rate.of) || is_small(rate.count) || is_small(rate.of - rate.count);
    (!small).then_some(Estimate { value: rate.share, low: rate.interval.low, high: rate.interval.high })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::group::settings::Audience;

    fn step(day: f64, responses: u32, stops: u32) -> Step {
        Step { day, response: (0.0, Interval { low: 0.0, high: 0.0 }), stopped: 0.0, responses, stops }
    }

    #[test]
    fn no_week_of_the_incidence_sets_a_few_people_apart() {
        // responses: 6 by week 1, 2 more by week 2, 4 more by week 3, 1 more by week 4, 11 more by week 5; stops: 1, 6, 7, 7, 19
        let steps = [step(3.0, 6, 1), step(12.0, 8, 6), step(20.0, 12, 7), step(27.0, 13, 7), step(33.0, 24, 19)];
        let days = |audience, counted| {
            weekly(&steps, counted, Rule::of(audience)).iter().map(|(day, _)| *day).collect::<Vec<_>>()
        };
        assert_eq!(days(Audience::Internal, |step| step.responses), [0.0, 7.0, 21.0, 35.0]);
        assert_eq!(days(Audience::Internal, |step| step.stops), [0.0, 14.0, 35.0]);
        assert_eq!(days(Audience::Release, |step| step.responses), [0.0, 21.0, 35.0]);
        // 12 of 13 by week 3 would leave one
        let until_week_4 = weekly(&steps[..4], |step| step.responses, Rule::of(Audience::Internal));
        assert_eq!(until_week_4.iter().map(|(day, _)| *day).collect::<Vec<_>>(), [0.0, 7.0, 28.0]);
    }

    #[test]
    fn a_share_of_few_patients_is_not_shown() {
        let rate = |count: u64, of: u64| Rate {
            count,
            of,
            share: count as f64 / of as f64,
            interval: Interval { low: 0.0, high: 1.0 },
        };
        let rule = Rule::of(Audience::Internal);
        assert!(shown(rate(20, 40), rule).is_some() && shown(rate(0, 40), rule).is_some());
        assert!(shown(rate(3, 40), rule).is_none() && shown(rate(38, 40), rule).is_none());
        assert!(shown(rate(8, 40), Rule::of(Audience::Release)).is_none());
    }
}
