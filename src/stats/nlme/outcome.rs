//! What can come of fitting recovery curves.

use super::fitted::RecoveryFit;
use crate::evidence::Evidence;

/// A subject's three coefficients.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coefficient {
    /// The value at time 0.
    Baseline,
    /// The value approached in the end.
    Plateau,
    /// The logarithm of the time constant.
    LogTau,
}

impl Coefficient {
    /// All, in the order in which parameters lie.
    pub const ALL: [Self; 3] = [Self::Baseline, Self::Plateau, Self::LogTau];
}

/// What came of it.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// A proven maximum with a known rate.
    Fitted(Box<RecoveryFit>),
    /// The data do not determine the curve.
    NotIdentifiable {
        /// Why.
        why: Doubt,
        /// How the fit ended, if one was tried.
        evidence: Option<Evidence>,
    },
    /// No maximum could be shown.
    NotConverged(Evidence),
    /// There is too little to fit.
    TooFewData(Shortage),
}

/// What there is too little of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shortage {
    /// What is counted.
    pub what: &'static str,
    /// How many are needed at least.
    pub needed: usize,
    /// How many there are.
    pub found: usize,
}

/// Why data do not determine the curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Doubt {
    /// No subject's values differ: there is no change whose rate could be known.
    NoChange,
    /// The covariate at this position is the same for all subjects, or follows from those before it.
    Covariate(usize),
    /// The mean curve has reached its plateau before the second measurement: any faster rate fits as well.
    PlateauAtOnce,
    /// The mean curve is a straight line over the times measured: no plateau is in sight.
    StraightLine,
    /// The standard error of the mean log tau is above [`super::LARGEST_LOG_TAU_ERROR`].
    RateUnknown,
    /// Rates differ between subjects beyond what the times can show.
    RatesUnbounded,
    /// The log-likelihood is flat along a direction that moves the mean curve.
    FlatMean,
    /// The residual SD falls towards 0.
    NoResidual,
}

/// A covariance of the random effects on the boundary of what it can be; the fit is valid, the variation is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Singular {
    /// The variance of this coefficient is 0.
    NoVariance(Coefficient),
    /// The coefficients that vary are linear functions of one another (a correlation of 1 or -1, or of all three).
    Dependent,
}
