//! Findings -> report: formats and draws, computes nothing.

pub mod figures;
pub mod typeface;
pub mod wording;
