//! How well the predictions did, in words.

use super::phrases::{capital, within};
use super::{counted, decimal, percent, percent_with_interval};
use crate::findings::bulletin::Estimate;
use crate::findings::curve::BacktestRow;

/// Heading of the section.
pub const HEADING: &str = "How well the predictions did";
/// Before the sheets.
pub const INTRO: &str = "Clinicians are told for each patient where the next reading is expected and whether the patient is \
     behind. Here every such prediction is repeated for patients whom the model had not seen, and compared with what happened. \
     Only patients whose endpoint was read can be checked; those who were lost may have fared otherwise.";
/// What the words of the second sheet mean.
pub const WHAT_BEHIND_MEANS: &str = "Sensitivity: of those who in the end did not respond, the share that had been called \
     behind. Specificity: of those who responded, the share that had not. Positive predictive value: of those called behind, \
     the share that did not respond; the others were called behind and did well. A low sensitivity means that most of those \
     who will not respond are not called behind, so not being behind is no promise.";
/// What the columns of the first sheet mean.
pub const CHANCE_NOTE: &str = "AUC: how often the patient who responded had been given the higher chance, of a pair of which one \
     responded; 0.5 is no better than a coin, 1 is perfect; DeLong interval. Brier: mean squared difference of chance and \
     outcome; 0 is best, 0.25 what a constant chance of one half gives. Calibration slope: 1 is ideal, less means that \
     chances were too extreme; intercept: 0 is ideal.";
/// What the columns of the second sheet mean.
pub const CALLS_NOTE: &str = "Wilson intervals. The reading is numbered from 1, the first after the baseline. Numbers with too few \
     patients are left out.";
/// Heading of the first column.
pub const CORNER: &str = "follow-up reading";
/// Columns of the first sheet.
pub const CHANCE_COLUMNS: [&str; 5] = [
    "patients",
    "AUC (95\u{a0}%\u{a0}CI)",
    "Brier",
    "calibration slope (95\u{a0}%\u{a0}CI)",
    "calibration intercept (95\u{a0}%\u{a0}CI)",
];
/// Columns of the second sheet.
pub const CALL_COLUMNS: [&str; 5] = [
    "patients",
    "inside 80\u{a0}% band (95\u{a0}%\u{a0}CI)",
    "sensitivity (95\u{a0}%\u{a0}CI)",
    "specificity (95\u{a0}%\u{a0}CI)",
    "positive predictive value (95\u{a0}%\u{a0}CI)",
];
/// In place of a number that cannot be computed.
pub const NONE: &str = "none";
/// Where no prediction was tried.
pub const NOT_TRIED: &str =
    "No prediction was tried: there is no fitted course, or too few patients were seen to the end.";
/// Where every line has too few patients.
pub const NO_LINES: &str = "By number of the follow-up reading there were too few patients for figures.";

/// How the patients were held out.
pub fn scheme(key: &str) -> &'static str {
    match key {
        "five folds by patient" => "each fifth of the patients predicted from the other four",
        "later episodes" => "later episodes predicted from earlier ones",
        _ => "patients the model had not seen",
    }
}

/// Caption of the sheet of chances.
pub fn chance_caption(measure: &str, key: &str) -> String {
    format!("Foretold chance of response, {}; {}", within(measure), scheme(key))
}

/// Caption of the sheet of bands and calls.
pub fn calls_caption(measure: &str, key: &str) -> String {
    format!("80\u{a0}% band and the word 'behind', {}; {}", within(measure), scheme(key))
}

/// Coverage of the band over all readings.
pub fn coverage(coverage: &Estimate) -> String {
    let verdict = if coverage.low <= 0.8 && 0.8 <= coverage.high {
        "as it should"
    } else if coverage.value < 0.8 {
        "fewer than it should: the bands are too narrow"
    } else {
        "more than it should: the bands are too wide"
    };
    format!(
        "The 80\u{a0}% band predicted for a reading held {} of those readings, {verdict}.",
        percent_with_interval(coverage.value, coverage.low, coverage.high)
    )
}

/// `behind` in counts of a hundred, from the first line that knows.
pub fn of_hundred(row: &BacktestRow, ppv: &Estimate) -> String {
    format!(
        "Of those called behind at follow-up reading {}, {} did not respond.",
        row.visit_no,
        percent_with_interval(ppv.value, ppv.low, ppv.high)
    )
}

/// `0.70 (0.65 to 0.75)` in a cell.
pub fn number(estimate: &Estimate) -> String {
    let at = |value: f64| decimal(value, 2);
    super::result_sheets::estimate_cell(&at(estimate.value), &at(estimate.low), &at(estimate.high))
}

/// `79 % (76 to 82)` in a cell.
pub fn share(estimate: &Estimate) -> String {
    let figure = |share: f64| percent(share).replace("\u{a0}%", "");
    super::result_sheets::estimate_cell(&percent(estimate.value), &figure(estimate.low), &figure(estimate.high))
}

/// Beside the coverage: how many stand behind the first line.
pub fn patients(rows: &[BacktestRow]) -> Option<String> {
    let most = rows.iter().map(|row| row.patients).max()?;
    Some(capital(&format!("up to {} behind a line.", counted(u64::from(most), "patient", "patients"))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coverage_off_its_nominal_value_is_said_which_way() {
        let say = |value, low, high| coverage(&Estimate { value, low, high });
        assert!(say(0.79, 0.77, 0.81).ends_with("79\u{a0}% (95\u{a0}% CI 77 to 81) of those readings, as it should."));
        assert!(say(0.7, 0.68, 0.72).contains("too narrow"));
        assert!(say(0.9, 0.88, 0.92).contains("too wide"));
    }

    #[test]
    fn cells_give_value_and_interval() {
        let estimate = Estimate { value: 0.7, low: 0.649, high: 0.75 };
        assert_eq!(number(&estimate), "0.70 (0.65\u{a0}to\u{a0}0.75)");
        assert_eq!(share(&estimate), "70\u{a0}% (65\u{a0}to\u{a0}75)");
    }
}
