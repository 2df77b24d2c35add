//! Sentences beside the course by week: published courses, the fitted curve.

use super::phrases::{capital, sentence};
use super::{decimal, range};
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

/// A curve that the data do not identify.
pub fn not_identifiable(why: &str) -> String {
    format!("No curve is given, since these readings do not identify one. {}", sentence(why))
}
