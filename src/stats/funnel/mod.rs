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

fn check_target(target: f64) -> Result<(), InputError> {
    if target > 0.0 && target < 1.0 {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what: "target", domain: "strictly between 0 and 1" })
    }
}
