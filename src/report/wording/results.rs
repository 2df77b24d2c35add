//! Sentences about results, on the first page and on those of the conditions.

use super::phrases::{capital, unit_of_change, within};
use super::{count, counted, n_of, percent, percent_with_interval, signed, signed_with_interval};
use crate::findings::bulletin::{Difference, Estimate};
use crate::rows::when::Quarter;

/// Leading sentence on the responders of a condition.
pub fn responder_lead(condition: &str, measure: &str, reached: &str, rate: &Estimate) -> String {
    format!(
        "{condition}: {} of episodes with both readings {reached} in {}.",
        percent_with_interval(rate.value, rate.low, rate.high),
        within(measure)
    )
}

/// Beside it: the denominators and what the missing could do.
pub fn responder_note(period: &str, outcome: &str, denominator: &str, worst: f64, best: f64) -> String {
    format!(
        "{}. {outcome} of {denominator} episodes that could respond have both readings. With the others all counted as \
         failures the rate is {}, all as successes {}.",
        capital(period),
        percent(worst),
        percent(best)
    )
}

/// Leading sentence on completeness.
pub fn completeness_lead(condition: &str, with_endpoint: u64, due: u64) -> String {
    format!(
        "{condition}: {} due episodes have both a baseline and an endpoint; nothing is known of how the others fared.",
        n_of(with_endpoint, due)
    )
}

/// What a comparison of two quarters is about.
#[derive(Clone, Copy, Debug)]
pub struct Compared<'a> {
    /// The condition.
    pub condition: &'a str,
    /// The measure.
    pub measure: &'a str,
    /// Whether a lower score is better.
    pub lower_is_better: bool,
    /// Decimals for people.
    pub places: usize,
    /// Whether the earlier quarter is the one a year ago.
    pub year_ago: bool,
}

/// Leading sentence on this quarter against an earlier one.
pub fn against_previous_lead(
    about: &Compared<'_>,
    this: &Estimate,
    before: &Estimate,
    difference: &Difference,
) -> String {
    format!(
        "{}: mean change in {} was {} this quarter and {} {}, {}.",
        about.condition,
        within(about.measure),
        signed(this.value, about.places),
        signed(before.value, about.places),
        if about.year_ago { "in the same quarter a year ago" } else { "the quarter before" },
        verdict(difference, about.lower_is_better)
    )
}

/// Beside it.
pub fn against_previous_note(difference: &Difference, places: usize) -> String {
    let Estimate { value, low, high } = difference.estimate;
    format!(
        "Difference of the two mean changes: {}, Welch{}. Not adjusted for who was treated.",
        signed_with_interval(value, low, high, places),
        adjusted_p(difference)
    )
}

/// Leading sentence on this quarter's response rate against an earlier one's.
pub fn rate_against_previous_lead(
    about: &Compared<'_>,
    this: &Estimate,
    before: &Estimate,
    difference: &Difference,
) -> String {
    format!(
        "{}: {} reached the minimal important change in {} this quarter and {} {}, {}.",
        about.condition,
        percent(this.value),
        within(about.measure),
        percent(before.value),
        if about.year_ago { "in the same quarter a year ago" } else { "the quarter before" },
        verdict(difference, about.lower_is_better)
    )
}

/// Beside it.
pub fn rate_against_previous_note(difference: &Difference) -> String {
    let points = |share: f64| 100.0 * share;
    let Estimate { value, low, high } = difference.estimate;
    format!(
        "Difference in percentage points: {}, Newcombe{}. Of those with both readings; not adjusted for who was treated.",
        signed_with_interval(points(value), points(low), points(high), 0),
        adjusted_p(difference)
    )
}

fn adjusted_p(difference: &Difference) -> String {
    difference.q.map_or(String::new(), |q| format!("; q {}", super::sites::q_value(q)))
}

fn verdict(difference: &Difference, lower_is_better: bool) -> &'static str {
    if !difference.is_beyond_chance() {
        return "a difference that chance alone can explain";
    }
    if (difference.estimate.value < 0.0) == lower_is_better {
        "more improvement than chance alone would explain; these figures cannot say why"
    } else {
        "less improvement than chance alone would explain; these figures cannot say why"
    }
}

/// A condition's line on the first page: the change.
pub fn change_line(measure: &str, change: &Estimate, unit: &str, places: usize) -> String {
    format!(
        "Mean change in {}: {} {}.",
        within(measure),
        signed_with_interval(change.value, change.low, change.high, places),
        unit_of_change(unit)
    )
}

/// A condition's line on the first page: the responders.
pub fn responder_line(reached: &str, rate: &Estimate, worst: f64, best: f64) -> String {
    format!(
        "Of those with both readings {} {reached}; of all that could respond between {} and {}.",
        percent_with_interval(rate.value, rate.low, rate.high),
        percent(worst),
        percent(best)
    )
}

/// When nothing can be shown of a condition.
pub const NOTHING_TO_SHOW: &str = "Too few episodes with both readings for a result to be shown.";

/// Link to a condition's page.
pub fn more_on(condition: &str) -> String {
    format!("All results for {}", within(condition))
}

/// Who the patients of a condition are.
pub fn started_and_due(started: Option<u64>, due: Option<u64>) -> String {
    match (started, due) {
        (Some(started), Some(due)) => format!(
            "{} started; {} are due, that is, their endpoint window has closed. Changes and responders are of due episodes; curves, times to a response and predictions of all.",
            counted(started, "episode", "episodes"),
            count(due)
        ),
        _ => "Fewer episodes than may be shown.".to_string(),
    }
}

/// Beside sites.
pub const SITES_CAVEAT: &str = "Sites differ in whom they treat. These figures are not adjusted for that: they show \
     where to look, and are no ranking.";
/// Under the first figure of distribution.
pub const DISTRIBUTION_INTRO: &str = "Any single threshold is a choice. The lines below give the share for every \
     threshold at once.";
/// A scale of words.
pub const ORDINAL: &str = "This scale is only ordered, so it is never averaged.";

/// Beside a sentence on an outcome.
pub fn of_outcome(measure: &str, period: &str) -> String {
    format!("{}, {period}.", capital(measure))
}

/// Beside a condition's line: how many stand behind it.
pub fn both_readings(period: &str, episodes: Option<u64>) -> String {
    match episodes {
        Some(n) => {
            format!("{}: {} with baseline and endpoint.", capital(period), counted(n, "episode", "episodes"))
        }
        None => format!("{}.", capital(period)),
    }
}

/// Over which period a condition's page speaks.
pub const PERIOD_OF_PAGE: &str = "This page is about all quarters together, unless it names one.";
/// Without quarters.
pub const NO_QUARTERS: &str = "The exports know no quarters, so none can be compared.";
/// Where the exports hold no episodes of an earlier quarter.
pub fn no_such_quarter(earlier: Quarter) -> String {
    format!("No episode was due in the {}, so there is nothing to compare with.", super::phrases::quarter(earlier))
}
/// Before the completeness.
pub const COMPLETENESS_INTRO: &str = "Patients who do badly may stay away, and so may those who are well again. The last \
     column shows how far the missing could move the response rate, were they all failures or all successes.";

/// What the figures can say. `endpoint_days`: the endpoint window.
pub fn can_say(endpoint_days: (i32, i32)) -> Vec<String> {
    vec![
        format!(
            "How patients who were treated changed from their first treated visit to days {} to {}, with an interval and \
             with the share that was measured.",
            endpoint_days.0, endpoint_days.1
        ),
        "How many reached each definition of a response, and how far those without readings could move that."
            .to_string(),
        "Whether this quarter differs from the one before, or from a year ago, by more than chance.".to_string(),
        "Which sites differ by more than chance from what is expected for their case mix, and which lose sight of their patients."
            .to_string(),
    ]
}

/// What they cannot say.
pub fn cannot_say(endpoint_days: (i32, i32)) -> Vec<String> {
    vec![
        "That traction brought the change about, or what would have happened without it.".to_string(),
        "That one site treats better than another: only what was recorded of patients before treatment is allowed for."
            .to_string(),
        "How those without an endpoint fared.".to_string(),
        format!("What comes after day {}.", endpoint_days.1),
        "What one patient may expect.".to_string(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn difference(value: f64, low: f64, high: f64, q: f64) -> Difference {
        Difference { estimate: Estimate { value, low, high }, p: Some(q), q: Some(q) }
    }

    #[test]
    fn a_difference_whose_interval_holds_zero_is_put_down_to_chance() {
        assert!(verdict(&difference(-1.0, -3.0, 1.0, 0.4), true).contains("chance alone can explain"));
        assert!(verdict(&difference(-2.0, -3.0, -1.0, 0.2), true).contains("chance alone can explain"), "one of many");
        assert!(verdict(&difference(-2.0, -3.0, -1.0, 0.01), true).starts_with("more improvement"));
        assert!(verdict(&difference(-2.0, -3.0, -1.0, 0.01), false).starts_with("less improvement"));
    }
}
