//! How a fit ended: what it started from, where it stopped, and whether the end is a minimum.
//!
//! **Gradient.** The relative offset of Bates & Watts 1981 (Technometrics 23:179-83) without its scaling by degrees of
//! freedom: the length of the residual vector's projection onto the tangent plane, over the length of the residual vector.
//! It is 0 at a stationary point, does not depend on the parameters' units or parameterisation, and times
//! sqrt(n - p) it bounds how far the estimate is from the stationary point, in standard errors.
//!
//! **Condition number.** Of the Jacobian with its columns scaled to length 1 (Belsley, Kuh & Welsch 1980): large when two
//! parameters do nearly the same to the curve.
//!
//! **Curvature.** The least eigenvalue of the Hessian of half the sum of squares relative to J'J: 1 for a linear model,
//! positive at a minimum, and at most 0 at a ridge or saddle, where J'J alone would still look positive.

/// The largest relative offset that counts as a vanished gradient.
pub const GRADIENT_TOLERANCE: f64 = 1e-8;
/// The largest scaled condition number at which J'J still has digits left: its square stays below 1/epsilon.
pub const CONDITION_LIMIT: f64 = 1e7;

/// How a fit ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// The gradient vanished, J'J is well conditioned, and the Hessian is positive definite: a local minimum.
    Minimum,
    /// No step lowered the sum of squares any further, yet the gradient has not vanished.
    NoDescent,
    /// The gradient had not vanished after the most iterations allowed.
    IterationLimit,
    /// The gradient vanished, but the parameters cannot be told apart (J'J is nearly singular).
    IllConditioned,
    /// The gradient vanished, but the Hessian is not positive definite.
    NotAMinimum,
    /// The curve has no finite value at the starting values.
    BadStart,
}

/// The record that every iterative fit carries.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Parameters at the start.
    pub start: Vec<f64>,
    /// Parameters at the end.
    pub end: Vec<f64>,
    /// Weighted residual sum of squares at the start; infinite if the curve has no finite value there.
    pub start_rss: f64,
    /// Weighted residual sum of squares at the end.
    pub end_rss: f64,
    /// Steps that were taken.
    pub iterations: usize,
    /// Evaluations of the curve over all observations, with its derivatives.
    pub evaluations: usize,
    /// Relative offset at the end; see the module's head.
    pub gradient: f64,
    /// Scaled condition number of the Jacobian at the end.
    pub condition_number: f64,
    /// Least eigenvalue of the Hessian relative to J'J at the end; `None` if the fit ended before it was needed.
    pub curvature: Option<f64>,
    /// How it ended.
    pub ending: Ending,
}

impl Evidence {
    /// Whether the end is a minimum, shown by gradient, condition and curvature.
    #[must_use]
    pub fn converged(&self) -> bool {
        self.ending == Ending::Minimum
    }
}
