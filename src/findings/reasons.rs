//! The sentence beside a patient's status, with its numbers.

use crate::catalogue::measure::{Domain, Measure};
use crate::group::settings::OnTrackRules;
use crate::models::backtest::Doubt;
use crate::models::on_track::{Standing, Verdict};
use crate::models::unfit::Unfit;

/// Where nothing was read.
pub const NO_READING: &str = "no reading yet that a prediction could start from";

/// The reading a sentence is about.
#[derive(Clone, Copy, Debug)]
pub struct About<'a> {
    /// The measure.
    pub measure: &'a Measure,
    /// Decimals for people.
    pub places: usize,
    /// Day of the latest reading.
    pub day: f64,
    /// The latest reading.
    pub last_value: f64,
    /// The baseline, if there is one.
    pub baseline: Option<f64>,
}

impl About<'_> {
    fn score(&self, value: f64) -> String {
        format!("{value:.*}", self.places)
    }
}

/// Why a patient stands where they stand.
pub fn reason(about: &About<'_>, standing: &Standing, doubt: Option<Doubt>) -> String {
    let now = format!("{} on day {:.0}", about.score(about.last_value), about.day);
    let from = about.baseline.map_or(String::new(), |baseline| format!(", {} at baseline", about.score(baseline)));
    if let Verdict::ReliablyWorse { by, limit } = standing.verdict {
        return format!(
            "{now}{from}: worse by {}, more than measurement error explains ({})",
            about.score(by),
            about.score(limit)
        );
    }
    if let Some(doubt) = doubt {
        return format!("{now}{from}; {}", no_prediction(doubt));
    }
    let expected = standing.expected.map_or(String::new(), |expected| {
        let (mean, low, high) = (about.score(expected.mean), about.score(expected.low), about.score(expected.high));
        format!(", expected {mean} ({low} to {high})")
    });
    let chance = standing.chance_of_response.map_or(String::new(), |chance| {
        format!("; chance of an important change by day {:.0}: {}", standing.endpoint_day, in_percent(chance))
    });
    let among = standing.percentile.map_or(String::new(), |percentile| {
        format!("; of 100 patients who began alike, {percentile:.0} would score worse")
    });
    match standing.verdict {
        Verdict::BeyondOwnPrediction => {
            format!("{now}{expected}: worse than 97.5 % of what their own readings predict{chance}")
        }
        Verdict::TooFew if about.baseline.is_none() => format!("{now}; no baseline was recorded"),
        Verdict::TooFew => format!("{now}; no reading after the baseline yet{chance}"),
        Verdict::ReliablyWorse { .. } | Verdict::Behind | Verdict::AsExpected | Verdict::Ahead => {
            format!("{now}{expected}{among}{chance}")
        }
    }
}

/// No prediction is certain.
fn in_percent(chance: f64) -> String {
    match 100.0 * chance {
        percent if percent < 1.0 => "under 1 %".to_owned(),
        percent if percent > 99.0 => "over 99 %".to_owned(),
        percent => format!("{percent:.0} %"),
    }
}

/// Why there is no prediction to rely on.
pub fn no_prediction(doubt: Doubt) -> String {
    match doubt {
        Doubt::TooFewPatients(patients) => {
            format!("no prediction: only {patients} patients with a known end were there to try it on")
        }
        Doubt::CoverageOff(share) => format!(
            "no prediction: tried on patients it had not seen, the 80 % band held {:.0} % of the readings",
            100.0 * share
        ),
    }
}

/// Why there is no model.
pub fn no_model(why: &Unfit) -> String {
    format!("no prediction: {}", why.in_words())
}

/// A reading that is overdue.
pub fn overdue(domain: Domain, days: i32, was_read: bool) -> String {
    let what = match domain {
        Domain::Pain => "pain",
        Domain::Disability => "disability",
        Domain::Function => "function",
        Domain::Change => "change",
    };
    if was_read {
        format!("{what} was last read {days} days of care ago")
    } else {
        format!("{what} has not been read in {days} days of care")
    }
}

/// The cut-offs in words.
pub fn rules(rules: &OnTrackRules) -> Vec<String> {
    vec![
        "Worsening: worse than the baseline by more than measurement error (Jacobson and Truax 1991), or worse than 97.5 % \
         of what the patient's own earlier readings predict."
            .to_owned(),
        format!(
            "Behind: of 100 patients with the same baseline, fewer than {:.0} would score worse on that day, and the chance of an \
             important change is under {:.0} %.",
            rules.behind_below,
            100.0 * rules.unlikely_below
        ),
        format!("Ahead: of 100 such patients, more than {:.0} would score worse.", rules.ahead_above),
        "Too few readings: no baseline and follow-up yet, or the predictions for the condition failed their test on patients \
         they had not seen."
            .to_owned(),
        format!(
            "In care: not recorded as ended, and last treated no more than {} days before the site's records end. A reading is \
             overdue after {} days of care without one.",
            rules.in_care_days, rules.overdue_days
        ),
    ]
}
