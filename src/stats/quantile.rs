//! Quantiles of a sample.
//!
//! **Formula.** Type 7 of Hyndman & Fan 1996 (Am Stat 50:361-5): with h = (n - 1) p and j the whole part of h,
//! Q(p) = x(j) + (h - j)(x(j+1) - x(j)), order statistics counted from 0. Q(0) and Q(1) are the extremes.
//!
//! **Domain and edge cases.** At least one finite value; 0 <= p <= 1, NaN refused. One value is its own quantile.
//!
//! **Reference.** R's `quantile(type = 7)`, folder `quantile_type_7`.

use crate::error::{InputError, all_finite, at_least};

/// A sample in ascending order, never empty, every value finite. Sorted once, asked often.
#[derive(Debug, Clone, PartialEq)]
pub struct Sorted(Vec<f64>);

impl Sorted {
    /// Sorts a copy of `values`.
    ///
    /// # Errors
    /// If there are no values or one is not finite.
    pub fn new(values: &[f64]) -> Result<Self, InputError> {
        Self::of(values.to_vec())
    }

    /// Sorts values in place.
    ///
    /// # Errors
    /// If there are no values or one is not finite.
    pub fn of(mut values: Vec<f64>) -> Result<Self, InputError> {
        at_least("values", 1, values.len())?;
        all_finite("values", &values)?;
        values.sort_unstable_by(f64::total_cmp);
        Ok(Self(values))
    }

    /// The values in ascending order.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.0
    }

    /// The quantile at share `p` of the sample, Hyndman & Fan type 7.
    ///
    /// # Errors
    /// If `p` is not within 0 and 1.
    pub fn quantile(&self, p: f64) -> Result<f64, InputError> {
        if !(0.0..=1.0).contains(&p) {
            return Err(InputError::OutOfRange { what: "share of the sample", domain: "from 0 to 1" });
        }
        Ok(self.at(p))
    }

    /// The median.
    #[must_use]
    pub fn median(&self) -> f64 {
        self.at(0.5)
    }

    fn at(&self, p: f64) -> f64 {
        let last = self.0.len() - 1;
        let h = last as f64 * p;
        let below = (h.floor() as usize).min(last);
        let above = (below + 1).min(last);
        let part = h - below as f64;
        // in this form, two finite ends cannot overflow and equal ends give exactly themselves
        let (low, high) = (self.0[below], self.0[above]);
        if low == high { low } else { low * (1.0 - part) + high * part }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_unsorted_tied_values_follow_type_7() {
        let sample = Sorted::new(&[7.0, 1.0, 3.0, 3.0]).unwrap(); // 1 3 3 7, h = 3p
        assert_eq!(sample.quantile(0.0), Ok(1.0));
        assert_eq!(sample.quantile(0.25), Ok(2.5)); // h = 0.75: 1 + 0.75 x 2
        assert_eq!(sample.median(), 3.0);
        assert_eq!(sample.quantile(0.75), Ok(4.0)); // h = 2.25: 3 + 0.25 x 4
        assert_eq!(sample.quantile(1.0), Ok(7.0));
    }

    #[test]
    fn one_value_is_each_of_its_quantiles() {
        let sample = Sorted::new(&[5.5]).unwrap();
        assert_eq!(sample.quantile(0.3), Ok(5.5));
        assert_eq!(sample.median(), 5.5);
    }

    #[test]
    fn nothing_a_nan_and_a_share_outside_are_refused() {
        assert!(Sorted::new(&[]).is_err());
        assert!(Sorted::new(&[1.0, f64::NAN]).is_err());
        let sample = Sorted::new(&[1.0, 2.0]).unwrap();
        for bad in [-0.01, 1.01, f64::NAN] {
            assert!(sample.quantile(bad).is_err());
        }
    }
}
