//! Fitting: components, shares, what lies at zero, and the proof.

use super::criterion::{evaluate, moments};
use super::descent::{End, TARGET, minimise};
use super::tree::Nested;
use crate::evidence::{Ending, Evidence, least_scaled_eigenvalue};

/// The distance from the stationary point, in standard errors, that counts as none.
const GRADIENT_TOLERANCE: f64 = 1e-5;
/// The least eigenvalue of the scaled Hessian that counts as positive.
const CURVATURE_TOLERANCE: f64 = 1e-9;
/// Squares within groups below this share of the squares of all values are rounding.
const ROUNDING: f64 = 1e-20;

/// Which component.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The effect of the groups of a level, 0 being the top.
    Level(usize),
    /// What is left within the groups of the lowest level.
    Residual,
}

/// One variance component.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Which one.
    pub part: Part,
    /// Its variance, in squared units of the values; at least 0.
    pub variance: f64,
    /// Its share of the sum of all components, 0 to 1.
    pub share: f64,
    /// Where the variance is 0: the slope of the criterion there, at least 0, times the sampling variance that hides the
    /// component. `None` where it is above 0.
    pub slope_at_zero: Option<f64>,
}

impl Component {
    /// Its standard deviation, in units of the values.
    #[must_use]
    pub fn sd(&self) -> f64 {
        self.variance.sqrt()
    }
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// The mean of all groups' levels.
    pub mean: f64,
    /// Its standard error at the estimated components.
    pub mean_standard_error: f64,
    /// The components, levels from the top, then the residual.
    pub components: Vec<Component>,
    /// Minus twice the restricted log-likelihood.
    pub deviance: f64,
    /// How the fit ended.
    pub evidence: Evidence,
    /// The sampling variance that hides each component.
    pub(super) offsets: Vec<f64>,
}

impl Fit {
    /// The variances, levels from the top, then the residual.
    #[must_use]
    pub fn variances(&self) -> Vec<f64> {
        self.components.iter().map(|c| c.variance).collect()
    }

    /// The restricted log-likelihood.
    #[must_use]
    pub fn log_likelihood(&self) -> f64 {
        -self.deviance / 2.0
    }
}

/// What came of fitting.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// A minimum, with proof.
    Fitted(Box<Fit>),
    /// There is none, and why.
    NotFitted(Refusal),
}

/// Why there is no fit.
#[derive(Debug, Clone, PartialEq)]
pub enum Refusal {
    /// No minimum was shown; the evidence says why.
    NotConverged(Evidence),
    /// A level has no more groups than the one above it (the top: fewer than two): nothing tells the two apart.
    NotNested {
        /// The level, 0 being the top.
        level: usize,
    },
    /// No group of the lowest level has two values: nothing tells its effect from the residual.
    NoRepeats,
    /// All values within each group of the lowest level are equal: no residual is left to estimate.
    NoResidualVariation,
}

/// Fits the variance components of `data` by restricted maximum likelihood.
#[must_use]
pub fn fit(data: &Nested) -> Outcome {
    if let Some(why) = refuse(data) {
        return Outcome::NotFitted(why);
    }
    let (start, offsets) = moments(data);
    let mut bounds = offsets.clone();
    // the residual has no zero to reach
    bounds[data.levels()] = 0.0;
    let mut surface = |v: &[f64]| evaluate(data, v).map(|value| (value.deviance, value.gradient));
    let Some(end) = minimise(&mut surface, &start, &bounds, TARGET) else {
        return Outcome::NotFitted(Refusal::NotConverged(Evidence::NO_START));
    };
    let evidence = prove(&end);
    let (Ending::Optimum, Some(value)) = (evidence.ending, evaluate(data, &end.at.v)) else {
        return Outcome::NotFitted(Refusal::NotConverged(evidence));
    };
    let total: f64 = end.at.v.iter().sum();
    let component = |k: usize| {
        let variance = end.at.v[k];
        Component {
            part: if k == data.levels() { Part::Residual } else { Part::Level(k) },
            variance,
            share: variance / total,
            slope_at_zero: (variance == 0.0).then(|| end.at.gradient[k] * offsets[k]),
        }
    };
    Outcome::Fitted(Box::new(Fit {
        mean: data.centre + value.mu,
        mean_standard_error: value.mu_variance.sqrt(),
        components: (0..end.at.v.len()).map(component).collect(),
        deviance: value.deviance,
        evidence,
        offsets: bounds,
    }))
}

/// Data on which no fit should be tried.
fn refuse(data: &Nested) -> Option<Refusal> {
    let mut above = 1;
    for level in 0..data.levels() {
        let groups = data.groups(level)?;
        if groups <= above {
            return Some(Refusal::NotNested { level });
        }
        above = groups;
    }
    if data.leaves.len() == data.n {
        return Some(Refusal::NoRepeats);
    }
    let between: f64 = data.leaves.iter().map(|leaf| leaf.n * leaf.mean * leaf.mean).sum();
    // rounding of the values themselves, too: they were centred
    let size = between + data.within + data.n as f64 * (data.centre * f64::EPSILON).powi(2) / ROUNDING;
    // "is above", so that NaN fails
    let varies = data.within > ROUNDING * size;
    (!varies).then_some(Refusal::NoResidualVariation)
}

fn prove(end: &End) -> Evidence {
    let curvature = match &end.hessian {
        _ if end.free.is_empty() => f64::INFINITY,
        Some(hessian) => least_scaled_eigenvalue(hessian),
        None => f64::NEG_INFINITY,
    };
    // "is above", so that NaN fails
    let curved = curvature > CURVATURE_TOLERANCE;
    let ending = if !curved {
        Ending::Saddle
    } else if end.distance <= GRADIENT_TOLERANCE {
        Ending::Optimum
    } else if end.exhausted {
        Ending::StepLimit
    } else {
        Ending::Stalled
    };
    Evidence { value: end.at.deviance, iterations: end.iterations, distance: end.distance, curvature, ending }
}
