//! Readings -> models: builds the inputs of the statistics and names their outputs.
//!
//! Nothing here knows whether a number may be shown; that is decided in `findings`.

pub mod backtest;
pub mod change;
pub mod choice;
pub mod completeness;
pub mod course_model;
pub mod cumulative;
pub mod dose;
pub mod drawn_patients;
pub mod fitted_course;
pub mod folds;
pub mod followed;
pub mod grid;
pub mod imputation;
pub mod imputed_outcomes;
mod independent_columns;
pub mod on_track;
pub mod ordinal;
pub mod panel;
pub mod responders;
pub mod score_scale;
pub mod setups;
#[cfg(test)]
pub(crate) mod simulated;
pub mod sites;
pub mod spline_course;
pub mod time_to_response;
pub mod unfit;
pub mod weekly_course;
