//! Visits -> episodes: one course of care each.

pub mod episode;
