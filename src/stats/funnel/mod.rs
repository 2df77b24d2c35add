//! Funnel plots: how far a unit of a given size may lie from a target by chance alone.
//!
//! `limits` has the exact control limits of a proportion and of observed over expected; `dispersion` says whether units
//! differ by more than chance, and how z scores change when that is allowed for. Source of both: Spiegelhalter
//! 2005, Stat Med 24:1185-202 (formulas from memory, M; compare with the paper before quoting).

mod counts;
mod dispersion;
mod limits;

pub use dispersion::{Dispersion, Inflation, LEAST_UNITS, WINSORISED_SHARE, dispersion};
pub use limits::{ControlLimits, Interpolation, proportion_limits, standardised_limits};

use crate::error::InputError;

/// How far a proportion `successes` / `trials` lies from `target` in standard errors, and that standard error:
/// z = (p - target) / s, s = sqrt(target (1 - target) / n).
///
/// # Errors
/// If there are no trials, more successes than trials, or the target is not strictly inside (0, 1).
pub fn proportion_z(successes: u64, trials: u64, target: f64) -> Result<(f64, f64), InputError> {
    if trials == 0 {
        return Err(InputError::TooFew { what: "trials", needed: 1, found: 0 });
    }
    if successes > trials {
        return Err(InputError::OutOfRange { what: "number of successes", domain: "at most the number of trials" });
    }
    check_target(target)?;
    let n = trials as f64;
    let standard_error = (target * (1.0 - target) / n).sqrt();
    Ok(((successes as f64 / n - target) / standard_error, standard_error))
}

fn check_target(target: f64) -> Result<(), InputError> {
    if target > 0.0 && target < 1.0 {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what: "target", domain: "strictly between 0 and 1" })
    }
}
