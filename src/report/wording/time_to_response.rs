//! The time to a response, in words.

use super::decimal;
use super::phrases::{definition, within};

/// Heading of the section.
pub const HEADING: &str = "How long until a response";
/// Where it was not reached.
pub const NOT_REACHED: &str = "not reached";
/// Columns of the sheet.
pub const COLUMNS: [&str; 5] =
    ["could respond", "responded", "stopped early before", "median day (95\u{a0}%\u{a0}CI)", "log-rank p, onset"];
/// Beside the figure.
pub const MEDIAN_NOTE: &str = "The two lines count those who stopped as lost to a response (Aalen and Johansen). The median \
     over them does not: it takes those who stopped as if they went on like the others (Kaplan and Meier), so it is the \
     earlier of the two and the kinder. Limits: Brookmeyer and Crowley.";
/// Beside the sheet.
pub const COLUMNS_NOTE: &str = "Could respond: episodes with a baseline from which the definition can be reached. Median: \
     Kaplan-Meier, those who stopped counted as if they went on. Log-rank p: acute, subacute and persistent onset compared; \
     not adjusted for anything, nor for the number of comparisons.";
/// Where nothing may be shown.
pub const NOTHING_TO_SHOW: &str = "Too few episodes for the time to a response to be shown.";

/// Marks a definition that two readings in a row must meet.
const SUSTAINED: &str = "sustained_";

/// A definition with its words; `sustained_` before its key becomes a word too.
pub fn defined(key: &str, label: &str) -> String {
    let Some(plain) = key.strip_prefix(SUSTAINED) else { return definition(key, label) };
    let defined = within(&definition(plain, label));
    if defined.contains(": ") { format!("Sustained {defined}") } else { format!("Sustained: {defined}") }
}

/// A median with its limits: `31 (28 to not reached)`.
pub fn median(day: Option<f64>, low: Option<f64>, high: Option<f64>) -> String {
    let limit = |limit: Option<f64>| limit.map_or(NOT_REACHED.to_string(), |day| decimal(day, 0));
    let limits = match (low, high) {
        (None, None) => String::new(),
        _ => format!(" ({}\u{a0}to\u{a0}{})", limit(low), limit(high).replace(' ', "\u{a0}")),
    };
    format!("{}{limits}", limit(day))
}

/// The p value of a test: never a false zero.
pub fn p_value(p: f64) -> String {
    match p {
        p if p < 0.001 => "<0.001".to_string(),
        p if p < 0.1 => decimal(p, 3),
        p => decimal(p, 2),
    }
}

/// Caption of the sheet.
pub fn caption(measure: &str) -> String {
    format!("Time to a response, {}, all quarters", within(measure))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_that_was_not_reached_is_said() {
        assert_eq!(median(Some(31.0), Some(28.0), None), "31 (28\u{a0}to\u{a0}not\u{a0}reached)");
        assert_eq!(median(Some(31.0), Some(28.0), Some(35.0)), "31 (28\u{a0}to\u{a0}35)");
        assert_eq!(median(None, Some(60.0), None), "not reached (60\u{a0}to\u{a0}not\u{a0}reached)");
        assert_eq!(median(None, None, None), "not reached");
    }

    #[test]
    fn a_sustained_response_says_so() {
        let plain = defined("minimal_important", "at least 2 points lower");
        assert_eq!(plain, "Minimal important change: at least 2 points lower");
        let label = "at least 2 points lower, at two readings in a row";
        let sustained = defined("sustained_minimal_important", label);
        assert_eq!(sustained, "Sustained minimal important change: at least 2 points lower, at two readings in a row");
        let unnamed = defined("sustained_thirty_percent", "at least 30 % lower");
        assert_eq!(unnamed, "Sustained: at least 30\u{a0}% lower");
    }

    #[test]
    fn a_p_value_is_never_zero() {
        assert_eq!(p_value(1e-9), "<0.001");
        assert_eq!(p_value(0.0412), "0.041");
        assert_eq!(p_value(0.4), "0.40");
    }
}
