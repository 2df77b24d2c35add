//! Words inside the figure of a course, how to read it, and its text alternative.

use super::figures::direction;
use super::{count, decimal, episodes_behind, range, with_interval};
use crate::findings::bulletin::Estimate;
use crate::report::figures::WeeklyCourse;

/// Under the weeks.
pub const WEEKS_AXIS: &str = "weeks since first treated visit; n = episodes with a reading";
/// At the last observed mean, where there is no curve.
pub const OBSERVED_MEAN: &str = "observed mean, tinted: its 95\u{a0}% interval";
/// At the last observed median.
pub const OBSERVED_MEDIAN: &str = "observed median";
/// At the end of the fitted mean.
pub const FITTED_MEAN: &str = "fitted mean, dark tint: its 95\u{a0}% interval";
/// At one edge of the individual band.
pub const UPPER_EDGE: &str = "upper edge of the 80\u{a0}% individual band";
/// At the other.
pub const LOWER_EDGE: &str = "lower edge of the 80\u{a0}% individual band";
/// Under each course: the figure travels without its page.
pub const UNCONTROLLED_IN_BRIEF: &str = "Uncontrolled: treatment cannot be told from natural course and regression to \
     the mean.";

/// At the plateau of a curve.
pub fn plateau(at: &Estimate, places: usize) -> String {
    format!("plateau {} ({})", decimal(at.value, places), unbroken(at, places))
}

/// At the half-time of a curve.
pub fn half_time(weeks: &Estimate) -> String {
    format!("half-time {} weeks ({})", decimal(weeks.value, 1), unbroken(weeks, 1))
}

/// At the day on which the mean has improved by the minimal important change.
pub fn important_change(amount: f64, day: &Estimate, places: usize) -> String {
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

/// Title of a course without a curve.
pub fn title_without_curve(measure: &str, first: f64, last: f64, last_week: u32, places: usize) -> String {
    format!("{measure}: mean {} at baseline, {} in week {last_week}", decimal(first, places), decimal(last, places))
}

/// Subtitle of a course.
pub fn subtitle(condition: &str, episodes: Option<u64>, readings: u64) -> String {
    format!("{condition}: {}, {} readings", episodes_behind(episodes), count(readings))
}

/// How to read it.
pub fn read(has_curve: bool, has_cohort: bool) -> String {
    let mut text = String::from(if has_curve {
        "Bars: median of the readings of that week; where they leave the line, the curve does not fit, or the readings are \
         skewed so that median and mean differ. Dark tint: where the mean lies, 95\u{a0}% interval. Light tint: where \
         80\u{a0}% of single readings of single patients are expected; it is no interval of the mean."
    } else {
        "Dots: mean of the episodes with a reading in that week. Tint: its 95\u{a0}% interval, not the spread of patients."
    });
    if has_cohort {
        text.push_str(" Open grey dots: published cohorts, on another clock.");
    }
    text
}

/// Text alternative.
pub fn describe(data: &WeeklyCourse) -> String {
    let places = data.axis.decimals;
    let mut said = format!("{}, {}. ", data.axis.title, direction(data.axis.lower_is_better));
    for week in &data.weeks {
        said.push_str(&format!(
            "Week {}: mean {}, median {}, n {}. ",
            week.week,
            with_interval(week.mean, week.low, week.high, places),
            decimal(week.median, places),
            count(week.episodes)
        ));
    }
    if let Some(curve) = &data.curve {
        let every = curve.points.len().div_ceil(8).max(1);
        for point in curve.points.iter().step_by(every) {
            said.push_str(&format!(
                "Fitted, week {}: mean {}, 80\u{a0}% individual band {}. ",
                decimal(point.week, 1),
                with_interval(point.mean, point.low, point.high, places),
                range(point.band.0, point.band.1, places)
            ));
        }
        let marks = [
            curve.plateau.as_ref().map(|mark| &mark.1),
            curve.half_time.as_ref().map(|mark| &mark.1),
            curve.important_change.as_ref().map(|mark| &mark.label),
        ];
        let marks: Vec<&str> = marks.into_iter().flatten().map(String::as_str).collect();
        if !marks.is_empty() {
            said.push_str(&format!("Marked: {}. ", marks.join("; ")));
        }
    }
    if let Some(cohort) = &data.natural_course {
        let points = cohort
            .points
            .iter()
            .map(|p| format!("week {} {}", decimal(p.week, 0), with_interval(p.mean, p.low, p.high, places)));
        said.push_str(&format!("{}: {}.", cohort.label, points.collect::<Vec<_>>().join("; ")));
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

    #[test]
    fn the_two_tints_are_told_apart_only_where_both_are_drawn() {
        assert!(
            read(true, false).contains("it is no interval of the mean") && !read(true, false).contains("published")
        );
        assert!(!read(false, true).contains("80\u{a0}%") && read(false, true).contains("published"));
    }
}
