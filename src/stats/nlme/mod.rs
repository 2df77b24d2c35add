//! Recovery curves of many subjects: an exponential approach to a plateau whose three coefficients vary between subjects.
//!
//! **Formula.** y(t) = plateau + (baseline - plateau) exp(-t / tau) + residual; (baseline, plateau, log tau) of a subject is
//! normal around an intercept plus slopes times the subject's covariates, with any covariance; residuals are normal and
//! independent. A nonlinear mixed model (Pinheiro & Bates 2000, chapter 7).
//!
//! **Estimates.** Maximum likelihood. Given log tau the model is linear, so a subject's likelihood is one integral, taken
//! by a trapezoid rule to many digits (`conditional.rs`, `marginal.rs`): nothing is linearised, and the log-likelihood is
//! that of the model.
//!
//! **Convergence** is shown by the Newton decrement and the Hessian's eigenvalues (`maximise.rs`); the work is bounded.
//! A singular covariance is named ([`Singular`]); the fit stays valid. If log tau cannot be let vary between subjects, the fit with
//! one tau for all is given and says so ([`RecoveryFit::simplified`]), unless the caller forbids it.
//!
//! **Domain and edge cases.** Times from 0, finite; any order, repeats allowed; subjects with few or no measurements may be
//! among the others. Fewer than three distinct times, or too few subjects with three of them: [`Outcome::TooFewData`]. All
//! of each subject's values equal: [`Doubt::NoChange`]. Values bounded by a scale's ends are taken as they are:
//! see [`RecoveryFit::truncation_effect`].
//!
//! **Cost.** Linear in readings.
//!
//! **Published values.** Loblolly pine with a random asymptote (Pinheiro & Bates 2000): folder `nlme_loblolly`; an invented
//! data set against R's `nlme` and `integrate`: folder `nlme_recovery`.

mod conditional;
mod decay;
mod derived;
mod fitted;
mod known;
mod likelihood;
mod marginal;
mod maximise;
mod outcome;
mod parameters;
mod posterior;
mod refit;
mod rule;
mod start;
mod truncation;

pub use fitted::{RecoveryFit, VarianceComponents};
pub use known::KnownParameters;
pub use maximise::DECREMENT_TOLERANCE;
pub use outcome::{Coefficient, Doubt, Outcome, Shortage, Singular};
pub use parameters::Varying;
pub use posterior::{Curve, Posterior};
pub use truncation::TruncationEffect;

use nalgebra::DVector;

use crate::error::InputError;
use crate::evidence::{Ending, Evidence};
use crate::series::Series;
use likelihood::Likelihood;
use maximise::{Summit, maximise};
use parameters::Layout;
use start::Scale;

/// The standard error of the mean log tau above which the rate counts as unknown: one standard error either way is then
/// more than a factor of e. A choice of this program, no published source.
pub const LARGEST_LOG_TAU_ERROR: f64 = 1.0;
/// The SD of log tau between subjects above which the rates count as unbounded: one SD is then more than a factor of 12.
/// A choice of this program, no published source.
const LARGEST_SPREAD: f64 = 2.5;
/// How far beyond the times measured, as a logarithm, the mean tau may lie.
const BEYOND_TIMES: f64 = 3.0;
/// The smallest residual SD, as a share of the values' own.
const SMALLEST_RESIDUAL: f64 = 1e-5;
/// The largest change of the log-likelihood with a finer rule that goes unheeded.
const INTEGRATION_TOLERANCE: f64 = 1e-4;

/// What to fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Which coefficients vary between subjects.
    pub varying: Varying,
    /// Whether one tau for all is fitted where a varying one cannot be.
    pub simplify: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self { varying: Varying::ALL, simplify: true }
    }
}

/// The nonlinear mixed recovery curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RecoveryModel;

impl RecoveryModel {
    /// Fits the model to `subjects`.
    ///
    /// # Errors
    /// If lengths differ, a number is not finite, or a time is below 0. Too little data is no error but an outcome.
    pub fn fit(subjects: &[Series], options: Options) -> Result<Outcome, InputError> {
        let covariates = start::checked(subjects)?;
        let first = attempt(subjects, Layout { covariates, varying: options.varying });
        let worth_simplifying = match &first {
            Outcome::Fitted(_) => false,
            Outcome::NotConverged(_) => true,
            Outcome::NotIdentifiable { why, .. } => !matches!(why, Doubt::NoChange | Doubt::Covariate(_)),
            Outcome::TooFewData(_) => false,
        };
        let levels_vary = options.varying.baseline || options.varying.plateau;
        if !(worth_simplifying && options.simplify && options.varying.log_tau && levels_vary) {
            return Ok(first);
        }
        let varying = Varying { log_tau: false, ..options.varying };
        match attempt(subjects, Layout { covariates, varying }) {
            Outcome::Fitted(mut fit) => {
                fit.simplified = true;
                Ok(Outcome::Fitted(fit))
            }
            _ => Ok(first),
        }
    }
}

fn attempt(subjects: &[Series], layout: Layout) -> Outcome {
    if let Some(shortage) = start::shortage(subjects, layout) {
        return Outcome::TooFewData(shortage);
    }
    let refused = |why| Outcome::NotIdentifiable { why, evidence: None };
    if let Some(why) = start::doubt(subjects, layout) {
        return refused(why);
    }
    let scale = start::scale(subjects);
    let Some(psi) = start::start(subjects, layout, &scale) else {
        return refused(Doubt::RateUnknown);
    };
    let Some(mut likelihood) = Likelihood::new(subjects, layout, &psi) else {
        return refused(Doubt::RateUnknown);
    };
    let longest = start::longest(subjects, layout, &scale);
    let doubt = |psi: &[f64]| out_of_range(layout, psi, &scale);
    let summit = maximise(&mut likelihood, psi, &longest, doubt);
    let summit = check_integration(&mut likelihood, summit, &longest, doubt);
    let evidence = Evidence {
        value: summit.value,
        iterations: summit.steps,
        distance: summit.decrement.sqrt(),
        curvature: summit.curvature,
        ending: summit.ending,
    };
    if let Some(why) = doubtful(layout, &summit) {
        return Outcome::NotIdentifiable { why, evidence: Some(evidence) };
    }
    if !evidence.converged() {
        return Outcome::NotConverged(evidence);
    }
    Outcome::Fitted(Box::new(RecoveryFit::new(subjects, layout, &summit, &scale, evidence)))
}

/// The log-likelihood with a finer rule; the fit goes on with it if that matters.
fn check_integration(
    likelihood: &mut Likelihood,
    mut summit: Summit,
    longest: &DVector<f64>,
    doubt: impl Fn(&[f64]) -> Option<Doubt>,
) -> Summit {
    if matches!(summit.ending, Ending::NoValue | Ending::OutOfRange) {
        return summit;
    }
    likelihood.refresh(&summit.psi);
    let coarse = likelihood.value(&summit.psi);
    likelihood.refine();
    let fine = likelihood.value(&summit.psi);
    let error = (fine - coarse).abs();
    summit.value = fine;
    // where no maximum was shown, the rule's roughness may have hidden it
    if error <= INTEGRATION_TOLERANCE && summit.ending == Ending::Optimum {
        return summit;
    }
    likelihood.always_fine();
    let steps = summit.steps;
    let mut finer = maximise(likelihood, summit.psi, longest, doubt);
    finer.steps += steps;
    finer
}

/// Why parameters mean nothing, wherever the climb stands, if so.
fn out_of_range(layout: Layout, psi: &[f64], scale: &Scale) -> Option<Doubt> {
    let parameters = layout.unpack(psi);
    let log_tau = psi[2 * layout.each()];
    if parameters.sigma() < SMALLEST_RESIDUAL * scale.value_sd {
        return Some(Doubt::NoResidual);
    }
    // with covariates the intercept need not be anyone's log tau
    if layout.covariates == 0 && log_tau < scale.log_times.0 - BEYOND_TIMES {
        return Some(Doubt::PlateauAtOnce);
    }
    if layout.covariates == 0 && log_tau > scale.log_times.1 + BEYOND_TIMES {
        return Some(Doubt::StraightLine);
    }
    (parameters.factor.log_tau_sd() > LARGEST_SPREAD).then_some(Doubt::RatesUnbounded)
}

/// Why the end means nothing, if so.
fn doubtful(layout: Layout, summit: &Summit) -> Option<Doubt> {
    if summit.ending != Ending::Optimum {
        return summit.beyond;
    }
    let at = 2 * layout.each();
    let moves_mean = |v: &DVector<f64>| v.rows(0, layout.fixed()).norm() > 1e-4 * v.norm();
    if summit.flat.iter().any(moves_mean) {
        return Some(Doubt::FlatMean);
    }
    (summit.covariance[(at, at)].max(0.0).sqrt() > LARGEST_LOG_TAU_ERROR).then_some(Doubt::RateUnknown)
}

#[cfg(test)]
mod tests;
