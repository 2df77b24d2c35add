//! Scores -> readings: scored, on the burden scale, attached to their episode.

pub mod reading;
pub mod score;
