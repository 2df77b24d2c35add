//! What may be said to others, and what not, in words.

use super::phrases::{period, within};
use super::{decimal, percent, percent_with_interval};
use crate::findings::bulletin::Estimate;
use crate::findings::may_say::Statement;

/// Heading.
pub const HEADING: &str = "What you may say to others, and what not";
/// What may be said.
pub const MAY: &str = "The results carry these";
/// What may not.
pub const MAY_NOT: &str = "They do not carry these";
/// Said of every rate that may be quoted.
pub const ALWAYS_WITH: &str =
    "Whoever quotes a rate quotes its interval, the share followed up and the worst case with it.";

/// A statement that may be made.
pub fn may(statement: &Statement<'_>) -> String {
    match statement {
        Statement::Rate { condition, measure, period: of, rate, worst_case, followed_up } => format!(
            "\u{201c}Of patients treated for {} and measured at the end ({} of those due, {}), {} reached a minimal important change in \
             {}; were all the others failures, it would be {}.\u{201d}",
            within(condition),
            percent(*followed_up),
            period(of),
            percent_with_interval(rate.value, rate.low, rate.high),
            within(measure),
            percent(*worst_case)
        ),
        Statement::Quarter { condition, difference, year_ago } => format!(
            "\u{201c}{condition}: the response rate is {} than {}, by more than chance explains ({}).\u{201d} Not why.",
            if difference.estimate.value > 0.0 { "higher" } else { "lower" },
            earlier(*year_ago),
            points(&difference.estimate)
        ),
        Statement::Sites(names) => format!(
            "That {} from what is expected for the case mix by more than chance explains; not why, and no order of the others.",
            match names.as_slice() {
                [one] => format!("{one} differs"),
                many => format!("{} differ", many.join(" and ")),
            }
        ),
        Statement::TooFewFollowedUp { .. } | Statement::NoSite => may_not(statement),
    }
}

/// A statement that may not be made, with the reason.
pub fn may_not(statement: &Statement<'_>) -> String {
    match statement {
        Statement::TooFewFollowedUp { condition, followed_up } => format!(
            "Any response rate for {}: only {} of those due were followed up, so the others could turn it.",
            within(condition),
            percent(*followed_up)
        ),
        Statement::Quarter { condition, difference, year_ago } => format!(
            "That {} went better or worse than {}: the difference in the response rate ({}) may be chance.",
            within(condition),
            earlier(*year_ago),
            points(&difference.estimate)
        ),
        Statement::NoSite => {
            "That one site does better than another, or a ranking of sites: none differs from what its case mix lets \
                              expect by more than chance explains."
                .to_owned()
        }
        Statement::Rate { .. } | Statement::Sites(_) => may(statement),
    }
}

fn earlier(year_ago: bool) -> &'static str {
    if year_ago { "in the same quarter a year ago" } else { "in the quarter before" }
}

fn points(difference: &Estimate) -> String {
    let of = |share: f64| decimal(100.0 * share, 0);
    format!(
        "{} percentage points, 95\u{a0}% CI {} to {}",
        of(difference.value),
        of(difference.low),
        of(difference.high)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::bulletin::Difference;

    #[test]
    fn a_quarter_whose_interval_holds_zero_may_not_be_called_better() {
        let estimate = Estimate { value: 0.04, low: -0.09, high: 0.17 };
        let difference = Difference { estimate, p: Some(0.5), q: Some(0.8) };
        let text = may_not(&Statement::Quarter { condition: "Neck pain", difference, year_ago: false });
        assert!(text.contains("may be chance") && text.contains("−9 to 17"), "{text}");
    }
}
