//! Saddlepoint approximation of a sum of many Bernoulli variables; formulas in the head of the module above.
//!
//! At the mean w and u are both 0; nearer than [`AT_THE_MEAN`] standard deviations the limit of 1/u - 1/w is taken,
//! 1/(2 s) - K'''/(6 s3), s2 = K''. The two ends, which no finite t reaches, are products and exact.

use crate::distribution::normal_cdf;
use crate::sum::sum;

/// Distance from the mean, in standard deviations, within which 1/u - 1/w is replaced by its limit.
const AT_THE_MEAN: f64 = 1e-3;
/// Newton steps after which the search for t gives up refining (never reached; a guard).
const MAX_STEPS: usize = 200;

/// Probabilities strictly inside (0, 1).
#[derive(Debug, Clone)]
pub(super) struct Saddlepoint {
    probabilities: Vec<f64>,
    /// ln(p / (1 - p)).
    logits: Vec<f64>,
}

/// The distribution tilted by exp(t S) so that its mean is the count asked for.
struct Tilted {
    t: f64,
    /// tk - K(t), never negative.
    divergence: f64,
    /// K'', K''', K''''.
    cumulants: [f64; 3],
}

impl Saddlepoint {
    pub(super) fn new(probabilities: Vec<f64>) -> Self {
        let logits = probabilities.iter().map(|p| (p / (1.0 - p)).ln()).collect();
        Self { probabilities, logits }
    }

    fn trials(&self) -> u64 {
        self.probabilities.len() as u64
    }

    /// P(S = 0) or P(S = n).
    fn end(&self, count: u64) -> f64 {
        if count == 0 {
            sum(self.probabilities.iter().map(|p| (-p).ln_1p())).exp()
        } else {
            sum(self.probabilities.iter().map(|p| p.ln())).exp()
        }
    }

    pub(super) fn mass(&self, count: u64) -> f64 {
        if count > self.trials() {
            return 0.0;
        }
        if count == 0 || count == self.trials() {
            return self.end(count);
        }
        let Tilted { divergence, cumulants: [k2, k3, k4], .. } = self.tilt(count as f64);
        let correction = 1.0 + k4 / (8.0 * k2 * k2) - 5.0 * k3 * k3 / (24.0 * k2 * k2 * k2);
        (-divergence).exp() / (2.0 * std::f64::consts::PI * k2).sqrt() * correction
    }

    pub(super) fn at_least(&self, count: u64) -> f64 {
        if count == 0 {
            return 1.0;
        }
        if count >= self.trials() {
            return if count == self.trials() { self.end(count) } else { 0.0 };
        }
        self.tail(count as f64).clamp(0.0, 1.0)
    }

    pub(super) fn at_most(&self, count: u64) -> f64 {
        if count >= self.trials() {
            return 1.0;
        }
        if count == 0 {
            return self.end(0);
        }
        // failures are as many trials with 1 - p: the same formula from the other side keeps the digits of a small tail
        let mirrored = Self {
            probabilities: self.probabilities.iter().map(|p| 1.0 - p).collect(),
            logits: self.logits.iter().map(|l| -l).collect(),
        };
        mirrored.tail((self.trials() - count) as f64).clamp(0.0, 1.0)
    }

    /// P(S >= k), 0 < k < n.
    fn tail(&self, k: f64) -> f64 {
        let Tilted { t, divergence, cumulants: [k2, k3, _] } = self.tilt(k);
        let s = k2.sqrt();
        let w = t.signum() * (2.0 * divergence).sqrt();
        let difference = if w.abs() < AT_THE_MEAN {
            1.0 / (2.0 * s) - k3 / (6.0 * s * s * s)
        } else {
            1.0 / (-(-t).exp_m1() * s) - 1.0 / w
        };
        let density = (-w * w / 2.0).exp() / (2.0 * std::f64::consts::PI).sqrt();
        normal_cdf(-w) + density * difference
    }

    /// Solves K'(t) = k by Newton's method, kept in a bracket.
    fn tilt(&self, k: f64) -> Tilted {
        let slope = |t: f64| {
            let mean = sum(self.logits.iter().map(|l| logistic(l + t)));
            let variance = sum(self.logits.iter().map(|l| logistic(l + t) * logistic(-l - t)));
            (mean, variance)
        };
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let mut t = 0.0_f64;
        for _ in 0..MAX_STEPS {
            let (mean, variance) = slope(t);
            let excess = mean - k;
            if excess > 0.0 {
                high = t
            } else {
                low = t
            }
            let newton = t - (excess / variance).clamp(-2.0, 2.0);
            let next = if newton > low && newton < high { newton } else { low / 2.0 + high / 2.0 };
            let step = (next - t).abs();
            if !next.is_finite() || excess == 0.0 {
                break;
            }
            t = next;
            if step <= 1e-13 * (1.0 + t.abs()) {
                break;
            }
        }
        let tilted: Vec<f64> = self.logits.iter().map(|l| logistic(l + t)).collect();
        let spread = |r: f64| r * (1.0 - r);
        // tk - K as a sum of terms that are each at least 0 (relative entropies): nothing cancels
        let divergence = sum(tilted.iter().zip(&self.probabilities).map(|(r, p)| t * r - (p * t.exp_m1()).ln_1p()));
        Tilted {
            t,
            divergence: divergence.max(0.0),
            cumulants: [
                sum(tilted.iter().map(|r| spread(*r))),
                sum(tilted.iter().map(|r| spread(*r) * (1.0 - 2.0 * r))),
                sum(tilted.iter().map(|r| spread(*r) * (1.0 - 6.0 * spread(*r)))),
            ],
        }
    }
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}
