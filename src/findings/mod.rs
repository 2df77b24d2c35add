//! Models -> findings: estimates with interval, denominator and missing share. Plain data.

pub mod account;
pub mod against_previous;
pub mod bulletin;
pub mod complementary;
pub mod compose;
mod condition;
pub mod curve;
pub mod natural_course;
mod outcome;
pub mod quality;
pub mod withhold;
pub mod worklist;

#[cfg(test)]
pub(crate) mod whole_tests;
