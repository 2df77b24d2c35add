//! What a logistic regression gives.

use nalgebra::DMatrix;

use super::sums::{chances, dot};
use crate::distribution::normal_quantile;
use crate::error::{InputError, all_finite, same_length};
use crate::evidence::Evidence;
use crate::interval::{Estimate, Interval};
use crate::level::Level;

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
