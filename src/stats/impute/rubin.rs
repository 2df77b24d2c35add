//! Rubin's rules: the estimates from m completed copies of the data as one.
//!
//! **Formulas.** Mean of the estimates; W the mean of their variances, B the variance of the estimates (divisor m - 1),
//! T = W + (1 + 1/m) B (Rubin 1987, Multiple Imputation for Nonresponse in Surveys, 3.1). Share of T due to the gaps
//! lambda = (1 + 1/m) B/T. Degrees of freedom v = (m - 1)/lambda2 and, if the complete data would have had v0,
//! u = (v0 + 1)/(v0 + 3) v0 (1 - lambda), joined as v u/(v + u) (Barnard & Rubin 1999, Biometrika 86:948-55).
//! Fraction of missing information (r + 2/(v + 3))/(1 + r), r = (1 + 1/m) B/W. Limits: t.
//!
//! **Domain and edge cases.** m >= 2; variances at least 0. B = 0: lambda 0, and the degrees of freedom are u, or
//! without end if v0 is not given (then the limits are normal). T = 0: limits of no width. Fewer than one degree of
//! freedom (nearly everything is gap, and the complete data few): no limits, since a t quantile there means nothing.
//!
//! **Reference.** R's `mice::pool.scalar`, folder `rubin_pooled`.

use crate::distribution::{normal_quantile, t_quantile};
use crate::error::{InputError, all_finite, at_least, same_length};
use crate::interval::Interval;
use crate::level::Level;
use crate::sum;

/// A pooled estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// Number of completed copies, m.
    pub draws: usize,
    /// Mean of the estimates.
    pub value: f64,
    /// Square root of the total variance.
    pub standard_error: f64,
    /// Mean variance within a copy, W.
    pub within: f64,
    /// Variance between copies, B.
    pub between: f64,
    /// Degrees of freedom; `None` for without end.
    pub degrees_of_freedom: Option<f64>,
    /// Share of the total variance that is due to the gaps, lambda, 0 to 1.
    pub share_between: f64,
    /// Fraction of missing information, 0 to 1.
    pub missing_information: f64,
    /// t limits; `None` with fewer than one degree of freedom.
    pub interval: Option<Interval>,
}

/// Pools `estimates` with their `variances`; `complete_df` is what the complete data would have had, `None` for without
/// end.
///
/// # Errors
/// If there are fewer than two, the lengths differ, an estimate is not finite, a variance is not finite and at least 0,
/// `complete_df` is not positive and finite, or their spread overflows.
pub fn pool(
    estimates: &[f64],
    variances: &[f64],
    complete_df: Option<f64>,
    level: Level,
) -> Result<Pooled, InputError> {
    same_length("variances", estimates.len(), variances.len())?;
    at_least("completed copies", 2, estimates.len())?;
    all_finite("estimates", estimates)?;
    if let Some(index) = variances.iter().position(|v| !(*v >= 0.0 && v.is_finite())) {
        return Err(InputError::BadElement { what: "variances", index, domain: "finite and at least 0" });
    }
    if complete_df.is_some_and(|df| !(df > 0.0 && df.is_finite())) {
        return Err(InputError::OutOfRange { what: "complete-data degrees of freedom", domain: "positive and finite" });
    }
    let too_large = InputError::OutOfRange { what: "the estimates", domain: "small enough to be squared and added" };
    let (Some(value), Some(within), Some(between)) =
        (sum::mean(estimates), sum::mean(variances), sum::sample_variance(estimates))
    else {
        return Err(too_large);
    };
    let m = estimates.len() as f64;
    let added = (1.0 + 1.0 / m) * between;
    let total = within + added;
    if !total.is_finite() {
        return Err(too_large);
    }
    let lambda = if total > 0.0 { added / total } else { 0.0 };
    let degrees_of_freedom = join(m, lambda, complete_df);
    let standard_error = total.sqrt();
    let quantile = match degrees_of_freedom {
        None => Some(-normal_quantile(level.tail())?),
        Some(df) if df >= 1.0 => Some(-t_quantile(level.tail(), df)?),
        Some(_) => None,
    };
    Ok(Pooled {
        draws: estimates.len(),
        value,
        standard_error,
        within,
        between,
        degrees_of_freedom,
        share_between: lambda,
        // the formula over 1 + r, so that W = 0 is no division by 0
        missing_information: lambda + (1.0 - lambda) * degrees_of_freedom.map_or(0.0, |df| 2.0 / (df + 3.0)),
        interval: quantile.map(|q| Interval::around(value, q * standard_error)),
    })
}

/// Barnard's and Rubin's degrees of freedom; `None` for without end.
fn join(m: f64, lambda: f64, complete_df: Option<f64>) -> Option<f64> {
    // in reciprocals, so that neither end is a division of infinities; underflow of lambda2 is B = 0
    let of_draws = lambda * lambda / (m - 1.0);
    let reciprocal = match complete_df {
        None => of_draws,
        Some(v) if lambda < 1.0 => of_draws + (v + 3.0) / ((v + 1.0) * v * (1.0 - lambda)),
        Some(_) => return Some(0.0),
    };
    let df = 1.0 / reciprocal;
    df.is_finite().then_some(df)
}

#[cfg(test)]
mod tests {
    use super::*;

    const L95: Level = Level::NINETY_FIVE;

    #[test]
    fn three_copies_by_hand() {
        // estimates 1, 2, 3: B = 1; W = 2; T = 2 + 4/3 = 10/3; lambda = 0.4; v = 2 / 0.16 = 12.5
        let found = pool(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], None, L95).unwrap();
        assert_eq!((found.value, found.within, found.between), (2.0, 2.0, 1.0));
        assert!((found.standard_error - (10.0_f64 / 3.0).sqrt()).abs() < 1e-15);
        assert!((found.share_between - 0.4).abs() < 1e-15);
        assert!((found.degrees_of_freedom.unwrap() - 12.5).abs() < 1e-12);
        // v0 = 10: u = 11/13 x 10 x 0.6
        let u = 11.0 / 13.0 * 6.0;
        let joined = pool(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], Some(10.0), L95).unwrap();
        assert!((joined.degrees_of_freedom.unwrap() - 12.5 * u / (12.5 + u)).abs() < 1e-12);
        assert!(joined.interval.unwrap().width() > found.interval.unwrap().width());
    }

    #[test]
    fn equal_copies_are_the_complete_data() {
        let found = pool(&[5.0; 4], &[0.25; 4], None, L95).unwrap();
        assert_eq!((found.degrees_of_freedom, found.between, found.missing_information), (None, 0.0, 0.0));
        let z = -normal_quantile(0.025).unwrap();
        assert!((found.interval.unwrap().high - (5.0 + 0.5 * z)).abs() < 1e-15);
        let with = pool(&[5.0; 4], &[0.25; 4], Some(20.0), L95).unwrap();
        assert!((with.degrees_of_freedom.unwrap() - 21.0 / 23.0 * 20.0).abs() < 1e-12);
        assert_eq!(pool(&[5.0; 4], &[0.0; 4], Some(20.0), L95).unwrap().interval.unwrap().width(), 0.0);
    }

    #[test]
    fn where_all_is_gap_there_are_no_limits_but_no_nan_either() {
        let found = pool(&[1.0, 3.0], &[0.0, 0.0], Some(9.0), L95).unwrap();
        assert_eq!((found.share_between, found.degrees_of_freedom, found.interval), (1.0, Some(0.0), None));
        assert_eq!(found.missing_information, 1.0);
        assert_eq!(pool(&[1.0, 3.0], &[0.0, 0.0], None, L95).unwrap().degrees_of_freedom, Some(1.0));
    }

    #[test]
    fn the_order_of_copies_hardly_matters_and_bad_arguments_are_refused() {
        let (a, b) =
            (pool(&[0.1, 0.7, 0.3], &[1.0, 2.0, 4.0], None, L95), pool(&[0.3, 0.1, 0.7], &[4.0, 1.0, 2.0], None, L95));
        assert!((a.unwrap().standard_error - b.unwrap().standard_error).abs() < 1e-15);
        assert!(pool(&[], &[], None, L95).is_err());
        assert!(pool(&[1.0], &[1.0], None, L95).is_err());
        assert!(pool(&[1.0, 2.0], &[1.0], None, L95).is_err());
        assert!(pool(&[1.0, f64::NAN], &[1.0, 1.0], None, L95).is_err());
        assert!(pool(&[1.0, 2.0], &[1.0, -1.0], None, L95).is_err());
        assert!(pool(&[1.0, 2.0], &[1.0, 1.0], Some(0.0), L95).is_err());
        assert!(pool(&[f64::MAX, f64::MIN], &[1.0, 1.0], None, L95).is_err());
    }
}
