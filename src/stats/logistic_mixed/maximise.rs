//! The maximum over fixed effects and SD, or why there is none.

use nalgebra::{DMatrix, DVector};

use super::derivatives::{At, evaluate};
use super::group::GroupAt;
use super::sorted::Sorted;
use crate::evidence::{Ending, Evidence};
use crate::gauss_hermite::GaussHermite;
use crate::logistic::GRADIENT_TOLERANCE;
use crate::logistic::scaled_cholesky::{ScaledCholesky, scaled_curvature};
use crate::newton::{Hill, Limits, climb};

/// With few nodes the information is not quite the Hessian, and a step gains a constant number of digits.
const LIMITS: Limits = Limits { steps: 200, tries: 27, target: 1e-9, tolerance: GRADIENT_TOLERANCE, may_stall: false };
/// An SD beyond which the search is given up: odds would differ between groups by a factor of 10 to the 8 and more.
const LARGEST_SD: f64 = 20.0;
/// The SD times the root of a group's information, below which it may be zero.
const SMALL: f64 = 0.02;
/// The least eigenvalue of the scaled information that counts as positive.
const CURVATURE_TOLERANCE: f64 = 1e-12;

/// What to maximise.
pub(super) struct Search<'a> {
    pub data: &'a Sorted,
    pub rule: &'a GaussHermite,
    pub fine: &'a GaussHermite,
    /// Fixed effects of the fit without groups.
    pub plain: Vec<f64>,
}

/// Where the search ended.
pub(super) enum End {
    Maximum(Box<Maximum>),
    /// The SD is zero.
    Zero,
    /// The SD runs off.
    Unbounded(Evidence),
    NotConverged(Evidence),
}

/// A proven maximum.
pub(super) struct Maximum {
    pub at: At,
    /// Of fixed effects and SD.
    pub covariance: DMatrix<f64>,
    pub evidence: Evidence,
}

/// What the fit without groups says about the SD.
struct AtZero {
    log_likelihood: f64,
    /// Derivative of the log-likelihood by the variance.
    slope: f64,
    /// Mean over groups of sum np(1 - p).
    information: f64,
    /// The SD that residuals of whole groups suggest.
    guess: f64,
}

impl Search<'_> {
    pub(super) fn run(&self) -> End {
        let Some(zero) = self.at_zero() else { return End::NotConverged(Evidence::NO_START) };
        let mut start = self.plain.clone();
        start.push(zero.guess);
        let Some((at, evidence)) = self.ascend(&start) else { return End::NotConverged(Evidence::NO_START) };
        let sd = at.parameters[self.data.columns];
        let gain = at.log_likelihood - zero.log_likelihood;
        // at zero the likelihood is flat by the SD, so that a search creeps up to it
        let vanishing = sd * zero.information.sqrt() < SMALL || gain <= 1e-10 * (1.0 + zero.log_likelihood.abs());
        if zero.slope <= 0.0 && vanishing {
            return End::Zero;
        }
        if sd > LARGEST_SD {
            return End::Unbounded(evidence);
        }
        match ScaledCholesky::new(&at.information) {
            Some(factor) if evidence.converged() => {
                End::Maximum(Box::new(Maximum { covariance: factor.inverse(), at, evidence }))
            }
            _ => End::NotConverged(evidence),
        }
    }

    fn at_zero(&self) -> Option<AtZero> {
        let data = self.data;
        let mut sums = (0.0, 0.0, 0.0, 0.0);
        let one = GaussHermite::new(1).ok()?;
        for rows in &data.groups {
            let at = GroupAt::new(data, rows.clone(), &self.plain, 0.0, 0.0)?;
            let (residual, weight) = at.residual_and_weight(0.0);
            let excess = residual * residual - weight;
            sums =
                (sums.0 + excess, sums.1 + weight, sums.2 + weight * weight, sums.3 + at.integral(&one)?.log_integral);
        }
        Some(AtZero {
            log_likelihood: sums.3,
            slope: sums.0 / 2.0,
            information: sums.1 / data.groups.len() as f64,
            guess: (sums.0 / sums.2).max(0.01).sqrt().clamp(0.1, 2.0),
        })
    }

    fn value(&self, parameters: &[f64], modes: &[f64]) -> Option<At> {
        evaluate(self.data, self.rule, self.fine, parameters, modes)
    }

    /// Steps uphill until the gradient vanishes, the SD runs off or no step helps; `None` without a value at the start.
    fn ascend(&self, start: &[f64]) -> Option<(At, Evidence)> {
        let first = self.value(start, &vec![0.0; self.data.groups.len()])?;
        let top = climb(&mut Uphill(self), first, &LIMITS);
        let curvature = scaled_curvature(&top.at.information).unwrap_or(f64::NEG_INFINITY);
        // "is above", so that NaN fails
        let curved = curvature > CURVATURE_TOLERANCE;
        let ending = if top.ending == Ending::Optimum && !curved { Ending::Saddle } else { top.ending };
        let (value, iterations, distance) = (top.at.log_likelihood, top.iterations, top.distance);
        Some((top.at, Evidence { value, iterations, distance, curvature, ending }))
    }
}

struct Uphill<'a, 'b>(&'a Search<'b>);

impl Hill for Uphill<'_, '_> {
    type At = At;

    fn step(&mut self, at: &At) -> Option<(DVector<f64>, f64)> {
        let step = curvature_factor(at)?.solve(&at.gradient);
        let distance = at.gradient.dot(&step).max(0.0).sqrt();
        Some((step, distance))
    }

    fn rein_in(&mut self, at: &At, step: &mut DVector<f64>, _: bool) -> bool {
        let p = self.0.data.columns;
        let longest = at.parameters[p].max(0.5);
        if step[p].abs() > longest {
            *step *= longest / step[p].abs();
        }
        at.parameters[p] <= LARGEST_SD
    }

    fn not_below(&self, from: &At, step: &DVector<f64>) -> Option<At> {
        let p = self.0.data.columns;
        let mut tried: Vec<f64> = from.parameters.iter().zip(step.iter()).map(|(b, s)| b + s).collect();
        tried[p] = tried[p].abs(); // the likelihood is the same at minus the SD
        let noise = 1e-13 * from.log_likelihood.abs();
        self.0.value(&tried, &from.modes).filter(|n| n.log_likelihood >= from.log_likelihood - noise)
    }
}

/// The information, or where that is not positive definite, the mean of it and the complete data's, nearer and nearer to that.
fn curvature_factor(at: &At) -> Option<ScaledCholesky> {
    [0.0, 0.25, 0.5, 0.75, 0.9, 0.99, 1.0]
        .into_iter()
        .find_map(|share| ScaledCholesky::new(&(&at.information * (1.0 - share) + &at.complete * share)))
}
