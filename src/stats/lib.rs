//! Statistics of recovery: slices in, plain structs out.
//!
//! The crate knows nothing of clinics, reads no file and writes none. Each module's head states the formula,
//! its source, the domain, the edge cases and the published value that its test reproduces; the values
//! themselves lie in `tests/reference`, one folder a data set.
//!
//! Common rules: an argument that makes no sense is an [`InputError`], never a NaN in the answer; sums run in a
//! fixed order, so the same input gives the same bits; a fit that did not converge is another type than a fit.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

// what everything below uses
pub mod distribution;
pub mod error;
pub mod level;
pub mod poisson_binomial;
pub mod random;
pub mod sum;

// describing one sample, and saying how far it can be trusted
pub mod interval;
pub mod quantile;

// fitting
pub mod evidence;
pub mod gauss_hermite;
pub mod linear_regression;
pub mod logistic;
pub mod logistic_mixed;
mod newton;

// repeated measurements of many subjects
pub mod lmm;
pub mod nested;
pub mod nlme;
pub mod series;

// counts held against what was expected, and values followed over time
pub mod change_point;
pub mod clustered_share;
pub mod control_chart;
pub mod funnel;

// time until an event
pub mod survival;

// one source against the others
pub mod copies;
pub mod digits;
pub mod energy;
pub mod siblings;

// gaps in the data, and predictions held against what came
pub mod impute;
pub mod prediction;

// groups compared, and many answers at once
pub mod between_groups;
pub mod e_value;
pub mod multiplicity;
pub mod standardised;

pub use error::InputError;
pub use interval::{Estimate, Interval};
pub use level::Level;
