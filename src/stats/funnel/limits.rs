//! Exact control limits of a proportion, and of observed over expected.
//!
//! **Formula.** Spiegelhalter 2005, Stat Med 24:1185-202, appendix A.1.1. For a tail area p, r is the smallest count with
//! P(R <= r) >= p, and the limit is r - a, a = (P(R <= r) - p) / P(R = r): between r - 1 and r, so that limits
//! change smoothly with size. R is binomial for a proportion; for observed over expected it is the sum of trials with
//! unequal probabilities, and the limits are divided by the expected number.
//! [`Interpolation::Published`] does so for both tails (p = tail and 1 - tail). That treats them unequally: of 20 with target
//! 0.5, 14 lies outside the upper 95 % limit (chance of 14 or more: 0.058), yet 6 does not lie outside the lower.
//! [`Interpolation::Inside`] takes the upper limit as the mirror image of the lower (successes for failures): a unit
//! on target lies outside either limit with a chance of at most the tail. Both give the same lower limit.
//! Manktelow & Seaton 2012 (PLoS ONE 7:e45723) compare such choices for Poisson counts.
//!
//! **Domain and edge cases.** n >= 1, target strictly inside (0, 1); probabilities from 0 to 1, of which some must be positive.
//! A limit below 0 is 0; a lower limit of 0 is one that no unit can fall below; for small n there may be no lower limit in this sense.
//! The true chances of lying outside come with the limits, since counts cannot meet the level exactly.
//!
//! **Cost.** Binomial: a few dozen incomplete beta functions. Sum of unequal trials: see `poisson_binomial`.
//!
//! **Reference.** R's `qbinom` and `pbinom`, and exact convolution in R, folder `funnel_limits`.

use super::check_target;
use super::counts::{Binomial, Counts};
use crate::error::InputError;
use crate::interval::Interval;
use crate::level::Level;
use crate::poisson_binomial::PoissonBinomial;

/// How the upper limit is interpolated between two counts; see the module's head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interpolation {
    /// As printed by Spiegelhalter 2005: smooth, and on average near the level, but the upper limit is too strict for small units.
    Published,
    /// Never outside with more chance than the level's tail; symmetric in success and failure.
    Inside,
}

/// Control limits for one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlLimits {
    /// The limits: shares for a proportion, ratios for observed over expected. A value on a limit is within.
    pub interval: Interval,
    /// Chance that a unit on target lies below the lower limit.
    pub chance_below: f64,
    /// Chance that a unit on target lies above the upper limit.
    pub chance_above: f64,
}

/// Control limits for the share of successes among `trials`, if the true share is `target`.
///
/// # Errors
/// If there are no trials or the target is not strictly inside (0, 1).
pub fn proportion_limits(
    target: f64,
    trials: u64,
    level: Level,
    interpolation: Interpolation,
) -> Result<ControlLimits, InputError> {
    check_target(target)?;
    if trials == 0 {
        return Err(InputError::TooFew { what: "trials", needed: 1, found: 0 });
    }
    Ok(limits(&Binomial { trials, p: target }, trials as f64, level, interpolation))
}

/// Control limits for observed / expected, where `expected` is the distribution of the observed number if the unit does as its
/// cases would elsewhere. The limits are around 1.
///
/// # Errors
/// If the expected number is 0.
pub fn standardised_limits(
    expected: &PoissonBinomial,
    level: Level,
    interpolation: Interpolation,
) -> Result<ControlLimits, InputError> {
    if expected.mean() > 0.0 {
        Ok(limits(expected, expected.mean(), level, interpolation))
    } else {
        Err(InputError::OutOfRange { what: "expected number", domain: "positive" })
    }
}

/// Limits of a count, divided by `unit`.
fn limits(counts: &impl Counts, unit: f64, level: Level, interpolation: Interpolation) -> ControlLimits {
    let tail = level.tail();
    let r = counts.lower_quantile(tail);
    let below = if r == 0 { 0.0 } else { counts.at_most(r - 1) };
    let low = (r as f64 - share(counts.at_most(r) - tail, counts.at_most(r) - below)).max(0.0);

    let s = counts.upper_quantile(tail); // P(R > s) < tail <= P(R >= s)
    let above = counts.at_least(s + 1);
    let part = share(tail - above, counts.at_least(s) - above);
    let high = match interpolation {
        // (P(R <= s) - (1 - tail)) / P(R = s), written with upper tails, which keep their digits
        Interpolation::Published => (s as f64 - part).max(0.0),
        Interpolation::Inside => (s as f64 + (1.0 - part)).min(counts.most() as f64),
    };
    // on a limit is within, whatever the rounding of the division below
    let chance_below = if low > 0.0 { counts.at_most(low.ceil() as u64 - 1) } else { 0.0 };
    let chance_above = counts.at_least(high.floor() as u64 + 1);
    ControlLimits { interval: Interval { low: low / unit, high: high / unit }, chance_below, chance_above }
}

/// `part` of `whole`, kept within 0 and 1; 0 of nothing.
fn share(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { (part / whole).clamp(0.0, 1.0) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEVELS: [Level; 2] = [Level::NINETY_FIVE, Level::NINETY_NINE_POINT_EIGHT];

    #[test]
    fn one_trial_by_hand() {
        // target 0.01, 95 %: P(R <= 0) = 0.99, so r = 0 for both tails, and the limits fall to 0 or below.
        // Inside: P(R >= 1) = 0.01 < 0.025 <= P(R >= 0), so 0 + 1 - 0.015 / 0.99
        let published = proportion_limits(0.01, 1, Level::NINETY_FIVE, Interpolation::Published).unwrap();
        let inside = proportion_limits(0.01, 1, Level::NINETY_FIVE, Interpolation::Inside).unwrap();
        assert_eq!((published.interval.low, published.interval.high, inside.interval.low), (0.0, 0.0, 0.0));
        assert!((inside.interval.high - (1.0 - 0.015 / 0.99)).abs() < 1e-14);
        assert!((inside.chance_above - 0.01).abs() < 1e-15);
    }

    #[test]
    fn the_published_formula_treats_the_tails_unequally_and_the_mirrored_one_does_not() {
        // 20 trials, target 1/2: P(R <= 5) = 21700 / 2^20, P(R = 6) = 38760 / 2^20 (Pascal's triangle)
        let (below, at) = (21_700.0 / 1_048_576.0, 38_760.0 / 1_048_576.0);
        let part = (below + at - 0.025) / at;
        let published = proportion_limits(0.5, 20, Level::NINETY_FIVE, Interpolation::Published).unwrap();
        let inside = proportion_limits(0.5, 20, Level::NINETY_FIVE, Interpolation::Inside).unwrap();
        assert!((published.interval.low - (6.0 - part) / 20.0).abs() < 1e-13);
        assert!((published.interval.high - (14.0 - (1.0 - part)) / 20.0).abs() < 1e-13);
        assert!((published.chance_below - below).abs() < 1e-13);
        assert!((published.chance_above - (below + at)).abs() < 1e-13);
        assert_eq!(inside.interval.low, published.interval.low);
        assert!((inside.interval.low + inside.interval.high - 1.0).abs() < 1e-13);
        assert!((inside.chance_above - below).abs() < 1e-13);
    }

    #[test]
    fn inside_a_unit_on_target_is_never_called_more_often_than_the_level_says() {
        for level in LEVELS {
            for n in [1, 2, 5, 17, 60, 333, 5000] {
                for target in [0.02, 0.3, 0.5, 0.9] {
                    let inside = proportion_limits(target, n, level, Interpolation::Inside).unwrap();
                    let published = proportion_limits(target, n, level, Interpolation::Published).unwrap();
                    assert!(inside.chance_below < level.tail() && inside.chance_above < level.tail());
                    assert!(inside.interval.low <= target && inside.interval.high >= target);
                    assert_eq!(inside.interval.low, published.interval.low);
                    // one count apart, but for the ends
                    assert!(inside.interval.high - published.interval.high <= 1.0 / n as f64 + 1e-12);
                }
            }
        }
    }

    #[test]
    fn large_units_have_the_normal_limits() {
        let n = 4_000_000;
        let half = 3.090_232_306 * (0.3_f64 * 0.7 / n as f64).sqrt();
        let exact = proportion_limits(0.3, n, Level::NINETY_NINE_POINT_EIGHT, Interpolation::Published).unwrap();
        assert!((exact.interval.low - (0.3 - half)).abs() < 2e-3 * half);
        assert!((exact.interval.high - (0.3 + half)).abs() < 2e-3 * half);
    }

    #[test]
    fn equal_expected_probabilities_give_the_limits_of_a_proportion() {
        let expected = PoissonBinomial::new(&[0.35; 80]).unwrap();
        for level in LEVELS {
            for interpolation in [Interpolation::Published, Interpolation::Inside] {
                let ratio = standardised_limits(&expected, level, interpolation).unwrap();
                let share = proportion_limits(0.35, 80, level, interpolation).unwrap();
                assert!((ratio.interval.low * 0.35 - share.interval.low).abs() < 1e-11);
                assert!((ratio.interval.high * 0.35 - share.interval.high).abs() < 1e-11);
                assert!((ratio.chance_above - share.chance_above).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn unequal_probabilities_narrow_the_limits() {
        // same expected number, less variance: sum p (1 - p) is largest when all p are equal
        let unequal: Vec<f64> = (0..80).map(|i| if i % 2 == 0 { 0.02 } else { 0.68 }).collect();
        let narrow = PoissonBinomial::new(&unequal).unwrap();
        let wide = PoissonBinomial::new(&[0.35; 80]).unwrap();
        for level in LEVELS {
            let [narrow, wide] = [&narrow, &wide]
                .map(|d| standardised_limits(d, level, Interpolation::Inside).unwrap().interval.width());
            assert!(narrow < 0.9 * wide);
        }
    }

    #[test]
    fn limits_without_trials_target_or_expectation_are_refused() {
        for target in [0.0, 1.0, f64::NAN] {
            assert!(proportion_limits(target, 9, Level::NINETY_FIVE, Interpolation::Inside).is_err());
        }
        assert!(proportion_limits(0.5, 0, Level::NINETY_FIVE, Interpolation::Inside).is_err());
        for nothing in [&[][..], &[0.0, 0.0]] {
            let nothing = PoissonBinomial::new(nothing).unwrap();
            assert!(standardised_limits(&nothing, Level::NINETY_FIVE, Interpolation::Inside).is_err());
        }
    }
}
