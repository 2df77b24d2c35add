//! One group's integral over its intercept.

use super::sorted::Sorted;
use crate::gauss_hermite::GaussHermite;
use crate::logistic::sums::{dot, softplus};
use std::ops::Range;

/// Log odds beyond which a chance is 0 or 1 to the last digit; exponentials are taken up to here.
const FARTHEST: f64 = 300.0;
/// Log odds up to which a product of [`BLOCK`] factors 1 + e^eta e^u stays finite.
const NEAR: f64 = 40.0;
/// Rows whose factors are multiplied before a logarithm is taken.
const BLOCK: usize = 8;
/// Newton steps for a mode; a guard, about five are taken.
const MAX_STEPS: usize = 200;

/// A group at given parameters.
pub(super) struct GroupAt<'a> {
    pub design: &'a [f64],
    pub successes: &'a [f64],
    pub trials: &'a [f64],
    /// Log odds without the random intercept.
    eta: Vec<f64>,
    /// Their exponentials.
    pub exponential: Vec<f64>,
    pub sd: f64,
    /// Maximum v0 of h.
    pub mode: f64,
    /// s, the SD of v by the curvature there.
    pub scale: f64,
}

/// A group's integral by a rule.
pub(super) struct Integral {
    pub log_integral: f64,
    /// v at each node.
    pub v: Vec<f64>,
    /// Share of each node in the integral.
    pub shares: Vec<f64>,
}

impl<'a> GroupAt<'a> {
    /// `None` where an intercept would be beyond all numbers.
    pub(super) fn new(data: &'a Sorted, rows: Range<usize>, b: &[f64], sd: f64, start: f64) -> Option<Self> {
        let p = data.columns;
        let design = &data.design[rows.start * p..rows.end * p];
        let eta: Vec<f64> =
            design.chunks_exact(p).zip(&data.offset[rows.clone()]).map(|(x, o)| dot(x, b) + o).collect();
        let exponential = eta.iter().map(|eta| eta.clamp(-FARTHEST, FARTHEST).exp()).collect();
        let (successes, trials) = (&data.successes[rows.clone()], &data.trials[rows]);
        let mut at = Self { design, successes, trials, eta, exponential, sd, mode: 0.0, scale: 1.0 };
        at.find_mode(start)?;
        Some(at)
    }

    /// Sums of residuals and of np(1 - p) at v.
    pub(super) fn residual_and_weight(&self, v: f64) -> (f64, f64) {
        let factor = (self.sd * v).exp();
        let (mut residual, mut weight) = (0.0, 0.0);
        for ((e, y), n) in self.exponential.iter().zip(self.successes).zip(self.trials) {
            let t = e * factor;
            let against = 1.0 / (1.0 + t);
            let chance = t * against;
            residual += y * against - (n - y) * chance;
            weight += n * chance * against;
        }
        (residual, weight)
    }

    /// Newton's method on h' = sd R - v, which falls everywhere; at a root, v lies between minus failures and successes, times sd.
    fn find_mode(&mut self, start: f64) -> Option<()> {
        let successes: f64 = self.successes.iter().sum();
        let trials: f64 = self.trials.iter().sum();
        let farthest = FARTHEST / self.sd.max(1e-300);
        let mut low = (self.sd * (successes - trials)).max(-farthest);
        let mut high = (self.sd * successes).min(farthest);
        let mut v = start.clamp(low, high);
        for _ in 0..MAX_STEPS {
            let (residual, weight) = self.residual_and_weight(v);
            let slope = self.sd * residual - v;
            let curvature = 1.0 + self.sd * self.sd * weight;
            if slope > 0.0 {
                low = v
            } else {
                high = v
            }
            let newton = v + slope / curvature;
            let next = if newton >= low && newton <= high { newton } else { (low + high) / 2.0 };
            // the step's square is what is left: below the last digit
            let done = (next - v).abs() * curvature.sqrt() <= 1e-9;
            v = next;
            if done {
                let (_, weight) = self.residual_and_weight(v);
                self.mode = v;
                self.scale = 1.0 / (1.0 + self.sd * self.sd * weight).sqrt();
                return ((self.sd * v).abs() < 0.9 * FARTHEST).then_some(());
            }
        }
        None
    }

    pub(super) fn integral(&self, rule: &GaussHermite) -> Option<Integral> {
        let v: Vec<f64> = rule.nodes.iter().map(|z| self.mode + self.scale * z).collect();
        let likelihoods = self.log_likelihoods(&v)?;
        let logs: Vec<f64> = (0..v.len())
            .map(|q| {
                let (z, w) = (rule.nodes[q], rule.weights[q]);
                w.ln() + likelihoods[q] - v[q] * v[q] / 2.0 + z * z / 2.0
            })
            .collect();
        let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut shares: Vec<f64> = logs.iter().map(|l| (l - largest).exp()).collect();
        let total: f64 = shares.iter().sum();
        shares.iter_mut().for_each(|s| *s /= total);
        let log_integral = self.scale.ln() + largest + total.ln();
        log_integral.is_finite().then_some(Integral { log_integral, v, shares })
    }

    /// Log-likelihood of the rows at each v, without binomial coefficients.
    fn log_likelihoods(&self, v: &[f64]) -> Option<Vec<f64>> {
        let moves: Vec<f64> = v.iter().map(|v| self.sd * v).collect();
        let largest = moves.iter().map(|d| d.abs()).max_by(f64::total_cmp)?; // NaN is the largest
        if largest.is_nan() || largest > FARTHEST {
            return None;
        }
        let factors: Vec<f64> = moves.iter().map(|d| d.exp()).collect();
        let mut logs = vec![0.0; v.len()];
        let blocks = self.eta.chunks(BLOCK).zip(self.exponential.chunks(BLOCK)).zip(self.trials.chunks(BLOCK));
        for ((eta, exponential), trials) in blocks {
            if largest <= NEAR && trials.iter().all(|n| *n == 1.0) && eta.iter().all(|eta| eta.abs() <= NEAR) {
                for (log, factor) in logs.iter_mut().zip(&factors) {
                    // one logarithm for the product
                    *log += exponential.iter().fold(1.0, |product, e| product * (1.0 + e * factor)).ln();
                }
            } else {
                for (log, by) in logs.iter_mut().zip(&moves) {
                    *log += eta.iter().zip(trials).map(|(eta, n)| n * softplus(eta + by)).sum::<f64>();
                }
            }
        }
        let (fixed, successes) = (dot(self.successes, &self.eta), self.successes.iter().sum::<f64>());
        Some(moves.iter().zip(logs).map(|(by, log)| fixed + successes * by - log).collect())
    }
}
