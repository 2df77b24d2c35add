//! The maximum of the likelihood, or the proof that there is none.

use nalgebra::DVector;

use super::GRADIENT_TOLERANCE;
use super::fitted::{LogisticFit, Method};
use super::rows::Checked;
use super::scaled_cholesky::{ScaledCholesky, scaled_curvature};
use super::separation::{Separation, certify};
use super::sums::Derivatives;
use crate::evidence::{Ending, Evidence};
use crate::newton::{Hill, Limits, climb};

/// A maximum that exists takes about ten steps.
const LIMITS: Limits = Limits { steps: 100, tries: 34, target: 1e-10, tolerance: GRADIENT_TOLERANCE, may_stall: true };
/// Log odds beyond which coefficients may be running off, so that it is worth looking for a direction of separation.
const FAR: f64 = 10.0;
/// The least eigenvalue of the scaled information that counts as positive.
const CURVATURE_TOLERANCE: f64 = 1e-12;

pub(super) enum End {
    Maximum(Box<LogisticFit>),
    Separated(Separation),
    NotConverged(Evidence),
}

struct At {
    b: Vec<f64>,
    derivatives: Derivatives,
}

struct Likelihood<'a, 'b> {
    rows: &'a Checked<'b>,
    /// The last whole step.
    step: DVector<f64>,
    separation: Option<Separation>,
}

impl Likelihood<'_, '_> {
    fn at(&self, b: Vec<f64>) -> At {
        At { derivatives: self.rows.derivatives(&b), b }
    }
}

impl Hill for Likelihood<'_, '_> {
    type At = At;

    fn step(&mut self, at: &At) -> Option<(DVector<f64>, f64)> {
        let score = &at.derivatives.score;
        self.step = ScaledCholesky::new(&at.derivatives.information)?.solve(score);
        Some((self.step.clone(), score.dot(&self.step).max(0.0).sqrt()))
    }

    fn rein_in(&mut self, at: &At, step: &mut DVector<f64>, _: bool) -> bool {
        let far = at.derivatives.largest_predictor > FAR;
        self.separation = far.then(|| certify(self.rows, step.as_slice())).flatten();
        self.separation.is_none()
    }

    fn not_below(&self, from: &At, step: &DVector<f64>) -> Option<At> {
        let before = from.derivatives.log_likelihood;
        // most steps are taken whole, so that the derivatives are worth their price at once
        let next = self.at(from.b.iter().zip(step.iter()).map(|(b, s)| b + s).collect());
        // "is above", so that NaN fails
        (next.derivatives.log_likelihood >= before - 1e-14 * before.abs()).then_some(next)
    }
}

/// Maximises from `start`; there is one maximum or none, so that it matters for the number of steps alone.
pub(super) fn maximise(rows: &Checked, start: &[f64]) -> End {
    let mut likelihood = Likelihood { rows, step: DVector::zeros(rows.columns()), separation: None };
    let first = likelihood.at(start.to_vec());
    let top = climb(&mut likelihood, first, &LIMITS);
    if let Some(separation) = likelihood.separation {
        return End::Separated(separation);
    }
    let At { b, derivatives: at } = top.at;
    let curvature = scaled_curvature(&at.information).unwrap_or(f64::NEG_INFINITY);
    // "is above", so that NaN fails
    let curved = curvature > CURVATURE_TOLERANCE;
    let ending = if top.ending == Ending::Optimum && !curved { Ending::IllConditioned } else { top.ending };
    let evidence =
        Evidence { value: at.log_likelihood, iterations: top.iterations, distance: top.distance, curvature, ending };
    let factor = ScaledCholesky::new(&at.information).filter(|_| evidence.converged());
    let Some(factor) = factor else {
        return certify(rows, likelihood.step.as_slice()).map_or(End::NotConverged(evidence), End::Separated);
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
