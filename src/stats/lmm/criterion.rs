//! The profiled likelihood of a linear mixed model and its derivatives, from sums of products alone.
//!
//! **Formula.** y = X beta + Z u + e, u ~ N(0, sigma2 Lambda Lambda'), e ~ N(0, sigma2 I), by subject. With
//! V = I + Z Lambda Lambda' Z' and L L' = I + Lambda' Z'Z Lambda of each subject, r2 = min over beta of
//! sum (y - X beta)' V^-1 (y - X beta), n readings and p fixed effects, minus twice the log-likelihood, profiled over beta
//! and sigma, is (Bates et al. 2015, J Stat Softw 67(1), equations 34 and 41)
//!
//! - ML: 2 sum log|L| + n (1 + log(2 pi r2 / n))
//! - REML: 2 sum log|L| + log|X' V^-1 X| + (n - p)(1 + log(2 pi r2 / (n - p)))
//!
//! **Gradient.** As a function of G = Lambda Lambda' its derivative is the matrix
//! S = sum (Z'V^-1 Z - u u' m / r2 - Z'V^-1 X (X'V^-1X)^-1 X'V^-1 Z), u = Z'V^-1 (y - X beta), the last term for REML only
//! and m = n or n - p; by the entry (a, b) of Lambda it is 2 (S Lambda)[a, b].
//!
//! **Curvature.** Expected second derivative by G in the directions D and E: sum tr(A D A E) - (sum tr(A D))(sum tr(A E))
//! / m with A = Z'V^-1 Z (the average information without its REML term), plus S in the direction of the second
//! derivative of Lambda Lambda'.
//!
//! **Cost.** Value: one pass over the subjects, O(Q2 P) each; derivatives: a second one. Subjects are worked on side by
//! side in runs of a fixed length and the runs added in order, so the number of threads does not change a bit.

use nalgebra::{SMatrix, SVector};
use rayon::prelude::*;

use super::block::{Block, Reduced};
use super::small_matrix::{backward, cholesky, forward, inverse, log_determinant, solve};

/// Subjects in one piece of work.
const RUN: usize = 256;

/// Which likelihood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Criterion {
    /// Maximum likelihood.
    Ml,
    /// Restricted (residual) maximum likelihood.
    Reml,
}

/// The criterion at one Lambda, with what follows from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Value<const Q: usize, const P: usize> {
    /// The lower triangular relative factor at which this holds.
    pub lambda: SMatrix<f64, Q, Q>,
    /// Minus twice the profiled (restricted) log-likelihood.
    pub deviance: f64,
    /// Fixed effects, generalised least squares; 0 for columns out of use.
    pub beta: SVector<f64, P>,
    /// (X' V^-1 X)^-1, 0 for columns out of use: times sigma2, the covariance of beta.
    pub unscaled: SMatrix<f64, P, P>,
    /// Residual variance.
    pub sigma2: f64,
}

/// Derivatives of the criterion.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Derivatives<const Q: usize> {
    /// By G = Lambda Lambda'.
    pub by_g: SMatrix<f64, Q, Q>,
    /// By Lambda: the lower triangle counts.
    pub by_lambda: SMatrix<f64, Q, Q>,
    /// Sum over subjects of A[a, b] A[c, d].
    information: Vec<f64>,
    /// Sum over subjects of A.
    a: SMatrix<f64, Q, Q>,
    /// n or n - p.
    m: f64,
}

/// One subject seen at Lambda: L^-1 Lambda' Z' times Z, X and y, and L itself.
struct Seen<const Q: usize, const P: usize> {
    l: SMatrix<f64, Q, Q>,
    z: SMatrix<f64, Q, Q>,
    x: SMatrix<f64, Q, P>,
    y: SVector<f64, Q>,
}

#[inline]
fn see<const Q: usize, const P: usize>(block: &Block<Q, P>, lambda: &SMatrix<f64, Q, Q>) -> Option<Seen<Q, P>> {
    let turned = lambda.transpose();
    let z = turned * block.zz;
    let l = cholesky(&(z * lambda + SMatrix::identity()))?;
    Some(Seen { z: forward(&l, z), x: forward(&l, turned * block.zx), y: forward(&l, turned * block.zy), l })
}

/// What a run of subjects adds to the value.
struct ValueSums<const P: usize> {
    log_det: f64,
    xx: SMatrix<f64, P, P>,
    xy: SVector<f64, P>,
    yy: f64,
}

/// Degrees of freedom in the criterion: n, or n - p.
pub(super) fn divisor<const Q: usize, const P: usize>(data: &Reduced<Q, P>, criterion: Criterion) -> f64 {
    match criterion {
        Criterion::Ml => data.readings as f64,
        Criterion::Reml => data.readings as f64 - data.fixed as f64,
    }
}

/// The criterion at `lambda`; `None` where it has no finite value: no more readings than fixed effects, X'V^-1X singular,
/// or nothing left to explain.
#[must_use]
pub fn evaluate<const Q: usize, const P: usize>(
    data: &Reduced<Q, P>,
    lambda: &SMatrix<f64, Q, Q>,
    criterion: Criterion,
) -> Option<Value<Q, P>> {
    let runs: Vec<Option<ValueSums<P>>> = data.blocks.par_chunks(RUN).map(|run| value_sums(run, lambda)).collect();
    let (mut log_det, mut xx, mut xy, mut yy) = (0.0, data.xx, data.xy, data.yy);
    for run in runs {
        let run = run?;
        log_det += run.log_det;
        xx -= run.xx;
        xy -= run.xy;
        yy -= run.yy;
    }
    for j in data.fixed..P {
        xx[(j, j)] = 1.0; // a column out of use: coefficient 0, log-determinant 0
    }
    let factor = cholesky(&xx)?;
    let beta = solve(&factor, xy);
    let r2 = yy - beta.dot(&xy);
    let m = divisor(data, criterion);
    if !(r2 > 0.0 && m > 0.0) {
        return None;
    }
    let sigma2 = r2 / m;
    let restricted = match criterion {
        Criterion::Ml => 0.0,
        Criterion::Reml => log_determinant(&factor),
    };
    let deviance = log_det + restricted + m * (1.0 + (2.0 * std::f64::consts::PI * sigma2).ln());
    let mut unscaled = inverse(&factor);
    for j in data.fixed..P {
        unscaled[(j, j)] = 0.0;
    }
    deviance.is_finite().then_some(Value { lambda: *lambda, deviance, beta, unscaled, sigma2 })
}

fn value_sums<const Q: usize, const P: usize>(
    run: &[Block<Q, P>],
    lambda: &SMatrix<f64, Q, Q>,
) -> Option<ValueSums<P>> {
    let mut sums = ValueSums { log_det: 0.0, xx: SMatrix::zeros(), xy: SVector::zeros(), yy: 0.0 };
    for block in run {
        let s = see(block, lambda)?;
        sums.log_det += log_determinant(&s.l);
        for i in 0..P {
            for j in 0..=i {
                let mut product = 0.0;
                for q in 0..Q {
                    product += s.x[(q, i)] * s.x[(q, j)];
                }
                sums.xx[(i, j)] += product;
            }
        }
        sums.xy += s.x.transpose() * s.y;
        sums.yy += s.y.norm_squared();
    }
    Some(sums)
}

/// What a run of subjects adds to the derivatives.
struct DerivativeSums<const Q: usize> {
    by_g: SMatrix<f64, Q, Q>,
    by_lambda: SMatrix<f64, Q, Q>,
    a: SMatrix<f64, Q, Q>,
    information: Vec<f64>,
}

/// Derivatives of the criterion where `at` was evaluated; `None` if they are not finite.
pub(super) fn derivatives<const Q: usize, const P: usize>(
    data: &Reduced<Q, P>,
    at: &Value<Q, P>,
    criterion: Criterion,
) -> Option<Derivatives<Q>> {
    let unscaled = match criterion {
        Criterion::Ml => SMatrix::zeros(),
        Criterion::Reml => at.unscaled,
    };
    let runs: Vec<Option<DerivativeSums<Q>>> =
        data.blocks.par_chunks(RUN).map(|run| derivative_sums(run, at, &unscaled)).collect();
    let mut sums = DerivativeSums::empty();
    for run in runs {
        let run = run?;
        sums.by_g += run.by_g;
        sums.by_lambda += run.by_lambda;
        sums.a += run.a;
        sums.information.iter_mut().zip(&run.information).for_each(|(s, r)| *s += r);
    }
    let finite = sums.by_g.iter().chain(&sums.by_lambda).chain(&sums.information).all(|v| v.is_finite());
    finite.then(|| Derivatives {
        by_g: sums.by_g,
        by_lambda: sums.by_lambda,
        information: sums.information,
        a: sums.a,
        m: divisor(data, criterion),
    })
}

impl<const Q: usize> DerivativeSums<Q> {
    fn empty() -> Self {
        let packed = Q * (Q + 1) / 2;
        Self {
            by_g: SMatrix::zeros(),
            by_lambda: SMatrix::zeros(),
            a: SMatrix::zeros(),
            information: vec![0.0; packed * (packed + 1) / 2],
        }
    }
}

fn derivative_sums<const Q: usize, const P: usize>(
    run: &[Block<Q, P>],
    at: &Value<Q, P>,
    unscaled: &SMatrix<f64, P, P>,
) -> Option<DerivativeSums<Q>> {
    let restricted = unscaled.iter().any(|v| *v != 0.0);
    let mut sums = DerivativeSums::empty();
    for block in run {
        let s = see(block, &at.lambda)?;
        let turned = s.z.transpose();
        let residual = s.y - s.x * at.beta; // L^-1 Lambda' Z' (y - X beta)
        let a = block.zz - turned * s.z;
        let u = block.zy - block.zx * at.beta - turned * residual;
        // Lambda' times Z'V^-1Z, u and Z'V^-1X, without the cancellation that dividing by Lambda would undo
        let a_lambda = backward(&s.l, s.z).transpose();
        let u_lambda = backward(&s.l, residual).transpose() / at.sigma2;
        sums.by_g += a - u * u.transpose() / at.sigma2;
        sums.by_lambda += a_lambda - u * u_lambda;
        if restricted {
            let spread = (block.zx - turned * s.x) * unscaled;
            let x_lambda = backward(&s.l, s.x);
            sums.by_g -= spread * (block.zx - turned * s.x).transpose();
            sums.by_lambda -= spread * x_lambda.transpose();
        }
        sums.a += a;
        let mut at_entry = 0;
        for i in 0..Q {
            for j in 0..=i {
                for k in 0..=i {
                    for l in 0..=(if k == i { j } else { k }) {
                        sums.information[at_entry] += a[(i, j)] * a[(k, l)];
                        at_entry += 1;
                    }
                }
            }
        }
    }
    sums.by_lambda *= 2.0;
    Some(sums)
}

/// The criterion as a function of Lambda alone: what a descent needs to see of it, whatever the number of fixed effects.
pub(super) trait Surface<const Q: usize> {
    /// The criterion; `None` where it has no finite value.
    fn value(&mut self, lambda: &SMatrix<f64, Q, Q>) -> Option<f64>;
    /// Its derivatives; cheaper where the value was asked last.
    fn derivatives(&mut self, lambda: &SMatrix<f64, Q, Q>) -> Option<Derivatives<Q>>;
    /// Root mean square of each random column over the readings; 0 for a column of zeros.
    fn scales(&self) -> SVector<f64, Q>;
    /// A difference of the criterion that may be rounding where its value is `deviance`.
    fn noise(&self, deviance: f64) -> f64;
}

/// The criterion of some data.
pub(super) struct Likelihood<'a, const Q: usize, const P: usize> {
    pub data: &'a Reduced<Q, P>,
    pub criterion: Criterion,
    /// The value asked last.
    last: Option<Value<Q, P>>,
}

impl<'a, const Q: usize, const P: usize> Likelihood<'a, Q, P> {
    pub(super) fn new(data: &'a Reduced<Q, P>, criterion: Criterion) -> Self {
        Self { data, criterion, last: None }
    }
}

impl<const Q: usize, const P: usize> Surface<Q> for Likelihood<'_, Q, P> {
    fn value(&mut self, lambda: &SMatrix<f64, Q, Q>) -> Option<f64> {
        self.last = evaluate(self.data, lambda, self.criterion);
        self.last.as_ref().map(|value| value.deviance)
    }

    fn derivatives(&mut self, lambda: &SMatrix<f64, Q, Q>) -> Option<Derivatives<Q>> {
        if self.last.as_ref().is_none_or(|value| value.lambda != *lambda) {
            self.value(lambda)?;
        }
        derivatives(self.data, self.last.as_ref()?, self.criterion)
    }

    fn scales(&self) -> SVector<f64, Q> {
        self.data.random_scales()
    }

    fn noise(&self, deviance: f64) -> f64 {
        let readings = self.data.readings as f64;
        // r2 is a small difference of sums as large as y'y, and the criterion has m log r2
        let cancelled = self.last.as_ref().map_or(0.0, |value| self.data.yy / value.sigma2);
        1e-13 * (deviance.abs() + readings) + 4.0 * f64::EPSILON * cancelled
    }
}

impl<const Q: usize> Derivatives<Q> {
    /// The mean over random effects of A's diagonal, in units in which the random columns have root mean square 1.
    pub(super) fn mean_information(&self, scales: &SVector<f64, Q>) -> f64 {
        let sum: f64 = (0..Q).map(|i| self.a[(i, i)] / (scales[i] * scales[i])).sum();
        (sum / Q as f64).max(f64::MIN_POSITIVE)
    }

    /// Sum over subjects of A[i, j] A[k, l].
    fn product(&self, i: usize, j: usize, k: usize, l: usize) -> f64 {
        let packed = |i: usize, j: usize| if i >= j { i * (i + 1) / 2 + j } else { j * (j + 1) / 2 + i };
        let (first, second) = (packed(i, j), packed(k, l));
        let (high, low) = if first >= second { (first, second) } else { (second, first) };
        self.information[high * (high + 1) / 2 + low]
    }

    /// The expected second derivative by the entries `first` and `second` of Lambda, each (row, column).
    pub(super) fn curvature(&self, lambda: &SMatrix<f64, Q, Q>, first: (usize, usize), second: (usize, usize)) -> f64 {
        // the direction of entry (a, b) is e_a Lambda[., b]' + Lambda[., b] e_a'; A is symmetric, so of the four products
        // two and two are equal
        let ((a, b), (c, d)) = (first, second);
        let mut product = 0.0;
        let (mut trace_first, mut trace_second) = (0.0, 0.0);
        for i in 0..Q {
            trace_first += 2.0 * self.a[(a, i)] * lambda[(i, b)];
            trace_second += 2.0 * self.a[(c, i)] * lambda[(i, d)];
            for j in 0..Q {
                let weight = lambda[(i, b)] * lambda[(j, d)];
                product += 2.0 * weight * (self.product(i, c, j, a) + self.product(i, j, c, a));
            }
        }
        let bend = if b == d { 2.0 * self.by_g[(a, c)] } else { 0.0 };
        product - trace_first * trace_second / self.m + bend
    }
}

#[cfg(test)]
mod tests;
