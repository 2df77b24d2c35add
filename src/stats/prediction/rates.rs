//! Shares of predictions that were right, with Wilson's intervals.
//!
//! **Formulas.** Sensitivity: called, of those with the
//! outcome; specificity: not called, of those without; positive predictive value: with the outcome, of those called
//! (Altman & Bland 1994, BMJ 308:1552 and 309:102). Wilson's interval for each: see [`crate::interval::wilson`].
//!
//! **Domain and edge cases.** A share of nobody is `None`.
//!
//! **Reference.** R's `prop.test` without continuity correction on `pROC::aSAH`, folder `asah_prediction`.

use crate::error::{InputError, at_least, same_length};
use crate::interval::{Interval, wilson};
use crate::level::Level;

/// A share with its counts and Wilson's interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Those counted.
    pub count: u64,
    /// Of how many; at least 1.
    pub of: u64,
    /// `count` over `of`.
    pub share: f64,
    /// Wilson's interval of the share.
    pub interval: Interval,
}

impl Rate {
    /// `count` out of `of`; `None` out of 0.
    ///
    /// # Errors
    /// If `count` exceeds `of`.
    pub fn new(count: u64, of: u64, level: Level) -> Result<Option<Self>, InputError> {
        if of == 0 && count == 0 {
            return Ok(None);
        }
        let interval = wilson(count, of, level)?;
        Ok(Some(Self { count, of, share: count as f64 / of as f64, interval }))
    }
}

/// Calls against outcomes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Confusion {
    /// Called, and had the outcome.
    pub true_positive: u64,
    /// Called, and did not have it.
    pub false_positive: u64,
    /// Not called, and did not have it.
    pub true_negative: u64,
    /// Not called, and had it.
    pub false_negative: u64,
    /// Share called of those with the outcome.
    pub sensitivity: Option<Rate>,
    /// Share not called of those without the outcome.
    pub specificity: Option<Rate>,
    /// Share with the outcome of those called.
    pub positive_predictive_value: Option<Rate>,
}

/// How often the calls were right.
///
/// # Errors
/// If the lengths differ or there are no subjects.
pub fn confusion(called: &[bool], outcomes: &[bool], level: Level) -> Result<Confusion, InputError> {
    same_length("outcomes", called.len(), outcomes.len())?;
    at_least("subjects", 1, called.len())?;
    let count = |c: bool, o: bool| called.iter().zip(outcomes).filter(|pair| *pair == (&c, &o)).count() as u64;
    let (tp, fp, tn, fn_) = (count(true, true), count(true, false), count(false, false), count(false, true));
    Ok(Confusion {
        true_positive: tp,
        false_positive: fp,
        true_negative: tn,
        false_negative: fn_,
        sensitivity: Rate::new(tp, tp + fn_, level)?,
        specificity: Rate::new(tn, tn + fp, level)?,
        positive_predictive_value: Rate::new(tp, tp + fp, level)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const L95: Level = Level::NINETY_FIVE;

    #[test]
    fn counts_and_shares_by_hand() {
        let called = [true, true, true, false, false, false, false];
        let outcomes = [true, true, false, true, false, false, false];
        let found = confusion(&called, &outcomes, L95).unwrap();
        assert_eq!(
            (found.true_positive, found.false_positive, found.true_negative, found.false_negative),
            (2, 1, 3, 1)
        );
        let shares = [found.sensitivity, found.specificity, found.positive_predictive_value].map(|r| r.unwrap().share);
        assert_eq!(shares, [2.0 / 3.0, 0.75, 2.0 / 3.0]);
        assert_eq!(found.specificity.unwrap().interval, wilson(3, 4, L95).unwrap());
    }

    #[test]
    fn a_share_of_nobody_is_absent() {
        let found = confusion(&[false, false], &[false, false], L95).unwrap();
        assert_eq!((found.sensitivity, found.positive_predictive_value), (None, None));
        assert_eq!(found.specificity.unwrap().share, 1.0);
        assert!(confusion(&[], &[], L95).is_err());
        assert!(confusion(&[true], &[], L95).is_err());
    }
}
