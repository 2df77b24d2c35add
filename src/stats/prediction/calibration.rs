//! Whether what was given a chance of 30 % happens 30 % of the time.
//!
//! **Formulas.** Brier's score: the mean of (p - y)2 (Brier 1950, Mon Weather Rev 78:1-3). Calibration: logit P(y = 1)
//! = a + b logit p by maximum likelihood (Cox 1958, Biometrika 45:562-5); perfect is a = 0, b = 1; b < 1 means chances
//! too extreme. Newton's method with halved steps; Wald limits.
//!
//! **Domain and edge cases.** Brier: p in 0 to 1. Calibration: p strictly inside, since the logit of 0 or 1 is
//! infinite; a caller whose chances are counts of draws takes (k + 1/2)/(n + 1). Both outcomes must occur, else an
//! error. No spread in p: no slope. If a threshold parts the classes, wholly or but for ties upon it, no maximum exists
//! (Albert & Anderson 1984, Biometrika 71:1-10): separated, found by comparing the classes' extremes, not by a failing
//! iteration.
//!
//! **Reference.** R's `glm` on `pROC::aSAH`, folder `asah_prediction`.

use super::both_classes;
use crate::distribution::normal_quantile;
use crate::error::{InputError, at_least, same_length};
use crate::interval::{Estimate, Interval};
use crate::level::Level;
use crate::sum;

/// Newton steps allowed; a maximum that exists takes under ten.
const MAX_STEPS: usize = 100;
/// A step this small against the standard errors (squared) ends the search.
const SMALL: f64 = 1e-20;

/// A fitted calibration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationFit {
    /// a: log odds of the outcome where a chance of one half was given.
    pub intercept: Estimate,
    /// b: log odds gained for each unit of the predicted log odds.
    pub slope: Estimate,
}

/// How a calibration ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Calibration {
    /// The maximum was found.
    Fitted(CalibrationFit),
    /// A threshold parts the outcomes: the slope has no finite value.
    Separated,
    /// All chances given are the same: there is no slope.
    NoSpread,
    /// The search did not come to rest, as with chances too alike for their digits.
    NotConverged,
}

/// Brier's score, 0 (perfect) to 1.
///
/// # Errors
/// If the lengths differ, there are no subjects, or a probability is outside 0 to 1.
pub fn brier(probabilities: &[f64], outcomes: &[bool]) -> Result<f64, InputError> {
    same_length("outcomes", probabilities.len(), outcomes.len())?;
    at_least("subjects", 1, outcomes.len())?;
    if let Some(index) = probabilities.iter().position(|p| !(0.0..=1.0).contains(p)) {
        return Err(InputError::BadElement { what: "probabilities", index, domain: "from 0 to 1" });
    }
    let squares = probabilities.iter().zip(outcomes).map(|(p, o)| (p - f64::from(u8::from(*o))).powi(2));
    Ok(sum::sum(squares) / outcomes.len() as f64)
}

/// Calibration intercept and slope of predicted `probabilities`.
///
/// # Errors
/// If the lengths differ, a probability is not strictly between 0 and 1, or all outcomes are alike.
pub fn calibration(probabilities: &[f64], outcomes: &[bool], level: Level) -> Result<Calibration, InputError> {
    both_classes(probabilities.len(), outcomes)?;
    if let Some(index) = probabilities.iter().position(|p| !(*p > 0.0 && *p < 1.0)) {
        return Err(InputError::BadElement { what: "probabilities", index, domain: "strictly between 0 and 1" });
    }
    let logits: Vec<f64> = probabilities.iter().map(|p| p.ln() - (-p).ln_1p()).collect();
    let extremes = |class: Option<bool>| {
        let of_class = logits.iter().zip(outcomes).filter(|(_, o)| class.is_none_or(|c| c == **o));
        of_class.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (x, _)| (low.min(*x), high.max(*x)))
    };
    let (all, with, without) = (extremes(None), extremes(Some(true)), extremes(Some(false)));
    if all.0 == all.1 {
        return Ok(Calibration::NoSpread);
    }
    if with.0 >= without.1 || without.0 >= with.1 {
        return Ok(Calibration::Separated);
    }
    Ok(match maximise(&logits, outcomes) {
        None => Calibration::NotConverged,
        Some(end) => {
            let z = -normal_quantile(level.tail())?;
            let estimate = |value: f64, variance: f64| {
                let standard_error = variance.sqrt();
                Estimate { value, standard_error, interval: Interval::around(value, z * standard_error) }
            };
            let (intercept, slope) = (estimate(end.a, end.var_a), estimate(end.b, end.var_b));
            Calibration::Fitted(CalibrationFit { intercept, slope })
        }
    })
}

/// The maximum with the variances of its coordinates.
struct Maximum {
    a: f64,
    b: f64,
    var_a: f64,
    var_b: f64,
}

/// Newton's method from a = 0, b = 0, each step halved until the likelihood does not fall.
fn maximise(x: &[f64], outcomes: &[bool]) -> Option<Maximum> {
    let (mut a, mut b) = (0.0_f64, 0.0_f64);
    let mut likelihood = log_likelihood(x, outcomes, a, b);
    for _ in 0..MAX_STEPS {
        let chance = |x: &f64| 1.0 / (1.0 + (-(a + b * x)).exp());
        let weight = |x: &f64| chance(x) * (1.0 - chance(x));
        let residual = |(x, o): (&f64, &bool)| f64::from(u8::from(*o)) - chance(x);
        let ga = sum::sum(x.iter().zip(outcomes).map(residual));
        let gb = sum::sum(x.iter().zip(outcomes).map(|(x, o)| residual((x, o)) * x));
        let total = sum::sum(x.iter().map(weight));
        let centre = sum::sum(x.iter().map(|x| weight(x) * x)) / total;
        // centred, so that the two parameters are orthogonal and nothing cancels
        let spread = sum::sum(x.iter().map(|x| weight(x) * (x - centre).powi(2)));
        let (var_a, var_b) = (1.0 / total + centre * centre / spread, 1.0 / spread);
        let step_b = (gb - centre * ga) / spread;
        let step_a = ga / total - centre * step_b;
        if !(step_a.is_finite() && step_b.is_finite() && var_a.is_finite() && var_b.is_finite()) {
            return None;
        }
        // the gain that the step promises, g' H^-1 g: squared distance in standard errors
        let promised = ga * step_a + gb * step_b;
        if promised <= SMALL {
            return Some(Maximum { a: a + step_a, b: b + step_b, var_a, var_b });
        }
        let mut share = 1.0;
        loop {
            let (next_a, next_b) = (a + share * step_a, b + share * step_b);
            let next = log_likelihood(x, outcomes, next_a, next_b);
            // rounding of the sum must not stop a step that is all but the last
            if next >= likelihood - 1e-13 * likelihood.abs() {
                (a, b, likelihood) = (next_a, next_b, next);
                break;
            }
            share /= 2.0;
            if share < 1e-10 {
                return None;
            }
        }
    }
    None
}

fn log_likelihood(x: &[f64], outcomes: &[bool], a: f64, b: f64) -> f64 {
    sum::sum(x.iter().zip(outcomes).map(|(x, o)| {
        let against = if *o { -(a + b * x) } else { a + b * x };
        // log(1 / (1 + e^against)) without overflow
        -(against.max(0.0) + (-against.abs()).exp().ln_1p())
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    const L95: Level = Level::NINETY_FIVE;

    #[test]
    fn two_chances_by_hand() {
        // given 1/4: 1 of 5 had it, log odds -ln 4; given 3/4: 3 of 6, log odds 0. Two points, a line through both
        let chances: Vec<f64> = [0.25; 5].into_iter().chain([0.75; 6]).collect();
        let outcomes: Vec<bool> = (0..11).map(|i| i == 0 || i >= 8).collect();
        let Calibration::Fitted(fit) = calibration(&chances, &outcomes, L95).unwrap() else { panic!("fitted") };
        let ln3 = 3.0_f64.ln();
        assert!((fit.slope.value - 4.0_f64.ln() / (2.0 * ln3)).abs() < 1e-12);
        assert!((fit.intercept.value + 4.0_f64.ln() / 2.0).abs() < 1e-12);
        // variances of the two log odds: 1/1 + 1/4 and 1/3 + 1/3
        let variance = (1.25 + 2.0 / 3.0) / (2.0 * ln3).powi(2);
        assert!((fit.slope.standard_error - variance.sqrt()).abs() < 1e-12);
        assert!((fit.intercept.standard_error - ((1.25 + 2.0 / 3.0) / 4.0_f64).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn separated_data_are_named_also_when_only_a_tie_holds_them_together() {
        let of = |chances: &[f64], outcomes: &[bool]| calibration(chances, outcomes, L95).unwrap();
        assert_eq!(of(&[0.1, 0.2, 0.7, 0.9], &[false, false, true, true]), Calibration::Separated);
        assert_eq!(of(&[0.1, 0.2, 0.7, 0.9], &[true, true, false, false]), Calibration::Separated);
        assert_eq!(of(&[0.1, 0.5, 0.5, 0.9], &[false, false, true, true]), Calibration::Separated);
        assert_eq!(of(&[0.3, 0.3, 0.3], &[false, true, true]), Calibration::NoSpread);
        assert!(matches!(of(&[0.1, 0.6, 0.5, 0.9], &[false, false, true, true]), Calibration::Fitted(_)));
    }

    #[test]
    fn extreme_and_nearly_equal_chances_end_in_a_finite_fit_or_a_named_outcome() {
        let outcomes = [true, false, true, false, true, false];
        for chances in [
            [1e-300, 1e-300, 0.5, 0.5, 1.0 - 1e-16, 1.0 - 1e-16],
            [0.5, 0.5 + 1e-16, 0.5, 0.5, 0.5 + 2e-16, 0.5 + 2e-16],
            [0.999, 0.001, 0.001, 0.999, 0.5, 0.5],
        ] {
            if let Calibration::Fitted(fit) = calibration(&chances, &outcomes, L95).unwrap() {
                assert!(fit.slope.standard_error.is_finite() && fit.intercept.interval.width() > 0.0);
            }
        }
    }

    #[test]
    fn the_brier_score_of_one_half_is_a_quarter_and_of_certainty_zero_or_one() {
        let outcomes = [true, false, true];
        assert_eq!(brier(&[0.5; 3], &outcomes), Ok(0.25));
        assert_eq!(brier(&[1.0, 0.0, 1.0], &outcomes), Ok(0.0));
        assert_eq!(brier(&[0.0, 1.0, 0.0], &outcomes), Ok(1.0));
    }

    #[test]
    fn impossible_chances_one_class_and_unequal_lengths_are_refused() {
        for bad in [-0.1, 1.1, f64::NAN] {
            assert!(brier(&[0.5, bad], &[true, false]).is_err());
            assert!(calibration(&[0.5, bad], &[true, false], L95).is_err());
        }
        assert!(calibration(&[0.0, 0.5], &[true, false], L95).is_err());
        assert!(calibration(&[0.3, 0.5], &[true, true], L95).is_err());
        assert!(calibration(&[0.3], &[true, false], L95).is_err());
        assert!(brier(&[], &[]).is_err());
        assert!(brier(&[0.5], &[]).is_err());
    }
}
