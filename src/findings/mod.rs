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
pub mod find_setups;
mod imputed_rates;
pub mod leads;
pub mod may_say;
pub mod natural_course;
pub mod on_track;
mod outcome;
pub mod quality;
pub mod reasons;
pub mod setup_audience;
mod setup_parameters;
mod setup_scales;
mod setup_values;
pub mod setups;
mod site_pages;
pub mod sites;
pub mod withhold;
pub mod worklist;

#[cfg(test)]
mod setup_disclosure_tests;
#[cfg(test)]
mod setup_tests;
#[cfg(test)]
pub(crate) mod whole_tests;
