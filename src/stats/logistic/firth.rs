//! The maximum of Firth's penalised likelihood, all coefficients free or one held.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::GRADIENT_TOLERANCE;
use super::fitted::{LogisticFit, Method};
use super::rows::Checked;
use super::scaled_cholesky::{ScaledCholesky, scaled_curvature};
use super::sums::{chances, dot};
use crate::evidence::Evidence;
use crate::newton::{Hill, Limits, climb};

/// The information is not the penalised likelihood's Hessian, so that steps gain a constant number of digits each; where they do
/// not, they are halved.
const LIMITS: Limits = Limits { steps: 1000, tries: 34, target: 1e-10, tolerance: GRADIENT_TOLERANCE, may_stall: true };
/// The most by which a step may move a coefficient, in root mean squares of its column.
const LONGEST_STEP: f64 = 5.0;

/// The penalised maximum.
pub(super) struct Maximum {
    pub coefficients: Vec<f64>,
    /// Without binomial coefficients.
    pub penalised: f64,
    log_likelihood: f64,
    covariance: DMatrix<f64>,
    evidence: Evidence,
}

impl Maximum {
    pub(super) fn into_fit(self, rows: &Checked) -> LogisticFit {
        let coefficients = rows.log_coefficients();
        LogisticFit {
            method: Method::Firth,
            coefficients: self.coefficients,
            covariance: self.covariance,
            log_likelihood: self.log_likelihood + coefficients,
            penalised_log_likelihood: Some(self.penalised + coefficients),
            deviance: 2.0 * (rows.saturated() - self.log_likelihood),
            rows: rows.len(),
            evidence: self.evidence,
        }
    }
}

/// A point of the search.
struct At {
    b: Vec<f64>,
    log_likelihood: f64,
    penalised: f64,
    score: DVector<f64>,
    information: DMatrix<f64>,
    factor: ScaledCholesky,
}

struct Penalised<'a, 'b> {
    rows: &'a Checked<'b>,
    held: Option<usize>,
}

impl Hill for Penalised<'_, '_> {
    type At = At;

    fn step(&mut self, at: &At) -> Option<(DVector<f64>, f64)> {
        let score = penalised_score(self.rows, at);
        let step = free_step(at, &score, self.held)?;
        let distance = score.dot(&step).max(0.0).sqrt();
        Some((step, distance))
    }

    fn rein_in(&mut self, _: &At, step: &mut DVector<f64>, slow: bool) -> bool {
        // a row with a column to itself has leverage 1, and there the whole step goes twice as far as it should: from one side of the
        // maximum to the other, for ever
        if slow {
            *step *= 0.5;
        }
        let longest = step.iter().zip(&self.rows.scales).fold(0.0_f64, |m, (s, scale)| m.max((s * scale).abs()));
        if longest > LONGEST_STEP {
            *step *= LONGEST_STEP / longest;
        }
        true
    }

    fn not_below(&self, from: &At, step: &DVector<f64>) -> Option<At> {
        let next = evaluate(self.rows, from.b.iter().zip(step.iter()).map(|(b, s)| b + s).collect())?;
        (next.penalised >= from.penalised - 1e-13 * from.penalised.abs()).then_some(next)
    }
}

/// Maximises from `start`; the column `held`, if any, stays where it starts.
pub(super) fn maximise(rows: &Checked, start: &[f64], held: Option<usize>) -> Result<Maximum, Evidence> {
    let first = evaluate(rows, start.to_vec()).ok_or(Evidence::NO_START)?;
    let top = climb(&mut Penalised { rows, held }, first, &LIMITS);
    let at = top.at;
    let evidence = Evidence {
        value: at.penalised,
        iterations: top.iterations,
        distance: top.distance,
        curvature: scaled_curvature(&at.information).unwrap_or(f64::NEG_INFINITY),
        ending: top.ending,
    };
    if !evidence.converged() {
        return Err(evidence);
    }
    Ok(Maximum {
        covariance: at.factor.inverse(),
        coefficients: at.b,
        penalised: at.penalised,
        log_likelihood: at.log_likelihood,
        evidence,
    })
}

/// `None` where the information has no factor.
fn evaluate(rows: &Checked, b: Vec<f64>) -> Option<At> {
    let d = rows.derivatives(&b);
    let factor = ScaledCholesky::new(&d.information)?;
    let penalised = d.log_likelihood + factor.log_determinant() / 2.0;
    penalised.is_finite().then_some(At {
        b,
        log_likelihood: d.log_likelihood,
        penalised,
        score: d.score,
        information: d.information,
        factor,
    })
}

/// I^-1 U over the coefficients that are free.
fn free_step(at: &At, score: &DVector<f64>, held: Option<usize>) -> Option<DVector<f64>> {
    let Some(held) = held else { return Some(at.factor.solve(score)) };
    if score.len() == 1 {
        return Some(DVector::zeros(1));
    }
    let others = at.information.clone().remove_row(held).remove_column(held);
    let step = ScaledCholesky::new(&others)?.solve(&score.clone().remove_row(held));
    Some(step.insert_row(held, 0.0))
}

/// X'(y - np + h(1/2 - p)).
fn penalised_score(rows: &Checked, at: &At) -> DVector<f64> {
    let p = rows.columns();
    let inverse = at.factor.inverse();
    let inverse = inverse.as_slice();
    let parts: Vec<Vec<f64>> = rows
        .chunks()
        .into_par_iter()
        .map(|chunk| {
            let (mut sum, mut turned) = (vec![0.0; p], vec![0.0; p]);
            for j in chunk {
                let x = &rows.design[j * p..(j + 1) * p];
                let (chance, against) = chances(rows.predictor(j, &at.b));
                // I^-1 x column by column: most columns mark a class and are 0 in most rows
                turned.fill(0.0);
                for (column, xi) in inverse.chunks_exact(p).zip(x).filter(|(_, xi)| **xi != 0.0) {
                    turned.iter_mut().zip(column).for_each(|(t, v)| *t += xi * v);
                }
                let leverage = rows.trials[j] * chance * against * dot(&turned, x);
                let pull = leverage * (against - chance) / 2.0; // 1/2 - p
                sum.iter_mut().zip(x).for_each(|(s, x)| *s += pull * x);
            }
            sum
        })
        .collect();
    let mut score = at.score.clone();
    for part in &parts {
        score.iter_mut().zip(part).for_each(|(s, v)| *s += v);
    }
    score
}
