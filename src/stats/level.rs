//! Confidence levels: shares strictly between 0 and 1, checked once.

use crate::error::InputError;

/// A confidence level, inside (0, 1). NaN cannot become one.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Level(f64);

impl Level {
    /// 95 %.
    pub const NINETY_FIVE: Self = Self(0.95);
    /// 99.8 %, the outer limits of a funnel plot.
    pub const NINETY_NINE_POINT_EIGHT: Self = Self(0.998);

    /// A level from a share, as 0.95.
    ///
    /// # Errors
    /// If `share` is not strictly inside (0, 1).
    pub fn new(share: f64) -> Result<Self, InputError> {
        // "is inside", so that NaN fails
        if share > 0.0 && share < 1.0 {
            Ok(Self(share))
        } else {
            Err(InputError::OutOfRange { what: "confidence level", domain: "strictly between 0 and 1" })
        }
    }

    /// The level as a share, as 0.95.
    #[must_use]
    pub fn share(self) -> f64 {
        self.0
    }

    /// Probability left in each tail, as 0.025.
    #[must_use]
    pub fn tail(self) -> f64 {
        (1.0 - self.0) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_shares_strictly_inside_zero_and_one_become_levels() {
        assert_eq!(Level::new(0.95).unwrap(), Level::NINETY_FIVE);
        for bad in [0.0, 1.0, -0.5, 95.0, f64::NAN, f64::INFINITY] {
            assert!(Level::new(bad).is_err());
        }
    }

    #[test]
    fn both_tails_and_the_level_add_to_one() {
        for share in [0.5, 0.8, 0.95, 0.998] {
            let level = Level::new(share).unwrap();
            assert!((level.share() + 2.0 * level.tail() - 1.0).abs() < 1e-15);
        }
    }
}
