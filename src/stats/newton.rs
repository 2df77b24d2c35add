//! Newton's method made safe: what the fits by steps have in common.
//!
//! A step is halved until it does not lead back ([`halved`]), or damped by Levenberg's and Marquardt's method until it does not
//! ([`Damping`]). [`climb`] is the whole search of the fits that have an information with a factor at every step: it ends where the
//! gradient has vanished, where no step helps, or where the fit itself gives up.

use nalgebra::{DMatrix, DVector};

use crate::evidence::Ending;

/// The first of the step, its half, its quarter and so on that `at` takes, of at most `tries`.
pub(crate) fn halved<T>(
    step: &DVector<f64>,
    tries: usize,
    mut at: impl FnMut(&DVector<f64>) -> Option<T>,
) -> Option<T> {
    let mut step = step.clone();
    for _ in 0..tries {
        if let Some(found) = at(&step) {
            return Some(found);
        }
        step *= 0.5;
    }
    None
}

/// What is climbed.
pub(crate) trait Hill {
    /// A point with what is known of it.
    type At;

    /// Newton's step from here, and the distance to the top in standard errors; `None` where the information has no factor.
    fn step(&mut self, at: &Self::At) -> Option<(DVector<f64>, f64)>;

    /// Shortens a step that would go too far. `slow`: the step before did not halve the distance. False gives up.
    fn rein_in(&mut self, at: &Self::At, step: &mut DVector<f64>, slow: bool) -> bool;

    /// The point a step away, unless it has no value or lies lower by more than rounding.
    fn not_below(&self, from: &Self::At, step: &DVector<f64>) -> Option<Self::At>;
}

/// When a climb ends.
pub(crate) struct Limits {
    /// Steps allowed.
    pub steps: usize,
    /// Times that a step is tried, halved each time.
    pub tries: usize,
    /// The distance at which the climb stops.
    pub target: f64,
    /// The largest distance that counts as none where no step helps.
    pub tolerance: f64,
    /// Whether the climb also stops within the tolerance once the distance no longer halves: with many rows rounding alone keeps the
    /// gradient above its target.
    pub may_stall: bool,
}

/// Where a climb ended.
pub(crate) struct Top<A> {
    pub at: A,
    pub iterations: usize,
    /// In standard errors, by the last step.
    pub distance: f64,
    /// By the gradient alone.
    pub ending: Ending,
}

pub(crate) fn climb<H: Hill>(hill: &mut H, start: H::At, limits: &Limits) -> Top<H::At> {
    let mut top = Top { at: start, iterations: 0, distance: f64::INFINITY, ending: Ending::StepLimit };
    for _ in 0..limits.steps {
        let Some((mut step, distance)) = hill.step(&top.at) else {
            top.ending = Ending::IllConditioned;
            break;
        };
        let slow = distance > top.distance / 2.0;
        top.distance = distance;
        let stalled = limits.may_stall && distance <= limits.tolerance && slow;
        if distance <= limits.target || stalled {
            top.ending = Ending::Optimum;
            break;
        }
        if !hill.rein_in(&top.at, &mut step, slow) {
            top.ending = Ending::OutOfRange;
            break;
        }
        let Some(next) = halved(&step, limits.tries, |step| hill.not_below(&top.at, step)) else {
            top.ending = if distance <= limits.tolerance { Ending::Optimum } else { Ending::Stalled };
            break;
        };
        top.at = next;
        top.iterations += 1;
    }
    top
}

/// Damping of a Newton step downhill, relative to each parameter's own curvature.
#[derive(Default)]
pub(crate) struct Damping(f64);

impl Damping {
    /// Damping at which no step is worth trying.
    const LAST: f64 = 1e12;

    /// As much as it is now.
    pub(crate) fn share(&self) -> f64 {
        self.0
    }

    /// The damped step downhill; `None` if the damped Hessian has no factor.
    pub(crate) fn step(&self, mut hessian: DMatrix<f64>, gradient: &DVector<f64>) -> Option<DVector<f64>> {
        let most = hessian.diagonal().iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        for k in 0..gradient.len() {
            let size = hessian[(k, k)].abs().max(1e-6 * most).max(f64::MIN_POSITIVE);
            hessian[(k, k)] += self.0 * size;
        }
        Some(-hessian.cholesky()?.solve(gradient))
    }

    /// More after a step that did not help; false once no step is worth trying.
    pub(crate) fn raise(&mut self) -> bool {
        self.0 = (10.0 * self.0).max(1e-3);
        self.0 <= Self::LAST
    }

    /// Less after a step that helped.
    pub(crate) fn lower(&mut self) {
        self.0 = if self.0 > 1e-5 { self.0 / 10.0 } else { 0.0 };
    }
}
