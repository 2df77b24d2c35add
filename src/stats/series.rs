//! Repeated measurements of one subject, and what models of them say: shared by the linear and the nonlinear mixed model.

/// One subject's repeated measurements, in any order; `covariates` has one length for all subjects of a fit (may be empty).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Series<'a> {
    /// When each measurement was taken.
    pub times: &'a [f64],
    /// What was measured, one value a time.
    pub values: &'a [f64],
    /// What is known of the subject and does not change.
    pub covariates: &'a [f64],
}

/// What is expected of one more measurement of a subject.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predictive {
    /// Mean of the measurement.
    pub mean: f64,
    /// Standard deviation of the subject's own curve, as far as it is unknown.
    pub sd_of_mean: f64,
    /// Standard deviation of a measurement.
    pub sd: f64,
}

/// The population at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PopulationPoint {
    /// Mean over the population.
    pub mean: f64,
    /// Standard error of that mean.
    pub standard_error: f64,
    /// Standard deviation of the subjects' curves around it.
    pub between_sd: f64,
    /// Standard deviation of a measurement around its subject's curve.
    pub residual_sd: f64,
}
