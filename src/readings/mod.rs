//! Scores -> readings: scored, on the burden scale, attached to their episode.

pub mod attach;
pub mod notes;
pub mod reading;
pub mod score;
pub mod tables;
pub mod windows;

#[cfg(test)]
pub(crate) mod attach_tests;
