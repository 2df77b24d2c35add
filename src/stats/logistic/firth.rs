//! The maximum of Firth's penalised likelihood, all coefficients free or one held.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::GRADIENT_TOLERANCE;
use super::fitted::{Evidence, LogisticFit, Method};
use super::rows::Checked;
use super::scaled_cholesky::{ScaledCholesky, scaled_curvature};
use super::sums::{chances, dot};
use crate::evidence::Ending;

/// Steps allowed. The information is not the penalised likelihood's Hessian, so that steps gain a constant number of digits each;
/// where they do not, they are halved.
const MAX_STEPS: usize = 1000;
/// The distance at which the search stops.
const GRADIENT_TARGET: f64 = 1e-10;
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

/// Maximises from `start`; the column `held`, if any, stays where it starts.
pub(super) fn maximise(rows: &Checked, start: &[f64], held: Option<usize>) -> Result<Maximum, Evidence> {
    let evidence = |first: f64, at: Option<&At>, iterations, evaluations, gradient, ending| Evidence {
        start: start.to_vec(),
        end: at.map_or(start, |a| &a.b).to_vec(),
        start_log_likelihood: first,
        end_log_likelihood: at.map_or(f64::NEG_INFINITY, |a| a.penalised),
        iterations,
        evaluations,
        gradient,
        curvature: at.and_then(|a| scaled_curvature(&a.information)),
        ending,
    };
    let Some(mut at) = evaluate(rows, start.to_vec()) else {
        return Err(evidence(f64::NEG_INFINITY, None, 0, 1, f64::INFINITY, Ending::BadStart));
    };
    let first = at.penalised;
    let (mut iterations, mut evaluations) = (0, 1);
    let mut gradient = f64::INFINITY;
    let mut ending = Ending::IterationLimit;
    for _ in 0..MAX_STEPS {
        let score = penalised_score(rows, &at);
        evaluations += 1;
        let Some(mut step) = free_step(&at, &score, held) else {
            ending = Ending::IllConditioned;
            break;
        };
        let before = std::mem::replace(&mut gradient, score.dot(&step).max(0.0).sqrt());
        // with many rows rounding alone keeps the gradient above its target: near enough, and no longer coming nearer
        let stalled = gradient <= GRADIENT_TOLERANCE && gradient > before / 2.0;
        if gradient <= GRADIENT_TARGET || stalled {
            ending = Ending::Minimum;
            break;
        }
        // a row with a column to itself has leverage 1, and there the whole step goes twice as far as it should: from one side of the
        // maximum to the other, for ever
        if gradient > before / 2.0 {
            step *= 0.5;
        }
        let longest = step.iter().zip(&rows.scales).fold(0.0_f64, |m, (s, scale)| m.max((s * scale).abs()));
        if longest > LONGEST_STEP {
            step *= LONGEST_STEP / longest;
        }
        let mut share = 1.0;
        let next = loop {
            evaluations += 1;
            let tried = at.b.iter().zip(step.iter()).map(|(b, s)| b + share * s).collect();
            let noise = 1e-13 * at.penalised.abs();
            if let Some(next) = evaluate(rows, tried).filter(|n| n.penalised >= at.penalised - noise) {
                break Some(next);
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
        at = next;
        iterations += 1;
    }
    let evidence = evidence(first, Some(&at), iterations, evaluations, gradient, ending);
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
