//! The share still without the event, when some are not followed to the end.
//!
//! **Formulas.** S(t) = product over event times u <= t of (1 - d/n), d events among n at risk (Kaplan & Meier 1958, J
//! Am Stat Assoc 53:457-81). Variance S2 sum d/(n (n - d)) (Greenwood 1926). Limits from log(-log S), which keeps them
//! inside 0 and 1 (Kalbfleisch & Prentice 2002, The Statistical Analysis of Failure Time Data, 1.4). A median's limits
//! are the times whose limits of S hold 1/2 (Brookmeyer & Crowley 1982, Biometrics 38:29-41).
//!
//! **Domain and edge cases.** One subject or more; a competing end counts as censored. Before the first event S is 1
//! and has no limits. Once S is 0 Greenwood's variance has no value: neither standard error nor limits. Beyond the last
//! time in sight S is not known, unless it is 0. A median that the curve does not reach is `None`; so is each limit of
//! it that the limits of the curve do not reach. If S stays at exactly 1/2 for a while, the median is the middle of
//! that while, as is usual; if until the last time, its beginning.
//!
//! **Cost.** One sort.
//!
//! **Published values.** Freireich and others 1963 (Blood 21:699-716), 6-MP: S(6) .857, S(7) .807, S(10) .753, S(13)
//! .690, S(16) .627, S(22) .538, S(23) .448; medians 23 and 8. Folder `freireich_1963`. R's `survfit` in
//! `lung_survival`.

use super::{Spell, check, log_log_interval, moments};
use crate::distribution::normal_quantile;
use crate::error::InputError;
use crate::interval::Interval;
use crate::level::Level;

/// Two values of S nearer than this are the same value, rounded.
const SAME: f64 = 1e-12;

/// The curve from one event time to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurvivalStep {
    /// Time of the events.
    pub time: f64,
    /// Subjects at risk just before.
    pub at_risk: usize,
    /// Events at this time.
    pub events: usize,
    /// Share without the event from this time on.
    pub survival: f64,
    /// Greenwood's standard error; `None` once the share is 0.
    pub standard_error: Option<f64>,
    /// Log-log limits; `None` once the share is 0.
    pub interval: Option<Interval>,
}

/// A time by which a share has had the event; `None` where the curve, or its limit, does not come so low.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurvivalTime {
    /// The time.
    pub value: Option<f64>,
    /// Its lower limit.
    pub low: Option<f64>,
    /// Its upper limit.
    pub high: Option<f64>,
}

/// A Kaplan-Meier curve.
#[derive(Debug, Clone, PartialEq)]
pub struct KaplanMeier {
    /// Number of subjects.
    pub subjects: usize,
    /// Number of events.
    pub events: usize,
    /// One step an event time, in rising order; empty without events.
    pub steps: Vec<SurvivalStep>,
    /// The median with Brookmeyer's and Crowley's limits.
    pub median: SurvivalTime,
}

/// The Kaplan-Meier curve of the event; a competing end is taken as censored.
///
/// # Errors
/// If there are no subjects, or a time is negative or not finite.
pub fn kaplan_meier(spells: &[Spell], level: Level) -> Result<KaplanMeier, InputError> {
    check(spells)?;
    let z = -normal_quantile(level.tail())?;
    let moments = moments(spells);
    let (mut survival, mut greenwood) = (1.0_f64, 0.0_f64);
    let mut steps = Vec::new();
    for moment in moments.iter().filter(|m| m.events > 0) {
        let (n, d) = (moment.at_risk as f64, moment.events as f64);
        survival *= (n - d) / n;
        greenwood += d / (n * (n - d)); // infinite if all at risk have it, and then S is 0
        let standard_error = (survival > 0.0).then(|| survival * greenwood.sqrt());
        let interval = standard_error.and_then(|s| log_log_interval(survival, s, z));
        let (time, at_risk, events) = (moment.time, moment.at_risk, moment.events);
        steps.push(SurvivalStep { time, at_risk, events, survival, standard_error, interval });
    }
    Ok(KaplanMeier {
        subjects: spells.len(),
        events: steps.iter().map(|step| step.events).sum(),
        median: SurvivalTime {
            value: time_of_half(&steps, |step| Some(step.survival)),
            low: time_of_half(&steps, |step| step.interval.map(|i| i.low)),
            high: time_of_half(&steps, |step| step.interval.map(|i| i.high)),
        },
        steps,
    })
}

/// When the falling curve of `share` passes 1/2: the first step at or below, or the middle of a stay at exactly 1/2.
fn time_of_half(steps: &[SurvivalStep], share: impl Fn(&SurvivalStep) -> Option<f64>) -> Option<f64> {
    let first_below = |limit: f64| steps.iter().find(|step| share(step).is_some_and(|s| s <= limit)).map(|s| s.time);
    let at_or_below = first_below(0.5 + SAME)?;
    let below = first_below(0.5 - SAME).unwrap_or(at_or_below);
    Some(at_or_below + (below - at_or_below) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survival::SpellEnd;

    const L95: Level = Level::NINETY_FIVE;

    fn spells(times: &[f64], is_event: &[bool]) -> Vec<Spell> {
        let end = |e: bool| if e { SpellEnd::Event } else { SpellEnd::Censored };
        times.iter().zip(is_event).map(|(&time, &e)| Spell { time, end: end(e) }).collect()
    }

    #[test]
    fn without_censoring_the_curve_is_the_share_left_with_its_binomial_error() {
        let curve = kaplan_meier(&spells(&[3.0, 1.0, 2.0, 2.0, 4.0], &[true; 5]), L95).unwrap();
        let left: Vec<f64> = curve.steps.iter().map(|s| s.survival).collect();
        for (found, expected) in left.iter().zip([0.8, 0.4, 0.2, 0.0]) {
            assert!((found - expected).abs() < 1e-15);
        }
        assert!((curve.steps[1].standard_error.unwrap() - (0.4_f64 * 0.6 / 5.0).sqrt()).abs() < 1e-15);
        assert_eq!((curve.steps[3].standard_error, curve.steps[3].interval), (None, None));
        assert_eq!((curve.subjects, curve.events), (5, 5));
        assert_eq!(curve.median.value, Some(2.0));
    }

    #[test]
    fn all_censored_gives_a_flat_curve_without_limits_or_median() {
        let curve = kaplan_meier(&spells(&[3.0, 1.0], &[false; 2]), L95).unwrap();
        assert!(curve.steps.is_empty());
        assert_eq!(curve.median, SurvivalTime { value: None, low: None, high: None });
    }

    #[test]
    fn one_subject_is_a_curve() {
        let event = kaplan_meier(&spells(&[3.0], &[true]), L95).unwrap();
        assert_eq!(event.steps.iter().map(|s| (s.time, s.survival)).collect::<Vec<_>>(), [(3.0, 0.0)]);
        assert_eq!(event.median, SurvivalTime { value: Some(3.0), low: None, high: None });
    }

    #[test]
    fn a_stay_at_one_half_has_its_median_in_the_middle() {
        let median =
            |events: [bool; 4]| kaplan_meier(&spells(&[1.0, 2.0, 3.0, 4.0], &events), L95).unwrap().median.value;
        assert_eq!(median([true; 4]), Some(2.5));
        assert_eq!(median([true, true, false, false]), Some(2.0));
        assert_eq!(median([true, false, false, false]), None);
    }

    #[test]
    fn a_competing_end_counts_as_censored() {
        let mut with = spells(&[1.0, 2.0, 3.0, 4.0], &[true, false, true, false]);
        let without = kaplan_meier(&with, L95).unwrap();
        with[1].end = SpellEnd::Competing;
        assert_eq!(kaplan_meier(&with, L95).unwrap(), without);
    }

    #[test]
    fn the_limits_hold_the_curve_and_the_median() {
        let times: Vec<f64> = (0..60).map(|i| f64::from(i * 7 % 23)).collect();
        let events: Vec<bool> = (0..60).map(|i| i % 3 != 0).collect();
        let curve = kaplan_meier(&spells(&times, &events), L95).unwrap();
        let mut before = 1.0;
        for step in &curve.steps {
            assert!(step.survival < before);
            assert!(step.interval.is_none_or(|i| i.contains(step.survival) && i.low >= 0.0 && i.high <= 1.0));
            before = step.survival;
        }
        let median = curve.median;
        assert!(median.low.unwrap() <= median.value.unwrap() && median.value.unwrap() <= median.high.unwrap());
    }
}
