//! stub
use crate::{Estimate, InputError, Level};
/// s
pub fn auc(_: &[f64], _: &[bool], _: Level) -> Result<Estimate, InputError> {
    Err(InputError::OutOfRange { what: "", domain: "" })
}
/// s
pub fn brier(_: &[f64], _: &[bool]) -> Result<f64, InputError> {
    Err(InputError::OutOfRange { what: "", domain: "" })
}
/// s
pub fn calibration(_: &[f64], _: &[bool], _: Level) -> Result<(Estimate, Estimate), InputError> {
    Err(InputError::OutOfRange { what: "", domain: "" })
}
