//! How much scores at the ends of their scale matter.
//!
//! A bounded scale cuts off what lies beyond its ends, which the model does not know: residuals there are one-sided. No
//! correction is made. The share of measurements at each end is counted, and the model fitted again without them; the
//! changes bound what they can have done, though leaving low scores out itself biases the plateau upwards. Small changes say
//! that the ends do not matter; large ones, that the curve near an end is not to be trusted.

use super::fitted::RecoveryFit;
use super::outcome::Outcome;
use super::start::{check_one, checked};
use super::{Options, RecoveryModel};
use crate::error::InputError;
use crate::series::Series;

/// What refitting without the measurements at the scale's ends changes.
#[derive(Debug, Clone, PartialEq)]
pub struct TruncationEffect {
    /// Measurements at or below the scale's lower end.
    pub at_low: usize,
    /// Measurements at or above its upper end.
    pub at_high: usize,
    /// All measurements.
    pub measurements: usize,
    /// What came of the fit without them.
    pub without: Outcome,
    /// Baseline, plateau (the values' units) and log tau without them less those with them, for the covariates asked; `None`
    /// if the fit without them failed.
    pub change: Option<[f64; 3]>,
}

impl RecoveryFit {
    /// Fits the `subjects` of this fit again (from this one, as in [`Self::refit`]) without measurements at or beyond `low` and `high`, and compares the
    /// means of a subject with these `covariates`.
    ///
    /// # Errors
    /// If `low` is not below `high`, or the data or covariates make no sense.
    pub fn truncation_effect(
        &self,
        subjects: &[Series],
        covariates: &[f64],
        low: f64,
        high: f64,
    ) -> Result<TruncationEffect, InputError> {
        // "is below", so that NaN fails
        let in_order = low < high;
        if !in_order {
            return Err(InputError::OutOfRange { what: "lower end of the scale", domain: "below the upper end" });
        }
        checked(subjects)?;
        check_one(&Series { times: &[], values: &[], covariates }, self.layout.covariates)?;
        let values = || subjects.iter().flat_map(|s| s.values.iter());
        let inside: Vec<(Vec<f64>, Vec<f64>)> = subjects
            .iter()
            .map(|s| s.times.iter().zip(s.values).filter(|(_, y)| **y > low && **y < high).unzip())
            .collect();
        let kept: Vec<Series> = inside
            .iter()
            .zip(subjects)
            .map(|((times, values), s)| Series { times, values, covariates: s.covariates })
            .collect();
        let without = match self.starting_here(&kept) {
            Some(near) => Outcome::Fitted(Box::new(near)),
            None => RecoveryModel::fit(&kept, Options { varying: self.varying, simplify: false })?,
        };
        let change = match &without {
            Outcome::Fitted(other) => {
                let (a, b) = (other.parameters.mean(covariates), self.parameters.mean(covariates));
                Some([0, 1, 2].map(|k| a[k] - b[k]))
            }
            _ => None,
        };
        Ok(TruncationEffect {
            at_low: values().filter(|y| **y <= low).count(),
            at_high: values().filter(|y| **y >= high).count(),
            measurements: values().count(),
            without,
            change,
        })
    }
}
