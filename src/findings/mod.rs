//! Models -> findings: estimates with interval, denominator and missing share. Plain data.

pub mod bulletin;
pub mod complementary;
pub mod quality;
pub mod withhold;
