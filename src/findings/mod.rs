//! Models -> findings: estimates with interval, denominator and missing share. Plain data.

pub mod account;
pub mod against_previous;
pub mod bulletin;
pub mod channels;
pub mod complementary;
pub mod compose;
mod condition;
pub mod curve;
pub mod curve_findings;
mod imputed_rates;
pub mod natural_course;
pub mod on_track;
mod outcome;
pub mod quality;
pub mod reasons;
pub mod withhold;
pub mod worklist;

#[cfg(test)]
pub(crate) mod whole_tests;
