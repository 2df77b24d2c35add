//! Sentences about results, on the first page and on those of the conditions.

use super::phrases::{capital, unit_of_change, within};
use super::{count, counted, n_of, percent, percent_with_interval, signed, signed_with_interval};
use crate::findings::bulletin::Estimate;

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

/// Leading sentence on this quarter against the one before.
pub fn against_previous_lead(
    condition: &str,
    measure: &str,
    this: &Estimate,
    before: &Estimate,
    difference: &Estimate,
    lower_is_better: bool,
    places: usize,
) -> String {
    format!(
        "{condition}: mean change in {} was {} this quarter and {} the quarter before, {}.",
        within(measure),
        signed(this.value, places),
        signed(before.value, places),
        verdict(difference, lower_is_better)
    )
}

/// Beside it.
pub fn against_previous_note(difference: &Estimate, places: usize) -> String {
    format!(
        "Difference of the two mean changes: {}, Welch. Not adjusted for who was treated.",
        signed_with_interval(difference.value, difference.low, difference.high, places)
    )
}

fn verdict(difference: &Estimate, lower_is_better: bool) -> &'static str {
    if difference.low <= 0.0 && difference.high >= 0.0 {
        return "a difference that chance alone can explain";
    }
    if (difference.value < 0.0) == lower_is_better {
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
        "Whether this quarter differs from the one before by more than chance.".to_string(),
        "Which sites measure their patients and which lose sight of them.".to_string(),
    ]
}

/// What they cannot say.
pub fn cannot_say(endpoint_days: (i32, i32)) -> Vec<String> {
    vec![
        "That traction brought the change about, or what would have happened without it.".to_string(),
        "That one site treats better than another: whom they treat is not allowed for here.".to_string(),
        "How those without an endpoint fared.".to_string(),
        format!("What comes after day {}.", endpoint_days.1),
        "What one patient may expect.".to_string(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, low: f64, high: f64) -> Estimate {
        Estimate { value, low, high }
    }

    #[test]
    fn a_difference_whose_interval_holds_zero_is_put_down_to_chance() {
        assert!(verdict(&estimate(-1.0, -3.0, 1.0), true).contains("chance alone can explain"));
        assert!(verdict(&estimate(-2.0, -3.0, -1.0), true).starts_with("more improvement"));
        assert!(verdict(&estimate(-2.0, -3.0, -1.0), false).starts_with("less improvement"));
    }
}
