//! Intervals for one proportion, x successes in n trials.
//!
//! **Formulas.** Wilson's score interval (Wilson 1927, J Am Stat Assoc 22:209-12; method 3 of Newcombe 1998, Stat Med
//! 17:857-72): (2x + z2 -/+ z sqrt(z2 + 4x(1 - x/n))) / (2(n + z2)).
//!
//! **Domain and edge cases.** n >= 1, 0 <= x <= n, else an error. x = 0 has the lower limit exactly 0, x = n the upper
//! exactly 1.
//!
//! **Published values.** Newcombe 1998: 81/263 gives 0.2553 to 0.3662; 15/148, 0.0624 to 0.1605; 0/20, 0 to 0.1611;
//! 1/29, 0.0061 to 0.1718. Folder `newcombe_1998_proportion`.

use super::{Interval, checked_counts};
use crate::distribution::normal_quantile;
use crate::error::InputError;
use crate::level::Level;

/// Wilson's score interval for `successes` out of `trials`, as shares.
///
/// # Errors
/// If there are no trials, or more successes than trials.
pub fn wilson(successes: u64, trials: u64, level: Level) -> Result<Interval, InputError> {
    let (x, n) = checked_counts(successes, trials)?;
    let z = -normal_quantile(level.tail())?;
    let (z2, p) = (z * z, x / n);
    let spread = z * (z2 + 4.0 * x * (1.0 - p)).sqrt();
    let limit = |numerator: f64| (numerator / (2.0 * (n + z2))).clamp(0.0, 1.0);
    Ok(Interval {
        low: if successes == 0 { 0.0 } else { limit(2.0 * x + z2 - spread).min(p) },
        high: if successes == trials { 1.0 } else { limit(2.0 * x + z2 + spread).max(p) },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const L95: Level = Level::NINETY_FIVE;

    #[test]
    fn wilson_limits_solve_the_score_equation() {
        // the definition: at a limit, |p - limit| = z sqrt(limit (1 - limit) / n)
        let z = -normal_quantile(0.025).unwrap();
        for (x, n) in [(81, 263), (15, 148), (1, 29), (9, 10)] {
            let interval = wilson(x, n, L95).unwrap();
            for limit in [interval.low, interval.high] {
                let n = n as f64;
                assert!(((x as f64 / n - limit).abs() - z * (limit * (1.0 - limit) / n).sqrt()).abs() < 1e-14);
            }
        }
    }

    #[test]
    fn none_and_all_reach_zero_and_one_exactly_and_mirror_each_other() {
        let (none, all) = (wilson(0, 20, L95).unwrap(), wilson(20, 20, L95).unwrap());
        assert_eq!((none.low, all.high), (0.0, 1.0));
        assert!((none.high + all.low - 1.0).abs() < 1e-14);
        let single = wilson(1, 1, L95).unwrap();
        assert!(single.low > 0.0 && single.high == 1.0);
    }

    #[test]
    fn the_interval_holds_the_proportion_and_grows_with_the_level() {
        for n in [1_u64, 2, 7, 50, 1_000_000] {
            for x in [0, 1, n / 2, n - 1, n] {
                let inner = wilson(x, n, L95).unwrap();
                let outer = wilson(x, n, Level::NINETY_NINE_POINT_EIGHT).unwrap();
                assert!(inner.contains(x as f64 / n as f64));
                assert!(outer.low <= inner.low && outer.high >= inner.high && outer.width() > inner.width());
            }
        }
    }

    #[test]
    fn impossible_counts_are_refused() {
        assert!(matches!(wilson(0, 0, L95), Err(InputError::TooFew { .. })));
        assert!(matches!(wilson(3, 2, L95), Err(InputError::OutOfRange { .. })));
    }
}
