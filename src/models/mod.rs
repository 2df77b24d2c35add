//! Readings -> models: builds the inputs of the statistics and names their outputs.
//!
//! Nothing here knows whether a number may be shown; that is decided in `findings`.

pub mod change;
pub mod completeness;
pub mod cumulative;
pub mod followed;
pub mod grid;
pub mod ordinal;
pub mod panel;
pub mod recovery;
pub mod responders;
pub mod score_scale;
pub mod weekly_course;
