//! Finding the Lambda at which the criterion is least, and showing that it is.
//!
//! **Method.** Newton steps with the expected curvature, damped as by Levenberg and Marquardt, in the entries of Lambda
//! times the root mean square of their random column, so that units do not matter. A negative diagonal needs no bound:
//! Lambda and Lambda with a column's sign turned give the same G.
//!
//! **Proof.** Three tests at the end, none of them a count of steps. *Gradient*: the distance to the stationary point,
//! sqrt(g' H^-1 g / 2), in standard errors of the entries. *Curvature*: the least eigenvalue of H, scaled to a unit
//! diagonal, H being differences of the exact gradient. *Boundary*: where G has lost rank, the criterion must not fall in
//! any direction that would restore it: the derivative by G, seen in the null space of G, has no negative eigenvalue.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

use super::criterion::{Derivatives, Surface};
use super::singular::{canonical, null_space};
use crate::evidence::{Ending, Evidence, least_scaled_eigenvalue};
use crate::newton::Damping;

/// The largest distance from the stationary point, in standard errors, that counts as none.
pub const GRADIENT_TOLERANCE: f64 = 1e-5;
/// The distance at which the iteration stops.
const GRADIENT_TARGET: f64 = 1e-9;
/// The least eigenvalue of the scaled Hessian that counts as positive.
pub const CURVATURE_TOLERANCE: f64 = 1e-9;
/// The most negative slope off the boundary, as a share of the mean of A, that counts as none.
const SLOPE_TOLERANCE: f64 = 1e-7;
/// Steps, taken or rejected, after which the descent is given up.
const MAX_STEPS: usize = 300;
/// The longest step in an entry, relative to 1 plus the entry.
const LONGEST_STEP: f64 = 3.0;
/// Step of the differences that make the Hessian, in standard errors.
const DIFFERENCE: f64 = 1e-3;
/// How often a descent may leave the boundary again.
const MAX_RESTARTS: usize = 3;

/// Where a descent ended.
pub(super) struct End<const Q: usize> {
    pub lambda: SMatrix<f64, Q, Q>,
    /// Entries (row, column) of Lambda that were free.
    pub free: Vec<(usize, usize)>,
    /// Covariance of those entries; `None` without a minimum.
    pub covariance: Option<DMatrix<f64>>,
    /// Least slope in a direction off the boundary, as a share of the mean of A; `None` where G has full rank.
    pub boundary_slope: Option<f64>,
    pub evidence: Evidence,
}

/// A point of the descent.
#[derive(Clone, Copy)]
struct At<const Q: usize> {
    lambda: SMatrix<f64, Q, Q>,
    deviance: f64,
}

struct Search<'a, const Q: usize> {
    surface: &'a mut dyn Surface<Q>,
    /// Of the random columns; 1 for those out of use.
    scales: SVector<f64, Q>,
    /// Random columns that are not all zeros; the others have no say in the likelihood.
    in_use: SVector<bool, Q>,
    iterations: usize,
}

/// Minimises the criterion from `start`, or from random effects as variable as the residual; `None` if it has no value there.
pub(super) fn minimise<const Q: usize>(
    surface: &mut dyn Surface<Q>,
    start: Option<&SMatrix<f64, Q, Q>>,
) -> Option<End<Q>> {
    let in_use = surface.scales().map(|s| s > 0.0);
    let scales = surface.scales().map(|s| if s > 0.0 { s } else { 1.0 });
    let without_unused =
        |l: SMatrix<f64, Q, Q>| SMatrix::<f64, Q, Q>::from_fn(|i, j| if j <= i && in_use[i] { l[(i, j)] } else { 0.0 });
    let plain = without_unused(SMatrix::from_diagonal(&scales.map(|s| 1.0 / s)));
    let mut search = Search { surface, scales, in_use, iterations: 0 };
    let usable = start.filter(|l| l.iter().all(|v| v.is_finite()));
    let first = usable.and_then(|l| search.value(&without_unused(*l))).or_else(|| search.value(&plain))?;
    Some(search.run(first))
}

impl<const Q: usize> Search<'_, Q> {
    fn value(&mut self, lambda: &SMatrix<f64, Q, Q>) -> Option<At<Q>> {
        Some(At { lambda: *lambda, deviance: self.surface.value(lambda)? })
    }

    fn derivatives(&mut self, at: &At<Q>) -> Option<Derivatives<Q>> {
        self.surface.derivatives(&at.lambda)
    }

    fn run(&mut self, first: At<Q>) -> End<Q> {
        let rows = (0..Q).filter(|&i| self.in_use[i]);
        let every: Vec<(usize, usize)> = rows.flat_map(|i| (0..=i).map(move |j| (i, j))).collect();
        let (mut value, mut stopped) = self.descend(first, &every);
        let mut free = every.clone();
        let mut slope = None;
        for restart in 0..=MAX_RESTARTS {
            if let Some((lower_rank, rank_stopped, rank_free)) = self.without_lost_columns(&value, &every) {
                (value, stopped, free) = (lower_rank, rank_stopped, rank_free);
            } else {
                (free, slope) = (every.clone(), None);
                break;
            }
            let Some((least, direction)) = self.slope_off_boundary(&value) else { break };
            slope = Some(least);
            if least >= -SLOPE_TOLERANCE || restart == MAX_RESTARTS {
                break;
            }
            // the criterion falls off the boundary: step that way and descend again
            let scaled = self.scaled(&value.lambda);
            let g = scaled * scaled.transpose() + direction * direction.transpose() * 0.01;
            let away = super::singular::factor(&g);
            let Some(again) = self.value(&self.unscaled(&away)) else { break };
            (value, stopped) = self.descend(again, &every);
            free = every.clone();
        }
        self.prove(value, free, slope, stopped)
    }

    /// Lambda with its rows times the scales.
    fn scaled(&self, lambda: &SMatrix<f64, Q, Q>) -> SMatrix<f64, Q, Q> {
        SMatrix::from_fn(|i, j| lambda[(i, j)] * self.scales[i])
    }

    fn unscaled(&self, lambda: &SMatrix<f64, Q, Q>) -> SMatrix<f64, Q, Q> {
        SMatrix::from_fn(|i, j| lambda[(i, j)] / self.scales[i])
    }

    /// Gradient by the free entries, scaled.
    fn gradient(&self, d: &Derivatives<Q>, free: &[(usize, usize)]) -> DVector<f64> {
        DVector::from_fn(free.len(), |k, _| d.by_lambda[free[k]] / self.scales[free[k].0])
    }

    fn curvature(&self, d: &Derivatives<Q>, at: &At<Q>, free: &[(usize, usize)]) -> DMatrix<f64> {
        DMatrix::from_fn(free.len(), free.len(), |k, l| {
            d.curvature(&at.lambda, free[k], free[l]) / (self.scales[free[k].0] * self.scales[free[l].0])
        })
    }

    /// Lambda moved by `step` in the scaled free entries.
    fn moved(&self, from: &SMatrix<f64, Q, Q>, step: &DVector<f64>, free: &[(usize, usize)]) -> SMatrix<f64, Q, Q> {
        let mut to = *from;
        for (entry, by) in free.iter().zip(step.iter()) {
            to[*entry] += by / self.scales[entry.0];
        }
        to
    }

    /// Steps downhill until the gradient vanishes or no step helps; says why it would have stopped if not for the gradient.
    fn descend(&mut self, first: At<Q>, free: &[(usize, usize)]) -> (At<Q>, Ending) {
        let mut at = first;
        if free.is_empty() {
            return (at, Ending::Optimum);
        }
        let Some(mut d) = self.derivatives(&at) else { return (at, Ending::NoValue) };
        let mut damping = Damping::default();
        for _ in 0..MAX_STEPS {
            let gradient = self.gradient(&d, free);
            let Some(mut step) = damping.step(self.curvature(&d, &at, free), &gradient) else {
                if damping.raise() {
                    continue;
                }
                return (at, Ending::Stalled);
            };
            if (-gradient.dot(&step) / 2.0).max(0.0).sqrt() <= GRADIENT_TARGET * (1.0 + damping.share()) {
                return (at, Ending::Optimum);
            }
            let longest = free.iter().zip(step.iter()).fold(0.0_f64, |m, (entry, s)| {
                m.max(s.abs() / (1.0 + (at.lambda[*entry] * self.scales[entry.0]).abs()))
            });
            if longest > LONGEST_STEP {
                step *= LONGEST_STEP / longest;
            }
            let next = self.value(&self.moved(&at.lambda, &step, free));
            match next.filter(|n| n.deviance <= at.deviance + self.surface.noise(at.deviance)) {
                Some(next) => {
                    let Some(derivatives) = self.derivatives(&next) else { return (at, Ending::Stalled) };
                    (at, d) = (next, derivatives);
                    self.iterations += 1;
                    damping.lower();
                }
                None if damping.raise() => {}
                None => return (at, Ending::Stalled),
            }
        }
        (at, Ending::StepLimit)
    }

    /// If G has all but lost rank: the best Lambda with the lost columns at exactly 0, unless that is worse.
    #[allow(clippy::type_complexity)]
    fn without_lost_columns(
        &mut self,
        at: &At<Q>,
        every: &[(usize, usize)],
    ) -> Option<(At<Q>, Ending, Vec<(usize, usize)>)> {
        let reduced = canonical(&self.scaled(&at.lambda))?;
        let free: Vec<_> = every.iter().copied().filter(|(_, column)| reduced[(*column, *column)] != 0.0).collect();
        let begun = self.value(&self.unscaled(&reduced))?;
        let (ended, stopped) = self.descend(begun, &free);
        let allowed = 1e4 * self.surface.noise(at.deviance);
        (ended.deviance <= at.deviance + allowed).then_some((ended, stopped, free))
    }

    /// The least eigenvalue of the derivative by G in the null space of G, as a share of the mean of A, with its direction.
    fn slope_off_boundary(&mut self, at: &At<Q>) -> Option<(f64, SVector<f64, Q>)> {
        let d = self.derivatives(at)?;
        let basis = null_space(&self.scaled(&at.lambda));
        let by_g = DMatrix::from_fn(Q, Q, |i, j| d.by_g[(i, j)] / (self.scales[i] * self.scales[j]));
        let size = d.mean_information(&self.scales);
        let seen = basis.transpose() * by_g * &basis;
        let eigen = seen.symmetric_eigen();
        let (k, least) = eigen.eigenvalues.argmin();
        let direction = &basis * eigen.eigenvectors.column(k);
        Some((least / size, SVector::from_fn(|i, _| direction[i])))
    }

    /// Differences of the gradient: the Hessian by the scaled free entries.
    fn hessian(&mut self, at: &At<Q>, free: &[(usize, usize)]) -> Option<DMatrix<f64>> {
        let d = self.derivatives(at)?;
        let expected = self.curvature(&d, at, free);
        let mut h = DMatrix::zeros(free.len(), free.len());
        for k in 0..free.len() {
            let size = expected[(k, k)].abs();
            let by = if size > 0.0 { (DIFFERENCE * (2.0 / size).sqrt()).min(0.01) } else { DIFFERENCE };
            let mut gradient_at = |by: f64| {
                let mut step = DVector::zeros(free.len());
                step[k] = by;
                let value = self.value(&self.moved(&at.lambda, &step, free))?;
                let d = self.derivatives(&value)?;
                Some(self.gradient(&d, free))
            };
            let column = (gradient_at(by)? - gradient_at(-by)?) / (2.0 * by);
            h.set_column(k, &column);
        }
        Some((&h + h.transpose()) / 2.0)
    }

    /// Turns the signs so that the diagonal is not negative, and tests gradient, curvature and boundary.
    fn prove(
        &mut self,
        mut value: At<Q>,
        free: Vec<(usize, usize)>,
        boundary_slope: Option<f64>,
        stopped: Ending,
    ) -> End<Q> {
        for j in 0..Q {
            if value.lambda[(j, j)] < 0.0 {
                value.lambda.column_mut(j).neg_mut();
            }
        }
        let (mut distance, mut curvature, mut covariance) = (f64::INFINITY, f64::NEG_INFINITY, None);
        if free.is_empty() {
            (distance, curvature, covariance) = (0.0, f64::INFINITY, Some(DMatrix::zeros(0, 0)));
        } else if let (Some(d), Some(h)) = (self.derivatives(&value), self.hessian(&value, &free)) {
            curvature = least_scaled_eigenvalue(&h);
            if let Some(factor) = h.cholesky() {
                let gradient = self.gradient(&d, &free);
                distance = (gradient.dot(&factor.solve(&gradient)) / 2.0).max(0.0).sqrt();
                // the criterion is minus twice a log-likelihood: information is half its Hessian
                let inverse = factor.inverse() * 2.0;
                covariance = Some(DMatrix::from_fn(free.len(), free.len(), |k, l| {
                    inverse[(k, l)] / (self.scales[free[k].0] * self.scales[free[l].0])
                }));
            }
        }
        // "is above", so that NaN fails
        let curved = curvature > CURVATURE_TOLERANCE;
        let bounded = boundary_slope.is_none_or(|least| least >= -SLOPE_TOLERANCE);
        let ending = if !(curved && bounded) {
            Ending::Saddle
        } else if distance <= GRADIENT_TOLERANCE {
            Ending::Optimum
        } else if stopped == Ending::Optimum {
            Ending::Stalled
        } else {
            stopped
        };
        if ending != Ending::Optimum {
            covariance = None;
        }
        let evidence = Evidence { value: value.deviance, iterations: self.iterations, distance, curvature, ending };
        End { lambda: value.lambda, free, covariance, boundary_slope, evidence }
    }
}
