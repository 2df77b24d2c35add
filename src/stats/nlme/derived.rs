//! What a fit says of the population: baseline, plateau, half-time, time of a given fall or rise, variance components.
//!
//! **Formulas.** Delta method over all parameters; t quantiles with subjects - 1 - covariates degrees of freedom for what
//! is estimated between subjects. Durations and SDs are positive, so their intervals are formed on the log scale; those of
//! correlations on Fisher's z. The time of a fall by `amount` solves m(0) - m(T) = amount, m the mean over subjects;
//! dT = -(dm(T) - dm(0)) / m'(T).
//!
//! **Scale.** Baseline and plateau: the values' own units, mean over subjects. Half-time: units of time, of a subject with
//! the mean log tau, which is the median over subjects. Time of a fall: of the mean curve.
//!
//! **Edge cases.** A fall that the mean curve does not reach within [`HORIZON`] times the longest time has no time: `None`.

use super::fitted::{RecoveryFit, VarianceComponents, posterior_under};
use super::parameters::Parameters;
use super::start::check_one;
use crate::distribution::{normal_quantile, t_quantile};
use crate::error::InputError;
use crate::interval::{Estimate, Interval};
use crate::level::Level;
use crate::series::Series;

/// How far beyond the longest time a fall is looked for.
pub const HORIZON: f64 = 4.0;
const SEARCH_STEPS: usize = 400;
const BISECTIONS: usize = 60;

impl RecoveryFit {
    /// Mean value at time 0.
    ///
    /// # Errors
    /// If the covariates are not as many as in the fit or not finite.
    pub fn baseline(&self, covariates: &[f64], level: Level) -> Result<Estimate, InputError> {
        self.mean_coefficient(0, covariates, level)
    }

    /// Mean value approached in the end.
    ///
    /// # Errors
    /// As for [`Self::baseline`].
    pub fn plateau(&self, covariates: &[f64], level: Level) -> Result<Estimate, InputError> {
        self.mean_coefficient(1, covariates, level)
    }

    /// Median half-time, tau ln 2: after it half of the way to the plateau is done.
    ///
    /// # Errors
    /// As for [`Self::baseline`].
    pub fn half_time(&self, covariates: &[f64], level: Level) -> Result<Estimate, InputError> {
        self.check(covariates)?;
        let value = self.parameters.mean(covariates)[2].exp() * std::f64::consts::LN_2;
        let relative = self.standard_error(|p| p.mean(covariates)[2]);
        positive(value, relative, self.between(level)?)
    }

    /// The time at which the mean over subjects has fallen from its start by `amount` > 0; `None` if it does not.
    ///
    /// # Errors
    /// If `amount` is not positive and finite, or as for [`Self::baseline`].
    pub fn time_of_fall(&self, amount: f64, covariates: &[f64], level: Level) -> Result<Option<Estimate>, InputError> {
        self.time_of_change(amount, -1.0, covariates, level)
    }

    /// The time at which the mean over subjects has risen from its start by `amount` > 0; `None` if it does not.
    ///
    /// # Errors
    /// As for [`Self::time_of_fall`].
    pub fn time_of_rise(&self, amount: f64, covariates: &[f64], level: Level) -> Result<Option<Estimate>, InputError> {
        self.time_of_change(amount, 1.0, covariates, level)
    }

    /// SDs and correlations with intervals: normal quantiles on the log scale and on Fisher's z.
    ///
    /// # Errors
    /// None for a fit as made here; kept so that no failure can pass silently.
    pub fn variance_components(&self, level: Level) -> Result<VarianceComponents, InputError> {
        let z = -normal_quantile(level.tail())?;
        let sd_of = |p: &Parameters, k: usize| p.factor.covariance()[(k, k)].sqrt();
        let sd = |k: usize| {
            let value = sd_of(&self.parameters, k);
            if value > 0.0 {
                positive(value, self.standard_error(|p| sd_of(p, k)) / value, z)
            } else {
                Ok(Estimate { value: 0.0, standard_error: 0.0, interval: Interval { low: 0.0, high: 0.0 } })
            }
        };
        let correlation = |i: usize, j: usize| {
            let of = |p: &Parameters| p.factor.covariance()[(i, j)] / (sd_of(p, i) * sd_of(p, j));
            let value = of(&self.parameters);
            if !value.is_finite() {
                return None;
            }
            let standard_error = self.standard_error(of);
            let half = z * standard_error / (1.0 - value * value).max(1e-9);
            let limit = |by: f64| (value.clamp(-1.0 + 1e-15, 1.0 - 1e-15).atanh() + by).tanh();
            let interval = Interval { low: limit(-half).min(value), high: limit(half).max(value) };
            Some(Estimate { value, standard_error, interval })
        };
        Ok(VarianceComponents {
            sd: [sd(0)?, sd(1)?, sd(2)?],
            correlation: [correlation(0, 1), correlation(0, 2), correlation(1, 2)],
            residual_sd: positive(self.residual_sd(), self.standard_error(|p| p.log_sigma), z)?,
        })
    }

    fn check(&self, covariates: &[f64]) -> Result<(), InputError> {
        check_one(&Series { times: &[], values: &[], covariates }, self.layout.covariates)
    }

    /// The t quantile for what is estimated between subjects.
    fn between(&self, level: Level) -> Result<f64, InputError> {
        let df = self.subjects.saturating_sub(self.layout.each()).max(1);
        Ok(-t_quantile(level.tail(), df as f64)?)
    }

    fn mean_coefficient(&self, k: usize, covariates: &[f64], level: Level) -> Result<Estimate, InputError> {
        self.check(covariates)?;
        let value = self.parameters.mean(covariates)[k];
        let standard_error = self.standard_error(|p| p.mean(covariates)[k]);
        Ok(Estimate { value, standard_error, interval: Interval::around(value, self.between(level)? * standard_error) })
    }

    fn time_of_change(
        &self,
        amount: f64,
        sign: f64,
        covariates: &[f64],
        level: Level,
    ) -> Result<Option<Estimate>, InputError> {
        if !(amount > 0.0 && amount.is_finite()) {
            return Err(InputError::OutOfRange { what: "amount of change", domain: "positive and finite" });
        }
        self.check(covariates)?;
        let none = Series { times: &[], values: &[], covariates };
        let population = posterior_under(&self.parameters, &none);
        let start = population.moments(0.0).0;
        let gone = |t: f64| sign * (population.moments(t).0 - start) - amount;
        let end = HORIZON * self.last_time;
        // the mean over subjects need not be monotone: the first crossing on a grid, quadratic so that it is fine early on
        let grid = |k: usize| end * (k as f64 / SEARCH_STEPS as f64).powi(2);
        let Some(k) = (1..=SEARCH_STEPS).find(|k| gone(grid(*k)) >= 0.0) else {
            return Ok(None);
        };
        let (mut low, mut high) = (grid(k - 1), grid(k));
        for _ in 0..BISECTIONS {
            let middle = 0.5 * (low + high);
            if gone(middle) >= 0.0 { high = middle } else { low = middle }
        }
        let time = high;
        let h = 1e-4 * time;
        let slope = (gone(time + h) - gone(time - h)) / (2.0 * h);
        let error = self.standard_error(|p| {
            let population = posterior_under(p, &none);
            sign * (population.moments(time).0 - population.moments(0.0).0)
        });
        if !(time > 0.0 && slope > 0.0) {
            return Ok(None);
        }
        positive(time, error / slope / time, self.between(level)?).map(Some)
    }
}

/// A positive quantity whose logarithm has the standard error `relative`.
fn positive(value: f64, relative: f64, quantile: f64) -> Result<Estimate, InputError> {
    // beyond e^700 the limits would overflow
    let factor = (quantile * relative).min(700.0).exp();
    let interval = Interval { low: value / factor, high: value * factor };
    Ok(Estimate { value, standard_error: value * relative, interval })
}
