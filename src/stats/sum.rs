//! Sums, means and variances that do not depend on luck.
//!
//! **Formulas.** Sum: compensated, Neumaier's variant of Kahan's (A. Neumaier 1974, ZAMM 54:39-51): beside the
//! running total it keeps what each addition lost. Variance: two passes with the correction for the rounded mean,
//! s2 = (sum d2 - (sum d)2 / n) / (n - 1), d = x - mean (Chan, Golub & LeVeque 1983, Am Stat 37:242-7).
//!
//! **Order.** Always the order given, in one thread: same input, same bits. Callers that gather from several threads
//! must put the values back into a fixed order first.
//!
//! **Domain and edge cases.** Finite numbers. No values: no mean. Fewer than two: no variance. A NaN, an infinity or an
//! overflow: no answer (`None`), rather than a NaN that travels on.
//!
//! **Published values.** NIST StRD, univariate: NumAcc1 to NumAcc4 (mean and standard deviation known exactly).

use crate::error::{InputError, all_finite, at_least, positive_weights};

/// A sum that grows, compensated: where values of many sums come mixed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RunningSum {
    total: f64,
    lost: f64,
}

impl RunningSum {
    /// Adds a value.
    #[inline]
    pub fn add(&mut self, value: f64) {
        let next = self.total + value;
        // the smaller of the two gave up its low digits; get them back
        self.lost +=
            if self.total.abs() >= value.abs() { (self.total - next) + value } else { (value - next) + self.total };
        self.total = next;
    }

    /// The sum so far; NaN or infinite if a value was, or on overflow.
    #[must_use]
    pub fn value(self) -> f64 {
        if self.total.is_finite() { self.total + self.lost } else { self.total }
    }
}

/// The sum, compensated, in the order given; 0 for no values. NaN or infinite if a value is, or on overflow.
pub fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut sum = RunningSum::default();
    for value in values {
        sum.add(value);
    }
    sum.value()
}

/// The arithmetic mean; `None` for no values or if the result is not finite.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let mean = sum(values.iter().copied()) / values.len() as f64;
    mean.is_finite().then_some(mean)
}

/// The sample variance, divisor n - 1; `None` for fewer than two values or if the result is not finite.
#[must_use]
pub fn sample_variance(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let mean = mean(values)?;
    let squares = sum(values.iter().map(|x| (x - mean) * (x - mean)));
    let left_over = sum(values.iter().map(|x| x - mean)); // 0 but for the rounding of the mean
    let variance = (squares - left_over * left_over / n) / (n - 1.0);
    variance.is_finite().then_some(variance.max(0.0))
}

/// The sample standard deviation, divisor n - 1; `None` as for [`sample_variance`].
#[must_use]
pub fn sample_sd(values: &[f64]) -> Option<f64> {
    sample_variance(values).map(f64::sqrt)
}

/// The weighted mean, sum w x / sum w.
///
/// # Errors
/// If there are no values, the lengths differ, a value is not finite, or a weight is not positive and finite.
pub fn weighted_mean(values: &[f64], weights: &[f64]) -> Result<f64, InputError> {
    at_least("values", 1, values.len())?;
    all_finite("values", values)?;
    positive_weights(weights, values.len())?;
    // weights relative to the largest, so that neither sum overflows
    let largest = weights.iter().copied().fold(0.0, f64::max);
    let weighted = sum(values.iter().zip(weights).map(|(x, w)| x * (w / largest)));
    let total = sum(weights.iter().map(|w| w / largest));
    let mean = weighted / total;
    if mean.is_finite() {
        Ok(mean)
    } else {
        Err(InputError::OutOfRange { what: "the weighted sum", domain: "within the range of double precision" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST StRD univariate NumAcc2 to 4: `middle`, then 500 pairs 0.1 below and above. Mean `middle`, SD 0.1, exactly.
    fn numacc(middle: f64, below: f64, above: f64) -> Vec<f64> {
        std::iter::once(middle).chain([below, above].into_iter().cycle().take(1000)).collect()
    }

    #[test]
    fn nist_numacc_1_to_4_are_reproduced() {
        // NIST StRD certified values (from memory; exact by construction)
        let numacc1 = [10_000_001.0, 10_000_003.0, 10_000_002.0];
        assert_eq!(mean(&numacc1), Some(10_000_002.0));
        assert_eq!(sample_sd(&numacc1), Some(1.0));
        for (middle, below, above, sd_tolerance) in [
            (1.2, 1.1, 1.3, 1e-15),
            // the data themselves are rounded: 1000000.1 is not 0.1 below 1000000.2 in binary
            (1_000_000.2, 1_000_000.1, 1_000_000.3, 1e-10),
            (10_000_000.2, 10_000_000.1, 10_000_000.3, 1e-9),
        ] {
            let values = numacc(middle, below, above);
            assert!((mean(&values).unwrap() - middle).abs() <= middle * f64::EPSILON);
            assert!((sample_sd(&values).unwrap() - 0.1).abs() < sd_tolerance);
        }
    }

    #[test]
    fn the_sum_keeps_what_a_plain_sum_loses() {
        let values = [1.0, 1e100, 1.0, -1e100]; // Neumaier's own example
        assert_eq!(values.iter().sum::<f64>(), 0.0);
        assert_eq!(sum(values), 2.0);
        assert_eq!(sum((0..10).map(|_| 0.1)), 1.0);
    }

    #[test]
    fn nothing_has_no_mean_and_one_value_no_variance() {
        assert_eq!(sum([]), 0.0);
        assert_eq!(mean(&[]), None);
        assert_eq!(sample_variance(&[]), None);
        assert_eq!(sample_variance(&[4.0]), None);
        assert_eq!(sample_variance(&[4.0, 4.0]), Some(0.0));
    }

    #[test]
    fn a_nan_an_infinity_or_an_overflow_gives_none_not_nan() {
        for bad in [f64::NAN, f64::INFINITY, f64::MAX] {
            assert_eq!(mean(&[1.0, bad, f64::MAX]), None);
            assert_eq!(sample_variance(&[1.0, bad, -2.0]), None);
        }
    }

    #[test]
    fn equal_weights_give_the_mean_and_whole_weights_count_repeats() {
        let values = [3.0, 8.0, 1.0];
        assert_eq!(weighted_mean(&values, &[0.3; 3]).unwrap(), 4.0);
        let repeated = mean(&[3.0, 8.0, 8.0, 1.0, 1.0, 1.0]).unwrap();
        assert!((weighted_mean(&values, &[1.0, 2.0, 3.0]).unwrap() - repeated).abs() < 1e-15);
        assert!(weighted_mean(&[], &[]).is_err());
        assert!(weighted_mean(&[1.0, f64::NAN], &[1.0, 1.0]).is_err());
        assert!(weighted_mean(&[1.0, 2.0], &[1.0]).is_err());
        assert!(weighted_mean(&[1.0, 2.0], &[f64::MAX, f64::MAX]).is_ok());
    }
}
