//! Shares (p chart), and Laney's p', for samples of unequal size.
//!
//! **Formulas.** Centre p = sum x / sum n, sigma_i = sqrt(p (1 - p) / n_i), limits centre -/+ 3 sigma_i, within 0 and 1.
//! Laney (2002, Qual Eng 14:531-7): z_i = (x_i / n_i - centre) / sigma_i, sigma_z = mean moving range of z / d2, limits centre -/+
//! 3 sigma_i sigma_z. sigma_z is near 1 if only chance moves the shares, above 1 if the true share wanders from sample to
//! sample, as large samples nearly always show; then the plain chart signals all the time.
//!
//! **Domain and edge cases.** One sample or more, for Laney two; sizes positive and finite, counts from 0 to the size. Counts
//! and sizes need not be whole (weights). No event at all, or nothing else: sigma 0 and no signals.
//!
//! **Published values.** NIST/SEMATECH handbook 6.3.3.2, 30 samples of 50: centre 0.2313, limits 0.0524 and 0.4102, folder
//! `p_chart_nist`. Laney's charts against the formulas in R, folder `laney_charts`.

use super::{D2, Rule, Signal, in_sigmas, individuals::moving_ranges, signals};
use crate::error::{InputError, all_finite, at_least, same_length};
use crate::interval::Interval;
use crate::sum::{mean, sum};

/// The variation that the limits allow for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dispersal {
    /// That of counts alone (p).
    CountsAlone,
    /// That of counts, times the ratio sigma_z seen from sample to sample (Laney's p').
    Laney,
}

/// Centre and spread of a chart, from which limits for a sample of any size follow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AttributeChart {
    /// Centre line.
    pub centre: f64,
    /// Ratio of the variation allowed for to that of counts alone; 1 for p.
    pub sigma_z: f64,
}

/// Limits for one sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AttributeLimits {
    /// Standard deviation of the share, sigma_z included.
    pub sigma: f64,
    /// Limits of the share.
    pub interval: Interval,
}

/// Chart of shares, `counts` out of `sizes`, in the order of time.
///
/// # Errors
/// If there are too few samples, lengths differ, a size is not positive, or a count not within 0 and its size.
pub fn p_chart(counts: &[f64], sizes: &[f64], dispersal: Dispersal) -> Result<AttributeChart, InputError> {
    check(counts, sizes)?;
    at_least("samples", if dispersal == Dispersal::Laney { 2 } else { 1 }, counts.len())?;
    let centre = sum(counts.iter().copied()) / sum(sizes.iter().copied());
    if !centre.is_finite() {
        return Err(InputError::OutOfRange { what: "sum of sizes", domain: "within the range of double precision" });
    }
    let plain = AttributeChart { centre, sigma_z: 1.0 };
    match dispersal {
        Dispersal::CountsAlone => Ok(plain),
        Dispersal::Laney => {
            let ranges = moving_ranges(&plain.z(counts, sizes))?;
            Ok(AttributeChart { sigma_z: mean(&ranges).unwrap_or(0.0) / D2, ..plain })
        }
    }
}

fn check(counts: &[f64], sizes: &[f64]) -> Result<(), InputError> {
    same_length("sizes", counts.len(), sizes.len())?;
    all_finite("counts", counts)?;
    if let Some(index) = sizes.iter().position(|n| !(*n > 0.0 && n.is_finite())) {
        return Err(InputError::BadElement { what: "sizes", index, domain: "positive and finite" });
    }
    let possible = |x: f64, n: f64| x >= 0.0 && x <= n;
    match counts.iter().zip(sizes).position(|(x, n)| !possible(*x, *n)) {
        Some(index) => Err(InputError::BadElement { what: "counts", index, domain: "from 0 to the sample's size" }),
        None => Ok(()),
    }
}

impl AttributeChart {
    /// Standard deviation of the share of a sample of this size.
    fn sigma(&self, size: f64) -> f64 {
        let variance = self.centre * (1.0 - self.centre);
        (variance / size).max(0.0).sqrt() * self.sigma_z
    }

    fn z(&self, counts: &[f64], sizes: &[f64]) -> Vec<f64> {
        let z = |(x, n): (&f64, &f64)| {
            let deviation = x / n - self.centre;
            // x / n may miss a centre of 1/3, say, by a rounding
            in_sigmas(if deviation.abs() <= 4.0 * f64::EPSILON * self.centre { 0.0 } else { deviation }, self.sigma(*n))
        };
        counts.iter().zip(sizes).map(z).collect()
    }

    /// Limits for a sample of `size`.
    ///
    /// # Errors
    /// If the size is not positive and finite.
    pub fn limits(&self, size: f64) -> Result<AttributeLimits, InputError> {
        if !(size > 0.0 && size.is_finite()) {
            return Err(InputError::OutOfRange { what: "size of a sample", domain: "positive and finite" });
        }
        let sigma = self.sigma(size);
        let mut interval = Interval::around(self.centre, 3.0 * sigma);
        interval.low = interval.low.max(0.0);
        interval.high = interval.high.min(1.0);
        Ok(AttributeLimits { sigma, interval })
    }

    /// Signals among samples: those of the chart, or later ones.
    ///
    /// # Errors
    /// As for the chart itself, but no sample is an error.
    pub fn signals(&self, counts: &[f64], sizes: &[f64], rules: &[Rule]) -> Result<Vec<Signal>, InputError> {
        check(counts, sizes)?;
        signals(&self.z(counts, sizes), rules)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control_chart::WESTERN_ELECTRIC;

    #[test]
    fn shares_by_hand() {
        // 2 of 10 and 8 of 30: centre 1/4, sigma for 27 = sqrt(3/16/27) = 1/12
        let p = p_chart(&[2.0, 8.0], &[10.0, 30.0], Dispersal::CountsAlone).unwrap();
        assert_eq!((p.centre, p.sigma_z), (0.25, 1.0));
        let limits = p.limits(27.0).unwrap();
        assert!((limits.sigma - 1.0 / 12.0).abs() < 1e-15);
        assert!((limits.interval.high - 0.5).abs() < 1e-15 && limits.interval.low < 1e-15);
        assert_eq!(p.limits(1.0).unwrap().interval.high, 1.0);
    }

    #[test]
    fn laney_takes_the_ratio_from_moving_ranges_of_z() {
        // shares 0.4 0.6 0.4 of 100: centre 7/15; all ranges 0.2 / sigma
        let (x, n) = ([40.0, 60.0, 40.0], [100.0; 3]);
        let chart = p_chart(&x, &n, Dispersal::Laney).unwrap();
        let sigma = (7.0 / 15.0 * 8.0 / 15.0 / 100.0_f64).sqrt();
        assert!((chart.sigma_z - 0.2 / sigma / D2).abs() < 1e-13);
        assert!((chart.limits(100.0).unwrap().sigma - 0.2 / D2).abs() < 1e-15);
    }

    #[test]
    fn a_large_wandering_share_signals_on_the_plain_chart_only() {
        let n = [20_000.0; 12];
        let x: Vec<f64> =
            [0.30, 0.33, 0.28, 0.31, 0.29, 0.32, 0.30, 0.27, 0.33, 0.29, 0.31, 0.30].map(|p| p * 20_000.0).to_vec();
        let plain = p_chart(&x, &n, Dispersal::CountsAlone).unwrap();
        assert!(plain.signals(&x, &n, &[Rule::OneBeyondThree]).unwrap().len() > 5);
        let laney = p_chart(&x, &n, Dispersal::Laney).unwrap();
        assert_eq!(laney.signals(&x, &n, &WESTERN_ELECTRIC), Ok(vec![]));
    }

    #[test]
    fn nothing_and_everything_have_no_spread_and_no_signal() {
        let n = [5.0, 7.0, 9.0];
        for x in [[0.0; 3], n] {
            for dispersal in [Dispersal::CountsAlone, Dispersal::Laney] {
                let chart = p_chart(&x, &n, dispersal).unwrap();
                assert_eq!(chart.limits(5.0).unwrap().sigma, 0.0);
                assert_eq!(chart.signals(&x, &n, &WESTERN_ELECTRIC), Ok(vec![]));
            }
        }
        // equal shares whose quotients round differently are still equal
        let chart = p_chart(&[1.0, 3.0, 7.0], &[3.0, 9.0, 21.0], Dispersal::Laney).unwrap();
        assert_eq!(chart.signals(&[1.0, 3.0], &[3.0, 9.0], &WESTERN_ELECTRIC), Ok(vec![]));
    }

    #[test]
    fn samples_that_make_no_sense_are_refused() {
        assert!(matches!(p_chart(&[], &[], Dispersal::CountsAlone), Err(InputError::TooFew { .. })));
        assert!(matches!(p_chart(&[1.0], &[2.0], Dispersal::Laney), Err(InputError::TooFew { .. })));
        assert!(matches!(p_chart(&[1.0], &[], Dispersal::Laney), Err(InputError::LengthsDiffer { .. })));
        assert!(p_chart(&[3.0], &[2.0], Dispersal::CountsAlone).is_err());
        for (x, n) in [(-1.0, 2.0), (f64::NAN, 2.0), (0.0, 0.0), (0.0, f64::NAN)] {
            assert!(p_chart(&[x], &[n], Dispersal::CountsAlone).is_err());
        }
        assert!(p_chart(&[1.0], &[2.0], Dispersal::CountsAlone).unwrap().limits(0.0).is_err());
    }
}
