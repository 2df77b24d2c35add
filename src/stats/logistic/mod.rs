//! Logistic regression of successes out of trials.
//!
//! **Model.** Row j has y successes in n trials, each with probability p = 1 / (1 + e^-eta), eta = x'b + offset.
//!
//! **Maximum likelihood.** Score X'(y - np), information I = X'WX, W = np(1 - p); Newton steps, halved until the
//! likelihood does not fall. *Proof*: the distance to the maximum in standard errors, sqrt(U' I^-1 U), and the least
//! eigenvalue of I scaled to a unit diagonal; the likelihood is concave, so nothing more is needed.
//!
//! **Separation.** No maximum exists if some direction d has x'd >= 0 in every row of successes only, x'd <= 0 in every
//! row of failures only, x'd = 0 in every mixed row, and x'd != 0 somewhere (Albert & Anderson 1984, Biometrika
//! 71:1-10). Newton's step turns into such a d while the coefficients run off; the conditions are then tested on
//! every row, so that the outcome rests on the direction found, not on a count of steps.
//!
//! **Firth's penalised likelihood** is the answer then: l*(b) = l(b) + log|I(b)| / 2, the score of a row becoming
//! y - np + h(1/2 - p), h being its diagonal element of W^1/2 X I^-1 X' W^1/2 (Firth 1993, Biometrika 80:27-38; Heinze &
//! Schemper 2002, Stat Med 21:2409-19). It is finite always. Covariance: I^-1 at the estimate, as they do; their
//! profile limits, which they recommend, are [`LogisticFit`]'s only through [`profile_interval`].
//!
//! **Domain and edge cases.** At least one column and as many rows; put in the intercept as a column of ones. 0 <= y <= n,
//! n >= 1. A column that repeats those before it is refused by name. All successes or all failures: separated.
//!
//! **Cost.** A step is one pass of rows times columns squared, by chunks of fixed size: the same bits for any number of threads.
//!
//! **Published values.** Low birth weight (Hosmer & Lemeshow 1989) and menarche (Milicer & Szczotka 1966), folders
//! `logistic_birth_weight`, `logistic_menarche`; Firth: endometrial cancer (Heinze & Schemper 2002), folder
//! `firth_endometrial`, and urinary tract infection, folder `firth_urinary`.

mod firth;
mod fitted;
mod likelihood_ratio;
mod newton;
mod profile;
mod rows;
pub(crate) mod scaled_cholesky;
mod separation;
pub(crate) mod sums;

pub use crate::evidence::Evidence;
pub use fitted::{LogisticFit, Method};
pub use likelihood_ratio::{LikelihoodRatio, likelihood_ratio};
pub use profile::profile_interval;
pub use rows::Rows;
pub use separation::Separation;

pub(crate) use rows::Checked;

use crate::error::{InputError, all_finite, same_length};

/// Distance from the maximum, in standard errors, that counts as none.
pub const GRADIENT_TOLERANCE: f64 = 1e-8;

/// What came of a logistic regression.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// The maximum of the likelihood.
    Fitted(Box<LogisticFit>),
    /// The likelihood has no maximum; the fit is that of Firth's penalised likelihood.
    Separated {
        /// Where the coefficients ran off to.
        separation: Separation,
        /// Firth's fit.
        firth: Box<LogisticFit>,
    },
    /// No maximum was shown, nor that there is none.
    NotConverged(Evidence),
}

impl Outcome {
    /// The fit, by whichever method.
    #[must_use]
    pub fn fit(&self) -> Option<&LogisticFit> {
        match self {
            Self::Fitted(fit) | Self::Separated { firth: fit, .. } => Some(fit),
            Self::NotConverged(_) => None,
        }
    }
}

/// Logistic regression by maximum likelihood, or by Firth's penalised likelihood where that has no maximum.
///
/// # Errors
/// If lengths differ, a number is not finite, successes exceed trials, or a column repeats those before it.
pub fn logistic(rows: &Rows) -> Result<Outcome, InputError> {
    fit_checked(&rows.check()?)
}

/// The same from coefficients that are near, as those of a fit to much the same rows: it takes fewer steps to the same maximum.
///
/// # Errors
/// As [`logistic`]; also if `start` has another length than there are columns, or is not finite.
pub fn logistic_from(rows: &Rows, start: &[f64]) -> Result<Outcome, InputError> {
    same_length("start", rows.names.len(), start.len())?;
    all_finite("start", start)?;
    fit_checked_from(&rows.check()?, start)
}

/// Firth's penalised likelihood, separated or not.
///
/// # Errors
/// As [`logistic`].
pub fn firth(rows: &Rows) -> Result<Outcome, InputError> {
    let rows = rows.check()?;
    Ok(match firth::maximise(&rows, &vec![0.0; rows.columns()], None) {
        Ok(fit) => Outcome::Fitted(Box::new(fit.into_fit(&rows))),
        Err(evidence) => Outcome::NotConverged(evidence),
    })
}

pub(crate) fn fit_checked(rows: &Checked) -> Result<Outcome, InputError> {
    fit_checked_from(rows, &vec![0.0; rows.columns()])
}

fn fit_checked_from(rows: &Checked, start: &[f64]) -> Result<Outcome, InputError> {
    Ok(match newton::maximise(rows, start) {
        newton::End::Maximum(fit) => Outcome::Fitted(fit),
        newton::End::Separated(separation) => match firth::maximise(rows, start, None) {
            Ok(fit) => Outcome::Separated { separation, firth: Box::new(fit.into_fit(rows)) },
            Err(evidence) => Outcome::NotConverged(evidence),
        },
        newton::End::NotConverged(evidence) => Outcome::NotConverged(evidence),
    })
}

#[cfg(test)]
mod tests;
