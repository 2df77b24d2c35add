//! Fitting a linear mixed model to sums of products.
//!
//! **What comes out** is one of the outcomes of [`Outcome`]: a fit with a shown minimum, or the reason why there is none.
//! A fit on the boundary (a variance of zero, effects that move as one) is a fit, and says so in `singular`.
//!
//! **When it refuses.** One subject, or no reading more than the subjects' own curves use up: nothing tells random effects
//! from residual. A fixed column that repeats those before it. Values that the fixed effects, or the subjects' own
//! curves, reproduce but for rounding: the likelihood then has no maximum.
//!
//! **Standard errors** of the fixed effects are those at the estimated Lambda, as lme4's.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

use super::block::Reduced;
use super::criterion::{Criterion, Likelihood, divisor, evaluate};
use super::descent::minimise;
use super::singular::{Singular, name};
use super::small_matrix::semidefinite_cholesky;
use crate::evidence::{Ending, Evidence};

/// What must be left of the squared length of a column after projection on those before it.
const RANK_TOLERANCE: f64 = 1e-10;
/// Sums of squares below this share of y'y are rounding.
const ROUNDING: f64 = 1e-13;

/// What came of fitting a `T`.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome<T> {
    /// A minimum, with proof.
    Fitted(Box<T>),
    /// There is none, and why.
    NotFitted(Refusal),
}

/// Why there is no fit.
#[derive(Debug, Clone, PartialEq)]
pub enum Refusal {
    /// No minimum was shown; the evidence says why.
    NotConverged(Evidence),
    /// Fewer than two subjects: nothing tells one subject's peculiarity from the population.
    TooFewSubjects {
        /// Subjects with a reading.
        found: usize,
    },
    /// No reading beyond what the fixed effects, or the subjects' own curves, use up: no residual to estimate.
    TooFewReadings {
        /// Readings needed at least.
        needed: usize,
        /// Readings there are.
        found: usize,
    },
    /// A fixed column is a linear combination of those before it.
    RankDeficient {
        /// The first such column, from 0.
        column: usize,
    },
    /// The fixed effects reproduce every value, as when all values are equal.
    NoVariation,
    /// Each subject's own curve reproduces its values: no residual is left to estimate.
    NoResidualVariation,
}

/// A fitted linear mixed model.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Which likelihood was maximised.
    pub criterion: Criterion,
    /// Fixed effects.
    pub beta: DVector<f64>,
    /// Their covariance.
    pub beta_covariance: DMatrix<f64>,
    /// Covariance of the random effects.
    pub g: DMatrix<f64>,
    /// Residual standard deviation.
    pub sigma: f64,
    /// Lower triangular Lambda with G = sigma2 Lambda Lambda'; no negative diagonal.
    pub lambda: DMatrix<f64>,
    /// Entries (row, column) of Lambda that were free; the others are 0.
    pub free: Vec<(usize, usize)>,
    /// Covariance of those entries, from the curvature of the criterion.
    pub lambda_covariance: DMatrix<f64>,
    /// Minus twice the (restricted) log-likelihood.
    pub deviance: f64,
    /// Degrees of freedom of sigma2: readings, less the fixed effects for REML.
    pub degrees_of_freedom: f64,
    /// Subjects with a reading.
    pub subjects: usize,
    /// Readings.
    pub readings: usize,
    /// What lies on the boundary, if anything does.
    pub singular: Option<Singular>,
    /// Least slope of the criterion in a direction off the boundary, as a share of the information; `None` where nothing lies on it.
    pub boundary_slope: Option<f64>,
    /// How the fit ended.
    pub evidence: Evidence,
}

impl Fit {
    /// The (restricted) log-likelihood.
    #[must_use]
    pub fn log_likelihood(&self) -> f64 {
        -self.deviance / 2.0
    }

    /// Standard errors of the fixed effects.
    #[must_use]
    pub fn standard_errors(&self) -> DVector<f64> {
        self.beta_covariance.diagonal().map(f64::sqrt)
    }

    /// Standard deviation of a random effect; `None` beyond the last.
    #[must_use]
    pub fn random_sd(&self, effect: usize) -> Option<f64> {
        (effect < self.g.nrows()).then(|| self.g[(effect, effect)].max(0.0).sqrt())
    }

    /// Correlation of two random effects; `None` beyond the last or if a variance is zero.
    #[must_use]
    pub fn correlation(&self, first: usize, second: usize) -> Option<f64> {
        let product = self.random_sd(first)? * self.random_sd(second)?;
        (product > 0.0).then(|| (self.g[(first, second)] / product).clamp(-1.0, 1.0))
    }
}

/// Fits the model whose data are reduced to `data`.
#[must_use]
pub fn fit_blocks<const Q: usize, const P: usize>(data: &Reduced<Q, P>, criterion: Criterion) -> Outcome<Fit> {
    fit_blocks_from(data, criterion, None)
}

/// Fits as [`fit_blocks`], starting the descent at the relative factor `start` (one near the answer saves passes; a start
/// with a column of zeros stays on the boundary unless the criterion falls off it).
#[must_use]
pub fn fit_blocks_from<const Q: usize, const P: usize>(
    data: &Reduced<Q, P>,
    criterion: Criterion,
    start: Option<&SMatrix<f64, Q, Q>>,
) -> Outcome<Fit> {
    if let Some(why) = refuse(data) {
        return Outcome::NotFitted(why);
    }
    let Some(end) = minimise(&mut Likelihood::new(data, criterion), start) else {
        return Outcome::NotFitted(Refusal::NotConverged(Evidence::NO_START));
    };
    let proven = end.covariance.filter(|_| end.evidence.ending == Ending::Optimum);
    let (Some(lambda_covariance), Some(value)) = (proven, evaluate(data, &end.lambda, criterion)) else {
        return Outcome::NotFitted(Refusal::NotConverged(end.evidence));
    };
    let p = data.fixed;
    let scales = data.random_scales();
    let scaled = SMatrix::<f64, Q, Q>::from_fn(|i, j| value.lambda[(i, j)] * scales[i]);
    let g = value.lambda * value.lambda.transpose() * value.sigma2;
    Outcome::Fitted(Box::new(Fit {
        criterion,
        beta: DVector::from_fn(p, |j, _| value.beta[j]),
        beta_covariance: DMatrix::from_fn(p, p, |i, j| value.unscaled[(i, j)] * value.sigma2),
        g: DMatrix::from_fn(Q, Q, |i, j| g[(i, j)]),
        sigma: value.sigma2.sqrt(),
        lambda: DMatrix::from_fn(Q, Q, |i, j| value.lambda[(i, j)]),
        free: end.free,
        lambda_covariance,
        deviance: value.deviance,
        degrees_of_freedom: divisor(data, criterion),
        subjects: data.blocks.len(),
        readings: data.readings,
        singular: name(&scaled),
        boundary_slope: end.boundary_slope,
        evidence: end.evidence,
    }))
}

/// Data on which no fit should be tried.
fn refuse<const Q: usize, const P: usize>(data: &Reduced<Q, P>) -> Option<Refusal> {
    if data.blocks.len() < 2 {
        return Some(Refusal::TooFewSubjects { found: data.blocks.len() });
    }
    let factor = semidefinite_cholesky(&data.xx, |j| RANK_TOLERANCE * data.xx[(j, j)]);
    if let Some(column) = (0..data.fixed).find(|&j| factor[(j, j)] == 0.0) {
        return Some(Refusal::RankDeficient { column });
    }
    let mut used_up = 0;
    let mut within = data.yy;
    for block in &data.blocks {
        let factor = semidefinite_cholesky(&block.zz, |j| 1e-12 * block.zz[(j, j)]);
        used_up += (0..Q).filter(|&j| factor[(j, j)] > 0.0).count();
        within -= projection(&factor, block.zy).norm_squared();
    }
    let needed = used_up.max(data.fixed) + 1;
    if data.readings < needed {
        return Some(Refusal::TooFewReadings { needed, found: data.readings });
    }
    let left = data.yy - projection(&factor, data.xy).norm_squared();
    // "is above", so that NaN fails
    let above_rounding = |squares: f64| squares > ROUNDING * data.yy;
    if !above_rounding(left) {
        return Some(Refusal::NoVariation);
    }
    (!above_rounding(within)).then_some(Refusal::NoResidualVariation)
}

/// L^-1 b, leaving out the columns of zeros: the coordinates of y's projection onto the columns.
fn projection<const N: usize>(l: &SMatrix<f64, N, N>, mut b: SVector<f64, N>) -> SVector<f64, N> {
    for i in 0..N {
        if l[(i, i)] > 0.0 {
            let left = b[i] - (0..i).map(|k| l[(i, k)] * b[k]).sum::<f64>();
            b[i] = left / l[(i, i)];
        } else {
            b[i] = 0.0;
        }
    }
    b
}

#[cfg(test)]
mod tests;
