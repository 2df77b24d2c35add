//! A proportion pooled over completed copies of the data.
//!
//! **Formula.** In each copy, x of n: log odds ln(x/(n - x)) with variance 1/x + 1/(n - x); pooled by Rubin's rules
//! with n - 1 complete-data degrees of freedom; estimate and limits turned back, so that they stay within 0 and 1 (log
//! odds as recommended by Rubin 1987 and van Buuren 2018, Flexible Imputation of Missing Data, 5.2). Standard error on
//! the scale of shares by the delta method, p (1 - p) s.
//!
//! **Domain and edge cases.** Two copies or more, n >= 1. n may differ between copies; the least counts for the degrees
//! of freedom. In a copy with x = 0 or x = n the log odds are infinite. If some copies are so, all copies take the
//! empirical log odds ln((x + 1/2)/(n - x + 1/2)) with variance 1/(x + 1/2) + 1/(n - x + 1/2) (Haldane 1956, Ann Hum
//! Genet 20:309-11; Anscombe 1956, Biometrika 43:461-4), which pulls the answer towards one half a little. If all
//! copies have x = 0, or all x = n, the proportion is 0 or 1 with Wilson's interval from the smallest n and a standard
//! error of 0. The scale used is said. With fewer than one degree of freedom the limits are 0 and 1: nothing is known.
//!
//! **Reference.** R's `mice::pool.scalar` on log odds, folder `rubin_pooled`.

use super::rubin::pool;
use crate::error::{InputError, at_least};
use crate::interval::{Estimate, Interval, wilson};
use crate::level::Level;

/// Successes of one completed copy.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DrawnCount {
    /// Successes, at most `trials`.
    pub successes: u64,
    /// Trials, at least 1.
    pub trials: u64,
}

/// The scale on which the copies were pooled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PoolingScale {
    /// Log odds.
    Logit,
    /// Empirical log odds, with halves added: at least one copy had none or all.
    EmpiricalLogit,
    /// None needed: no copy had any, or every copy had all.
    Degenerate,
}

/// A pooled proportion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PooledProportion {
    /// The share, its standard error and limits.
    pub estimate: Estimate,
    /// Number of copies.
    pub draws: usize,
    /// The scale of pooling.
    pub scale: PoolingScale,
    /// Fraction of missing information; 0 if degenerate.
    pub missing_information: f64,
}

/// Pools the proportions of completed copies.
///
/// # Errors
/// If there are fewer than two copies, or one has no trials or more successes than trials.
pub fn pooled_proportion(draws: &[DrawnCount], level: Level) -> Result<PooledProportion, InputError> {
    at_least("completed copies", 2, draws.len())?;
    if let Some(index) = draws.iter().position(|d| d.trials == 0 || d.successes > d.trials) {
        let domain = "at most as many successes as trials, and a trial or more";
        return Err(InputError::BadElement { what: "completed copies", index, domain });
    }
    let smallest = draws.iter().map(|d| d.trials).min().unwrap_or(1);
    let (none, all) = (|d: &DrawnCount| d.successes == 0, |d: &DrawnCount| d.successes == d.trials);
    for (is_all, value, successes) in [(draws.iter().all(none), 0.0, 0), (draws.iter().all(all), 1.0, smallest)] {
        if is_all {
            let estimate = Estimate { value, standard_error: 0.0, interval: wilson(successes, smallest, level)? };
            let (draws, scale) = (draws.len(), PoolingScale::Degenerate);
            return Ok(PooledProportion { estimate, draws, scale, missing_information: 0.0 });
        }
    }
    let is_plain = !draws.iter().any(|d| none(d) || all(d));
    let added = if is_plain { 0.0 } else { 0.5 };
    let odds = |d: &DrawnCount| (d.successes as f64 + added, (d.trials - d.successes) as f64 + added);
    let logits: Vec<f64> = draws.iter().map(odds).map(|(x, rest)| (x / rest).ln()).collect();
    let variances: Vec<f64> = draws.iter().map(odds).map(|(x, rest)| 1.0 / x + 1.0 / rest).collect();
    // a single trial leaves no degree of freedom: one is the least that pooling takes
    let pooled = pool(&logits, &variances, Some((smallest as f64 - 1.0).max(1.0)), level)?;
    let value = share(pooled.value);
    let interval = pooled.interval.map_or(Interval { low: 0.0, high: 1.0 }, |i| Interval {
        low: share(i.low).min(value),
        high: share(i.high).max(value),
    });
    Ok(PooledProportion {
        estimate: Estimate { value, standard_error: value * (1.0 - value) * pooled.standard_error, interval },
        draws: draws.len(),
        scale: if is_plain { PoolingScale::Logit } else { PoolingScale::EmpiricalLogit },
        missing_information: pooled.missing_information,
    })
}

/// The share with these log odds.
fn share(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distribution::t_quantile;

    const L95: Level = Level::NINETY_FIVE;

    fn counts(successes: &[u64], trials: u64) -> Vec<DrawnCount> {
        successes.iter().map(|&successes| DrawnCount { successes, trials }).collect()
    }

    #[test]
    fn equal_copies_give_the_logit_interval_of_the_complete_data() {
        let found = pooled_proportion(&counts(&[12; 5], 40), L95).unwrap();
        assert!((found.estimate.value - 0.3).abs() < 1e-15);
        assert!((found.estimate.standard_error - (0.3_f64 * 0.7 / 40.0).sqrt()).abs() < 1e-15);
        let half = -t_quantile(0.025, 40.0 / 42.0 * 39.0).unwrap() * (1.0_f64 / 12.0 + 1.0 / 28.0).sqrt();
        assert!((found.estimate.interval.high - share((3.0_f64 / 7.0).ln() + half)).abs() < 1e-14);
        assert_eq!(found.scale, PoolingScale::Logit);
    }

    #[test]
    fn spread_between_copies_widens_the_interval_and_successes_mirror_failures() {
        let (equal, spread) = (counts(&[12; 4], 40), counts(&[9, 15, 10, 14], 40));
        let width = |d: &[DrawnCount]| pooled_proportion(d, L95).unwrap().estimate.interval.width();
        assert!(width(&spread) > 1.2 * width(&equal));
        let mirrored = pooled_proportion(&counts(&[31, 25, 30, 26], 40), L95).unwrap().estimate;
        let plain = pooled_proportion(&spread, L95).unwrap().estimate;
        assert!((plain.value + mirrored.value - 1.0).abs() < 1e-14);
        assert!((plain.interval.low + mirrored.interval.high - 1.0).abs() < 1e-14);
    }

    #[test]
    fn none_or_all_in_every_copy_gives_zero_or_one_with_wilsons_interval() {
        let none = pooled_proportion(&counts(&[0; 3], 20), L95).unwrap();
        assert_eq!((none.estimate.value, none.scale), (0.0, PoolingScale::Degenerate));
        assert_eq!(none.estimate.interval, wilson(0, 20, L95).unwrap());
        assert_eq!(pooled_proportion(&counts(&[20; 3], 20), L95).unwrap().estimate.interval.high, 1.0);
    }

    #[test]
    fn none_in_some_copies_adds_halves_to_all_and_says_so() {
        let found = pooled_proportion(&counts(&[0, 1, 0, 2], 20), L95).unwrap();
        assert_eq!(found.scale, PoolingScale::EmpiricalLogit);
        assert!(found.estimate.value > 0.0 && found.estimate.interval.low > 0.0);
        assert!(found.estimate.interval.contains(found.estimate.value));
    }

    #[test]
    fn a_single_trial_is_answered_and_impossible_counts_are_refused() {
        let single = pooled_proportion(&counts(&[0, 1, 1], 1), L95).unwrap().estimate;
        assert_eq!(single.interval, Interval { low: 0.0, high: 1.0 });
        assert!(pooled_proportion(&counts(&[1], 4), L95).is_err());
        assert!(pooled_proportion(&counts(&[1, 5], 4), L95).is_err());
        assert!(pooled_proportion(&counts(&[0, 0], 0), L95).is_err());
    }
}
