//! Intervals for a mean and for the difference of two means.
//!
//! **Formulas.** One mean: m -/+ t(n - 1) s / sqrt(n) (Student 1908, Biometrika 6:1-25). Two independent means with
//! unequal variances: m1 - m2 -/+ t(v) sqrt(e1 + e2), ei = si2 / ni, with Welch's and Satterthwaite's
//! v = (e1 + e2)2 / (e1 2 / (n1 - 1) + e2 2 / (n2 - 1)) (Welch 1947, Biometrika 34:28-35).
//!
//! **Domain and edge cases.** n >= 2 on each side; s = 0 gives an interval of no width; if both s are 0, v = n1 + n2 - 2.
//!
//! **Reference.** R's `t.test` on the sleep data of Student 1908, folder `student_sleep`.

use super::Interval;
use crate::distribution::t_quantile;
use crate::error::{InputError, all_finite, at_least};
use crate::level::Level;
use crate::sum;

/// What a t interval needs to know of a sample: checked, n >= 2.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    n: usize,
    mean: f64,
    sd: f64,
}

impl Summary {
    /// From a sample's size, mean and standard deviation (divisor n - 1).
    ///
    /// # Errors
    /// If `n` < 2, the mean is not finite, or the standard deviation is not finite and at least 0.
    pub fn new(n: usize, mean: f64, sd: f64) -> Result<Self, InputError> {
        at_least("values", 2, n)?;
        if !mean.is_finite() {
            return Err(InputError::OutOfRange { what: "mean", domain: "a finite number" });
        }
        if !(sd >= 0.0 && sd.is_finite()) {
            return Err(InputError::OutOfRange { what: "standard deviation", domain: "finite and at least 0" });
        }
        Ok(Self { n, mean, sd })
    }

    /// From the values themselves.
    ///
    /// # Errors
    /// If there are fewer than two, one is not finite, or their spread overflows.
    pub fn of(values: &[f64]) -> Result<Self, InputError> {
        at_least("values", 2, values.len())?;
        all_finite("values", values)?;
        match (sum::mean(values), sum::sample_sd(values)) {
            (Some(mean), Some(sd)) => Self::new(values.len(), mean, sd),
            _ => Err(InputError::OutOfRange { what: "the values", domain: "small enough to be squared and added" }),
        }
    }

    /// Number of values.
    #[must_use]
    pub fn n(&self) -> usize {
        self.n
    }

    /// Mean.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Standard deviation, divisor n - 1.
    #[must_use]
    pub fn sd(&self) -> f64 {
        self.sd
    }

    /// Standard error of the mean.
    #[must_use]
    pub fn standard_error(&self) -> f64 {
        self.sd / (self.n as f64).sqrt()
    }
}

/// A mean with its t interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanInterval {
    /// The mean.
    pub mean: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Degrees of freedom, n - 1.
    pub degrees_of_freedom: f64,
    /// The t interval.
    pub interval: Interval,
}

/// A difference of two means with Welch's interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanDifference {
    /// The first mean less the second.
    pub difference: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Welch's and Satterthwaite's degrees of freedom, a fraction.
    pub degrees_of_freedom: f64,
    /// Welch's interval.
    pub interval: Interval,
}

/// The t interval for the mean of a sample.
///
/// # Errors
/// None with a [`Summary`] as checked there; kept so that no failure can pass silently.
pub fn mean_interval(sample: Summary, level: Level) -> Result<MeanInterval, InputError> {
    let degrees_of_freedom = (sample.n - 1) as f64;
    let standard_error = sample.standard_error();
    let half_width = -t_quantile(level.tail(), degrees_of_freedom)? * standard_error;
    let interval = Interval::around(sample.mean, half_width);
    Ok(MeanInterval { mean: sample.mean, standard_error, degrees_of_freedom, interval })
}

/// Welch's interval for the mean of `first` less the mean of `second`, two independent samples.
///
/// # Errors
/// None with [`Summary`]s as checked there; kept so that no failure can pass silently.
pub fn welch_difference(first: Summary, second: Summary, level: Level) -> Result<MeanDifference, InputError> {
    let difference = first.mean - second.mean;
    let (se1, se2) = (first.standard_error(), second.standard_error());
    let (df1, df2) = ((first.n - 1) as f64, (second.n - 1) as f64);
    let standard_error = se1.hypot(se2);
    let degrees_of_freedom = if standard_error == 0.0 {
        df1 + df2
    } else {
        // shares of the variance, so that nothing under- or overflows
        let (share1, share2) = ((se1 / standard_error).powi(2), (se2 / standard_error).powi(2));
        1.0 / (share1 * share1 / df1 + share2 * share2 / df2)
    };
    // rounding must not take it below its least possible value
    let degrees_of_freedom = degrees_of_freedom.clamp(df1.min(df2), df1 + df2);
    let half_width = -t_quantile(level.tail(), degrees_of_freedom)? * standard_error;
    let interval = Interval::around(difference, half_width);
    Ok(MeanDifference { difference, standard_error, degrees_of_freedom, interval })
}

#[cfg(test)]
mod tests {
    use super::*;

    const L95: Level = Level::NINETY_FIVE;

    #[test]
    fn three_values_by_hand() {
        // 1, 2, 6: mean 3, variance (4 + 1 + 9) / 2 = 7; t(0.975; 2) has the closed form 0.95 / sqrt(2 x 0.975 x 0.025)
        let answer = mean_interval(Summary::of(&[6.0, 1.0, 2.0]).unwrap(), L95).unwrap();
        let half = 0.95 / (2.0_f64 * 0.975 * 0.025).sqrt() * (7.0_f64 / 3.0).sqrt();
        assert_eq!(answer.mean, 3.0);
        assert!((answer.interval.low - (3.0 - half)).abs() < 1e-13);
        assert!((answer.interval.high - (3.0 + half)).abs() < 1e-13);
    }

    #[test]
    fn equal_spreads_and_sizes_give_the_pooled_degrees_of_freedom() {
        let (a, b) = (Summary::new(10, 5.0, 2.0).unwrap(), Summary::new(10, 3.0, 2.0).unwrap());
        let answer = welch_difference(a, b, L95).unwrap();
        assert!((answer.degrees_of_freedom - 18.0).abs() < 1e-12);
        assert!((answer.standard_error - (0.8_f64).sqrt()).abs() < 1e-15);
        assert_eq!(answer.difference, 2.0);
    }

    #[test]
    fn one_group_without_spread_leaves_the_other_groups_degrees_of_freedom() {
        let answer = welch_difference(Summary::new(2, 1.0, 0.0).unwrap(), Summary::new(9, 1.0, 3.0).unwrap(), L95);
        assert_eq!(answer.unwrap().degrees_of_freedom, 8.0);
    }

    #[test]
    fn no_spread_at_all_gives_an_interval_of_no_width() {
        let same = Summary::of(&[4.0; 5]).unwrap();
        assert_eq!(mean_interval(same, L95).unwrap().interval, Interval { low: 4.0, high: 4.0 });
        assert_eq!(welch_difference(same, same, L95).unwrap().interval.width(), 0.0);
    }

    #[test]
    fn too_few_values_and_nan_are_refused() {
        assert!(Summary::of(&[]).is_err());
        assert!(Summary::of(&[1.0]).is_err());
        assert!(Summary::of(&[1.0, f64::NAN]).is_err());
        assert!(Summary::of(&[f64::MAX, f64::MIN]).is_err());
        assert!(Summary::new(5, f64::NAN, 1.0).is_err());
        assert!(Summary::new(5, 0.0, f64::NAN).is_err());
        assert!(Summary::new(5, 0.0, -1.0).is_err());
    }
}
