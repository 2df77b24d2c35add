//! Passes over the rows: predictors, likelihood, score and information.
//!
//! Chunks of fixed size run side by side and are added in order: the same bits for any number of threads.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::rows::Checked;

/// Rows of one task.
pub(crate) const CHUNK: usize = 4096;

/// Likelihood (without binomial coefficients) and its derivatives at some coefficients.
pub(super) struct Derivatives {
    pub log_likelihood: f64,
    pub score: DVector<f64>,
    pub information: DMatrix<f64>,
    /// The largest |eta|.
    pub largest_predictor: f64,
}

/// 1 / (1 + e^-eta) and its complement, each with all its digits.
pub(crate) fn chances(eta: f64) -> (f64, f64) {
    let t = (-eta.abs()).exp();
    let (small, large) = (t / (1.0 + t), 1.0 / (1.0 + t));
    if eta >= 0.0 { (large, small) } else { (small, large) }
}

/// log(1 + e^eta) without overflow.
pub(crate) fn softplus(eta: f64) -> f64 {
    eta.max(0.0) + (-eta.abs()).exp().ln_1p()
}

/// x'b, in four sums side by side: one alone would wait for each addition before the next.
pub(crate) fn dot(x: &[f64], b: &[f64]) -> f64 {
    let (mut fours, mut with) = (x.chunks_exact(4), b.chunks_exact(4));
    let mut sums = [0.0; 4];
    for (x, b) in fours.by_ref().zip(with.by_ref()) {
        for ((sum, x), b) in sums.iter_mut().zip(x).zip(b) {
            *sum += x * b;
        }
    }
    let rest: f64 = fours.remainder().iter().zip(with.remainder()).map(|(x, b)| x * b).sum();
    (sums[0] + sums[2]) + (sums[1] + sums[3]) + rest
}

/// Adds sum w x x' to the lower triangle of the p by p `sum`; [`mirror`] completes it.
pub(crate) fn add_products(sum: &mut [f64], x: &[f64], weights: &[f64], p: usize) {
    let mut fours = x.chunks_exact(4 * p);
    let mut weight_fours = weights.chunks_exact(4);
    for (rows, w) in fours.by_ref().zip(weight_fours.by_ref()) {
        let (first, rest) = rows.split_at(p);
        let (second, rest) = rest.split_at(p);
        let (third, fourth) = rest.split_at(p);
        for (i, out) in sum.chunks_exact_mut(p).enumerate() {
            let (a, b, c, d) = (w[0] * first[i], w[1] * second[i], w[2] * third[i], w[3] * fourth[i]);
            let row = first[..=i].iter().zip(&second[..=i]).zip(third[..=i].iter().zip(&fourth[..=i]));
            for (out, ((x1, x2), (x3, x4))) in out[..=i].iter_mut().zip(row) {
                *out += a * x1 + b * x2 + (c * x3 + d * x4);
            }
        }
    }
    for (row, w) in fours.remainder().chunks_exact(p).zip(weight_fours.remainder()) {
        for (i, out) in sum.chunks_exact_mut(p).enumerate() {
            let a = w * row[i];
            out[..=i].iter_mut().zip(row).for_each(|(out, x)| *out += a * x);
        }
    }
}

/// Completes a symmetric p by p matrix from its lower triangle.
pub(crate) fn mirror(matrix: &mut [f64], p: usize) {
    for i in 0..p {
        for j in 0..i {
            matrix[j * p + i] = matrix[i * p + j];
        }
    }
}

impl Checked<'_> {
    /// Log odds of row `j`.
    pub(crate) fn predictor(&self, j: usize, b: &[f64]) -> f64 {
        let p = self.columns();
        dot(&self.design[j * p..(j + 1) * p], b) + self.offset.as_ref().map_or(0.0, |o| o[j])
    }

    /// Chunks of rows, as positions.
    pub(super) fn chunks(&self) -> Vec<std::ops::Range<usize>> {
        (0..self.len()).step_by(CHUNK).map(|from| from..(from + CHUNK).min(self.len())).collect()
    }

    pub(super) fn derivatives(&self, b: &[f64]) -> Derivatives {
        let p = self.columns();
        let parts: Vec<(f64, f64, Vec<f64>, Vec<f64>)> = self
            .chunks()
            .into_par_iter()
            .map(|rows| {
                let (mut likelihood, mut largest) = (0.0, 0.0_f64);
                let (mut score, mut information) = (vec![0.0; p], vec![0.0; p * p]);
                let mut weights = Vec::with_capacity(CHUNK);
                for j in rows.clone() {
                    let (y, n, eta) = (self.successes[j], self.trials[j], self.predictor(j, b));
                    // one exponential for the chances and for log(1 + e^eta), see `chances` and `softplus`
                    let t = (-eta.abs()).exp();
                    let (small, large) = (t / (1.0 + t), 1.0 / (1.0 + t));
                    let (chance, against) = if eta >= 0.0 { (large, small) } else { (small, large) };
                    likelihood += y * eta - n * (eta.max(0.0) + t.ln_1p());
                    largest = largest.max(eta.abs());
                    weights.push(n * chance * against);
                    // not y - np, which loses its digits where p is all but 1
                    let residual = y * against - (n - y) * chance;
                    let x = &self.design[j * p..(j + 1) * p];
                    score.iter_mut().zip(x).for_each(|(s, x)| *s += residual * x);
                }
                add_products(&mut information, &self.design[rows.start * p..rows.end * p], &weights, p);
                (likelihood, largest, score, information)
            })
            .collect();
        let (mut score, mut information) = (vec![0.0; p], vec![0.0; p * p]);
        let mut largest_predictor = 0.0_f64;
        for (_, largest, part_score, part_information) in &parts {
            largest_predictor = largest_predictor.max(*largest);
            score.iter_mut().zip(part_score).for_each(|(s, v)| *s += v);
            information.iter_mut().zip(part_information).for_each(|(s, v)| *s += v);
        }
        mirror(&mut information, p);
        Derivatives {
            log_likelihood: crate::sum::sum(parts.iter().map(|part| part.0)),
            score: DVector::from_vec(score),
            information: DMatrix::from_row_slice(p, p, &information),
            largest_predictor,
        }
    }
}
