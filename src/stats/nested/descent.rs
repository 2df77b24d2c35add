//! Newton's method for variances that may not fall below zero.
//!
//! Steps are taken in h = ln(v + o), o the sampling variance that hides v: straight near zero, where the criterion is,
//! and logarithmic far from it. The Hessian is a difference of the exact gradient; a variance at zero whose slope is
//! not negative is left out (Bertsekas 1982, SIAM J Control Optim 20:221-46). Distance from the stationary point is
//! measured in standard errors, as in the mixed model: half the squared Newton decrement, its root.

use nalgebra::{DMatrix, DVector};

use crate::newton::{Damping, halved};

/// The distance in standard errors at which a main fit stops.
pub(super) const TARGET: f64 = 1e-8;
/// Steps, taken or rejected, after which the descent is given up.
const MAX_STEPS: usize = 200;
/// The longest step in h.
const LONGEST_STEP: f64 = 3.0;
/// Step of the differences in h.
const DIFFERENCE: f64 = 1e-4;

/// A criterion and its gradient by variance; `None` where it has no value.
pub(super) type Surface<'a> = dyn FnMut(&[f64]) -> Option<(f64, Vec<f64>)> + 'a;

/// A point with the criterion and its gradient by variance.
#[derive(Debug, Clone)]
pub(super) struct At {
    pub v: Vec<f64>,
    pub deviance: f64,
    pub gradient: Vec<f64>,
}

/// Where a descent ended.
#[derive(Debug, Clone)]
pub(super) struct End {
    pub at: At,
    /// Variances that are not at zero, or would leave it.
    pub free: Vec<usize>,
    /// Hessian by h of those; `None` if a neighbour has no value.
    pub hessian: Option<DMatrix<f64>>,
    /// Distance from the stationary point in standard errors; infinite without a positive definite Hessian.
    pub distance: f64,
    pub iterations: usize,
    /// Whether the most steps allowed were used up.
    pub exhausted: bool,
}

struct Search<'a, 'b> {
    surface: &'a mut Surface<'b>,
    offsets: &'a [f64],
}

impl Search<'_, '_> {
    fn at(&mut self, v: Vec<f64>) -> Option<At> {
        let (deviance, gradient) = (self.surface)(&v)?;
        Some(At { v, deviance, gradient })
    }

    /// `v` moved by `step` in h, cut at zero.
    fn moved(&self, v: &[f64], free: &[usize], step: &DVector<f64>) -> Vec<f64> {
        let mut to = v.to_vec();
        for (&k, by) in free.iter().zip(step.iter()) {
            to[k] = (v[k] + (v[k] + self.offsets[k]) * by.exp_m1()).max(0.0);
        }
        to
    }

    fn by_h(&self, at: &At, free: &[usize]) -> DVector<f64> {
        DVector::from_fn(free.len(), |i, _| at.gradient[free[i]] * (at.v[free[i]] + self.offsets[free[i]]))
    }

    /// Hessian by h: differences to both sides, to one side only at zero.
    fn hessian(&mut self, at: &At, free: &[usize]) -> Option<DMatrix<f64>> {
        let mut h = DMatrix::zeros(free.len(), free.len());
        for i in 0..free.len() {
            let mut step = DVector::zeros(free.len());
            step[i] = DIFFERENCE;
            let k = free[i];
            let room = at.v[k] >= (at.v[k] + self.offsets[k]) * DIFFERENCE;
            let above = self.at(self.moved(&at.v, free, &step))?;
            let (below, width) = if room {
                (self.at(self.moved(&at.v, free, &-step))?, 2.0 * DIFFERENCE)
            } else {
                (at.clone(), DIFFERENCE)
            };
            h.set_column(i, &((self.by_h(&above, free) - self.by_h(&below, free)) / width));
        }
        Some((&h + h.transpose()) / 2.0)
    }
}

/// Variances that may move: above zero, or pushed off it.
fn free(at: &At) -> Vec<usize> {
    (0..at.v.len()).filter(|&k| at.v[k] > 0.0 || at.gradient[k] < 0.0).collect()
}

/// Minimises from `start`; `None` if the criterion has no value there.
pub(super) fn minimise(surface: &mut Surface, start: &[f64], offsets: &[f64], target: f64) -> Option<End> {
    let mut search = Search { surface, offsets };
    let mut at = search.at(start.to_vec())?;
    let (mut iterations, mut steps, mut damping) = (0, 0, Damping::default());
    loop {
        let free = free(&at);
        let gradient = search.by_h(&at, &free);
        let hessian = search.hessian(&at, &free);
        let exact = hessian.clone().and_then(DMatrix::cholesky);
        let distance = match &exact {
            Some(factor) => (gradient.dot(&factor.solve(&gradient)) / 2.0).max(0.0).sqrt(),
            None => f64::INFINITY,
        };
        let end = |at: At, iterations, exhausted| {
            let (free, hessian) = (free.clone(), hessian.clone());
            Some(End { at, free, hessian, distance, iterations, exhausted })
        };
        let Some(h) = hessian.as_ref().filter(|_| distance > target) else {
            return end(at, iterations, false);
        };
        let next = loop {
            if steps >= MAX_STEPS {
                return end(at, iterations, true);
            }
            steps += 1;
            let tried = damping.step(h.clone(), &gradient).and_then(|mut step| {
                let longest = step.amax();
                if longest > LONGEST_STEP {
                    step *= LONGEST_STEP / longest;
                }
                search.at(search.moved(&at.v, &free, &step))
            });
            // rounding of the criterion: a step that changes less is not uphill
            let noise = 1e-14 * (at.deviance.abs() + 1.0);
            match tried.filter(|next| next.deviance <= at.deviance + noise && next.v != at.v) {
                Some(next) => break next,
                None if damping.raise() => {}
                None => return end(at, iterations, false),
            }
        };
        at = next;
        iterations += 1;
        damping.lower();
    }
}

/// Minimises from `start` with the Hessian `hessian` by h, all variances counted, kept up to date by its changes (BFGS,
/// Nocedal & Wright 2006, section 6.1) instead of differences: one evaluation a step. Made by differences if absent.
/// `None` if no descent is found that way.
pub(super) fn minimise_quickly(
    surface: &mut Surface,
    start: &[f64],
    offsets: &[f64],
    hessian: &mut Option<DMatrix<f64>>,
    target: f64,
) -> Option<At> {
    let mut search = Search { surface, offsets };
    let mut at = search.at(start.to_vec())?;
    let all: Vec<usize> = (0..start.len()).collect();
    let mut h = match hessian.take() {
        Some(h) => h,
        None => search.hessian(&at, &all)?,
    };
    for _ in 0..MAX_STEPS {
        let free = free(&at);
        let gradient = search.by_h(&at, &free);
        let part = DMatrix::from_fn(free.len(), free.len(), |i, j| h[(free[i], free[j])]);
        let factor = part.cholesky()?;
        let mut step = -factor.solve(&gradient);
        if (-gradient.dot(&step) / 2.0).max(0.0).sqrt() <= target {
            *hessian = Some(h);
            return Some(at);
        }
        if step.amax() > LONGEST_STEP {
            step *= LONGEST_STEP / step.amax();
        }
        let noise = 1e-14 * (at.deviance.abs() + 1.0);
        let next = halved(&step, 8, |step| {
            let tried = search.at(search.moved(&at.v, &free, step))?;
            (tried.deviance <= at.deviance + noise && tried.v != at.v).then_some(tried)
        })?;
        let moved = DVector::from_fn(all.len(), |k, _| {
            // a change of the logarithm of v + o; 0 where v stayed
            let scale = at.v[k] + offsets[k];
            if scale > 0.0 { ((next.v[k] - at.v[k]) / scale).ln_1p() } else { 0.0 }
        });
        let turned = search.by_h(&next, &all) - search.by_h(&at, &all);
        let along = moved.dot(&turned);
        if along > 1e-10 * moved.norm() * turned.norm() {
            let pressed = &h * &moved;
            let bend = moved.dot(&pressed);
            if bend > 0.0 {
                h += &turned * turned.transpose() / along - &pressed * pressed.transpose() / bend;
            }
        }
        at = next;
    }
    None
}
