//! How much worse the missing would have to be than imputed for the message to change.
//!
//! **Formula.** The smallest shift d >= 0 of the imputed values at which the pooled rate is below a stated limit, by
//! bisection (delta adjustment: Rubin 1987, 6.2; tipping point: Yan, Lee & Li 2009, J Biopharm Stat 19:1085-98).
//!
//! **Domain and edge cases.** The rate must not rise with the shift, so a caller shifts the same draws each time rather
//! than drawing anew; a rise that is met on the way is an error. The rate is a step function: the shift returned is one
//! at which the rate is below, at most a millionth of the largest shift beyond the exact one. A rate equal to the limit
//! is not below.
//!
//! **Cost.** 22 evaluations of the rate.
//!
//! **Check.** Closed forms in the tests: a straight line and a step.

use crate::error::InputError;

/// Halvings of the largest shift: a millionth is left.
const HALVINGS: u32 = 20;
/// Rises of the rate smaller than this are rounding.
const ROUNDING: f64 = 1e-12;

/// Where the message changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TippingPoint {
    /// The rate is below the limit without any shift.
    AlreadyBelow,
    /// At this shift, in the units of the values shifted, and beyond, the rate is below the limit.
    At(f64),
    /// Not even at the largest shift.
    Never,
}

/// The smallest shift in 0 to `largest` at which `rate` is below `limit`.
///
/// # Errors
/// Those of `rate`; also if `limit` is not finite, `largest` is not positive and finite, or the rate is not finite or
/// rises with the shift.
pub fn tipping_point(
    mut rate: impl FnMut(f64) -> Result<f64, InputError>,
    limit: f64,
    largest: f64,
) -> Result<TippingPoint, InputError> {
    if !limit.is_finite() {
        return Err(InputError::OutOfRange { what: "limit of the rate", domain: "a finite number" });
    }
    if !(largest > 0.0 && largest.is_finite()) {
        return Err(InputError::OutOfRange { what: "largest shift", domain: "positive and finite" });
    }
    let mut checked = |shift: f64, highest: f64, lowest: f64| -> Result<f64, InputError> {
        let found = rate(shift)?;
        // "is between", so that NaN fails
        if found.is_finite() && found <= highest + ROUNDING && found >= lowest - ROUNDING {
            Ok(found)
        } else {
            Err(InputError::OutOfRange { what: "rate", domain: "finite, and not rising with the shift" })
        }
    };
    let mut rate_before = checked(0.0, f64::INFINITY, f64::NEG_INFINITY)?;
    if rate_before < limit {
        return Ok(TippingPoint::AlreadyBelow);
    }
    let mut rate_after = checked(largest, rate_before, f64::NEG_INFINITY)?;
    if rate_after >= limit {
        return Ok(TippingPoint::Never);
    }
    let (mut before, mut after) = (0.0, largest);
    for _ in 0..HALVINGS {
        let middle = before + (after - before) / 2.0;
        let found = checked(middle, rate_before, rate_after)?;
        if found < limit {
            (after, rate_after) = (middle, found);
        } else {
            (before, rate_before) = (middle, found);
        }
    }
    Ok(TippingPoint::At(after))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(rate: impl Fn(f64) -> f64, limit: f64) -> TippingPoint {
        tipping_point(|d| Ok(rate(d)), limit, 100.0).unwrap()
    }

    #[test]
    fn a_line_tips_where_it_crosses_and_a_step_at_its_edge() {
        for rate in [(|d: f64| 0.6 - 0.01 * d) as fn(f64) -> f64, |d| if d > 25.0 { 0.2 } else { 0.6 }] {
            let TippingPoint::At(shift) = at(rate, 0.35) else { panic!("it tips") };
            assert!((25.0..25.0 + 1e-4).contains(&shift), "{shift}");
            assert!(rate(shift) < 0.35);
        }
    }

    #[test]
    fn already_below_never_and_just_equal_are_told_apart() {
        assert_eq!(at(|_| 0.3, 0.35), TippingPoint::AlreadyBelow);
        assert_eq!(at(|_| 0.35, 0.35), TippingPoint::Never);
        assert_eq!(at(|d| 0.6 - 0.001 * d, 0.35), TippingPoint::Never);
    }

    #[test]
    fn a_rising_rate_nan_a_failing_rate_and_senseless_arguments_are_errors() {
        assert!(tipping_point(|d| Ok(0.4 + d), 0.3, 1.0).is_err());
        assert!(tipping_point(|d| Ok(if d > 0.4 && d < 0.6 { 0.9 } else { 0.5 - d / 2.0 }), 0.3, 1.0).is_err());
        assert!(tipping_point(|_| Ok(f64::NAN), 0.3, 1.0).is_err());
        let none = InputError::TooFew { what: "trials", needed: 1, found: 0 };
        assert_eq!(tipping_point(|_| Err(none.clone()), 0.3, 1.0), Err(none.clone()));
        assert!(tipping_point(|_| Ok(0.5), f64::NAN, 1.0).is_err());
        assert!(tipping_point(|_| Ok(0.5), 0.3, 0.0).is_err());
    }
}
