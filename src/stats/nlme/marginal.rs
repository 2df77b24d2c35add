//! One subject's marginal density: the density given x (see `conditional.rs`) integrated over x, a single integral.
//!
//! **Rule.** Trapezoid with equal steps over the window in which the integrand lies within e^-22 of its peak. For a smooth
//! integrand that vanishes at both ends its error falls exponentially in the step (Trefethen & Weideman 2014, SIAM Rev
//! 56:385-458): 2 exp(-2 pi2 (sd / step)2) for a normal curve, 3e-9 at a step of one SD. The window is found by scanning,
//! so that a second peak is not lost, and kept while parameters move a little, so that the sum is a smooth function of
//! them whose derivatives are exact.

use super::conditional::{Law, Levels, SCORES, Score};

/// Points of a scan.
const SCAN: usize = 15;
/// The scan covers this many standard deviations of log tau each way.
const REACH: f64 = 7.0;
/// How far it is widened where the integrand still rises at its end: a subject quite unlike the parameters tried.
const FARTHEST: f64 = 28.0;
/// Where the log of the integrand is this far below its peak it is left out.
const NEGLIGIBLE: f64 = 22.0;
/// A scan with fewer points than this inside the window is repeated, finer.
const ENOUGH: usize = 5;
/// Most scans.
const MAX_SCANS: usize = 10;
/// Fewest and most points of the rule at its normal fineness.
const FEWEST: f64 = 20.0;
const MOST: f64 = 80.0;
/// Step in log tau that follows the bends which come of a curve passing from one reading to the next.
const LOG_TAU_STEP: f64 = 0.35;
/// Nodes of a posterior with a smaller share are left out.
const LEFT_OUT: f64 = 1e-12;
/// log sqrt(2 pi)
const LOG_ROOT_TAU: f64 = 0.918_938_533_204_672_7;

/// The range of x that matters for one subject.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Window {
    low: f64,
    high: f64,
    points: usize,
}

impl Window {
    fn new(law: &Law, low: f64, high: f64) -> Self {
        let points = ((high - low) * law.loading.tt.abs() / LOG_TAU_STEP).clamp(FEWEST, MOST).ceil();
        Self { low, high, points: points as usize }
    }

    /// The same range with three times the points, to check the rule.
    pub(super) fn finer(self) -> Self {
        Self { points: 3 * self.points, ..self }
    }

    pub(super) fn step(self) -> f64 {
        (self.high - self.low) / (self.points - 1) as f64
    }

    fn nodes(self) -> impl Iterator<Item = f64> {
        (0..self.points).map(move |k| self.low + self.step() * k as f64)
    }
}

/// log p(y, x).
fn log_joint(law: &Law, times: &[f64], values: &[f64], x: f64) -> f64 {
    law.log_density_given(times, values, x) - 0.5 * x * x - LOG_ROOT_TAU
}

/// Finds where the integrand is not negligible; `None` if it has no finite value anywhere.
pub(super) fn window(law: &Law, times: &[f64], values: &[f64]) -> Option<Window> {
    if law.loading.tt == 0.0 && law.loading.bt == 0.0 && law.loading.pt == 0.0 {
        // y does not depend on x: the normal density alone
        return Some(Window::new(law, -REACH, REACH));
    }
    let (mut low, mut high, mut reach) = (-REACH, REACH, REACH);
    for _ in 0..MAX_SCANS {
        let step = (high - low) / (SCAN - 1) as f64;
        let found: [f64; SCAN] = std::array::from_fn(|k| log_joint(law, times, values, low + step * k as f64));
        let peak = found.iter().copied().filter(|v| v.is_finite()).fold(f64::NEG_INFINITY, f64::max);
        if peak == f64::NEG_INFINITY {
            return None;
        }
        let matters = |v: &f64| *v > peak - NEGLIGIBLE;
        let first = found.iter().position(matters)?;
        let last = found.iter().rposition(matters)?;
        let at_an_end = peak == found[0] && low == -reach || peak == found[SCAN - 1] && high == reach;
        if at_an_end && reach < FARTHEST {
            reach *= 2.0;
            (low, high) = (-reach, reach);
            continue;
        }
        let inside = last + 1 - first;
        high = (low + step * (last + 1) as f64).min(reach + 1.0);
        low = (low + step * (first as f64 - 1.0)).max(-reach - 1.0);
        if inside >= ENOUGH {
            break;
        }
    }
    Some(Window::new(law, low, high))
}

/// log p(y) and its derivatives.
pub(super) fn score(law: &Law, times: &[f64], values: &[f64], window: Window) -> (f64, Score) {
    let mut peak = f64::NEG_INFINITY;
    let mut total = 0.0;
    let mut weighted = [0.0; SCORES];
    for x in window.nodes() {
        let (given, score) = law.score_given(times, values, x);
        let log_weight = given - 0.5 * x * x - LOG_ROOT_TAU;
        if log_weight > peak {
            // rescale what has been gathered to the new peak
            let shrink = (peak - log_weight).exp();
            total *= shrink;
            weighted.iter_mut().for_each(|w| *w *= shrink);
            peak = log_weight;
        }
        let weight = (log_weight - peak).exp();
        if weight > 0.0 {
            total += weight;
            for (w, s) in weighted.iter_mut().zip(&score) {
                *w += weight * s;
            }
        }
    }
    (peak + total.ln() + window.step().ln(), weighted.map(|w| w / total))
}

/// log p(y).
pub(super) fn log_density(law: &Law, times: &[f64], values: &[f64], window: Window) -> f64 {
    let logs: Vec<f64> = window.nodes().map(|x| log_joint(law, times, values, x)).collect();
    log_sum(&logs) + window.step().ln()
}

/// One value of x with its share of the posterior and what is known of (baseline, plateau) there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Node {
    pub x: f64,
    pub log_tau: f64,
    pub share: f64,
    pub levels: Levels,
}

/// The posterior of one subject as a mixture over x, with log p(y).
pub(super) fn posterior(law: &Law, times: &[f64], values: &[f64], window: Window) -> (f64, Vec<Node>) {
    let found: Vec<(f64, f64, Levels)> = window
        .nodes()
        .map(|x| {
            let (given, levels) = law.levels_given(times, values, x);
            (x, given - 0.5 * x * x - LOG_ROOT_TAU, levels)
        })
        .collect();
    let logs: Vec<f64> = found.iter().map(|f| f.1).collect();
    let whole = log_sum(&logs);
    let nodes = found
        .iter()
        .map(|&(x, log, levels)| Node { x, log_tau: law.log_tau_at(x), share: (log - whole).exp(), levels })
        .filter(|node| node.share > LEFT_OUT)
        .collect();
    (whole + window.step().ln(), nodes)
}

fn log_sum(logs: &[f64]) -> f64 {
    let peak = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if peak == f64::NEG_INFINITY {
        return peak;
    }
    peak + crate::sum::sum(logs.iter().map(|l| (l - peak).exp())).ln()
}

#[cfg(test)]
mod tests {
    use super::super::conditional::Loading;
    use super::*;

    fn law(tt: f64, residual_variance: f64) -> Law {
        let loading = Loading { tt, bt: 0.2, pt: -0.3, bb: 1.1, pb: 0.4, pp: 0.9 };
        Law::new([6.8, 2.2, 2.4], loading, residual_variance)
    }

    const T: [f64; 6] = [0.0, 3.0, 9.0, 20.0, 60.0, 90.0];
    const COURSES: [[f64; 6]; 3] = [[7.0, 6.5, 4.0, 3.5, 1.0, 1.2], [5.0; 6], [9.0, 2.0, 2.2, 8.0, 1.0, 1.0]];

    #[test]
    fn few_points_and_many_agree_for_sharp_and_for_broad_integrands() {
        for tt in [0.0, 0.3, 1.5] {
            for variance in [0.01, 0.05, 1.0, 9.0] {
                for y in COURSES {
                    let law = law(tt, variance);
                    let w = window(&law, &T, &y).unwrap();
                    let coarse = log_density(&law, &T, &y, w);
                    let fine = log_density(&law, &T, &y, Window { low: -30.0, high: 30.0, points: 60_001 });
                    assert!(
                        (coarse - fine).abs() < 1e-5 * (1.0 + fine.abs()),
                        "{tt} {variance} {y:?}: {coarse} {fine}"
                    );
                }
            }
        }
    }

    #[test]
    fn no_reading_leaves_the_prior() {
        let law = law(0.5, 1.0);
        let w = window(&law, &[], &[]).unwrap();
        let (density, nodes) = posterior(&law, &[], &[], w);
        assert!(density.abs() < 1e-8);
        let mean = crate::sum::sum(nodes.iter().map(|n| n.share * n.log_tau));
        assert!((mean - 2.4).abs() < 1e-8);
    }

    #[test]
    fn the_score_agrees_with_differences() {
        let y = COURSES[0];
        let base = law(0.5, 0.6);
        let w = window(&base, &T, &y).unwrap();
        let (value, score) = score(&base, &T, &y, w);
        assert!((value - log_density(&base, &T, &y, w)).abs() < 1e-12);
        let h = 1e-5;
        let up = Law { loading: Loading { tt: 0.5 + h, ..base.loading }, ..base };
        let down = Law { loading: Loading { tt: 0.5 - h, ..base.loading }, ..base };
        let difference = (log_density(&up, &T, &y, w) - log_density(&down, &T, &y, w)) / (2.0 * h);
        assert!((difference - score[9]).abs() < 1e-7);
    }
}
