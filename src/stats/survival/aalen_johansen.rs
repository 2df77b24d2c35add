//! The share that has had the event by a time, when another end can come first.
//!
//! **Formula.** With n at risk at an event time, d events and c competing ends, and S the share still without either
//! just before: F gains S d/n, the competing incidence gains S c/n, S loses both (Aalen & Johansen 1978, Scand J Stat
//! 5:141-50). Covariance of (S, F, C), Greenwood's for the multinomial, carried from time to time: V -> T' V T + S2 M,
//! T the transitions at that time, M the covariance of their frequencies, e.g. d (n - d)/n3 and -d c/n3 (Andersen,
//! Borgan, Gill & Keiding 1993, Statistical Models Based on Counting Processes, IV.4.1.3). For one event and one
//! competing end it equals the infinitesimal jackknife. Limits: log-log on 1 - F, as for Kaplan & Meier.
//!
//! **Laws.** S + F + C = 1. Without a competing end F is one minus Kaplan & Meier's S, with its standard error and
//! limits.
//!
//! **Domain and edge cases.** One subject or more. F = 0 or 1 has no limits. Nothing happened: no steps, F = 0 for as
//! long as anyone was in sight.
//!
//! **Cost.** One sort.
//!
//! **Reference.** R's multi-state `survfit` on `survival::mgus2`, folder `mgus2_incidence`.

use nalgebra::{Matrix3, Vector3};

use super::{Spell, check, log_log_interval, moments};
use crate::distribution::normal_quantile;
use crate::error::InputError;
use crate::interval::Interval;
use crate::level::Level;

/// A cumulative incidence with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Incidence {
    /// Share that has come to this end.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Log-log limits; `None` where the share is 0 or 1.
    pub interval: Option<Interval>,
}

/// The incidences from one time to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IncidenceStep {
    /// Time of the events or competing ends.
    pub time: f64,
    /// Subjects at risk just before.
    pub at_risk: usize,
    /// Events at this time.
    pub events: usize,
    /// Competing ends at this time.
    pub competing_ends: usize,
    /// Share that has had the event.
    pub event: Incidence,
    /// Share that came to the competing end first.
    pub competing: Incidence,
    /// Share with neither.
    pub neither: f64,
}

/// Aalen-Johansen curves of the event and of the competing end.
#[derive(Debug, Clone, PartialEq)]
pub struct AalenJohansen {
    /// Number of subjects.
    pub subjects: usize,
    /// One step a time with an event or competing end, in rising order.
    pub steps: Vec<IncidenceStep>,
}

/// The cumulative incidences of the event and of the competing end.
///
/// # Errors
/// If there are no subjects, or a time is negative or not finite.
pub fn aalen_johansen(spells: &[Spell], level: Level) -> Result<AalenJohansen, InputError> {
    check(spells)?;
    let z = -normal_quantile(level.tail())?;
    let moments = moments(spells);
    let mut state = Vector3::new(1.0, 0.0, 0.0);
    let mut covariance = Matrix3::zeros();
    let mut steps = Vec::new();
    for moment in moments.iter().filter(|m| m.events + m.competing > 0) {
        let n = moment.at_risk as f64;
        let (to_event, to_other) = (moment.events as f64 / n, moment.competing as f64 / n);
        let stay = (moment.at_risk - moment.events - moment.competing) as f64 / n;
        let moved = Vector3::new(stay, to_event, to_other);
        let multinomial = (Matrix3::from_diagonal(&moved) - moved * moved.transpose()) / n;
        // acts on the column (S, F, C): the transpose of the transition matrix
        let transition = Matrix3::new(stay, 0.0, 0.0, to_event, 1.0, 0.0, to_other, 0.0, 1.0);
        covariance = transition * covariance * transition.transpose() + multinomial * (state.x * state.x);
        state = transition * state;
        let incidence = |value: f64, variance: f64| {
            let standard_error = variance.max(0.0).sqrt();
            let interval = log_log_interval(1.0 - value, standard_error, z)
                .filter(|_| value > 0.0)
                .map(|free| Interval { low: (1.0 - free.high).min(value), high: (1.0 - free.low).max(value) });
            Incidence { value, standard_error, interval }
        };
        steps.push(IncidenceStep {
            time: moment.time,
            at_risk: moment.at_risk,
            events: moment.events,
            competing_ends: moment.competing,
            event: incidence(state.y, covariance.m22),
            competing: incidence(state.z, covariance.m33),
            neither: state.x,
        });
    }
    Ok(AalenJohansen { subjects: spells.len(), steps })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{stream, uniform};
    use crate::survival::{SpellEnd, kaplan_meier};

    const L95: Level = Level::NINETY_FIVE;

    /// Whole times below 12, so that many are tied.
    fn drawn(seed: u64, n: usize, with_competing: bool) -> Vec<Spell> {
        let mut random = stream(seed, b"spells");
        let mut spell = || {
            let time = (uniform(&mut random) * 12.0).floor();
            let end = match uniform(&mut random) {
                u if u < 0.4 => SpellEnd::Event,
                u if u < 0.6 && with_competing => SpellEnd::Competing,
                _ => SpellEnd::Censored,
            };
            Spell { time, end }
        };
        (0..n).map(|_| spell()).collect()
    }

    #[test]
    fn without_a_competing_end_it_is_one_minus_kaplan_meier_with_the_same_errors_and_limits() {
        for seed in 0..40 {
            let spells = drawn(seed, 5 + seed as usize, false);
            let (curve, incidence) = (kaplan_meier(&spells, L95).unwrap(), aalen_johansen(&spells, L95).unwrap());
            assert_eq!(curve.steps.len(), incidence.steps.len());
            for (s, f) in curve.steps.iter().zip(&incidence.steps) {
                assert!((s.survival + f.event.value - 1.0).abs() < 1e-14);
                assert!(s.standard_error.is_none_or(|e| (e - f.event.standard_error).abs() < 1e-14));
                if let (Some(s), Some(f)) = (s.interval, f.event.interval) {
                    assert!((s.low + f.high - 1.0).abs() < 1e-12 && (s.high + f.low - 1.0).abs() < 1e-12);
                }
                assert_eq!(f.competing, Incidence { value: 0.0, standard_error: 0.0, interval: None });
            }
        }
    }

    #[test]
    fn the_incidences_and_the_share_with_neither_add_to_one() {
        for seed in 0..40 {
            for step in aalen_johansen(&drawn(seed, 60, true), L95).unwrap().steps {
                assert!((step.event.value + step.competing.value + step.neither - 1.0).abs() < 1e-14);
                for incidence in [step.event, step.competing] {
                    assert!(incidence.standard_error.is_finite());
                    assert!(incidence.interval.is_none_or(|i| i.contains(incidence.value)));
                }
            }
        }
    }

    #[test]
    fn either_end_alone_is_kaplan_meiers_curve_of_both_together() {
        let spells = drawn(7, 80, true);
        let joined = spells.iter().map(|s| match s.end {
            SpellEnd::Competing => Spell { end: SpellEnd::Event, ..*s },
            _ => *s,
        });
        let curve = kaplan_meier(&joined.collect::<Vec<_>>(), L95).unwrap();
        for step in aalen_johansen(&spells, L95).unwrap().steps {
            let survival = curve.steps.iter().rfind(|s| s.time <= step.time).unwrap().survival;
            assert!((step.neither - survival).abs() < 1e-14);
        }
    }

    #[test]
    fn the_order_of_subjects_does_not_change_a_bit() {
        let mut spells = drawn(3, 50, true);
        let (incidence, curve) = (aalen_johansen(&spells, L95), kaplan_meier(&spells, L95));
        spells.reverse();
        spells.rotate_left(17);
        assert_eq!(aalen_johansen(&spells, L95), incidence);
        assert_eq!(kaplan_meier(&spells, L95), curve);
    }

    #[test]
    fn without_censoring_the_incidence_is_the_share_with_its_binomial_error() {
        let ends = [SpellEnd::Event, SpellEnd::Competing, SpellEnd::Event, SpellEnd::Event, SpellEnd::Competing];
        let spells: Vec<Spell> =
            ends.iter().zip([1.0, 2.0, 3.0, 3.0, 5.0]).map(|(&end, time)| Spell { time, end }).collect();
        let found = aalen_johansen(&spells, L95).unwrap();
        let last = found.steps.last().unwrap();
        assert!((last.event.value - 0.6).abs() < 1e-15 && last.neither == 0.0);
        assert!((last.event.standard_error - (0.6_f64 * 0.4 / 5.0).sqrt()).abs() < 1e-15);
        assert_eq!(found.steps[0].time, 1.0);
    }

    #[test]
    fn nothing_happening_and_one_subject_are_answered() {
        let one = |end| aalen_johansen(&[Spell { time: 2.0, end }], L95).unwrap();
        assert!(one(SpellEnd::Censored).steps.is_empty());
        assert_eq!(one(SpellEnd::Event).steps[0].event, Incidence { value: 1.0, standard_error: 0.0, interval: None });
        assert_eq!(one(SpellEnd::Competing).steps[0].event.value, 0.0);
        assert!(aalen_johansen(&[], L95).is_err());
    }
}
