//! Models -> findings: estimates with interval, denominator and missing share. Plain data.

pub mod account;
pub mod against_previous;
pub mod bulletin;
pub mod channels;
mod compare_sites;
pub mod complementary;
pub mod compose;
mod condition;
pub use condition::NOT_RECORDED;
pub mod curve;
pub mod curve_findings;
pub mod dose;
pub mod dose_delivered;
mod imputed_rates;
pub mod leads;
pub mod may_say;
pub mod natural_course;
pub mod on_track;
mod outcome;
pub mod quality;
pub mod reasons;
mod site_pages;
pub mod sites;
pub mod withhold;
pub mod worklist;

#[cfg(test)]
pub(crate) mod whole_tests;
