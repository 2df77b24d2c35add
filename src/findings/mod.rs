//! Models -> findings: estimates with interval, denominator and missing share. Plain data.

mod about;
pub mod account;
pub mod against_previous;
pub mod bounds;
pub mod bulletin;
pub mod channels;
mod circulating;
mod compare_sites;
pub mod complementary;
pub mod compose;
mod condition;
pub mod curve;
pub mod curve_findings;
mod definitions;
pub mod dose;
pub mod dose_delivered;
pub mod find_setups;
mod imputed_rates;
pub mod leads;
pub mod may_say;
pub mod natural_course;
pub mod on_track;
pub mod open_sums;
mod outcome;
pub mod quality;
pub mod reasons;
pub mod rounding;
mod setup_answers;
pub mod setup_audience;
mod setup_parameters;
mod setup_scales;
mod setup_values;
pub mod setups;
pub mod shown;
mod site_pages;
pub mod sites;
pub mod sources;
mod trial_counts;
pub mod withhold;
pub mod worklist;

#[cfg(test)]
mod setup_disclosure_tests;
#[cfg(test)]
mod setup_tests;
#[cfg(test)]
pub(crate) mod whole_tests;

/// The key of the episodes without a condition.
pub const NOT_RECORDED: &str = "not_recorded";

/// Share of calls and findings that may be false.
const FALSE_DISCOVERY_RATE: f64 = 0.05;
