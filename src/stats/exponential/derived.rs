//! What a fitted exponential says: its half-time, its mean at a time, the time of a given change.
//!
//! **Formulas.** Delta method: variance g' C g, g the derivatives by (start, plateau, log tau), C their covariance; t
//! quantiles with n - p degrees of freedom. Durations are positive, so their intervals are formed on the log scale:
//! v exp(-/+ t SE(v) / v). Half-time: v = tau ln 2, SE(log v) = SE(log tau). Time T of a change by `amount` from the start:
//! T = -tau ln(1 - q), q = amount / (plateau - start); dT/dlog tau = T, dT/dplateau = -dT/dstart =
//! -tau q / ((1 - q)(plateau - start)).
//!
//! **Edge cases.** A change that the plateau does not reach (q outside 0 to 1, ends excluded) has no time: `None`.
//! The closer q comes to 1 the wider the interval, without bound.

use nalgebra::Vector3;

use super::{ExponentialFit, value_and_gradient};
use crate::distribution::t_quantile;
use crate::error::InputError;
use crate::interval::{Estimate, Interval};
use crate::level::Level;

/// A time and the curve's mean there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtTime {
    /// The time asked for.
    pub time: f64,
    /// The fitted mean there. Its interval is one for the mean, not for a new observation.
    pub mean: Estimate,
}

impl ExponentialFit {
    /// tau, in the unit of the times.
    #[must_use]
    pub fn tau(&self) -> f64 {
        self.log_tau.exp()
    }

    /// The fitted mean at `time`.
    #[must_use]
    pub fn value_at(&self, time: f64) -> f64 {
        value_and_gradient(self.start, self.plateau, self.log_tau, time).0
    }

    /// The start; a fixed one has a standard error of 0.
    ///
    /// # Errors
    /// None for a fit as made here; kept so that no failure can pass silently.
    pub fn start_estimate(&self, level: Level) -> Result<Estimate, InputError> {
        self.linear(self.start, Vector3::new(1.0, 0.0, 0.0), level)
    }

    /// The plateau.
    ///
    /// # Errors
    /// As for [`Self::start_estimate`].
    pub fn plateau_estimate(&self, level: Level) -> Result<Estimate, InputError> {
        self.linear(self.plateau, Vector3::new(0.0, 1.0, 0.0), level)
    }

    /// The half-time tau ln 2: after it, half of the way to the plateau is done. The interval is formed on the log scale.
    ///
    /// # Errors
    /// As for [`Self::start_estimate`].
    pub fn half_time(&self, level: Level) -> Result<Estimate, InputError> {
        self.duration(self.tau() * std::f64::consts::LN_2, self.log_tau_error(), level)
    }

    /// The fitted mean at `time`, with an interval for the mean.
    ///
    /// # Errors
    /// If `time` is not finite, or so far before 0 that the curve overflows.
    pub fn mean_at(&self, time: f64, level: Level) -> Result<AtTime, InputError> {
        let (value, gradient) = value_and_gradient(self.start, self.plateau, self.log_tau, time);
        let mean = self.linear(value, Vector3::from(gradient), level)?;
        if mean.value.is_finite() && mean.standard_error.is_finite() {
            Ok(AtTime { time, mean })
        } else {
            Err(InputError::OutOfRange { what: "time", domain: "a finite number not far before the observations" })
        }
    }

    /// The time at which the mean has fallen from the start by `amount` > 0; `None` if the plateau is not that low.
    ///
    /// # Errors
    /// If `amount` is not positive and finite.
    pub fn time_of_fall(&self, amount: f64, level: Level) -> Result<Option<Estimate>, InputError> {
        positive(amount)?;
        self.time_of_change(-amount, level)
    }

    /// The time at which the mean has risen from the start by `amount` > 0; `None` if the plateau is not that high.
    ///
    /// # Errors
    /// If `amount` is not positive and finite.
    pub fn time_of_rise(&self, amount: f64, level: Level) -> Result<Option<Estimate>, InputError> {
        positive(amount)?;
        self.time_of_change(amount, level)
    }

    /// Standard error of log tau.
    #[must_use]
    pub fn log_tau_error(&self) -> f64 {
        self.covariance[(2, 2)].sqrt()
    }

    fn time_of_change(&self, amount: f64, level: Level) -> Result<Option<Estimate>, InputError> {
        let whole = self.plateau - self.start;
        let q = amount / whole;
        if !(q > 0.0 && q < 1.0) {
            return Ok(None);
        }
        let tau = self.tau();
        let time = -tau * (-q).ln_1p();
        let by_plateau = -tau * q / ((1.0 - q) * whole);
        let gradient = Vector3::new(-by_plateau, by_plateau, time);
        let relative_error = self.error_of(gradient) / time;
        self.duration(time, relative_error, level).map(Some)
    }

    /// Standard error by the delta method.
    fn error_of(&self, gradient: Vector3<f64>) -> f64 {
        gradient.dot(&(self.covariance * gradient)).max(0.0).sqrt()
    }

    fn t(&self, level: Level) -> Result<f64, InputError> {
        Ok(-t_quantile(level.tail(), self.degrees_of_freedom as f64)?)
    }

    fn linear(&self, value: f64, gradient: Vector3<f64>, level: Level) -> Result<Estimate, InputError> {
        let standard_error = self.error_of(gradient);
        Ok(Estimate { value, standard_error, interval: Interval::around(value, self.t(level)? * standard_error) })
    }

    /// A positive quantity whose logarithm has the standard error `relative_error`.
    fn duration(&self, value: f64, relative_error: f64, level: Level) -> Result<Estimate, InputError> {
        let factor = (self.t(level)? * relative_error).exp();
        let interval = Interval { low: value / factor, high: value * factor };
        Ok(Estimate { value, standard_error: value * relative_error, interval })
    }
}

fn positive(amount: f64) -> Result<(), InputError> {
    if amount > 0.0 && amount.is_finite() {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what: "amount of change", domain: "positive and finite" })
    }
}
