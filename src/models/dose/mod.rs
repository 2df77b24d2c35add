//! Dose: what was delivered, and whether dose and setup go along with outcome.
//!
//! [`episode_dose`] takes the dose of every episode's visits in one pass; [`delivered`] sums it up by condition, visit and
//! site; [`exposures`] names what [`association`] holds against the response, and [`recorded`] reads a visit's parameters for a
//! standard.

pub mod association;
pub mod delivered;
pub mod episode_dose;
pub mod exposures;
pub mod recorded;
