//! Saddlepoint approximation of a sum of many Bernoulli variables; formulas in the head of the module above.
//!
//! Probabilities next to each other in size count as one: at most [`GROUPS`] groups of equally many, each with its mean. The
//! mean stays as it is; the variance grows by the variance within groups, whose width is about 1/[`GROUPS`] of the range of
//! the probabilities: a share of some 1e-6 of it, below the error of the approximation itself. A question then costs as many terms
//! as there are groups.
//!
//! At the mean w and u are both 0; nearer than [`AT_THE_MEAN`] standard deviations the limit of 1/u - 1/w is taken,
//! 1/(2 s) - K'''/(6 s3), s2 = K''. The two ends, which no finite t reaches, are products.

use crate::distribution::normal_cdf;
use crate::sum::sum;

/// Distance from the mean, in standard deviations, within which 1/u - 1/w is replaced by its limit.
const AT_THE_MEAN: f64 = 1e-3;
/// Newton steps after which the search for t gives up refining (never reached; a guard).
const MAX_STEPS: usize = 200;

/// Most groups of probabilities.
const GROUPS: usize = 512;

/// Trials with one probability.
#[derive(Debug, Clone, Copy)]
struct Group {
    /// How many trials.
    trials: f64,
    /// Their probability, strictly inside (0, 1).
    p: f64,
    /// ln(p / (1 - p)).
    logit: f64,
}

/// Trials in groups.
#[derive(Debug, Clone)]
pub(super) struct Saddlepoint {
    trials: u64,
    groups: Vec<Group>,
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
    /// `probabilities` lie strictly inside (0, 1).
    pub(super) fn new(mut probabilities: Vec<f64>) -> Self {
        probabilities.sort_unstable_by(f64::total_cmp);
        let group = |of: &[f64]| {
            let p = sum(of.iter().copied()) / of.len() as f64;
            Group { trials: of.len() as f64, p, logit: (p / (1.0 - p)).ln() }
        };
        let size = probabilities.len().div_ceil(GROUPS).max(1);
        Self { trials: probabilities.len() as u64, groups: probabilities.chunks(size).map(group).collect() }
    }

    fn trials(&self) -> u64 {
        self.trials
    }

    /// The sum of a term over all trials.
    fn total(&self, term: impl Fn(&Group) -> f64) -> f64 {
        sum(self.groups.iter().map(|group| group.trials * term(group)))
    }

    /// P(S = 0) or P(S = n).
    fn end(&self, count: u64) -> f64 {
        let log = if count == 0 { self.total(|group| (-group.p).ln_1p()) } else { self.total(|group| group.p.ln()) };
        log.exp()
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
        let mirror = |group: &Group| Group { p: 1.0 - group.p, logit: -group.logit, ..*group };
        let mirrored = Self { trials: self.trials, groups: self.groups.iter().map(mirror).collect() };
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
            let mean = self.total(|group| logistic(group.logit + t));
            let variance = self.total(|group| logistic(group.logit + t) * logistic(-group.logit - t));
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
        let tilted = |group: &Group| logistic(group.logit + t);
        let spread = |r: f64| r * (1.0 - r);
        // tk - K as a sum of terms that are each at least 0 (relative entropies): nothing cancels
        let divergence = self.total(|group| t * tilted(group) - (group.p * t.exp_m1()).ln_1p());
        Tilted {
            t,
            divergence: divergence.max(0.0),
            cumulants: [
                self.total(|group| spread(tilted(group))),
                self.total(|group| spread(tilted(group)) * (1.0 - 2.0 * tilted(group))),
                self.total(|group| spread(tilted(group)) * (1.0 - 6.0 * spread(tilted(group)))),
            ],
        }
    }
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}
