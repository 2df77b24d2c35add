//! How good predictions were, once it is known what came.
//!
//! Predictions and outcomes run side by side, one pair a subject. What has no value (a share of nobody, a slope of
//! separated data) is an absent value or a named outcome, never a NaN.

mod auc;
mod calibration;
mod rates;

pub use auc::{Auc, auc};
pub use calibration::{Calibration, CalibrationFit, brier, calibration};
pub use rates::{Confusion, Rate, confusion};

use crate::error::{InputError, at_least, same_length};

/// Refuses no subjects, lengths that differ, and outcomes that are all alike; else how many have the outcome, and how
/// many not.
fn both_classes(predictions: usize, outcomes: &[bool]) -> Result<(usize, usize), InputError> {
    same_length("outcomes", predictions, outcomes.len())?;
    let with = outcomes.iter().filter(|o| **o).count();
    at_least("subjects with the outcome", 1, with)?;
    at_least("subjects without the outcome", 1, outcomes.len() - with)?;
    Ok((with, outcomes.len() - with))
}
