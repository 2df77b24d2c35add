//! What a logistic regression gives.

use nalgebra::DMatrix;

use super::sums::{chances, dot};
use crate::distribution::normal_quantile;
use crate::error::{InputError, all_finite, same_length};
use crate::evidence::Ending;
use crate::interval::{Estimate, Interval};
use crate::level::Level;

/// How a fit ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Parameters at the start.
    pub start: Vec<f64>,
    /// Parameters at the end.
    pub end: Vec<f64>,
    /// What was maximised, at the start (without binomial coefficients).
    pub start_log_likelihood: f64,
    /// What was maximised, at the end (without binomial coefficients).
    pub end_log_likelihood: f64,
    /// Steps that were taken.
    pub iterations: usize,
    /// Passes over the rows.
    pub evaluations: usize,
    /// Distance from the maximum in standard errors, by the gradient.
    pub gradient: f64,
    /// Least eigenvalue of the information scaled to a unit diagonal; `None` if it is not finite.
    pub curvature: Option<f64>,
    /// How it ended; `Minimum` is that of minus the log-likelihood.
    pub ending: Ending,
}

impl Evidence {
    /// Whether the end is a maximum, shown by gradient and curvature.
    #[must_use]
    pub fn converged(&self) -> bool {
        self.ending == Ending::Minimum
    }
}

/// By which method coefficients were estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Maximum likelihood.
    MaximumLikelihood,
    /// Firth's penalised likelihood.
    Firth,
}

/// A fitted logistic regression.
#[derive(Debug, Clone, PartialEq)]
pub struct LogisticFit {
    /// How the coefficients were estimated.
    pub method: Method,
    /// Log odds for one unit of each column.
    pub coefficients: Vec<f64>,
    /// Their covariance, the inverse of the information at the estimate.
    pub covariance: DMatrix<f64>,
    /// Log-likelihood at the estimate, binomial coefficients included, no penalty.
    pub log_likelihood: f64,
    /// Log-likelihood plus penalty; `None` for maximum likelihood.
    pub penalised_log_likelihood: Option<f64>,
    /// Twice the log-likelihood short of a model that fits each row exactly.
    pub deviance: f64,
    /// Rows.
    pub rows: usize,
    /// How the fit ended.
    pub evidence: Evidence,
}

impl LogisticFit {
    /// A coefficient with its standard error and Wald interval; `None` beyond the last.
    #[must_use]
    pub fn estimate(&self, column: usize, level: Level) -> Option<Estimate> {
        let value = *self.coefficients.get(column)?;
        let standard_error = self.covariance[(column, column)].sqrt();
        let z = -normal_quantile(level.tail()).ok()?;
        Some(Estimate { value, standard_error, interval: Interval::around(value, z * standard_error) })
    }

    /// Standard errors of the coefficients.
    #[must_use]
    pub fn standard_errors(&self) -> Vec<f64> {
        self.covariance.diagonal().iter().map(|v| v.sqrt()).collect()
    }

    /// The chance of a success for a row of the design; add a known part of the log odds as `offset`, else 0.
    ///
    /// # Errors
    /// If the row has another length, or a number is not finite.
    pub fn predict(&self, row: &[f64], offset: f64) -> Result<f64, InputError> {
        same_length("row", self.coefficients.len(), row.len())?;
        all_finite("row", row)?;
        all_finite("offset", &[offset])?;
        Ok(chances(dot(row, &self.coefficients) + offset).0)
    }
}
