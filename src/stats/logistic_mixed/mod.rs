//! Logistic regression with a random intercept for each group.
//!
//! **Model.** Row j of group i has y successes in n trials with log odds x'b + offset + u, u ~ N(0, sd2) shared by the group.
//!
//! **Likelihood.** The product over groups of the integral over u, by adaptive Gauss-Hermite quadrature (Liu & Pierce
//! 1994, Biometrika 81:624-9; Pinheiro & Bates 1995, J Comput Graph Stat 4:12-35): with v = u / sd, h(v) the logarithm
//! of likelihood times density, v0 its maximum and s2 = -1 / h''(v0), the integral is
//! s sum w exp(h(v0 + s z) + z2/2), z and w the nodes and weights for N(0, 1). One node is Laplace's approximation.
//!
//! **Maximum** over b and sd. The gradient is exact for the quadrature, nodes moving with the parameters included. Newton
//! steps with the observed information by Louis' formula (1982, J R Stat Soc B 44:226-33), E[-h''] - Var[h'] over u
//! given the data, by 9 nodes or more. *Proof*: the distance to the maximum in standard errors, and the least eigenvalue of that
//! information. Covariance: its inverse. Interval of the SD: Wald's on the logarithm.
//!
//! **SD at zero** is an outcome, not an error: no SD above zero has a higher likelihood, and the derivative by sd2 at zero,
//! half the sum over groups of (sum of residuals)2 - sum of np(1-p), is not positive. The fit is then the logistic
//! regression without groups.
//!
//! **Separated** (see [`crate::logistic`]): then no b has the highest likelihood, with or without u. The fixed part is taken from Firth's fit
//! without groups and held; a shift common to all rows and the SD are estimated beside it, as a model with Firth's
//! log odds as offset. The covariance is that of Firth's fit: it knows nothing of the groups, and is too small for columns
//! that hardly vary within them.
//!
//! **Each group.** Mode, mean and SD of u given the data (9 nodes or more) at the estimated parameters, whose own
//! uncertainty they leave out (empirical Bayes). *Rate*: the mean chance over all rows of all groups, trials as
//! weights, had they been treated in this group (direct standardisation); its posterior mean by quadrature, its interval
//! from the normal interval of u, mean -/+ z SD, carried through, since the rate rises with u.
//!
//! **Domain and edge cases.** Two groups or more, numbered from 0 without gaps. An SD that grows beyond 20 while the
//! likelihood still rises, as with groups wholly of successes or of failures, is its own outcome.
//!
//! **Cost.** A step is one pass of rows times (columns squared + nodes times columns). Groups run side by side by tasks
//! of fixed size: the same bits for any number of threads.
//!
//! **Published values.** Contagious bovine pleuropneumonia (Lesnoff et al. 2004, Bates et al., lme4), folder `glmm_cbpp`.

mod derivatives;
mod fitted;
mod group;
mod maximise;
#[cfg(test)]
mod naive;
mod posterior;
mod sorted;
mod standardise;

pub use fitted::{GroupIntercept, MixedFit, Outcome, Sd};

use std::borrow::Cow;

use crate::error::{InputError, same_length};
use crate::gauss_hermite::GaussHermite;
use crate::level::Level;
use crate::logistic::{self, Checked, Rows};
use maximise::{End, Search};
use sorted::Sorted;

/// Nodes of the information and of what is said about each group, at least.
const LEAST_POINTS: usize = 9;

/// How to fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Nodes of the quadrature, odd, 1 to 25.
    pub points: usize,
    /// Level of the intervals.
    pub level: Level,
}

impl Default for Options {
    fn default() -> Self {
        Self { points: 9, level: Level::NINETY_FIVE }
    }
}

/// Fits the model; `group` holds each row's group, numbered from 0.
///
/// # Errors
/// If the rows are faulty as for [`crate::logistic::logistic`], a group's number is left out, there is one group only,
/// or the number of points is even or not from 1 to 25.
pub fn logistic_mixed(rows: &Rows, group: &[usize], options: Options) -> Result<Outcome, InputError> {
    logistic_mixed_from(rows, group, options, None)
}

/// The same where what [`logistic::logistic`] gives for the same rows is known already.
///
/// # Errors
/// As [`logistic_mixed`].
pub fn logistic_mixed_from(
    rows: &Rows,
    group: &[usize],
    options: Options,
    plain: Option<logistic::Outcome>,
) -> Result<Outcome, InputError> {
    if options.points.is_multiple_of(2) || options.points > 25 {
        return Err(InputError::OutOfRange { what: "number of quadrature points", domain: "odd, from 1 to 25" });
    }
    same_length("groups", rows.trials.len(), group.len())?;
    let checked = rows.check()?;
    let rule = GaussHermite::new(options.points)?;
    let fine = GaussHermite::new(options.points.max(LEAST_POINTS))?;
    let plain = plain.map_or_else(|| logistic::fit_checked(&checked), Ok)?;
    let (fixed, separated) = match plain {
        logistic::Outcome::Fitted(fit) => (*fit, false),
        logistic::Outcome::Separated { firth, .. } => (*firth, true),
        logistic::Outcome::NotConverged(evidence) => return Ok(Outcome::NotConverged(evidence)),
    };
    let (sorted, start) = if separated {
        let offset: Vec<f64> = (0..checked.len()).map(|j| checked.predictor(j, &fixed.coefficients)).collect();
        let ones = Checked {
            design: Cow::Owned(vec![1.0; checked.len()]),
            successes: checked.successes.clone(),
            trials: checked.trials.clone(),
            offset: Some(Cow::Owned(offset)),
            names: &["shift"],
            scales: vec![1.0],
        };
        let start = match logistic::fit_checked(&ones)? {
            logistic::Outcome::Fitted(fit) => fit.coefficients,
            // all successes or all failures: no shift is the most likely, and none is left for the groups
            _ => return Ok(Outcome::Fitted(Box::new(fitted::without_groups(&checked, group, fixed)))),
        };
        (Sorted::new(&ones, group)?, start)
    } else {
        (Sorted::new(&checked, group)?, fixed.coefficients.clone())
    };
    let search = Search { data: &sorted, rule: &rule, fine: &fine, plain: start };
    Ok(match search.run() {
        End::Zero => Outcome::Fitted(Box::new(fitted::without_groups(&checked, group, fixed))),
        End::Unbounded(evidence) => Outcome::SdUnbounded(evidence),
        End::NotConverged(evidence) => Outcome::NotConverged(evidence),
        End::Maximum(end) => {
            let fixed_part = separated.then_some(fixed);
            Outcome::Fitted(Box::new(fitted::with_groups(&checked, &sorted, &fine, end, fixed_part, options)?))
        }
    })
}

#[cfg(test)]
mod tests;
