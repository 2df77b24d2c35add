//! A model whose parameters are given rather than fitted: those of another program, or of a simulation.

use nalgebra::Matrix3;

use super::fitted::{Fineness, posterior_with};
use super::parameters::{Factor, Parameters};
use super::posterior::Posterior;
use super::start::check_one;
use crate::error::{InputError, all_finite};
use crate::series::Series;
use crate::sum::sum;

/// Parameters of the recovery curve, all of them.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownParameters {
    parameters: Parameters,
    covariates: usize,
}

impl KnownParameters {
    /// `fixed_effects`: means of baseline, plateau and log tau, of each an intercept, then one slope a covariate;
    /// `random_covariance`: of (baseline, plateau, log tau) between subjects, positive semidefinite.
    ///
    /// # Errors
    /// If a number is not finite, the residual SD is not positive, the number of fixed effects is not a positive multiple of 3, or
    /// the covariance is not one.
    pub fn new(fixed_effects: &[f64], random_covariance: &Matrix3<f64>, residual_sd: f64) -> Result<Self, InputError> {
        all_finite("fixed effects", fixed_effects)?;
        all_finite("random covariance", random_covariance.as_slice())?;
        if fixed_effects.is_empty() || !fixed_effects.len().is_multiple_of(3) {
            return Err(InputError::OutOfRange { what: "number of fixed effects", domain: "a multiple of 3" });
        }
        if !(residual_sd > 0.0 && residual_sd.is_finite()) {
            return Err(InputError::OutOfRange { what: "residual SD", domain: "positive and finite" });
        }
        let factor = Factor::of(random_covariance);
        let lost = (factor.covariance() - random_covariance).norm();
        if lost > 1e-6 * random_covariance.norm() {
            return Err(InputError::OutOfRange {
                what: "random covariance",
                domain: "symmetric and positive semidefinite",
            });
        }
        let parameters = Parameters { beta: fixed_effects.to_vec(), factor, log_sigma: residual_sd.ln() };
        Ok(Self { parameters, covariates: fixed_effects.len() / 3 - 1 })
    }

    /// What is known of a subject's curve after these measurements.
    ///
    /// # Errors
    /// If lengths differ, a number is not finite, a time is below 0, the covariates are not as many as the slopes, or a value
    /// lies so far off that its density cannot be told from 0.
    pub fn posterior(&self, subject: &Series) -> Result<Posterior, InputError> {
        check_one(subject, self.covariates)?;
        posterior_with(&self.parameters, subject, Fineness::Finer).with_density()
    }

    /// Log-likelihood of all subjects.
    ///
    /// # Errors
    /// As for [`Self::posterior`].
    pub fn log_likelihood(&self, subjects: &[Series]) -> Result<f64, InputError> {
        let each: Result<Vec<f64>, InputError> =
            subjects.iter().map(|s| self.posterior(s).map(|p| p.log_density())).collect();
        each.map(sum)
    }
}
