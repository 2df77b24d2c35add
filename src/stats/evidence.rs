//! How a fit ended, and what shows that its end is an optimum.
//!
//! Never a count of steps or a small step: the gradient must vanish, measured as the distance to the optimum in standard
//! errors by gradient and curvature, which does not depend on the parameters' units; and no direction may lead further. Each
//! fit's head says how small a distance it asks for.

use nalgebra::DMatrix;

/// How a fit ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// The gradient vanished and no direction leads further: a local optimum.
    Optimum,
    /// No step led further, yet the gradient has not vanished.
    Stalled,
    /// The gradient had not vanished after the most steps allowed.
    StepLimit,
    /// The parameters cannot be told apart: the information is singular but for rounding.
    IllConditioned,
    /// The gradient vanished, but some direction leads further.
    Saddle,
    /// The steps lead out of the range in which the parameters mean something.
    OutOfRange,
    /// The criterion has no finite value.
    NoValue,
}

/// The record that every fit by steps carries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// What was optimised, at the end.
    pub value: f64,
    /// Steps that were taken.
    pub iterations: usize,
    /// Distance from the optimum in standard errors; infinite where it could not be computed.
    pub distance: f64,
    /// Least eigenvalue of the information, scaled to a unit diagonal or to standard errors: positive at an optimum. Infinite where
    /// nothing was free, minus infinity where it could not be computed.
    pub curvature: f64,
    /// How it ended.
    pub ending: Ending,
}

impl Evidence {
    /// Of a fit that had no finite value to start from.
    pub(crate) const NO_START: Self = Self {
        value: f64::NAN,
        iterations: 0,
        distance: f64::INFINITY,
        curvature: f64::NEG_INFINITY,
        ending: Ending::NoValue,
    };

    /// Whether the end is an optimum, shown by gradient and curvature.
    #[must_use]
    pub fn converged(&self) -> bool {
        self.ending == Ending::Optimum
    }
}

/// Least eigenvalue of a Hessian scaled to a unit diagonal.
pub(crate) fn least_scaled_eigenvalue(h: &DMatrix<f64>) -> f64 {
    let lengths = h.diagonal().map(|d| d.abs().sqrt().max(f64::MIN_POSITIVE));
    DMatrix::from_fn(h.nrows(), h.ncols(), |i, j| h[(i, j)] / (lengths[i] * lengths[j])).symmetric_eigenvalues().min()
}
