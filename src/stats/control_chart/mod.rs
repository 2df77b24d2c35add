//! Shewhart control charts: values followed over time, limits from their own short-term variation, and stated rules for signals.
//!
//! `individuals` has single values with their moving ranges (XmR), `attributes` shares and rates (p, u) and Laney's p' and u',
//! `rules` what counts as a signal. A chart's limits come from one stretch of points and may be applied to others.
//!
//! **Constants.** For two normal values with standard deviation sigma the range has mean d2 sigma, d2 = 2 / sqrt(pi) = 1.128379, and
//! standard deviation d3 sigma, d3 = sqrt(2 - 4/pi) = 0.852502. So 3 sigma is 3/d2 = 2.658681 mean ranges (in tables 2.66,
//! from d2 = 1.128), and the range's upper limit D4 = 1 + 3 d3/d2 = 3.266533 mean ranges (3.267).
//!
//! **Source.** Montgomery 2009, Introduction to Statistical Quality Control, 6th ed. (M); Wheeler & Chambers 1992 (M).

mod attributes;
mod individuals;
mod rules;

pub use attributes::{AttributeChart, AttributeLimits, Dispersal, p_chart};
pub use individuals::{IndividualsChart, moving_ranges, xmr};
pub use rules::{Rule, Side, Signal, WESTERN_ELECTRIC, signals};

/// Mean range of two standard normal values, 2 / sqrt(pi).
pub const D2: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// D4 for two values: the upper limit of a moving range in mean moving ranges.
fn d4() -> f64 {
    1.0 + 3.0 * (2.0 - 4.0 / std::f64::consts::PI).sqrt() / D2
}

/// `deviation` / `sigma`; where there is no variation, 0 on the centre and infinite off it.
fn in_sigmas(deviation: f64, sigma: f64) -> f64 {
    if deviation == 0.0 { 0.0 } else { deviation / sigma }
}
