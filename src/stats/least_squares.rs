//! Weighted nonlinear least squares.
//!
//! **Formula.** Minimise sum w (y - f(theta))2 by Levenberg's and Marquardt's method in Moré's form (Moré 1978, Lecture
//! Notes in Mathematics 630:105-16): each step solves the least squares problem with rows J and sqrt(lambda) D, D the
//! largest length yet seen of each of J's columns; lambda moves by the gain ratio (Nielsen 1999, Technical Report
//! IMM-REP-1999-05, Technical University of Denmark). Everything is done by QR, never from J'J. Covariance
//! s2 (J'J)^-1 with s2 = RSS / (n - p) (Bates & Watts 1988, chapter 2).
//!
//! **Convergence** is shown at the end by three tests, never by a count of iterations or a small step; see
//! [`crate::evidence`]. A fit that fails one is an [`Outcome::NotConverged`], without estimates to use by mistake.
//!
//! **Domain and edge cases.** More observations than parameters; positive weights. A step to where the curve has no
//! finite value is rejected and shortened. Data on the curve exactly: standard errors about 0.
//!
//! **Published values.** NIST StRD nonlinear sets with certified values, from both starts: folders `nist_*`.

use nalgebra::{DMatrix, DVector};

use crate::error::{InputError, all_finite, at_least, positive_weights};
use crate::evidence::{CONDITION_LIMIT, Ending, Evidence, GRADIENT_TOLERANCE};
use crate::sum::sum;

/// The iteration stops early when the relative offset is below this, well below what is asked in the end.
const GRADIENT_TARGET: f64 = 1e-11;
/// Steps, taken or rejected, after which a fit is given up.
const MAX_STEPS: usize = 5000;
/// Damping at the start, relative to the squared length of J's columns: short first steps, nearly downhill, since a long one
/// can end where the curve is flat in a parameter and no way leads back (BoxBOD from its first start).
const FIRST_DAMPING: f64 = 1e3;
/// Damping beyond which a step no longer changes any parameter.
const LAST_DAMPING: f64 = 1e30;
/// Residuals below this share of the data count as this large in the relative offset, or it would be noise over noise.
const EXACT_FIT: f64 = 1e-5;

/// A curve: given the parameters and the index of an observation, writes the derivatives by each parameter into the
/// slice and returns the value.
pub type Curve<'a> = dyn Fn(&[f64], usize, &mut [f64]) -> f64 + 'a;

/// What came of a fit.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// A local minimum, with proof.
    Converged(Fit),
    /// No minimum was shown; the evidence says why.
    NotConverged(Evidence),
}

/// A fit that has converged.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Parameters, in the curve's order.
    pub estimates: Vec<f64>,
    /// Covariance of the parameters.
    pub covariance: DMatrix<f64>,
    /// Square roots of the covariance's diagonal.
    pub standard_errors: Vec<f64>,
    /// Weighted residual sum of squares.
    pub rss: f64,
    /// Residual standard deviation for an observation of weight 1.
    pub residual_sd: f64,
    /// Observations less parameters.
    pub degrees_of_freedom: usize,
    /// How the fit ended.
    pub evidence: Evidence,
}

/// Fits `curve` to `y` from the parameters `start`; `weights` are inversely proportional to variances, 1 if `None`.
///
/// # Errors
/// If there are no more observations than parameters, a number is not finite, or a weight is not positive.
pub fn least_squares(curve: &Curve, y: &[f64], weights: Option<&[f64]>, start: &[f64]) -> Result<Outcome, InputError> {
    at_least("parameters", 1, start.len())?;
    at_least("observations", start.len() + 1, y.len())?;
    all_finite("observations", y)?;
    all_finite("starting values", start)?;
    if let Some(weights) = weights {
        positive_weights(weights, y.len())?;
    }
    let root_weights: Option<Vec<f64>> = weights.map(|w| w.iter().map(|w| w.sqrt()).collect());
    let squares = (0..y.len()).map(|i| weights.map_or(1.0, |w| w[i]) * y[i] * y[i]);
    let data_length = sum(squares).sqrt();
    Ok(Problem { curve, y, root_weights, data_length }.solve(start))
}

struct Problem<'a> {
    curve: &'a Curve<'a>,
    y: &'a [f64],
    root_weights: Option<Vec<f64>>,
    /// Length of the weighted observations as a vector.
    data_length: f64,
}

/// The curve at some parameters, seen from the data.
struct Point {
    theta: DVector<f64>,
    rss: f64,
    /// Upper triangle of J = QR.
    r: DMatrix<f64>,
    /// Q'(y - f), the residuals' projection onto the tangent plane.
    projected: DVector<f64>,
    /// Lengths of J's columns.
    column_lengths: DVector<f64>,
    /// Relative offset.
    gradient: f64,
}

impl Problem<'_> {
    fn root_weight(&self, i: usize) -> f64 {
        self.root_weights.as_ref().map_or(1.0, |w| w[i])
    }

    /// Weighted residuals and Jacobian; `None` if any is not finite.
    fn residuals(&self, theta: &DVector<f64>) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let (n, p) = (self.y.len(), theta.len());
        let mut residuals = DVector::zeros(n);
        let mut jacobian = DMatrix::zeros(n, p);
        let mut gradient = vec![0.0; p];
        for i in 0..n {
            let w = self.root_weight(i);
            residuals[i] = w * (self.y[i] - (self.curve)(theta.as_slice(), i, &mut gradient));
            for (j, derivative) in gradient.iter().enumerate() {
                jacobian[(i, j)] = w * derivative;
            }
        }
        let finite = residuals.iter().chain(jacobian.iter()).all(|v| v.is_finite());
        finite.then_some((residuals, jacobian))
    }

    fn point(&self, theta: DVector<f64>) -> Option<Point> {
        let (mut residuals, jacobian) = self.residuals(&theta)?;
        let rss = sum(residuals.iter().map(|r| r * r));
        let column_lengths = DVector::from_fn(theta.len(), |j, _| jacobian.column(j).norm());
        if !(rss.is_finite() && column_lengths.iter().all(|l| l.is_finite())) {
            return None;
        }
        let qr = jacobian.qr();
        qr.q_tr_mul(&mut residuals);
        let projected = residuals.rows(0, theta.len()).into_owned();
        let length = rss.sqrt() + EXACT_FIT * self.data_length;
        let gradient = if length > 0.0 { projected.norm() / length } else { 0.0 };
        Some(Point { theta, rss, r: qr.r(), projected, column_lengths, gradient })
    }

    /// Rounding error of the sum of squares at `point`: each residual is a difference of numbers as large as the data.
    fn rounding(&self, point: &Point) -> f64 {
        4.0 * f64::EPSILON * (point.rss + point.rss.sqrt() * self.data_length)
    }

    fn solve(&self, start: &[f64]) -> Outcome {
        let mut evidence = Evidence {
            start: start.to_vec(),
            end: start.to_vec(),
            start_rss: f64::INFINITY,
            end_rss: f64::INFINITY,
            iterations: 0,
            evaluations: 1,
            gradient: f64::INFINITY,
            condition_number: f64::INFINITY,
            curvature: None,
            ending: Ending::BadStart,
        };
        let Some(first) = self.point(DVector::from_column_slice(start)) else {
            return Outcome::NotConverged(evidence);
        };
        evidence.start_rss = first.rss;
        let (point, descent_ended) = self.descend(first, &mut evidence);
        evidence.end = point.theta.as_slice().to_vec();
        evidence.end_rss = point.rss;
        evidence.gradient = point.gradient;
        evidence.condition_number = condition_number(&point);
        let gradient_vanished = point.gradient <= GRADIENT_TOLERANCE;
        let well_conditioned = evidence.condition_number <= CONDITION_LIMIT;
        evidence.ending = if gradient_vanished && well_conditioned {
            evidence.curvature = self.curvature(&point);
            match evidence.curvature {
                Some(least) if least > 0.0 => Ending::Minimum,
                _ => Ending::NotAMinimum,
            }
        } else if gradient_vanished {
            Ending::IllConditioned
        } else {
            descent_ended
        };
        if evidence.converged() { self.finish(point, evidence) } else { Outcome::NotConverged(evidence) }
    }

    /// Steps downhill until the gradient vanishes or no step helps; says why it would have stopped if not for the gradient.
    fn descend(&self, first: Point, evidence: &mut Evidence) -> (Point, Ending) {
        let mut point = first;
        let mut scale = point.column_lengths.map(|l| if l > 0.0 { l } else { 1.0 });
        let (mut damping, mut growth) = (FIRST_DAMPING, 2.0);
        for _ in 0..MAX_STEPS {
            if point.gradient <= GRADIENT_TARGET {
                return (point, Ending::Minimum);
            }
            let step = damped_step(&point, &scale, damping);
            let foreseen =
                (&point.r * &step).norm_squared() + 2.0 * damping * scale.component_mul(&step).norm_squared();
            evidence.evaluations += 1;
            let next = self.point(&point.theta + &step);
            let rounding = self.rounding(&point);
            let better = next.filter(|next| is_better(next, &point, rounding));
            if let Some(next) = better {
                // a gain below what rounding can show says nothing against the step
                let gain = ((point.rss - next.rss) / foreseen).clamp(0.0, 1.0);
                let gain = if foreseen > 100.0 * rounding { gain } else { 1.0 };
                damping = (damping * (1.0 - (2.0 * gain - 1.0).powi(3)).max(1.0 / 3.0)).max(f64::MIN_POSITIVE);
                growth = 2.0;
                evidence.iterations += 1;
                point = next;
                scale = scale.zip_map(&point.column_lengths, f64::max);
            } else {
                damping *= growth;
                growth *= 2.0;
                if damping > LAST_DAMPING || !step.iter().all(|s| s.is_finite()) {
                    return (point, Ending::NoDescent);
                }
            }
        }
        (point, Ending::IterationLimit)
    }

    /// Least eigenvalue of R'^-1 H R^-1, H the Hessian of half the sum of squares by central differences of its gradient
    /// along the columns of R^-1, in which J'J is the identity.
    fn curvature(&self, point: &Point) -> Option<f64> {
        let p = point.theta.len();
        let n = self.y.len() as f64;
        let h = 1e-3 * (point.rss.sqrt() + EXACT_FIT * self.data_length) / n.sqrt();
        let gradient = |theta: DVector<f64>| -> Option<DVector<f64>> {
            let (residuals, jacobian) = self.residuals(&theta)?;
            point.r.tr_solve_upper_triangular(&-(jacobian.transpose() * residuals))
        };
        let mut hessian = DMatrix::zeros(p, p);
        for k in 0..p {
            let unit = DVector::from_fn(p, |j, _| if j == k { h } else { 0.0 });
            let step = point.r.solve_upper_triangular(&unit)?;
            let difference = gradient(&point.theta + &step)? - gradient(&point.theta - &step)?;
            hessian.set_column(k, &(difference / (2.0 * h)));
        }
        let symmetric = (&hessian + hessian.transpose()) / 2.0;
        let least = symmetric.symmetric_eigenvalues().min();
        least.is_finite().then_some(least)
    }

    fn finish(&self, point: Point, mut evidence: Evidence) -> Outcome {
        let p = point.theta.len();
        let degrees_of_freedom = self.y.len() - p;
        let variance = point.rss / degrees_of_freedom as f64;
        let Some(inverse) = point.r.solve_upper_triangular(&DMatrix::identity(p, p)) else {
            evidence.ending = Ending::IllConditioned;
            return Outcome::NotConverged(evidence);
        };
        let covariance = variance * &inverse * inverse.transpose();
        Outcome::Converged(Fit {
            estimates: point.theta.as_slice().to_vec(),
            standard_errors: covariance.diagonal().iter().map(|v| v.sqrt()).collect(),
            covariance,
            rss: point.rss,
            residual_sd: variance.sqrt(),
            degrees_of_freedom,
            evidence,
        })
    }
}

/// Least squares solution of R s = Q'(y - f) together with sqrt(damping) D s = 0.
fn damped_step(point: &Point, scale: &DVector<f64>, damping: f64) -> DVector<f64> {
    let p = point.theta.len();
    let mut rows = DMatrix::zeros(2 * p, p);
    rows.view_mut((0, 0), (p, p)).copy_from(&point.r);
    for j in 0..p {
        rows[(p + j, j)] = damping.sqrt() * scale[j];
    }
    let mut right = DVector::zeros(2 * p);
    right.rows_mut(0, p).copy_from(&point.projected);
    let qr = rows.qr();
    qr.q_tr_mul(&mut right);
    let top = right.rows(0, p).into_owned();
    qr.r().solve_upper_triangular(&top).unwrap_or_else(|| DVector::zeros(p))
}

/// Whether a trial point improves on the present one. Near the minimum the sums of squares agree to rounding, since they
/// differ by the square of the gradient; there the gradient decides.
fn is_better(next: &Point, present: &Point, rounding: f64) -> bool {
    if next.rss < present.rss - rounding {
        true
    } else {
        next.rss <= present.rss + rounding && next.gradient < present.gradient
    }
}

/// Ratio of the largest to the least singular value of J with its columns scaled to length 1; infinite if one vanishes.
fn condition_number(point: &Point) -> f64 {
    if point.column_lengths.iter().any(|l| *l == 0.0) {
        return f64::INFINITY;
    }
    let mut scaled = point.r.clone();
    for (j, length) in point.column_lengths.iter().enumerate() {
        scaled.column_mut(j).unscale_mut(*length);
    }
    let singular = scaled.singular_values();
    let least = singular.min();
    if least > 0.0 { singular.max() / least } else { f64::INFINITY }
}

#[cfg(test)]
mod tests;
