//! The time to a response, in words.

use super::phrases::{capital, definition, within};
use super::{counted, decimal, percent, percent_with_interval};
use crate::findings::curve::{IncidencePoint, TimeToResponse};
use crate::report::figures::{Incidence, MedianDay};

/// Heading of the section.
pub const HEADING: &str = "How long until a response";
/// Under the days.
pub const DAYS_AXIS: &str = "days since first treated visit";
/// At the end of the line of responses.
pub const RESPONDED: &str = "had responded; tint: 95\u{a0}% interval";
/// At the end of the other.
pub const STOPPED: &str = "had stopped early, before a response";
/// Where it was not reached.
pub const NOT_REACHED: &str = "not reached";
/// Columns of the sheet.
pub const COLUMNS: [&str; 5] =
    ["could respond", "responded", "stopped early before", "median day (95\u{a0}%\u{a0}CI)", "log-rank p, onset"];
/// How to read the figure.
pub const READ: &str = "Of all episodes that could respond, the share that had responded by the end of each week, and the \
     share whose care had stopped early before a response; the rest were still waiting or no longer seen. A response counts \
     from the day it was seen; it came some time after the reading before. Weeks in which too few responded or stopped are \
     passed over.";
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

/// Title of the figure: the shares at the last days told.
pub fn title(last: &IncidencePoint, (day, stopped): (f64, f64)) -> String {
    let responded = format!("{} had responded by day {}", percent(last.response.value), decimal(last.day, 0));
    match day {
        0.0 => responded,
        day if day == last.day => format!("{responded}, {} had stopped early before they could", percent(stopped)),
        day => {
            format!("{responded}; {} had stopped early before they could by day {}", percent(stopped), decimal(day, 0))
        }
    }
}

/// Subtitle of the figure.
pub fn subtitle(condition: &str, measure: &str, found: &TimeToResponse, episodes: Option<u64>) -> String {
    let who = episodes.map_or("episodes".to_string(), |n| counted(n, "episode", "episodes"));
    format!("{condition}, {measure}; {who} that could respond. {}", defined(&found.definition, &found.label))
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

/// Over the plot.
pub fn median_label(found: Option<&MedianDay>) -> String {
    match found {
        Some(found) => format!(
            "median day {}, were those who stopped to go on like the others",
            median(Some(found.day), found.low, found.high)
        ),
        None => "median not reached, even were those who stopped to go on like the others".to_string(),
    }
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

/// Text alternative.
pub fn describe(data: &Incidence) -> String {
    let mut said = format!("{}. ", capital(&median_label(data.median.as_ref())));
    let told = |position: usize, of: usize| {
        let (every, last) = (of.div_ceil(10).max(1), of.saturating_sub(1));
        position.is_multiple_of(every) && position + every <= last || position == last
    };
    for (position, point) in data.points.iter().enumerate() {
        if told(position, data.points.len()) {
            let share = percent_with_interval(point.response, point.low, point.high);
            said.push_str(&format!("By day {}: responded {share}. ", decimal(point.day, 0)));
        }
    }
    for (position, (day, share)) in data.stopped.iter().enumerate() {
        if told(position, data.stopped.len()) {
            said.push_str(&format!("By day {}: stopped early {}. ", decimal(*day, 0), percent(*share)));
        }
    }
    said.trim_end().to_string()
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

    #[test]
    fn the_text_alternative_names_the_last_day_once_and_at_most_eleven_days() {
        let points = (0..=84)
            .map(|day| crate::report::figures::IncidenceAt { day: f64::from(day), response: 0.5, low: 0.4, high: 0.6 })
            .collect();
        let said = describe(&Incidence { points, stopped: vec![(0.0, 0.0)], median: None });
        assert_eq!(said.matches("By day 84:").count(), 1);
        assert!(said.matches("By day").count() <= 11, "{said}");
    }
}
