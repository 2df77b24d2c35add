//! Words inside the figure of a course, how to read it, and its text alternative.

use super::{in_weeks, reached};
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings};
use crate::report::figures::{DAYS_A_WEEK, score_axis};
use crate::report::lookup::shown;
use crate::report::wording::figures::direction;
use crate::report::wording::{count, curve, decimal, episodes_behind, range, with_interval};

/// Under the weeks.
pub(super) const WEEKS_AXIS: &str = "weeks since first treated visit; n = episodes with a reading";
/// At the last observed mean, where there is no curve.
pub(super) const OBSERVED_MEAN: &str = "observed mean, tinted: its 95\u{a0}% interval";
/// At the last observed median.
pub(super) const OBSERVED_MEDIAN: &str = "observed median";
/// At the end of the fitted mean.
pub(super) const FITTED_MEAN: &str = "fitted mean, dark tint: its 95\u{a0}% interval";
/// At one edge of the individual band.
pub(super) const UPPER_EDGE: &str = "upper edge of the 80\u{a0}% individual band";
/// At the other.
pub(super) const LOWER_EDGE: &str = "lower edge of the 80\u{a0}% individual band";

/// What the curve says; without one, the first and the last observed mean.
pub(super) fn title(outcome: &OutcomeFindings) -> String {
    let (measure, places) = (&outcome.title, outcome.decimals);
    match (outcome.curve.fitted(), outcome.weeks.as_slice()) {
        (Some(fitted), _) => curve::title(measure, fitted, places),
        (None, [first, .., last] | [first @ last]) => {
            let (at_first, at_last) = (decimal(first.mean.value, places), decimal(last.mean.value, places));
            format!("{measure}: mean {at_first} at baseline, {at_last} in week {}", last.week)
        }
        (None, []) => measure.clone(),
    }
}

pub(super) fn subtitle(condition: &ConditionFindings, outcome: &OutcomeFindings) -> String {
    let episodes = episodes_behind(shown(&outcome.curve_patients).map(u64::from));
    format!("{}: {episodes}, {} readings", condition.title, count(u64::from(outcome.curve_readings)))
}

/// At the plateau of a curve.
pub(super) fn plateau(at: &Estimate, places: usize) -> String {
    format!("plateau {} ({})", decimal(at.value, places), unbroken(at, places))
}

/// At the half-time of a curve.
pub(super) fn half_time(weeks: &Estimate) -> String {
    format!("half-time {} weeks ({})", decimal(weeks.value, 1), unbroken(weeks, 1))
}

/// At the day on which the mean has improved by the minimal important change.
pub(super) fn important_change(amount: f64, day: &Estimate, places: usize) -> String {
    format!(
        "minimal important change ({}) by day {} ({})",
        decimal(amount, places),
        decimal(day.value, 0),
        unbroken(day, 0)
    )
}

fn unbroken(estimate: &Estimate, places: usize) -> String {
    range(estimate.low, estimate.high, places).replace(' ', "\u{a0}")
}

/// How to read it.
pub(in crate::report) fn read(outcome: &OutcomeFindings) -> String {
    let mut text = String::from(if outcome.curve.fitted().is_some() {
        "Bars: median of the readings of that week; where they leave the line, the curve does not fit, or the readings are \
         skewed so that median and mean differ. Dark tint: where the mean lies, 95\u{a0}% interval. Light tint: where \
         80\u{a0}% of single readings of single patients are expected; it is no interval of the mean."
    } else {
        "Dots: mean of the episodes with a reading in that week. Tint: its 95\u{a0}% interval, not the spread of patients."
    });
    if outcome.natural_course.is_some() {
        text.push_str(" Open grey dots: published cohorts, on another clock.");
    }
    text
}

/// The numbers drawn.
pub(super) fn described(outcome: &OutcomeFindings) -> String {
    let places = outcome.decimals;
    let between = |e: &Estimate| with_interval(e.value, e.low, e.high, places);
    let mut said = format!("{}, {}. ", score_axis::score(outcome), direction(outcome.lower_is_better));
    for week in &outcome.weeks {
        said.push_str(&format!(
            "Week {}: mean {}, median {}, n {}. ",
            week.week,
            between(&week.mean),
            decimal(week.median, places),
            count(u64::from(week.episodes))
        ));
    }
    if let Some(curve) = outcome.curve.fitted() {
        let every = curve.points.len().div_ceil(8).max(1);
        for point in curve.points.iter().step_by(every) {
            said.push_str(&format!(
                "Fitted, week {}: mean {}, 80\u{a0}% individual band {}. ",
                decimal(point.day / DAYS_A_WEEK, 1),
                between(&point.mean),
                range(point.band.0, point.band.1, places)
            ));
        }
        let marks = [
            curve.plateau.as_ref().map(|level| plateau(level, places)),
            curve.half_time_days.as_ref().map(|days| half_time(&in_weeks(days))),
            reached(curve).map(|(amount, day)| important_change(amount, day, places)),
        ];
        let marks: Vec<String> = marks.into_iter().flatten().collect();
        if !marks.is_empty() {
            said.push_str(&format!("Marked: {}. ", marks.join("; ")));
        }
    }
    if let Some(published) = &outcome.natural_course {
        let points = published.points.iter();
        let points = points.map(|(day, mean)| format!("week {} {}", decimal(day / DAYS_A_WEEK, 0), between(mean)));
        said.push_str(&format!("{}: {}.", published.label, points.collect::<Vec<_>>().join("; ")));
    }
    said.trim_end().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_carry_their_intervals_and_do_not_break_inside_them() {
        let estimate = |value, low, high| Estimate { value, low, high };
        assert_eq!(plateau(&estimate(3.3, 3.1, 3.5), 1), "plateau 3.3 (3.1\u{a0}to\u{a0}3.5)");
        assert_eq!(half_time(&estimate(2.9, 2.5, 3.28)), "half-time 2.9 weeks (2.5\u{a0}to\u{a0}3.3)");
        let day = important_change(2.0, &estimate(21.0, 17.0, 25.0), 1);
        assert_eq!(day, "minimal important change (2.0) by day 21 (17\u{a0}to\u{a0}25)");
    }
}
