//! Climbing the log-likelihood, and showing that the top was reached.
//!
//! **Method.** Quasi-Newton steps (BFGS: Nocedal & Wright 2006, chapter 6) that start from the outer products of the
//! subjects' scores (Berndt et al. 1974), each with a line search; then Newton steps with the Hessian from central
//! differences of the exact gradient.
//!
//! **Proof.** The Newton decrement g'H^-1 g, H the negative Hessian (from within a tenth of a standard error of the end): the squared distance to the maximum in standard
//! errors, whatever the parameters' units. It must be at most [`DECREMENT_TOLERANCE`], and H must have no negative
//! eigenvalue. Directions in which the log-likelihood is flat (the factor of a singular covariance has some) are left out
//! of the inverse; the gradient must vanish along them too.
//!
//! **Work.** At most [`MAX_STEPS`] + [`MAX_NEWTON`] steps of at most [`MAX_HALVINGS`] evaluations.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::likelihood::{Likelihood, Point};
use super::outcome::Doubt;
use crate::evidence::Ending;
use crate::newton::halved;

/// The largest Newton decrement that counts as a vanished gradient: 1e-4 standard errors from the maximum.
pub const DECREMENT_TOLERANCE: f64 = 1e-8;
/// Where Newton's steps stop.
const DECREMENT_TARGET: f64 = 1e-12;
/// Decrement by the quasi-Newton Hessian at which Newton's method takes over.
const NEARLY_THERE: f64 = 1e-4;
/// Decrement within which a Hessian is kept: a tenth of a standard error.
const NEARBY: f64 = 1e-2;
/// Share of the decrement that a step from a fresh Hessian nearby must take away at least.
const STALLED: f64 = 0.5;
const MAX_STEPS: usize = 150;
const MAX_NEWTON: usize = 30;
/// Steps cut short one after the other that show where the climb leads.
const MAX_BLOCKED: usize = 8;
const MAX_HALVINGS: usize = 14;
/// The rules of integration are made anew at each of the first steps, then every so many.
const EARLY: usize = 6;
const EVERY: usize = 4;
/// A scaled eigenvalue below this share of the largest is flat.
const FLAT: f64 = 1e-7;
/// Gain below which a difference of two log-likelihoods is rounding, as a share of their size.
const ROUNDING: f64 = 1e-13;

/// Where the climb ended.
pub(super) struct Summit {
    pub psi: DVector<f64>,
    pub value: f64,
    pub ending: Ending,
    /// Why the parameters beyond mean nothing, if the climb leads there.
    pub beyond: Option<Doubt>,
    pub steps: usize,
    pub decrement: f64,
    /// Least eigenvalue of the scaled negative Hessian.
    pub curvature: f64,
    /// Directions in which the log-likelihood is flat.
    pub flat: Vec<DVector<f64>>,
    /// Inverse of the negative Hessian, flat directions left out.
    pub covariance: DMatrix<f64>,
}

/// Longest step: bounds the change of each parameter.
pub(super) fn shorten(step: &mut DVector<f64>, longest: &DVector<f64>) {
    let excess = step.iter().zip(longest.iter()).map(|(s, l)| (s / l).abs()).fold(1.0, f64::max);
    *step /= excess;
}

/// (outer + ridge)^-1, positive definite.
fn first_inverse(outer: &DMatrix<f64>) -> DMatrix<f64> {
    let p = outer.nrows();
    let largest = outer.diagonal().max().max(f64::MIN_POSITIVE);
    let mut ridge = 1e-3;
    for _ in 0..12 {
        let mut a = outer.clone();
        for j in 0..p {
            a[(j, j)] += ridge * a[(j, j)] + 1e-9 * largest;
        }
        if let Some(cholesky) = a.cholesky() {
            return cholesky.inverse();
        }
        ridge *= 10.0;
    }
    DMatrix::identity(p, p) / largest
}

/// What a line search found.
pub(super) struct Search {
    pub next: Option<Point>,
    /// What kept it from going further.
    beyond: Option<Doubt>,
}

/// Halves the step until it is meaningful and the log-likelihood rises by a share of what the slope promises.
pub(super) fn line_search(
    likelihood: &Likelihood,
    from: &Point,
    step: &DVector<f64>,
    doubt: &impl Fn(&[f64]) -> Option<Doubt>,
) -> Search {
    let slope = from.gradient.dot(step);
    let (mut share, mut beyond) = (2.0, None);
    let next = halved(step, MAX_HALVINGS, |step| {
        share *= 0.5;
        let psi = &from.psi + step;
        if let Some(why) = doubt(psi.as_slice()) {
            beyond = Some(why);
            return None;
        }
        likelihood.at(psi, true).filter(|next| next.value >= from.value + 1e-4 * share * slope)
    });
    Search { next, beyond }
}

/// Climbs from `start`; `longest` bounds each parameter's change in one step; steps to where `doubt` names
/// a reason are cut short, and if all lead there the climb ends.
pub(super) fn maximise(
    likelihood: &mut Likelihood,
    start: DVector<f64>,
    longest: &DVector<f64>,
    doubt: impl Fn(&[f64]) -> Option<Doubt>,
) -> Summit {
    let p = start.len();
    let failed = |psi: DVector<f64>, value, ending, beyond, steps| Summit {
        psi,
        value,
        ending,
        beyond,
        steps,
        decrement: f64::INFINITY,
        curvature: f64::NEG_INFINITY,
        flat: Vec::new(),
        covariance: DMatrix::zeros(p, p),
    };
    let Some(mut point) = likelihood.at(start.clone(), true) else {
        return failed(start, f64::NEG_INFINITY, Ending::NoValue, None, 0);
    };
    let mut steps = 0;
    let mut inverse = point.outer.as_ref().map_or_else(|| DMatrix::identity(p, p), first_inverse);
    let mut fresh = true;
    let mut blocked = 0;
    while steps < MAX_STEPS {
        let mut step = &inverse * &point.gradient;
        if point.gradient.dot(&step) < NEARLY_THERE && steps > 0 {
            break;
        }
        shorten(&mut step, longest);
        let search = line_search(likelihood, &point, &step, &doubt);
        blocked = if search.beyond.is_some() { blocked + 1 } else { 0 };
        if let (true, Some(why)) = (blocked >= MAX_BLOCKED || search.next.is_none(), search.beyond) {
            return failed(point.psi, point.value, Ending::OutOfRange, Some(why), steps);
        }
        let Some(next) = search.next else {
            if fresh {
                break;
            }
            inverse = point.outer.as_ref().map_or_else(|| DMatrix::identity(p, p), first_inverse);
            fresh = true;
            continue;
        };
        steps += 1;
        fresh = false;
        let moved = &next.psi - &point.psi;
        let bent = &point.gradient - &next.gradient;
        update(&mut inverse, &moved, &bent);
        point = next;
        if (steps <= EARLY || steps % EVERY == 0) && likelihood.refresh(&point.psi) {
            match likelihood.at(point.psi.clone(), true) {
                Some(again) => point = again,
                None => return failed(point.psi, f64::NEG_INFINITY, Ending::NoValue, None, steps),
            }
        }
    }
    newton(likelihood, point, &inverse, longest, &doubt, steps)
}

/// The BFGS update of an inverse Hessian; skipped where the curvature along the step is not positive.
pub(super) fn update(inverse: &mut DMatrix<f64>, moved: &DVector<f64>, bent: &DVector<f64>) {
    let product = moved.dot(bent);
    let hb = &*inverse * bent;
    let bhb = bent.dot(&hb);
    let upright = product > 1e-10 * bhb.abs() && product.is_finite();
    if !upright {
        return;
    }
    *inverse += (moved * moved.transpose()) * ((1.0 + bhb / product) / product)
        - (&hb * moved.transpose() + moved * hb.transpose()) / product;
}

/// Scaled eigenvalues and vectors of the negative Hessian.
struct Curvature {
    eigenvalues: DVector<f64>,
    /// Columns, in the parameters' own units.
    vectors: DMatrix<f64>,
}

impl Curvature {
    fn at(likelihood: &Likelihood, point: &Point, scale: &DVector<f64>) -> Option<Self> {
        let p = scale.len();
        let mut hessian = DMatrix::zeros(p, p);
        for j in 0..p {
            let h = 0.02 * scale[j];
            let mut step = DVector::zeros(p);
            step[j] = h;
            let up = likelihood.at(&point.psi + &step, false)?;
            let down = likelihood.at(&point.psi - &step, false)?;
            hessian.set_column(j, &((down.gradient - up.gradient) / (2.0 * h)));
        }
        let scaled = DMatrix::from_fn(p, p, |i, j| 0.5 * (hessian[(i, j)] + hessian[(j, i)]) * scale[i] * scale[j]);
        if scaled.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let eigen = SymmetricEigen::try_new(scaled, f64::EPSILON, 1000)?;
        let vectors = DMatrix::from_fn(p, p, |i, j| eigen.eigenvectors[(i, j)] * scale[i]);
        Some(Self { eigenvalues: eigen.eigenvalues, vectors })
    }

    fn flat_below(&self) -> f64 {
        FLAT * self.eigenvalues.max().max(0.0)
    }

    /// The step to the maximum of the quadratic, upwards also where the curve bends the wrong way, with its decrement.
    fn step(&self, gradient: &DVector<f64>) -> (DVector<f64>, f64) {
        let along = self.vectors.transpose() * gradient;
        let flat = self.flat_below();
        // along a flat direction the gradient itself must vanish: it counts as if one unit of scale bent by 1
        let weights = self.eigenvalues.map(|l| if l.abs() <= flat { 1.0 } else { l.abs() });
        let decrement = along.iter().zip(weights.iter()).map(|(a, w)| a * a / w).sum();
        (&self.vectors * along.component_div(&weights), decrement)
    }

    fn covariance(&self) -> DMatrix<f64> {
        let flat = self.flat_below();
        let p = self.eigenvalues.len();
        let mut sum = DMatrix::zeros(p, p);
        for (l, v) in self.eigenvalues.iter().zip(self.vectors.column_iter()) {
            if *l > flat {
                sum += v * v.transpose() / *l;
            }
        }
        sum
    }

    fn flat(&self) -> Vec<DVector<f64>> {
        let below = self.flat_below();
        let columns = self.vectors.column_iter().zip(self.eigenvalues.iter());
        columns.filter(|(_, l)| l.abs() <= below).map(|(v, _)| v.into_owned()).collect()
    }
}

/// Newton's method from near the top.
fn newton(
    likelihood: &mut Likelihood,
    mut point: Point,
    inverse: &DMatrix<f64>,
    longest: &DVector<f64>,
    doubt: &impl Fn(&[f64]) -> Option<Doubt>,
    mut steps: usize,
) -> Summit {
    let p = point.psi.len();
    let mut scale = inverse.diagonal().zip_map(longest, |v, l| v.abs().sqrt().clamp(1e-6 * l, l));
    let mut ending = Ending::StepLimit;
    let mut led_beyond = None;
    let mut last: Option<(f64, Curvature)> = None;
    let mut near = false;
    let mut before_fresh = f64::INFINITY;
    for _ in 0..MAX_NEWTON {
        // a Hessian from nearby serves on while it brings the gradient down, and with it the rules of integration
        let kept = last.take().filter(|_| near).filter(|(before, c)| c.step(&point.gradient).1 <= 0.01 * before);
        near = kept.is_some();
        let kept_on = near;
        let made = match kept {
            Some((_, curvature)) => Some(curvature),
            None => {
                likelihood.refresh(&point.psi);
                likelihood.at(point.psi.clone(), false).and_then(|again| {
                    point = again;
                    Curvature::at(likelihood, &point, &scale)
                })
            }
        };
        let Some(curvature) = made else {
            ending = Ending::NoValue;
            break;
        };
        let (mut step, decrement) = curvature.step(&point.gradient);
        let upwards = curvature.eigenvalues.min() < -curvature.flat_below().max(1e-9);
        near = near || decrement <= NEARBY && !upwards;
        // near the top a fresh Hessian gains many digits; where it gains none, the rule of integration is too coarse to gain more
        let stalled = !kept_on && near && !upwards && decrement > STALLED * before_fresh;
        if !kept_on {
            before_fresh = decrement;
        }
        let covariance = curvature.covariance();
        scale = covariance.diagonal().zip_map(longest, |v, l| v.abs().sqrt().clamp(1e-6 * l, l));
        if decrement <= DECREMENT_TARGET && upwards {
            // a saddle: leave it along the direction that bends upwards most
            let k = curvature.eigenvalues.imin();
            step = curvature.vectors.column(k) * 0.5;
        }
        last = Some((decrement, curvature));
        if decrement <= DECREMENT_TARGET && !upwards {
            break;
        }
        if stalled {
            ending = Ending::Stalled;
            break;
        }
        shorten(&mut step, longest);
        let tolerance = ROUNDING * point.value.abs();
        let mut beyond = None;
        let next = halved(&step, MAX_HALVINGS, |step| {
            let psi = &point.psi + step;
            beyond = doubt(psi.as_slice());
            let next = if beyond.is_none() { likelihood.at(psi, false) } else { None };
            next.filter(|n| n.value > point.value - tolerance)
        });
        match next {
            Some(next) => {
                point = next;
                steps += 1;
            }
            // the Hessian was from nearby: once more with one from here
            None if near && kept_on => {
                last = None;
                near = false;
            }
            None => {
                (ending, led_beyond) = (if beyond.is_some() { Ending::OutOfRange } else { Ending::Stalled }, beyond);
                break;
            }
        }
    }
    let (decrement, least, flat, covariance) = match &last {
        Some((d, c)) => (*d, c.eigenvalues.min(), c.flat(), c.covariance()),
        None => (f64::INFINITY, f64::NEG_INFINITY, Vec::new(), DMatrix::zeros(p, p)),
    };
    if let Some((d, c)) = &last
        && *d <= DECREMENT_TOLERANCE
        && c.eigenvalues.min() >= -c.flat_below().max(1e-9)
        && ending != Ending::NoValue
    {
        ending = Ending::Optimum;
    }
    Summit {
        psi: point.psi,
        value: point.value,
        ending,
        beyond: led_beyond,
        steps,
        decrement,
        curvature: least,
        flat,
        covariance,
    }
}
