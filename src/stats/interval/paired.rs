//! Change between two readings of the same subjects.
//!
//! **Formulas.** Change = after - before for each subject; mean, SD and the t interval of Student 1908 from the changes.
//! Standardised change: Cohen's d on the **baseline** SD, d = mean change / SD(before), divisor n - 1, without
//! small-sample correction, so that a spread widened by treatment cannot shrink it. Its standard error for
//! large samples is sqrt(2(1 - r)/n + d2/(2n)), r the correlation of before and after (Becker 1988, Br J Math Stat
//! Psychol 41:257-78); its interval is normal.
//!
//! **Domain and edge cases.** n >= 2. No spread before: no standardised change (`None`). Spread before but none after:
//! r is taken as 0. Falls count as negative whatever the scale; the caller knows which way is better.
//!
//! **Reference.** R's `t.test(paired = TRUE)` on the sleep data of Student 1908, folder `student_sleep`.

use super::{Estimate, Interval, Summary, mean_interval};
use crate::distribution::normal_quantile;
use crate::error::{InputError, all_finite, same_length};
use crate::level::Level;
use crate::sum;

/// The mean change of a group of subjects, each read twice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairedChange {
    /// Number of subjects.
    pub n: usize,
    /// Mean of after - before.
    pub mean_change: f64,
    /// Standard deviation of the changes, divisor n - 1.
    pub sd_of_change: f64,
    /// Standard error of the mean change.
    pub standard_error: f64,
    /// Degrees of freedom, n - 1.
    pub degrees_of_freedom: f64,
    /// t interval of the mean change.
    pub interval: Interval,
    /// The change in baseline standard deviations; `None` if all started from the same value.
    pub standardised: Option<StandardisedChange>,
}

/// A mean change in units of the baseline standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandardisedChange {
    /// The standard deviation before, by which the change is divided.
    pub baseline_sd: f64,
    /// Correlation between before and after, -1 to 1.
    pub correlation: f64,
    /// Cohen's d on the baseline SD, with Becker's standard error and a normal interval.
    pub d: Estimate,
}

/// Compares `after` with `before`, subject by subject in the same order.
///
/// # Errors
/// If the lengths differ, there are fewer than two subjects, or a value is not finite.
pub fn paired_change(before: &[f64], after: &[f64], level: Level) -> Result<PairedChange, InputError> {
    same_length("after", before.len(), after.len())?;
    all_finite("before", before)?;
    all_finite("after", after)?;
    let changes: Vec<f64> = before.iter().zip(after).map(|(b, a)| a - b).collect();
    let change = Summary::of(&changes)?;
    let t = mean_interval(change, level)?;
    let baseline = Summary::of(before)?;
    let standardised = match baseline.sd() {
        0.0 => None,
        sd => {
            let correlation = correlation(before, baseline, after, Summary::of(after)?);
            let d = change.mean() / sd;
            let n = change.n() as f64;
            let standard_error = (2.0 * (1.0 - correlation) / n + d * d / (2.0 * n)).sqrt();
            let half_width = -normal_quantile(level.tail())? * standard_error;
            let d = Estimate { value: d, standard_error, interval: Interval::around(d, half_width) };
            Some(StandardisedChange { baseline_sd: sd, correlation, d })
        }
    };
    Ok(PairedChange {
        n: change.n(),
        mean_change: change.mean(),
        sd_of_change: change.sd(),
        standard_error: t.standard_error,
        degrees_of_freedom: t.degrees_of_freedom,
        interval: t.interval,
        standardised,
    })
}

/// Pearson's correlation; 0 where one side has no spread.
fn correlation(x: &[f64], sx: Summary, y: &[f64], sy: Summary) -> f64 {
    if sx.sd() == 0.0 || sy.sd() == 0.0 {
        return 0.0;
    }
    let products = x.iter().zip(y).map(|(x, y)| (x - sx.mean()) / sx.sd() * ((y - sy.mean()) / sy.sd()));
    (sum::sum(products) / (sx.n() - 1) as f64).clamp(-1.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{standard_normal, stream};

    const L95: Level = Level::NINETY_FIVE;

    #[test]
    fn three_subjects_by_hand() {
        // before 2 4 6 (SD 2), after 1 1 4: changes -1 -3 -2, mean -2, SD 1
        let answer = paired_change(&[2.0, 4.0, 6.0], &[1.0, 1.0, 4.0], L95).unwrap();
        assert_eq!((answer.n, answer.mean_change, answer.sd_of_change), (3, -2.0, 1.0));
        let d = answer.standardised.unwrap();
        assert_eq!((d.baseline_sd, d.d.value), (2.0, -1.0));
        // deviations -2 0 2 and -1 -1 2: products 2 + 0 + 4 = 6, over (n - 1) x SDs 2 x 2 x sqrt 3
        assert!((d.correlation - 6.0 / (4.0 * 3.0_f64.sqrt())).abs() < 1e-15);
        let variance = 2.0 * (1.0 - d.correlation) / 3.0 + 1.0 / 6.0;
        assert!((d.d.standard_error - variance.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn the_interval_of_the_standardised_change_covers_the_truth_about_as_often_as_it_says() {
        // true d = -0.8, correlation 0.5, n = 60, 2,000 keyed samples; 95 % must come out within 4 SE (0.0195)
        let (d, r, n, samples) = (-0.8, 0.5_f64, 60, 2000);
        let mut covered = 0;
        for sample in 0..samples {
            let mut s = stream(1, format!("becker {sample}").as_bytes());
            let (mut before, mut after) = (Vec::new(), Vec::new());
            for _ in 0..n {
                let (z1, z2) = (standard_normal(&mut s), standard_normal(&mut s));
                before.push(50.0 + 10.0 * z1);
                after.push(50.0 + 10.0 * (d + r * z1 + (1.0 - r * r).sqrt() * z2));
            }
            let change = paired_change(&before, &after, L95).unwrap();
            covered += usize::from(change.standardised.unwrap().d.interval.contains(d));
        }
        let share = covered as f64 / samples as f64;
        assert!((share - 0.95).abs() < 0.0195, "covered {share}");
    }

    #[test]
    fn the_same_start_for_all_has_a_change_but_no_standardised_one() {
        let answer = paired_change(&[5.0; 3], &[4.0, 3.0, 5.0], L95).unwrap();
        assert_eq!(answer.mean_change, -1.0);
        assert_eq!(answer.standardised, None);
    }

    #[test]
    fn unequal_lengths_too_few_subjects_and_nan_are_refused() {
        assert!(paired_change(&[1.0, 2.0], &[1.0], L95).is_err());
        assert!(paired_change(&[1.0], &[1.0], L95).is_err());
        assert!(paired_change(&[1.0, f64::NAN], &[1.0, 2.0], L95).is_err());
        assert!(paired_change(&[1.0, 2.0], &[1.0, f64::INFINITY], L95).is_err());
    }
}
