//! Words inside a patient's figure, and its text alternative.

use super::numbers::{counted, decimal};
use super::on_track::{at_least_as_good, axis_title, channel_value, day, next_visit, visits_of, with_band};
use super::phrases::sentence;
use crate::findings::worklist::{OutcomeOnTrack, PatientOnTrack, ReadingPoint};
use chrono::{Days, NaiveDate};

/// How to read the figure of a patient.
pub const READ_COURSE: &str = "Dots: readings. Tinted bar behind a dot: where the reading was expected with 80\u{a0}% \
     chance before it was seen, its middle marked. Tinted area: the same for readings to come. Below, on the same days, \
     dose and setup of each visit; ochre marks a value other than at the visit before.";
/// Under the time axis.
pub const DAYS_AXIS: &str = "days since first treated visit";
/// At the end of the area of readings to come.
pub const TO_COME: &str = "80\u{a0}% band to come";

/// A calendar day short enough for an axis: `3 Sep`.
pub fn short_date(first_visit: NaiveDate, day: i64) -> Option<String> {
    let days = Days::new(day.unsigned_abs());
    let date = if day < 0 { first_visit.checked_sub_days(days) } else { first_visit.checked_add_days(days) };
    date.map(|date| date.format("%-d %b").to_string())
}

/// Title of a patient's figure: the finding on the most worrying outcome.
pub fn figure_title(patient: &PatientOnTrack) -> String {
    let Some(outcome) = patient.outcomes.first() else {
        return "Dose and setup over the visits; no reading".to_string();
    };
    let last = decimal(outcome.last_value, outcome.decimals);
    let on = format!("{}: {last} on day\u{a0}{}", unbroken(&outcome.title), day(outcome.day.into()));
    match &outcome.expected {
        Some(expected) => format!("{on}, expected {}", with_band(expected, outcome.decimals)),
        None => on,
    }
}

/// A title whose scale, such as 0-10, is not broken from its name.
fn unbroken(title: &str) -> String {
    title.replace(" 0-", "\u{a0}0-")
}

/// What stands behind a patient's figure.
pub fn figure_subtitle(patient: &PatientOnTrack) -> String {
    let readings: Vec<String> = patient
        .outcomes
        .iter()
        .map(|outcome| {
            format!("{} of {}", counted(outcome.readings.len() as u64, "reading", "readings"), unbroken(&outcome.title))
        })
        .collect();
    let behind = if readings.is_empty() { String::new() } else { format!("; {}", readings.join("; ")) };
    format!("Patient {}, episode {}: {}{behind}", patient.patient, patient.episode, visits_of(patient.visits))
}

/// Source line of a patient's figure.
pub fn figure_source(group: &str) -> String {
    format!("Source: exports of {group}. Restricted: a single patient.")
}

/// Last reading, at its height.
pub fn last_reading(outcome: &OutcomeOnTrack) -> String {
    format!("last reading {}", decimal(outcome.last_value, outcome.decimals))
}

/// Good news, at its height.
pub fn good_news(value: f64, outcome: &OutcomeOnTrack) -> String {
    format!("good news: {}", at_least_as_good(value, outcome))
}

/// Readings that the text alternative gives one by one; of a longer course the last so many.
const SPOKEN: usize = 8;

/// Text alternative of a patient's figure.
pub fn describe_course(patient: &PatientOnTrack) -> String {
    let mut said = String::new();
    for outcome in &patient.outcomes {
        let places = outcome.decimals;
        said.push_str(&format!("{}. ", axis_title(outcome)));
        let skipped = outcome.readings.len().saturating_sub(SPOKEN);
        if skipped > 0 {
            said.push_str(&format!("{} before these. ", counted(skipped as u64, "reading", "readings")));
        }
        for ReadingPoint { day: on, value, expected } in outcome.readings.iter().skip(skipped) {
            said.push_str(&format!("Day {}: {}", day((*on).into()), decimal(*value, places)));
            if let Some(expected) = expected {
                said.push_str(&format!(", expected {}", with_band(expected, places)));
            }
            said.push_str(". ");
        }
        if let Some((on, expected)) = outcome.to_come.last() {
            said.push_str(&format!("To come, day {}: {}. ", day(*on), with_band(expected, places)));
        }
        if let Some(next) = next_visit(outcome) {
            said.push_str(&sentence(&next));
            said.push(' ');
        }
    }
    for channel in &patient.channels {
        let Some((on, value)) = channel.points.last() else { continue };
        let changes = counted(channel.changes.len() as u64, "change", "changes");
        let last = channel_value(channel, *value);
        said.push_str(&format!(
            "{}: {last} on day {}, {changes}. ",
            sentence(channel.label).trim_end_matches('.'),
            day((*on).into())
        ));
    }
    said.trim_end().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_dates_count_from_the_first_visit() {
        let first = NaiveDate::from_ymd_opt(2026, 9, 3).unwrap();
        assert_eq!(short_date(first, 28).as_deref(), Some("1 Oct"));
        assert_eq!(short_date(first, -3).as_deref(), Some("31 Aug"));
    }
}
