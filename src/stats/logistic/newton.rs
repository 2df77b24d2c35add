//! The maximum of the likelihood, or the proof that there is none.

use nalgebra::DVector;

use super::GRADIENT_TOLERANCE;
use super::fitted::{Evidence, LogisticFit, Method};
use super::rows::Checked;
use super::scaled_cholesky::{ScaledCholesky, scaled_curvature};
use super::separation::{Separation, certify};
use crate::evidence::Ending;

/// Newton steps allowed; a maximum that exists takes about ten.
const MAX_STEPS: usize = 100;
/// The distance at which the search stops.
const GRADIENT_TARGET: f64 = 1e-10;
/// Log odds beyond which coefficients may be running off, so that it is worth looking for a direction of separation.
const FAR: f64 = 10.0;
/// The least eigenvalue of the scaled information that counts as positive.
const CURVATURE_TOLERANCE: f64 = 1e-12;

pub(super) enum End {
    Maximum(Box<LogisticFit>),
    Separated(Separation),
    NotConverged(Evidence),
}

/// Maximises from `start`; there is one maximum or none, so that it matters for the number of steps alone.
pub(super) fn maximise(rows: &Checked, start: &[f64]) -> End {
    let p = rows.columns();
    let mut b = start.to_vec();
    let mut at = rows.derivatives(&b);
    let start_log_likelihood = at.log_likelihood;
    let (mut iterations, mut evaluations) = (0, 1);
    let mut step = DVector::zeros(p);
    let mut gradient = f64::INFINITY;
    let mut ending = Ending::IterationLimit;
    for _ in 0..MAX_STEPS {
        let Some(factor) = ScaledCholesky::new(&at.information) else {
            ending = Ending::IllConditioned;
            break;
        };
        step = factor.solve(&at.score);
        let before = std::mem::replace(&mut gradient, at.score.dot(&step).max(0.0).sqrt());
        // with many rows rounding alone keeps the gradient above its target: near enough, and no longer coming nearer
        let stalled = gradient <= GRADIENT_TOLERANCE && gradient > before / 2.0;
        if gradient <= GRADIENT_TARGET || stalled {
            ending = Ending::Minimum;
            break;
        }
        let far = at.largest_predictor > FAR;
        if let Some(separation) = far.then(|| certify(rows, step.as_slice())).flatten() {
            return End::Separated(separation);
        }
        let noise = 1e-14 * at.log_likelihood.abs();
        let mut share = 1.0;
        let next = loop {
            let tried: Vec<f64> = b.iter().zip(step.iter()).map(|(b, s)| b + share * s).collect();
            evaluations += 1;
            // most steps are taken whole, so that the derivatives are worth their price at once
            let next = rows.derivatives(&tried);
            // "is above", so that NaN fails
            if next.log_likelihood >= at.log_likelihood - noise {
                break Some((tried, next));
            }
            share /= 2.0;
            if share < 1e-10 {
                break None;
            }
        };
        let Some(next) = next else {
            ending = if gradient <= GRADIENT_TOLERANCE { Ending::Minimum } else { Ending::NoDescent };
            break;
        };
        (b, at) = next;
        iterations += 1;
    }
    let curvature = scaled_curvature(&at.information);
    if ending == Ending::Minimum && !curvature.is_some_and(|c| c > CURVATURE_TOLERANCE) {
        ending = Ending::IllConditioned;
    }
    let evidence = Evidence {
        start: start.to_vec(),
        end: b.clone(),
        start_log_likelihood,
        end_log_likelihood: at.log_likelihood,
        iterations,
        evaluations,
        gradient,
        curvature,
        ending,
    };
    let factor = ScaledCholesky::new(&at.information).filter(|_| evidence.converged());
    let Some(factor) = factor else {
        return certify(rows, step.as_slice()).map_or(End::NotConverged(evidence), End::Separated);
    };
    End::Maximum(Box::new(LogisticFit {
        method: Method::MaximumLikelihood,
        coefficients: b,
        covariance: factor.inverse(),
        log_likelihood: at.log_likelihood + rows.log_coefficients(),
        penalised_log_likelihood: None,
        deviance: 2.0 * (rows.saturated() - at.log_likelihood),
        rows: rows.len(),
        evidence,
    }))
}
