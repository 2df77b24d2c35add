//! One subject's marginal density: the density given x (see `conditional.rs`) integrated over x, a single integral.
//!
//! **Rule.** Trapezoid with equal steps over the window in which the integrand lies within e^-22 of its peak. For a smooth
//! integrand that vanishes at both ends its error falls exponentially in the step (Trefethen & Weideman 2014, SIAM Rev
//! 56:385-458): 2 exp(-2 pi2 (sd / step)2) for a normal curve, 3e-9 at a step of one SD. The window is found by scanning,
//! so that a second peak is not lost, and kept while parameters move a little, so that the sum is a smooth function of
//! them whose derivatives are exact. Its points lie on a lattice (`rule.rs`), so that subjects share them.

use wide::f64x2;

use super::conditional::{Law, Levels, SCORES, Score, both};
use super::decay::{Own, Points};
use super::rule::Rule;
use crate::series::Series;

/// The first scan covers this many standard deviations of log tau each way, one apart.
const REACH: f64 = 7.0;
/// How far it is widened where the integrand still rises at its end: a subject quite unlike the parameters tried.
const FARTHEST: f64 = 28.0;
/// Steps of a further scan.
const SCAN: f64 = 14.0;
/// Where the log of the integrand is this far below its peak it is left out.
const NEGLIGIBLE: f64 = 22.0;
/// A scan with fewer points than this inside the window is repeated, finer.
const ENOUGH: usize = 5;
/// Most scans.
const MAX_SCANS: usize = 10;
/// Fewest and most points of the rule at its normal fineness, but for what the lattice adds.
const FEWEST: f64 = 20.0;
const MOST: f64 = 80.0;
/// Step in log tau that follows the bends which come of a curve passing from one reading to the next.
const LOG_TAU_STEP: f64 = 0.35;
/// Nodes of a posterior with a smaller share are left out.
const LEFT_OUT: f64 = 1e-12;
/// log sqrt(2 pi)
const LOG_ROOT_TAU: f64 = 0.918_938_533_204_672_7;
/// Weights are powers of e relative to one point's; beyond this, relative to another's.
const LARGEST_WEIGHT: f64 = 600.0;

/// Where the first scan looks; the same for all subjects.
pub(super) fn first_scan() -> Rule {
    Rule::covering(-REACH, REACH, 1.0)
}

fn final_rule(law: &Law, low: f64, high: f64) -> Rule {
    let points = ((high - low) * law.loading.tt.abs() / LOG_TAU_STEP).clamp(FEWEST, MOST).ceil();
    Rule::covering(low, high, (high - low) / (points - 1.0))
}

/// log p(y, x), from log p(y | x).
fn joint(log_density: f64x2, x: f64x2) -> f64x2 {
    log_density - both(0.5) * x * x - both(LOG_ROOT_TAU)
}

fn log_joint(law: &Law, subject: &Series, points: &Points, pair: usize) -> f64x2 {
    joint(law.log_density_given(subject, points, pair), points.x(pair))
}

/// Finds where the integrand is not negligible; `None` if it has no finite value anywhere. `first`: the points of
/// [`first_scan`], if they are at hand.
pub(super) fn rule(law: &Law, subject: &Series, first: Option<Points>, own: &mut Own) -> Option<Rule> {
    if law.loading.tt == 0.0 && law.loading.bt == 0.0 && law.loading.pt == 0.0 {
        // y does not depend on x: the normal density alone
        return Some(final_rule(law, -REACH, REACH));
    }
    let (mut scan, mut reach) = (first_scan(), REACH);
    let (mut low, mut high) = (-REACH, REACH);
    for round in 0..MAX_SCANS {
        let seen = match first.filter(|_| round == 0) {
            Some(points) => Seen::at(law, subject, &points)?,
            None => Seen::at(law, subject, &own.points(law, subject.times, scan))?,
        };
        if reach < FARTHEST && (seen.peaks_at_start && low == -reach || seen.peaks_at_end && high == reach) {
            reach *= 2.0;
            (low, high) = (-reach, reach);
            scan = Rule::covering(low, high, 1.0);
            continue;
        }
        // one point more on either side
        low = (seen.first_x - scan.step()).max(-reach - 1.0);
        high = (seen.last_x + scan.step()).min(reach + 1.0);
        if seen.inside >= ENOUGH {
            break;
        }
        scan = Rule::covering(low, high, (high - low) / SCAN);
    }
    Some(final_rule(law, low, high))
}

/// What a scan saw.
struct Seen {
    peaks_at_start: bool,
    peaks_at_end: bool,
    /// First and last point at which the integrand matters.
    first_x: f64,
    last_x: f64,
    /// Points from the one to the other.
    inside: usize,
}

impl Seen {
    fn at(law: &Law, subject: &Series, points: &Points) -> Option<Self> {
        let rule = points.rule();
        let found: Vec<f64> =
            (0..rule.pairs()).flat_map(|pair| log_joint(law, subject, points, pair).to_array()).collect();
        let peak = found.iter().copied().filter(|v| v.is_finite()).fold(f64::NEG_INFINITY, f64::max);
        if peak == f64::NEG_INFINITY {
            return None;
        }
        let matters = |v: &f64| *v > peak - NEGLIGIBLE;
        let (first, last) = (found.iter().position(matters)?, found.iter().rposition(matters)?);
        Some(Self {
            peaks_at_start: found.first() == Some(&peak),
            peaks_at_end: found.last() == Some(&peak),
            first_x: rule.x(first),
            last_x: rule.x(last),
            inside: last + 1 - first,
        })
    }
}

/// A sum of powers of e: total = e^reference (sum of halves).
struct PowerSum {
    reference: f64,
    total: f64x2,
}

impl PowerSum {
    fn new() -> Self {
        Self { reference: f64::NEG_INFINITY, total: f64x2::ZERO }
    }

    /// Adds the powers of a pair of exponents (those that are not finite count as nothing); their weights, and by how
    /// much weights given before have shrunk, if they have.
    fn add(&mut self, exponents: f64x2) -> (f64x2, Option<f64>) {
        let exponents = exponents.to_array();
        let largest = exponents.iter().copied().filter(|e| e.is_finite()).fold(f64::NEG_INFINITY, f64::max);
        let mut shrunk = None;
        if largest > self.reference + LARGEST_WEIGHT || self.reference == f64::NEG_INFINITY {
            let by = (self.reference - largest).exp();
            shrunk = (self.reference > f64::NEG_INFINITY).then_some(by);
            self.total *= both(shrunk.unwrap_or(0.0));
            self.reference = largest;
        }
        let weight = |e: f64| if e.is_finite() { (e - self.reference).exp() } else { 0.0 };
        let weights = f64x2::new(exponents.map(weight));
        self.total += weights;
        (weights, shrunk)
    }

    fn log(&self) -> f64 {
        self.reference + self.total.reduce_add().ln()
    }
}

/// Pairs of points from the middle outwards: the first is near the peak.
fn from_the_middle(pairs: usize) -> impl Iterator<Item = usize> {
    (pairs / 2..pairs).chain((0..pairs / 2).rev())
}

/// log p(y) and its derivatives.
pub(super) fn score(law: &Law, subject: &Series, points: &Points) -> (f64, Score) {
    let mut sum = PowerSum::new();
    let mut weighted = [f64x2::ZERO; SCORES];
    for pair in from_the_middle(points.rule().pairs()) {
        let (given, score) = law.score_given(subject, points, pair);
        let (weights, shrunk) = sum.add(joint(given, points.x(pair)));
        if let Some(shrunk) = shrunk {
            weighted.iter_mut().for_each(|w| *w *= both(shrunk));
        }
        let counts = weights.simd_gt(f64x2::ZERO);
        for (w, s) in weighted.iter_mut().zip(score) {
            *w += counts.bitselect(weights * s, f64x2::ZERO);
        }
    }
    let total = sum.total.reduce_add();
    (sum.log() + points.rule().step().ln(), weighted.map(|w| w.reduce_add() / total))
}

/// log p(y).
pub(super) fn log_density(law: &Law, subject: &Series, points: &Points) -> f64 {
    let mut sum = PowerSum::new();
    for pair in from_the_middle(points.rule().pairs()) {
        sum.add(log_joint(law, subject, points, pair));
    }
    sum.log() + points.rule().step().ln()
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
pub(super) fn posterior(law: &Law, subject: &Series, points: &Points) -> (f64, Vec<Node>) {
    let rule = points.rule();
    let mut sum = PowerSum::new();
    let mut found: Vec<Node> = Vec::with_capacity(rule.points());
    for pair in 0..rule.pairs() {
        let given = law.levels_given(subject, points, pair);
        let exponents = joint(f64x2::new(given.map(|(log_density, _)| log_density)), points.x(pair));
        sum.add(exponents);
        let pair = points.x(pair).to_array().into_iter().zip(exponents.to_array()).zip(given);
        // the exponent for now, until the sum over all is known
        found.extend(pair.map(|((x, share), (_, levels))| Node { x, log_tau: law.log_tau_at(x), share, levels }));
    }
    let whole = sum.log();
    found.iter_mut().for_each(|node| node.share = (node.share - whole).exp());
    found.retain(|node| node.share > LEFT_OUT);
    (whole + rule.step().ln(), found)
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

    fn course(values: &[f64]) -> Series<'_> {
        Series { times: &T, values, covariates: &[] }
    }

    #[test]
    fn few_points_and_many_agree_for_sharp_and_for_broad_integrands() {
        let mut own = Own::default();
        for tt in [0.0, 0.3, 1.5] {
            for variance in [0.01, 0.05, 1.0, 9.0] {
                for y in COURSES {
                    let law = law(tt, variance);
                    let found = rule(&law, &course(&y), None, &mut own).unwrap();
                    let coarse = log_density(&law, &course(&y), &own.points(&law, &T, found));
                    let many = Rule::covering(-30.0, 30.0, 0.001);
                    let fine = log_density(&law, &course(&y), &own.points(&law, &T, many));
                    assert!(
                        (coarse - fine).abs() < 1e-5 * (1.0 + fine.abs()),
                        "{tt} {variance} {y:?}: {coarse} {fine}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_far_off_subject_is_found() {
        // no curve of the law comes near these readings but with log tau ten SDs away
        let law = Law::new([6.8, 2.2, 2.4], Loading { tt: 0.4, bb: 0.1, pp: 0.1, ..Loading::default() }, 0.01);
        let y: Vec<f64> = T.iter().map(|t| 2.2 + 4.6 * (-t * (-6.8_f64).exp()).exp()).collect();
        let mut own = Own::default();
        let found = rule(&law, &course(&y), None, &mut own).unwrap();
        assert!(found.x(0) < 9.0 && found.x(found.points() - 1) > 9.0, "{found:?}");
        let many = Rule::covering(-40.0, 40.0, 0.001);
        let fine = log_density(&law, &course(&y), &own.points(&law, &T, many));
        let coarse = log_density(&law, &course(&y), &own.points(&law, &T, found));
        assert!((coarse - fine).abs() < 1e-5 * (1.0 + fine.abs()), "{coarse} {fine}");
    }

    #[test]
    fn powers_far_apart_are_summed() {
        let mut sum = PowerSum::new();
        assert_eq!(sum.add(f64x2::new([-2000.0, f64::NEG_INFINITY])).1, None);
        assert_eq!(sum.add(f64x2::new([-1999.0, f64::NAN])).1, None);
        assert!((sum.log() - (-1999.0 + (1.0 + (-1.0_f64).exp()).ln())).abs() < 1e-12);
        assert_eq!(sum.add(f64x2::new([0.0, 0.0])).1, Some(0.0));
        assert!((sum.log() - 2.0_f64.ln()).abs() < 1e-15);
    }

    #[test]
    fn no_reading_leaves_the_prior() {
        let law = law(0.5, 1.0);
        let none = Series { times: &[], values: &[], covariates: &[] };
        let mut own = Own::default();
        let found = rule(&law, &none, None, &mut own).unwrap();
        let (density, nodes) = posterior(&law, &none, &own.points(&law, &[], found));
        assert!(density.abs() < 1e-8);
        let mean = crate::sum::sum(nodes.iter().map(|n| n.share * n.log_tau));
        assert!((mean - 2.4).abs() < 1e-8);
    }

    #[test]
    fn the_score_agrees_with_differences() {
        let y = course(&COURSES[0]);
        let base = law(0.5, 0.6);
        let mut own = Own::default();
        let found = rule(&base, &y, None, &mut own).unwrap();
        let (value, score) = score(&base, &y, &own.points(&base, &T, found));
        let mut at = |law: &Law| log_density(law, &y, &own.points(law, &T, found));
        assert!((value - at(&base)).abs() < 1e-12);
        let h = 1e-5;
        let up = Law { loading: Loading { tt: 0.5 + h, ..base.loading }, ..base };
        let down = Law { loading: Loading { tt: 0.5 - h, ..base.loading }, ..base };
        let difference = (at(&up) - at(&down)) / (2.0 * h);
        assert!((difference - score[9]).abs() < 1e-7);
    }
}
