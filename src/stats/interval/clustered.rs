//! The mean of values that come in groups, as several readings of one patient or many patients of one site.
//!
//! **Formula.** The mean is the plain mean of all N values; its variance allows any dependence within a group
//! (Liang & Zeger 1986, Biometrika 73:13-22), with the small-sample factor G/(G - 1) known as CR1:
//! V = G/(G - 1) sum over groups of (sum of the group's residuals)2 / N2, and t with G - 1 degrees of freedom.
//!
//! **Domain and edge cases.** G >= 2 groups. Group labels are any numbers; order does not matter. Each value a group of
//! its own gives s2/N, the ordinary variance. With few groups (below about 30) the interval is somewhat short
//! (Cameron & Miller 2015, J Hum Resour 50:317-72); the number of groups is returned so that a reader can see it.
//!
//! **Reference.** R's `sandwich::vcovCL` on the chicks of `ChickWeight`, folder `chick_weight_clustered`.

use std::collections::BTreeMap;

use super::Interval;
use crate::distribution::t_quantile;
use crate::error::{InputError, all_finite, at_least, same_length};
use crate::level::Level;
use crate::sum;

/// A mean whose standard error allows for groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClusteredMean {
    /// Number of values, N.
    pub n: usize,
    /// Number of groups, G.
    pub groups: usize,
    /// Mean of all values, each counting once.
    pub mean: f64,
    /// Cluster-robust standard error, CR1.
    pub standard_error: f64,
    /// Degrees of freedom, G - 1.
    pub degrees_of_freedom: f64,
    /// t interval with G - 1 degrees of freedom.
    pub interval: Interval,
    /// Cluster-robust variance over the ordinary s2/N; `None` if the values have no spread.
    pub design_effect: Option<f64>,
}

/// The mean of `values` with an interval robust to dependence within groups; `group[i]` labels `values[i]`.
///
/// # Errors
/// If the lengths differ, a value is not finite, or there are fewer than two groups.
pub fn clustered_mean(values: &[f64], group: &[usize], level: Level) -> Result<ClusteredMean, InputError> {
    same_length("groups", values.len(), group.len())?;
    all_finite("values", values)?;
    at_least("values", 2, values.len())?;
    let too_large = InputError::OutOfRange { what: "the values", domain: "small enough to be squared and added" };
    let (Some(mean), Some(variance)) = (sum::mean(values), sum::sample_variance(values)) else {
        return Err(too_large);
    };
    let mut residuals: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for (value, &label) in values.iter().zip(group) {
        residuals.entry(label).or_default().push(value - mean);
    }
    at_least("groups", 2, residuals.len())?;
    let (n, groups) = (values.len() as f64, residuals.len() as f64);
    let squares = sum::sum(residuals.into_values().map(|of_group| sum::sum(of_group).powi(2)));
    let standard_error = (groups / (groups - 1.0) * squares).sqrt() / n;
    if !standard_error.is_finite() {
        return Err(too_large);
    }
    let half_width = -t_quantile(level.tail(), groups - 1.0)? * standard_error;
    Ok(ClusteredMean {
        n: values.len(),
        groups: groups as usize,
        mean,
        standard_error,
        degrees_of_freedom: groups - 1.0,
        interval: Interval::around(mean, half_width),
        design_effect: (variance > 0.0).then(|| standard_error * standard_error / (variance / n)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interval::{Summary, mean_interval};

    const L95: Level = Level::NINETY_FIVE;

    #[test]
    fn each_value_a_group_of_its_own_gives_the_ordinary_t_interval() {
        let values = [3.0, 8.0, 1.0, 4.5, 9.25];
        let clustered = clustered_mean(&values, &[9, 2, 4, 0, 7], L95).unwrap();
        let plain = mean_interval(Summary::of(&values).unwrap(), L95).unwrap();
        assert!((clustered.standard_error - plain.standard_error).abs() < 1e-15);
        assert!((clustered.interval.low - plain.interval.low).abs() < 1e-14);
        assert!((clustered.design_effect.unwrap() - 1.0).abs() < 1e-14);
    }

    #[test]
    fn groups_of_equal_size_give_the_t_interval_of_the_group_means() {
        // unsorted on purpose: groups {1, 3}, {4, 8}, {5, 6}, means 2, 6, 5.5
        let clustered = clustered_mean(&[4.0, 1.0, 5.0, 3.0, 8.0, 6.0], &[1, 0, 5, 0, 1, 5], L95).unwrap();
        let means = mean_interval(Summary::of(&[2.0, 6.0, 5.5]).unwrap(), L95).unwrap();
        assert!((clustered.mean - means.mean).abs() < 1e-15);
        assert!((clustered.standard_error - means.standard_error).abs() < 1e-15);
        assert_eq!((clustered.n, clustered.groups, clustered.degrees_of_freedom), (6, 3, 2.0));
    }

    #[test]
    fn copying_every_value_adds_no_information() {
        let once = clustered_mean(&[1.0, 5.0, 6.0], &[0, 1, 2], L95).unwrap();
        let twice = clustered_mean(&[1.0, 5.0, 6.0, 1.0, 5.0, 6.0], &[0, 1, 2, 0, 1, 2], L95).unwrap();
        assert!((once.interval.low - twice.interval.low).abs() < 1e-14);
    }

    #[test]
    fn one_group_unequal_lengths_and_nan_are_refused() {
        assert!(matches!(clustered_mean(&[1.0, 2.0], &[3, 3], L95), Err(InputError::TooFew { what: "groups", .. })));
        assert!(clustered_mean(&[1.0, 2.0], &[3], L95).is_err());
        assert!(clustered_mean(&[], &[], L95).is_err());
        assert!(clustered_mean(&[1.0, f64::NAN], &[1, 2], L95).is_err());
        assert!(clustered_mean(&[f64::MAX, f64::MIN], &[1, 2], L95).is_err());
        assert_eq!(clustered_mean(&[2.0, 2.0], &[1, 2], L95).unwrap().design_effect, None);
    }
}
