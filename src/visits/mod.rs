//! Rows -> canonical visits: no duplicate, each with its dose.

pub mod dose;
pub mod duplicates;
pub mod lots;
pub mod parameter_value;
pub mod possible;
pub mod tables;
#[allow(clippy::module_inception, reason = "the file is named after the type it holds")]
pub mod visits;
