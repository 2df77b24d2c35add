//! E-value: how strong a confounder that nobody measured would have to be to explain an association away.
//!
//! **Formula.** For a risk ratio RR >= 1: E = RR + sqrt(RR (RR - 1)); below 1 it is inverted first (VanderWeele & Ding 2017,
//! Ann Intern Med 167:268-74). E is the least risk ratio that the confounder would need with the exposure *and* with the
//! outcome, beyond what was allowed for. Of the limit of an interval nearer to 1; where the interval holds 1: E = 1.
//!
//! **An odds ratio** is close to the risk ratio where the outcome is rare; of an outcome that more than 15 % have, RR is
//! taken as the odds ratio's square root (the same paper's table 2).
//!
//! **Domain.** Ratios are positive and finite.
//!
//! **Published values.** RR 3.9, 95 % 1.8 to 8.7: E-values 7.26 and 3.0 (the same paper).

use crate::error::InputError;
use crate::interval::Interval;

/// Share with the outcome from which on an odds ratio is not close to the risk ratio.
pub const COMMON: f64 = 0.15;

/// The E-values of an estimate and of its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EValue {
    /// Of the estimate; 1 or more.
    pub estimate: f64,
    /// Of the limit nearer to 1; 1 where the interval holds 1.
    pub limit: f64,
}

/// The E-values of a risk ratio with its interval.
///
/// # Errors
/// If a ratio is not positive and finite, or the estimate lies outside the interval.
pub fn of_risk_ratio(ratio: f64, interval: Interval) -> Result<EValue, InputError> {
    if [ratio, interval.low, interval.high].iter().any(|ratio| !(ratio.is_finite() && *ratio > 0.0)) {
        return Err(InputError::OutOfRange { what: "ratio", domain: "positive and finite" });
    }
    if !interval.contains(ratio) {
        return Err(InputError::OutOfRange { what: "ratio", domain: "within its interval" });
    }
    let limit = match interval.contains(1.0) {
        true => 1.0,
        false if ratio > 1.0 => e_value(interval.low),
        false => e_value(interval.high),
    };
    Ok(EValue { estimate: e_value(ratio), limit })
}

/// The E-values of an odds ratio with its interval. `share`: of everybody with the outcome, 0 to 1.
///
/// # Errors
/// As [`of_risk_ratio`], and if the share is not within 0 and 1.
pub fn of_odds_ratio(ratio: f64, interval: Interval, share: f64) -> Result<EValue, InputError> {
    if !(0.0..=1.0).contains(&share) {
        return Err(InputError::OutOfRange { what: "share with the outcome", domain: "from 0 to 1" });
    }
    if share <= COMMON {
        return of_risk_ratio(ratio, interval);
    }
    // the root of a negative number is NaN and refused like the number itself
    of_risk_ratio(ratio.sqrt(), Interval { low: interval.low.sqrt(), high: interval.high.sqrt() })
}

fn e_value(ratio: f64) -> f64 {
    let ratio = if ratio < 1.0 { 1.0 / ratio } else { ratio };
    ratio + (ratio * (ratio - 1.0)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_near(found: f64, expected: f64, digits: f64) {
        assert!((found - expected).abs() <= digits, "{found} {expected}");
    }

    #[test]
    fn the_published_example_comes_out() {
        // VanderWeele & Ding 2017: infants fed by bottle, RR 3.9 (1.8 to 8.7)
        let found = of_risk_ratio(3.9, Interval { low: 1.8, high: 8.7 }).unwrap();
        is_near(found.estimate, 7.26, 0.005);
        is_near(found.limit, 3.0, 0.005);
    }

    #[test]
    fn a_ratio_below_one_is_inverted() {
        let found = of_risk_ratio(1.0 / 3.9, Interval { low: 1.0 / 8.7, high: 1.0 / 1.8 }).unwrap();
        is_near(found.estimate, 7.26, 0.005);
        is_near(found.limit, 3.0, 0.005);
    }

    #[test]
    fn an_interval_that_holds_one_needs_no_confounder() {
        let found = of_risk_ratio(1.2, Interval { low: 0.9, high: 1.6 }).unwrap();
        assert_eq!(found.limit, 1.0);
        assert_eq!(of_risk_ratio(1.0, Interval { low: 1.0, high: 1.0 }).unwrap(), EValue { estimate: 1.0, limit: 1.0 });
    }

    #[test]
    fn of_a_common_outcome_the_root_of_the_odds_ratio_counts() {
        let interval = Interval { low: 2.25, high: 6.25 };
        // by hand: the root of 4 is 2, 2 + sqrt(2) = 3.41421; the root of 2.25 is 1.5, 1.5 + sqrt(0.75) = 2.36603
        let common = of_odds_ratio(4.0, interval, 0.5).unwrap();
        is_near(common.estimate, 3.414_213_6, 1e-7);
        is_near(common.limit, 2.366_025_4, 1e-7);
        assert_eq!(of_odds_ratio(4.0, interval, 0.15), of_risk_ratio(4.0, interval));
    }

    #[test]
    fn what_is_no_ratio_is_refused() {
        let interval = Interval { low: 0.5, high: 2.0 };
        for (ratio, interval) in [
            (0.0, interval),
            (-1.0, interval),
            (f64::NAN, interval),
            (3.0, interval),
            (1.0, Interval { low: 0.5, high: f64::INFINITY }),
        ] {
            assert!(of_risk_ratio(ratio, interval).is_err() && of_odds_ratio(ratio, interval, 0.5).is_err());
        }
        assert!(of_odds_ratio(1.0, interval, 1.5).is_err());
    }
}
