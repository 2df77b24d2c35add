//! Visits -> episodes: one course of care each.

pub mod boundaries;
mod describe;
pub mod dose_totals;
pub mod due;
pub mod episode;
pub mod period;
pub mod regions;
pub mod tables;

#[cfg(test)]
mod boundary_tests;
#[cfg(test)]
pub(crate) mod timeline;
