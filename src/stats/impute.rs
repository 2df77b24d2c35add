//! stub
use crate::{Estimate, InputError, Level};
/// s
#[derive(Clone, Copy, Debug)]
pub struct DrawnRate {
    /// s
    pub responders: u64,
    /// s
    pub episodes: u64,
}
/// s
#[derive(Clone, Copy, Debug)]
pub enum TippingPoint {
    /// s
    At(f64),
    /// s
    AlreadyBelow,
    /// s
    Never,
}
/// s
pub fn pooled_rate(_: &[DrawnRate], _: Level) -> Result<Estimate, InputError> {
    Err(InputError::OutOfRange { what: "", domain: "" })
}
/// s
pub fn tipping_point(_: impl Fn(f64) -> Result<f64, InputError>, _: f64, _: f64) -> Result<TippingPoint, InputError> {
    Err(InputError::OutOfRange { what: "", domain: "" })
}
