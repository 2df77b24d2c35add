//! Fitting again to other subjects of the same kind, from a fit that is near: a fold of a cross-validation, an earlier period.
//!
//! Quasi-Newton steps (BFGS) from the known maximum, with its covariance, scaled by the number of measurements, as the first
//! inverse Hessian. The gradient must vanish: squared distance to the maximum, by the inverse Hessian carried along, at most
//! [`TOLERANCE`], a hundredth of a standard error. The Hessian itself is not made anew, which is most of a fit's
//! work: the refitted model predicts, but its standard errors are those of the first fit, scaled, and its least curvature
//! is that of the first fit. Where the steps do not arrive, a whole fit is made.

use nalgebra::DMatrix;

use super::fitted::RecoveryFit;
use super::likelihood::Likelihood;
use super::maximise::{line_search, shorten, update};
use super::outcome::Outcome;
use super::start::{checked, longest, scale};
use super::{Options, RecoveryModel, out_of_range};
use crate::error::InputError;
use crate::evidence::{Ending, Evidence};
use crate::series::Series;

/// The largest squared distance to the maximum, in standard errors: what a prediction can notice is far more.
pub const TOLERANCE: f64 = 1e-4;
/// Steps after which a whole fit is made instead.
const MAX_STEPS: usize = 40;
/// Steps after which the rules of integration are made anew.
const EVERY: usize = 5;

impl RecoveryFit {
    /// Fits the model to `subjects`, who are some of those of this fit or like them.
    ///
    /// # Errors
    /// As for [`RecoveryModel::fit`].
    pub fn refit(&self, subjects: &[Series]) -> Result<Outcome, InputError> {
        let covariates = checked(subjects)?;
        let near = if covariates == self.layout.covariates { self.starting_here(subjects) } else { None };
        match near {
            Some(fit) => Ok(Outcome::Fitted(Box::new(fit))),
            None => RecoveryModel::fit(subjects, Options { varying: self.varying, simplify: true }),
        }
    }

    /// The fit to `subjects` reached by a few steps from this one; `None` if they do not arrive.
    pub(super) fn starting_here(&self, subjects: &[Series]) -> Option<Self> {
        let layout = self.layout;
        let scale = scale(subjects);
        let longest = longest(subjects, layout, &scale);
        let doubt = |psi: &[f64]| out_of_range(layout, psi, &scale);
        let start = nalgebra::DVector::from_vec(layout.pack(&self.parameters));
        let mut likelihood = Likelihood::new(subjects, layout, &start)?;
        let mut point = likelihood.at(start, false)?;
        let measurements: usize = subjects.iter().map(|s| s.values.len()).sum();
        let fewer = self.measurements as f64 / measurements.max(1) as f64;
        let mut inverse: DMatrix<f64> = &self.covariance * fewer;
        let (mut fresh, mut steps) = (true, 0);
        let decrement = loop {
            let mut step = &inverse * &point.gradient;
            let decrement = point.gradient.dot(&step);
            // "is at most", so that NaN goes on to fail
            if decrement <= TOLERANCE {
                if fresh {
                    break decrement;
                }
                likelihood.refresh(&point.psi).then_some(())?;
                point = likelihood.at(point.psi, false)?;
                fresh = true;
                continue;
            }
            if steps == MAX_STEPS || decrement.is_nan() {
                return None;
            }
            shorten(&mut step, &longest);
            let next = line_search(&likelihood, &point, &step, &doubt).next?;
            update(&mut inverse, &(&next.psi - &point.psi), &(&point.gradient - &next.gradient));
            point = next;
            steps += 1;
            fresh = false;
            if steps % EVERY == 0 {
                likelihood.refresh(&point.psi).then_some(())?;
                point = likelihood.at(point.psi, false)?;
                fresh = true;
            }
        };
        let evidence = Evidence {
            value: point.value,
            iterations: steps,
            distance: decrement.max(0.0).sqrt(),
            ending: Ending::Optimum,
            ..self.evidence
        };
        Some(Self {
            log_likelihood: point.value,
            subjects: subjects.iter().filter(|s| !s.values.is_empty()).count(),
            measurements,
            evidence,
            parameters: layout.unpack(point.psi.as_slice()),
            covariance: &self.covariance * fewer,
            last_time: scale.log_times.1.exp(),
            ..self.clone()
        })
    }
}
