//! One subject's curve given the measurements so far, what to expect next, and curves drawn from it.
//!
//! The posterior is kept as it is: a mixture over log tau (the nodes of the integral of `marginal.rs`), normal in
//! (baseline, plateau) within each. Its means and SDs are exact up to that integral. The fitted parameters count as known
//! here; draw them too ([`super::RecoveryFit::draw`]) where their uncertainty matters.

use rand_chacha::ChaCha8Rng;

use super::marginal::Node;
use crate::distribution::normal_cdf;
use crate::error::InputError;
use crate::random::{standard_normal, uniform};
use crate::series::Predictive;
use crate::sum::sum;

/// What is known of one subject's curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    pub(super) nodes: Vec<Node>,
    /// Distance between neighbouring nodes' log tau.
    pub(super) log_tau_step: f64,
    pub(super) residual_sd: f64,
    /// Log of the marginal density of the measurements.
    pub(super) log_density: f64,
}

/// One subject's curve, known or drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Value at time 0.
    pub baseline: f64,
    /// Value approached in the end.
    pub plateau: f64,
    /// Natural logarithm of tau.
    pub log_tau: f64,
}

impl Curve {
    /// The curve at `time`.
    #[must_use]
    pub fn value(&self, time: f64) -> f64 {
        self.plateau + (self.baseline - self.plateau) * (-time * (-self.log_tau).exp()).exp()
    }

    /// A measurement at `time`: the curve and a residual.
    pub fn measurement(&self, time: f64, residual_sd: f64, stream: &mut ChaCha8Rng) -> f64 {
        self.value(time) + residual_sd * standard_normal(stream)
    }
}

impl Posterior {
    /// Refuses a posterior that could not be computed.
    pub(super) fn with_density(self) -> Result<Self, InputError> {
        if self.log_density.is_finite() && !self.nodes.is_empty() {
            Ok(self)
        } else {
            Err(InputError::OutOfRange {
                what: "values",
                domain: "near enough to the model's curves to have a density",
            })
        }
    }

    /// Mean of the subject's baseline, plateau and log tau.
    #[must_use]
    pub fn coefficients(&self) -> Curve {
        let mean = |f: fn(&Node) -> f64| sum(self.nodes.iter().map(|n| n.share * f(n)));
        Curve {
            baseline: mean(|n| n.levels.mean[0]),
            plateau: mean(|n| n.levels.mean[1]),
            log_tau: mean(|n| n.log_tau),
        }
    }

    /// Log of the marginal density of the measurements given.
    #[must_use]
    pub fn log_density(&self) -> f64 {
        self.log_density
    }

    /// What is expected of a measurement at `time`.
    #[must_use]
    pub fn predict(&self, time: f64) -> Predictive {
        let (mean, variance) = self.moments(time);
        Predictive { mean, sd_of_mean: variance.sqrt(), sd: variance.sqrt().hypot(self.residual_sd) }
    }

    /// Chance that a measurement at `time` is at most `limit`: the mixture's own, not a normal approximation to it.
    #[must_use]
    pub fn chance_at_most(&self, time: f64, limit: f64) -> f64 {
        let chance = sum(self.nodes.iter().map(|node| {
            let (mean, variance) = at(node, time);
            let sd = variance.max(0.0).sqrt().hypot(self.residual_sd);
            node.share * normal_cdf((limit - mean) / sd)
        }));
        chance.clamp(0.0, 1.0)
    }

    fn log_tau_moments(&self) -> (f64, f64) {
        let mean = sum(self.nodes.iter().map(|n| n.share * n.log_tau));
        (mean, sum(self.nodes.iter().map(|n| n.share * (n.log_tau - mean).powi(2))))
    }

    /// Mean and variance of the curve at `time`.
    pub(super) fn moments(&self, time: f64) -> (f64, f64) {
        // around the most likely node's value, so that no digits are lost in the second moment
        let around = self.nodes.iter().max_by(|a, b| a.share.total_cmp(&b.share)).map_or(0.0, |node| at(node, time).0);
        let (mut first, mut second) = (0.0, 0.0);
        for node in &self.nodes {
            let (mean, variance) = at(node, time);
            let off = mean - around;
            first += node.share * off;
            second += node.share * (variance + off * off);
        }
        (around + first, (second - first * first).max(0.0))
    }

    /// A curve drawn from the posterior. Takes four numbers from the stream.
    pub fn random_curve(&self, stream: &mut ChaCha8Rng) -> Curve {
        let (mut left, jitter) = (uniform(stream), uniform(stream) - 0.5);
        let (u, v) = (standard_normal(stream), standard_normal(stream));
        let chosen = self.nodes.iter().find(|n| {
            left -= n.share;
            left <= 0.0
        });
        let Some(node) = chosen.or(self.nodes.last()) else {
            return Curve { baseline: 0.0, plateau: 0.0, log_tau: 0.0 };
        };
        // spread over a step, then drawn in, so that log tau keeps its variance (smoothed bootstrap, Silverman & Young 1987)
        let (mean, variance) = self.log_tau_moments();
        let widened = variance + self.log_tau_step.powi(2) / 12.0;
        let drawn_in = if widened > 0.0 { (variance / widened).sqrt() } else { 1.0 };
        let [bb, bp, pp] = node.levels.covariance;
        let first = bb.max(0.0).sqrt();
        let shared = if first > 0.0 { bp / first } else { 0.0 };
        let second = (pp - shared * shared).max(0.0).sqrt();
        Curve {
            baseline: node.levels.mean[0] + first * u,
            plateau: node.levels.mean[1] + shared * u + second * v,
            log_tau: mean + drawn_in * (node.log_tau + jitter * self.log_tau_step - mean),
        }
    }
}

/// Mean and variance of the curve at `time` if log tau is the node's.
fn at(node: &Node, time: f64) -> (f64, f64) {
    let e = (-time * (-node.log_tau).exp()).exp();
    let [b, p] = node.levels.mean;
    let [bb, bp, pp] = node.levels.covariance;
    (p + (b - p) * e, bb * e * e + 2.0 * bp * e * (1.0 - e) + pp * (1.0 - e) * (1.0 - e))
}
