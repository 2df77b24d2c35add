//! Single values with their moving ranges (XmR).
//!
//! **Formulas.** Moving range |x_i - x_(i-1)|; sigma = mean moving range / d2; limits of the values: mean -/+ 3 sigma; of the
//! moving ranges: 0 and D4 times their mean. Constants: head of `control_chart`.
//!
//! **False alarms.** With limits from the very 24 stable normal points that are judged, all four rules signal somewhere in 15 % of
//! series, one point beyond 3 sigma alone in 6 % (simulated in the tests). Values that depend on the one before, positively,
//! have short moving ranges and signal far more often: at a lag-1 correlation of 0.5, 73 % of series do.
//!
//! **Domain and edge cases.** Two finite values or more. Equal values: sigma 0, and any later value off the centre is
//! infinitely far.
//!
//! **Published values.** Montgomery & Runger, example 15-4, limits 45.21 and 60.89, moving range 9.63; NIST/SEMATECH handbook 6.3.2.2
//! (both printed with d2 = 1.128, and checked so); a series of jet-engine measurements; folder `individuals_charts`.

use super::{D2, Rule, Signal, d4, in_sigmas, signals};
use crate::error::{InputError, all_finite, at_least};
use crate::interval::Interval;
use crate::sum::mean;

/// Limits for single values and their moving ranges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IndividualsChart {
    /// Centre line: mean of the values.
    pub centre: f64,
    /// Standard deviation from one value to the next: mean moving range / d2.
    pub sigma: f64,
    /// Limits of the values.
    pub limits: Interval,
    /// Centre line of the moving ranges: their mean.
    pub mean_moving_range: f64,
    /// Upper limit of the moving ranges; the lower is 0.
    pub moving_range_limit: f64,
}

/// Limits from `values` in the order of time.
///
/// # Errors
/// If there are fewer than two values, or one is not finite.
pub fn xmr(values: &[f64]) -> Result<IndividualsChart, InputError> {
    let out_of_range = InputError::OutOfRange { what: "values", domain: "within the range of double precision" };
    let ranges = moving_ranges(values)?;
    let (Some(centre), Some(mean_moving_range)) = (mean(values), mean(&ranges)) else { return Err(out_of_range) };
    let sigma = mean_moving_range / D2;
    Ok(IndividualsChart {
        centre,
        sigma,
        limits: Interval::around(centre, 3.0 * sigma),
        mean_moving_range,
        moving_range_limit: d4() * mean_moving_range,
    })
}

/// Distances from each value to the next, one fewer than there are values.
///
/// # Errors
/// As for [`xmr`].
pub fn moving_ranges(values: &[f64]) -> Result<Vec<f64>, InputError> {
    at_least("values", 2, values.len())?;
    all_finite("values", values)?;
    Ok(values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect())
}

impl IndividualsChart {
    /// Signals among `values`: those of the limits, or later ones.
    ///
    /// # Errors
    /// If a value is not finite.
    pub fn signals(&self, values: &[f64], rules: &[Rule]) -> Result<Vec<Signal>, InputError> {
        all_finite("values", values)?;
        let z: Vec<f64> = values.iter().map(|x| in_sigmas(x - self.centre, self.sigma)).collect();
        signals(&z, rules)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control_chart::WESTERN_ELECTRIC;
    use crate::random::{standard_normal, stream};

    #[test]
    fn three_values_by_hand() {
        // 1 5 3: mean 3, ranges 4 2, mean range 3; sigma = 3 sqrt(pi) / 2
        let chart = xmr(&[1.0, 5.0, 3.0]).unwrap();
        let sigma = 1.5 * std::f64::consts::PI.sqrt();
        assert_eq!((chart.centre, chart.mean_moving_range), (3.0, 3.0));
        assert!((chart.sigma - sigma).abs() < 1e-14);
        assert!((chart.limits.high - (3.0 + 3.0 * sigma)).abs() < 1e-13);
        assert!((chart.moving_range_limit / 3.0 - 3.266_532).abs() < 2e-6);
        assert!((3.0 / D2 - 2.658_681).abs() < 1e-6);
    }

    #[test]
    fn a_value_off_the_line_of_equal_values_is_a_signal() {
        let chart = xmr(&[4.0; 7]).unwrap();
        assert_eq!((chart.sigma, chart.signals(&[4.0; 9], &WESTERN_ELECTRIC)), (0.0, Ok(vec![])));
        assert_eq!(chart.signals(&[4.0, 4.1], &[Rule::OneBeyondThree]).unwrap()[0].index, 1);
    }

    /// Share of series of 24 with a signal, limits from the series itself, values with this lag-1 correlation.
    fn alarms(correlation: f64, rules: &[Rule]) -> f64 {
        let runs = 10_000_u32;
        let signalling = (0..runs).filter(|run| {
            let mut s = stream(11, &run.to_le_bytes());
            let mut x = standard_normal(&mut s);
            let values: Vec<f64> = (0..24)
                .map(|_| {
                    x = correlation * x + (1.0 - correlation * correlation).sqrt() * standard_normal(&mut s);
                    x
                })
                .collect();
            !xmr(&values).unwrap().signals(&values, rules).unwrap().is_empty()
        });
        signalling.count() as f64 / f64::from(runs)
    }

    #[test]
    fn stable_series_signal_as_often_as_the_head_says() {
        let (one, all) = (alarms(0.0, &[Rule::OneBeyondThree]), alarms(0.0, &WESTERN_ELECTRIC));
        let dependent = alarms(0.5, &WESTERN_ELECTRIC);
        println!("24 stable points: one rule {one:.3}, four rules {all:.3}, correlation 0.5 {dependent:.3}");
        assert!(
            (one - 0.06).abs() < 0.01 && (all - 0.15).abs() < 0.015 && (dependent - 0.73).abs() < 0.02,
            "{one} {all} {dependent}"
        );
    }

    #[test]
    fn one_value_or_a_nan_is_refused() {
        assert!(matches!(xmr(&[1.0]), Err(InputError::TooFew { .. })));
        assert!(matches!(xmr(&[1.0, f64::NAN]), Err(InputError::BadElement { index: 1, .. })));
        assert!(xmr(&[f64::MAX, -f64::MAX]).is_err());
        assert!(xmr(&[1.0, 2.0]).unwrap().signals(&[f64::INFINITY], &[]).is_err());
    }
}
