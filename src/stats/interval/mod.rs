//! Intervals: for proportions, their differences, means and changes.
//!
//! Each returns the estimate with its interval, or an error that says which argument made no sense. The interval
//! always holds the estimate, and for a proportion stays within 0 and 1.

mod mean;
mod paired;
mod proportion;
mod proportion_difference;

pub use mean::{MeanDifference, MeanInterval, Summary, mean_interval, welch_difference};
pub use paired::{PairedChange, StandardisedChange, paired_change};
pub use proportion::wilson;
pub use proportion_difference::{ProportionDifference, newcombe_difference};

use crate::error::InputError;

/// Standard errors to either side of a normal estimate in a 95 % interval, rounded as published formulas have it;
/// [`crate::distribution::normal_quantile`] has all digits.
pub const ERRORS_95: f64 = 1.96;

/// A closed interval, `low` <= `high`, neither NaN.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Interval {
    /// Whether `value` lies within the limits, the limits included.
    #[must_use]
    pub fn contains(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Distance between the limits.
    #[must_use]
    pub fn width(self) -> f64 {
        self.high - self.low
    }

    /// `value` minus and plus `half_width`.
    pub(crate) fn around(value: f64, half_width: f64) -> Self {
        Self { low: value - half_width, high: value + half_width }
    }
}

/// A number with its standard error and interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate itself.
    pub value: f64,
    /// Its standard error, in the units of `value`.
    pub standard_error: f64,
    /// Its interval, in the units of `value`.
    pub interval: Interval,
}

/// Refuses successes beyond the number of trials, and no trials at all; else the two as floats.
fn checked_counts(successes: u64, trials: u64) -> Result<(f64, f64), InputError> {
    if trials == 0 {
        return Err(InputError::TooFew { what: "trials", needed: 1, found: 0 });
    }
    if successes > trials {
        return Err(InputError::OutOfRange { what: "number of successes", domain: "at most the number of trials" });
    }
    Ok((successes as f64, trials as f64))
}
