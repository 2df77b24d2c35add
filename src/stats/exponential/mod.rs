//! One exponential approach to a plateau, fitted by weighted least squares.
//!
//! **Formula.** y(t) = plateau + (start - plateau) exp(-t / tau), with log tau as the parameter so that tau stays
//! positive (the asymptotic regression of Bates & Watts 1988, chapter 2, and Pinheiro & Bates 2000, appendix C.1).
//! Half-time tau ln 2. `start` is the value at t = 0 and may be fixed by the caller.
//!
//! **Starting values.** At a given tau the curve is linear in the other two parameters, so the sum of squares can be
//! profiled over tau (Golub & Pereyra 1973, SIAM J Numer Anal 10:413-32). The best of a fixed grid of tau starts the
//! descent; no random starts, no guess by the caller.
//!
//! **When it refuses.** Any data can be given such a curve; not every curve means something. [`Doubt`] lists the reasons.
//! In short: no change at all; the best tau lies at either end of the grid, where the curve has turned into a step or a
//! straight line; no proven minimum; or a half-time not known to within a factor of e each way in one standard error.
//!
//! **Domain.** Times are finite, in any unit and order, and may repeat; at least as many distinct times as parameters, and
//! more observations than parameters. Falling and rising curves alike.
//!
//! **Published values.** Loblolly pine seed 329 (R, `SSasymp`) and the BOD data of Bates & Watts 1988 with the start fixed
//! at 0: folders `loblolly_329`, `bod`. Curves through published mean courses: folders `natural_course_*`.

mod derived;
mod starting_values;

use std::collections::BTreeSet;

use nalgebra::Matrix3;

use crate::error::{InputError, all_finite, positive_weights, same_length};
use crate::evidence::Evidence;
use crate::least_squares::{Fit, Outcome, least_squares};
use starting_values::{Profile, by_distinct_time, profile};

pub use derived::AtTime;

/// The standard error of log tau above which the rate counts as unknown: one standard error either way is then more
/// than a factor of e. A choice of this program, no published source.
pub const LARGEST_LOG_TAU_ERROR: f64 = 1.0;

/// What is known of the curve's value at time 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StartValue {
    /// Nothing: it is estimated.
    Free,
    /// It is this number exactly.
    Fixed(f64),
}

/// What came of fitting an exponential.
#[derive(Debug, Clone, PartialEq)]
pub enum ExponentialOutcome {
    /// A proven minimum with a known rate.
    Fitted(ExponentialFit),
    /// The data do not determine the curve.
    NotIdentifiable {
        /// Why.
        why: Doubt,
        /// How the fit ended, if one was tried.
        evidence: Option<Evidence>,
    },
    /// There are too few observations or too few distinct times.
    TooFewPoints {
        /// Observations needed at least.
        observations_needed: usize,
        /// Observations there are.
        observations: usize,
        /// Distinct times needed at least.
        times_needed: usize,
        /// Distinct times there are.
        times: usize,
    },
}

/// Why data do not determine an exponential.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// The mean is the same at every time: there is no change whose rate could be known.
    NoChange,
    /// The plateau is reached by the second distinct time: any faster rate fits as well.
    PlateauAtOnce,
    /// A straight line fits as well: no plateau is in sight.
    StraightLine,
    /// There is a minimum, but the standard error of log tau is above [`LARGEST_LOG_TAU_ERROR`].
    RateUnknown,
    /// No minimum was shown; see the evidence.
    NotConverged,
}

/// A fitted exponential: a proven minimum with a known rate.
#[derive(Debug, Clone, PartialEq)]
pub struct ExponentialFit {
    /// Value at time 0.
    pub start: f64,
    /// Value approached in the end.
    pub plateau: f64,
    /// Natural logarithm of tau, tau in the unit of the times.
    pub log_tau: f64,
    /// Covariance of (start, plateau, log tau); row and column of a fixed start are 0.
    pub covariance: Matrix3<f64>,
    /// Weighted residual sum of squares.
    pub rss: f64,
    /// Residual standard deviation for an observation of weight 1.
    pub residual_sd: f64,
    /// Observations less fitted parameters.
    pub degrees_of_freedom: usize,
    /// How the fit ended; the parameters in it are (start unless fixed, plateau, log tau).
    pub evidence: Evidence,
}

/// Fits plateau + (start - plateau) exp(-t / tau) to `values` at `times`.
///
/// `weights` are inversely proportional to the variances of the values, 1 if `None`.
///
/// # Errors
/// If lengths differ, a number is not finite, or a weight is not positive. Too few points are no error but an outcome.
pub fn fit_exponential(
    times: &[f64],
    values: &[f64],
    weights: Option<&[f64]>,
    start: StartValue,
) -> Result<ExponentialOutcome, InputError> {
    same_length("values", times.len(), values.len())?;
    all_finite("times", times)?;
    all_finite("values", values)?;
    if let Some(weights) = weights {
        positive_weights(weights, values.len())?;
    }
    if let StartValue::Fixed(value) = start {
        all_finite("fixed start", &[value])?;
    }
    let parameters = match start {
        StartValue::Free => 3,
        StartValue::Fixed(_) => 2,
    };
    // -0 and 0 are the same time
    let distinct: BTreeSet<u64> = times.iter().map(|t| (t + 0.0).to_bits()).collect();
    if values.len() <= parameters || distinct.len() < parameters {
        return Ok(ExponentialOutcome::TooFewPoints {
            observations_needed: parameters + 1,
            observations: values.len(),
            times_needed: parameters,
            times: distinct.len(),
        });
    }
    let refused = |why| Ok(ExponentialOutcome::NotIdentifiable { why, evidence: None });
    let means = by_distinct_time(times, values, weights);
    let (free_start, plateau, log_tau) = match profile(&means, start) {
        Profile::Constant => return refused(Doubt::NoChange),
        Profile::BestAtFastest => return refused(Doubt::PlateauAtOnce),
        Profile::BestAtSlowest => return refused(Doubt::StraightLine),
        Profile::Inside { start, plateau, log_tau } => (start, plateau, log_tau),
    };
    let outcome = match start {
        StartValue::Free => {
            let curve = |theta: &[f64], i: usize, gradient: &mut [f64]| {
                let (value, by) = value_and_gradient(theta[0], theta[1], theta[2], times[i]);
                gradient.copy_from_slice(&by);
                value
            };
            least_squares(&curve, values, weights, &[free_start, plateau, log_tau])?
        }
        StartValue::Fixed(fixed) => {
            let curve = |theta: &[f64], i: usize, gradient: &mut [f64]| {
                let (value, by) = value_and_gradient(fixed, theta[0], theta[1], times[i]);
                gradient.copy_from_slice(&by[1..]);
                value
            };
            least_squares(&curve, values, weights, &[plateau, log_tau])?
        }
    };
    Ok(match outcome {
        Outcome::NotConverged(evidence) => {
            ExponentialOutcome::NotIdentifiable { why: Doubt::NotConverged, evidence: Some(evidence) }
        }
        Outcome::Converged(fit) => {
            let fit = named(fit, start);
            if fit.log_tau_error() <= LARGEST_LOG_TAU_ERROR {
                ExponentialOutcome::Fitted(fit)
            } else {
                ExponentialOutcome::NotIdentifiable { why: Doubt::RateUnknown, evidence: Some(fit.evidence) }
            }
        }
    })
}

/// The curve at time `t` and its derivatives by start, plateau and log tau.
fn value_and_gradient(start: f64, plateau: f64, log_tau: f64, t: f64) -> (f64, [f64; 3]) {
    let elapsed = t * (-log_tau).exp(); // t / tau
    let left = (-elapsed).exp(); // share of the way still to go
    let value = plateau + (start - plateau) * left;
    // d left / d log tau = left x t / tau; where left is 0 its product with a huge t / tau is 0 too
    let by_log_tau = if left == 0.0 { 0.0 } else { (start - plateau) * left * elapsed };
    (value, [left, 1.0 - left, by_log_tau])
}

/// Gives the parameters of a converged fit their names.
fn named(fit: Fit, start: StartValue) -> ExponentialFit {
    let (start, plateau, log_tau, skipped) = match start {
        StartValue::Free => (fit.estimates[0], fit.estimates[1], fit.estimates[2], 0),
        StartValue::Fixed(value) => (value, fit.estimates[0], fit.estimates[1], 1),
    };
    let covariance =
        Matrix3::from_fn(
            |i, j| {
                if i < skipped || j < skipped { 0.0 } else { fit.covariance[(i - skipped, j - skipped)] }
            },
        );
    ExponentialFit {
        start,
        plateau,
        log_tau,
        covariance,
        rss: fit.rss,
        residual_sd: fit.residual_sd,
        degrees_of_freedom: fit.degrees_of_freedom,
        evidence: fit.evidence,
    }
}

#[cfg(test)]
mod tests;
