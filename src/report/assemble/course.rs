//! The course of an outcome: its figure, and the sentences under it.

use super::drawings::Drawn;
use super::edition::{Edition, axis};
use super::pick::shown;
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings};
use crate::findings::curve::{Curve, CurveOutcome, CurvePoint};
use crate::report::figures::{
    CurveAt, CurveLine, FigureText, PublishedCohort, PublishedPoint, ReachedAt, Week, WeeklyCourse, weekly_course,
};
use crate::report::pages::{Block, Row};
use crate::report::wording::{self, course_figure as words};

pub(super) const DAYS_A_WEEK: f64 = 7.0;

/// The figure; none where no week may be shown.
pub(super) fn figure(edition: &Edition<'_>, condition: &ConditionFindings, outcome: &OutcomeFindings) -> Drawn {
    let (Some(first), Some(last)) = (outcome.weeks.first(), outcome.weeks.last()) else { return Ok(None) };
    let places = outcome.decimals;
    let curve = outcome.curve.fitted();
    let title = match curve {
        Some(c) => wording::curve::title(&outcome.title, c, places),
        None => words::title_without_curve(&outcome.title, first.mean.value, last.mean.value, last.week, places),
    };
    let cited = outcome.natural_course.as_ref().map(|n| n.citation.as_str());
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "course"),
        title,
        subtitle: words::subtitle(
            &condition.title,
            shown(&outcome.curve_patients).map(u64::from),
            u64::from(outcome.curve_readings),
        ),
        source: format!("{} {}", edition.source(cited), words::UNCONTROLLED_IN_BRIEF),
    };
    let weeks = outcome.weeks.iter().map(|w| Week {
        week: w.week,
        episodes: u64::from(w.episodes),
        mean: w.mean.value,
        low: w.mean.low,
        high: w.mean.high,
        median: w.median,
    });
    let data = WeeklyCourse {
        axis: axis(outcome),
        weeks: weeks.collect(),
        curve: curve.map(|c| curve_line(c, places)),
        natural_course: outcome.natural_course.as_ref().map(|published| PublishedCohort {
            label: published.label.clone(),
            points: published
                .points
                .iter()
                .map(|(day, mean)| PublishedPoint {
                    week: day / DAYS_A_WEEK,
                    mean: mean.value,
                    low: mean.low,
                    high: mean.high,
                })
                .collect(),
        }),
    };
    weekly_course(&text, &data).map(Some)
}

/// How to read the figure.
pub(super) fn caption(outcome: &OutcomeFindings) -> String {
    words::read(outcome.curve.fitted().is_some(), outcome.natural_course.is_some())
}

/// What stands beside the figure of every course.
pub(super) fn cautions() -> Vec<String> {
    vec![wording::curve::UNCONTROLLED.to_string(), wording::course::ONE_SD.to_string()]
}

fn curve_line(curve: &Curve, places: usize) -> CurveLine {
    let in_weeks = |days: &Estimate| Estimate {
        value: days.value / DAYS_A_WEEK,
        low: days.low / DAYS_A_WEEK,
        high: days.high / DAYS_A_WEEK,
    };
    let point = |p: &CurvePoint| CurveAt {
        week: p.day / DAYS_A_WEEK,
        mean: p.mean.value,
        low: p.mean.low,
        high: p.mean.high,
        band: p.band,
    };
    let reached = |(amount, day): (f64, &Estimate)| {
        let week = in_weeks(day);
        let label = words::important_change(amount, day, places);
        ReachedAt { week: week.value, low: week.low, high: week.high, label }
    };
    CurveLine {
        points: curve.points.iter().map(point).collect(),
        plateau: curve.plateau.as_ref().map(|p| (p.value, words::plateau(p, places))),
        half_time: curve.half_time_days.as_ref().map(in_weeks).map(|h| (h.value, words::half_time(&h))),
        important_change: curve.important_change.zip(curve.day_of_important_change.as_ref()).map(reached),
    }
}

/// The curve in words, why this model, and what the ends of the scale do to it; or why there is none.
pub(super) fn in_words(outcome: &OutcomeFindings) -> Vec<Row> {
    let say = |text: String, notes: Vec<String>| Row::new(Block::Paragraph(text), notes);
    let curve = match &outcome.curve {
        CurveOutcome::Fitted(curve) => curve,
        CurveOutcome::NotIdentifiable(why) => return vec![say(wording::course::not_identifiable(why), Vec::new())],
        CurveOutcome::TooFewReadings => return vec![say(wording::curve::TOO_FEW_READINGS.to_string(), Vec::new())],
    };
    let episodes = shown(&outcome.curve_patients).map(u64::from);
    let note = wording::curve::note(episodes, u64::from(outcome.curve_readings), curve);
    let choice = match &curve.choice {
        Some(choice) => wording::curve::choice(curve.model, choice),
        None => wording::curve::ONLY_ONE_MODEL.to_string(),
    };
    let ends = [Some(wording::curve::at_the_ends(curve)), curve.ends.as_deref().map(wording::phrases::sentence)];
    vec![
        say(wording::curve::curve(curve, outcome.decimals), vec![note]),
        say(choice, curve.singular.iter().map(|singular| wording::phrases::sentence(singular)).collect()),
        say(ends.into_iter().flatten().collect::<Vec<_>>().join(" "), Vec::new()),
    ]
}
