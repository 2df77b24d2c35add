//! What a logistic regression with random intercepts gives.

use nalgebra::DMatrix;

use super::Options;
use super::maximise::Maximum;
use super::posterior::intercepts;
use super::sorted::Sorted;
use super::standardise::MeanChance;
use crate::distribution::normal_quantile;
use crate::error::{InputError, all_finite, same_length};
use crate::evidence::Evidence;
use crate::gauss_hermite::GaussHermite;
use crate::interval::{Estimate, Interval};
use crate::level::Level;
use crate::logistic::sums::{chances, dot};
use crate::logistic::{Checked, LogisticFit, Method};

/// What came of it.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// A proven maximum; the SD may be zero and the fixed part Firth's, see there.
    Fitted(Box<MixedFit>),
    /// The SD runs off, as with groups wholly of successes or of failures.
    SdUnbounded(Evidence),
    /// No maximum was shown.
    NotConverged(Evidence),
}

/// SD of the random intercepts, in log odds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sd {
    /// Above zero, with Wald's interval on the logarithm. With few groups that interval is rough.
    Positive(Estimate),
    /// Zero is the most likely: the groups differ no more than chance and columns explain. It does not show that they are equal.
    Zero,
}

/// One group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupIntercept {
    /// The most probable intercept given the data.
    pub mode: f64,
    /// Its mean given the data: the shrunken estimate.
    pub mean: f64,
    /// Its SD given the data.
    pub sd: f64,
    /// Posterior mean of the share of successes had this group treated the rows of all groups.
    pub rate: f64,
    /// Interval of that share; see the module's head.
    pub rate_interval: Interval,
}

/// A fitted logistic regression with random intercepts.
#[derive(Debug, Clone, PartialEq)]
pub struct MixedFit {
    /// Maximum likelihood, or Firth's if the data are separated: then the coefficients were estimated without the groups.
    pub method: Method,
    /// Log odds for one unit of each column.
    pub coefficients: Vec<f64>,
    /// Their covariance; under `Method::Firth` that of the fit without groups, too small for columns that hardly vary within groups.
    pub covariance: DMatrix<f64>,
    /// Log odds added to every row beside Firth's coefficients; `None` for maximum likelihood, and for an SD of zero.
    pub shift: Option<Estimate>,
    /// SD of the random intercepts.
    pub sd: Sd,
    /// Log-likelihood, binomial coefficients included.
    pub log_likelihood: f64,
    /// Twice the log-likelihood short of a model that fits each row exactly.
    pub deviance: f64,
    /// Each group, in the order of their numbers.
    pub groups: Vec<GroupIntercept>,
    /// Rows.
    pub rows: usize,
    /// How the fit ended: coefficients (or the shift), then the SD; that of the fit without groups if the SD is zero.
    pub evidence: Evidence,
}

impl MixedFit {
    /// The SD as a number, 0 if it is zero.
    #[must_use]
    pub fn sd_value(&self) -> f64 {
        match self.sd {
            Sd::Positive(estimate) => estimate.value,
            Sd::Zero => 0.0,
        }
    }

    /// A coefficient with its standard error and Wald interval; `None` beyond the last.
    #[must_use]
    pub fn estimate(&self, column: usize, level: Level) -> Option<Estimate> {
        let value = *self.coefficients.get(column)?;
        let standard_error = self.covariance[(column, column)].sqrt();
        let z = -normal_quantile(level.tail()).ok()?;
        Some(Estimate { value, standard_error, interval: Interval::around(value, z * standard_error) })
    }

    /// The chance of a success for a row of the design in a group with `intercept`, plus a known part `offset` of the log odds.
    ///
    /// # Errors
    /// If the row has another length, or a number is not finite.
    pub fn predict(&self, row: &[f64], offset: f64, intercept: f64) -> Result<f64, InputError> {
        same_length("row", self.coefficients.len(), row.len())?;
        all_finite("row", row)?;
        all_finite("offset and intercept", &[offset, intercept])?;
        let shift = self.shift.map_or(0.0, |s| s.value);
        Ok(chances(dot(row, &self.coefficients) + offset + shift + intercept).0)
    }
}

/// The fit without groups, as that of groups with an SD of zero.
pub(super) fn without_groups(rows: &Checked, group: &[usize], fixed: LogisticFit) -> MixedFit {
    let etas: Vec<f64> = (0..rows.len()).map(|j| rows.predictor(j, &fixed.coefficients)).collect();
    let rate = MeanChance::new(&etas, &rows.trials, 0.0, 0.0).at(0.0);
    let same =
        GroupIntercept { mode: 0.0, mean: 0.0, sd: 0.0, rate, rate_interval: Interval { low: rate, high: rate } };
    MixedFit {
        method: fixed.method,
        coefficients: fixed.coefficients,
        covariance: fixed.covariance,
        shift: None,
        sd: Sd::Zero,
        log_likelihood: fixed.log_likelihood,
        deviance: fixed.deviance,
        groups: vec![same; group.iter().max().map_or(0, |g| g + 1)],
        rows: rows.len(),
        evidence: fixed.evidence,
    }
}

/// The fit that ended at `end`; `firth` is the fixed part of separated data.
pub(super) fn with_groups(
    rows: &Checked,
    sorted: &Sorted,
    fine: &GaussHermite,
    end: Box<Maximum>,
    firth: Option<LogisticFit>,
    options: Options,
) -> Result<MixedFit, InputError> {
    let z = -normal_quantile(options.level.tail())?;
    let p = sorted.columns;
    let parameters = end.at.parameters.clone();
    let error = |k: usize| end.covariance[(k, k)].sqrt();
    let (sd, sd_error) = (parameters[p], error(p));
    let by = (z * sd_error / sd).exp();
    let shift = firth.as_ref().map(|_| Estimate {
        value: parameters[0],
        standard_error: error(0),
        interval: Interval::around(parameters[0], z * error(0)),
    });
    let (method, coefficients, covariance) = match firth {
        Some(fit) => (fit.method, fit.coefficients, fit.covariance),
        None => (Method::MaximumLikelihood, parameters[..p].to_vec(), end.covariance.view((0, 0), (p, p)).into_owned()),
    };
    let moved = shift.map_or(0.0, |s| s.value);
    let etas: Vec<f64> = (0..rows.len()).map(|j| rows.predictor(j, &coefficients) + moved).collect();
    let groups = intercepts(sorted, fine, &end, &etas, &rows.trials, options.level)?;
    Ok(MixedFit {
        method,
        coefficients,
        covariance,
        shift,
        sd: Sd::Positive(Estimate {
            value: sd,
            standard_error: sd_error,
            interval: Interval { low: sd / by, high: sd * by },
        }),
        log_likelihood: end.at.log_likelihood + sorted.log_coefficients,
        deviance: 2.0 * (sorted.saturated - end.at.log_likelihood),
        groups,
        rows: rows.len(),
        evidence: end.evidence,
    })
}
