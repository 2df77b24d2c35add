//! The chance that a subject with the outcome scored higher than one without it: the area under the ROC curve.
//!
//! **Formula.** Mann & Whitney's: the mean over all pairs, one with and one without, of 1 if the first scored higher
//! and 1/2 if equal; from midranks. Variance of DeLong, DeLong & Clarke-Pearson 1988 (Biometrics 44:837-45): s2 of the
//! m components of those with the outcome over m, plus s2 of the n components of the others over n, computed as Sun &
//! Xu 2014 (IEEE Signal Process Lett 21:1389-93). Limits: normal, cut at 0 and 1.
//!
//! **Domain and edge cases.** Both classes must occur, else an error. With one subject in a class, or a variance of 0
//! (perfectly parted, or all scores tied), DeLong's variance says nothing: no limits.
//!
//! **Cost.** Sorting.
//!
//! **Reference.** R's `pROC::ci.auc` on `pROC::aSAH`, folder `asah_prediction`.

use super::both_classes;
use crate::distribution::normal_quantile;
use crate::error::{InputError, all_finite};
use crate::interval::{Estimate, Interval};
use crate::level::Level;
use crate::sum;

/// An area under the ROC curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Auc {
    /// The area, 0 to 1; 1/2 is no discrimination.
    pub value: f64,
    /// Subjects with the outcome.
    pub with: usize,
    /// Subjects without it.
    pub without: usize,
    /// The area with DeLong's standard error and limits; `None` where his variance is absent or 0.
    pub estimate: Option<Estimate>,
}

/// The area under the ROC curve of `scores`, higher meaning that the outcome is more likely.
///
/// # Errors
/// If the lengths differ, a score is not finite, or all outcomes are alike.
pub fn auc(scores: &[f64], outcomes: &[bool], level: Level) -> Result<Auc, InputError> {
    let (with, without) = both_classes(scores.len(), outcomes)?;
    all_finite("scores", scores)?;
    let of =
        |class: bool| scores.iter().zip(outcomes).filter(|(_, o)| **o == class).map(|(s, _)| *s).collect::<Vec<_>>();
    let (high, low) = (sorted(of(true)), sorted(of(false)));
    let components_with: Vec<f64> = high.iter().map(|s| share_below(&low, *s)).collect();
    let components_without: Vec<f64> = low.iter().map(|s| 1.0 - share_below(&high, *s)).collect();
    let value = (sum::sum(components_with.iter().copied()) / with as f64).clamp(0.0, 1.0);
    let variance = match (sum::sample_variance(&components_with), sum::sample_variance(&components_without)) {
        (Some(a), Some(b)) => a / with as f64 + b / without as f64,
        _ => 0.0,
    };
    let z = -normal_quantile(level.tail())?;
    // components are multiples of 1/(2m) or 1/(2n); a spread far below that is rounding
    let estimate = (variance > 1e-25).then(|| {
        let standard_error = variance.sqrt();
        let Interval { low, high } = Interval::around(value, z * standard_error);
        Estimate { value, standard_error, interval: Interval { low: low.max(0.0), high: high.min(1.0) } }
    });
    Ok(Auc { value, with, without, estimate })
}

fn sorted(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    values
}

/// Share of `sorted` below `score`, equal ones counting half.
fn share_below(sorted: &[f64], score: f64) -> f64 {
    let below = sorted.partition_point(|s| *s < score);
    let not_above = sorted.partition_point(|s| *s <= score);
    (below + not_above) as f64 / (2.0 * sorted.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    const L95: Level = Level::NINETY_FIVE;

    #[test]
    fn four_subjects_by_hand_with_a_tie() {
        // pairs (with, without): 3>1, 3>2, 2>1, 2=2: 3.5 of 4; components 1, .75 and 1, .75: variances 1/32 each
        let found = auc(&[3.0, 2.0, 1.0, 2.0], &[true, true, false, false], L95).unwrap();
        assert_eq!(found.value, 0.875);
        let estimate = found.estimate.unwrap();
        assert!((estimate.standard_error - (1.0_f64 / 32.0).sqrt()).abs() < 1e-15);
        assert_eq!(estimate.interval.high, 1.0);
    }

    #[test]
    fn turning_the_scores_or_the_classes_mirrors_the_area_and_order_does_not_matter() {
        let scores = [0.2, 0.9, 0.4, 0.4, 0.7, 0.1, 0.5];
        let outcomes = [false, true, true, false, true, false, false];
        let plain = auc(&scores, &outcomes, L95).unwrap();
        let turned = auc(&scores.map(|s| -s), &outcomes, L95).unwrap();
        let swapped = auc(&scores, &outcomes.map(|o| !o), L95).unwrap();
        assert!((plain.value + turned.value - 1.0).abs() < 1e-15 && (plain.value + swapped.value - 1.0).abs() < 1e-15);
        let reversed: (Vec<f64>, Vec<bool>) = scores.into_iter().zip(outcomes).rev().unzip();
        assert_eq!(auc(&reversed.0, &reversed.1, L95).unwrap(), plain);
    }

    #[test]
    fn without_spread_or_with_a_single_subject_in_a_class_there_are_no_limits() {
        let outcomes = [true, true, false, false];
        let parted = auc(&[3.0, 4.0, 1.0, 2.0], &outcomes, L95).unwrap();
        assert_eq!((parted.value, parted.estimate), (1.0, None));
        let tied = auc(&[3.0; 4], &outcomes, L95).unwrap();
        assert_eq!((tied.value, tied.estimate), (0.5, None));
        assert_eq!(auc(&[2.0, 1.0, 3.0], &[true, false, false], L95).unwrap().estimate, None);
    }

    #[test]
    fn one_class_unequal_lengths_and_nan_are_refused() {
        assert!(matches!(auc(&[1.0, 2.0], &[true, true], L95), Err(InputError::TooFew { .. })));
        assert!(matches!(auc(&[1.0, 2.0], &[false, false], L95), Err(InputError::TooFew { .. })));
        assert!(auc(&[], &[], L95).is_err());
        assert!(auc(&[1.0], &[true, false], L95).is_err());
        assert!(auc(&[1.0, f64::NAN], &[true, false], L95).is_err());
    }
}
