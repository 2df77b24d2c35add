//! Sentences beside the course by week: published courses, the fitted curve.

use super::phrases::{capital, sentence};
use super::{count, decimal, episodes_behind, range, with_interval};
use crate::findings::bulletin::Estimate;

/// Published points in words, with the caveat on their clock.
pub fn natural_course(label: &str, points: &[(f64, Estimate)], places: usize) -> String {
    let points: Vec<String> = points
        .iter()
        .map(|(week, mean)| {
            let when = if *week == 0.0 { "at entry".to_string() } else { format!("at {} weeks", decimal(*week, 0)) };
            format!("{} ({}) {when}", decimal(mean.value, places), range(mean.low, mean.high, places))
        })
        .collect();
    format!(
        "{}: {}. Those weeks count from entry into a study, ours from the first treated visit, and entering a study is \
         not starting traction. The points are not joined: nothing was published between them.",
        capital(label),
        points.join(", ")
    )
}

/// Where no published course fits.
pub const NO_NATURAL_COURSE: &str = "No course of comparable patients is published for this condition and measure, so \
     none is drawn.";
/// Beside every curve.
pub const ONE_SD: &str = "An improvement of about one standard deviation within six weeks is what untreated and \
     usual-care cohorts show. A curve like this one is no sign that traction did it.";

/// The fitted curve in words.
pub fn curve(start: &Estimate, plateau: &Estimate, half_time_days: &Estimate, places: usize) -> String {
    format!(
        "The fitted mean starts at {} and approaches {}; it is half of the way there after {} days.",
        with_interval(start.value, start.low, start.high, places),
        with_interval(plateau.value, plateau.low, plateau.high, places),
        with_interval(half_time_days.value, half_time_days.low, half_time_days.high, 0)
    )
}

/// When the mean has moved by the minimal important change.
pub fn day_of_important_change(day: &Estimate) -> String {
    format!(
        "The mean has moved by the minimal important change by day {}.",
        with_interval(day.value, day.low, day.high, 0)
    )
}

/// Beside the curve: what stands behind it.
pub fn curve_note(episodes: Option<u64>, readings: u64, evidence: &str) -> String {
    format!(
        "{}, {} readings. Mean = plateau + (start − plateau) × exp(−t ln 2 / half-time), by least squares on \
         the means of weeks with enough episodes, each weighted by them. The intervals are rough: the weeks share their \
         episodes, and who is lost on the way is not allowed for. {}",
        episodes_behind(episodes),
        count(readings),
        sentence(evidence)
    )
}

/// A curve that the data do not identify.
pub fn not_identifiable(why: &str) -> String {
    format!("No curve is given, since these readings do not identify one. {}", sentence(why))
}

/// Too few weeks for a curve.
pub const TOO_FEW_WEEKS: &str = "No curve is given: too few weeks have enough readings.";
