//! Records and a mapping -> rows: typed cells in SI units, or a counted rejection.

pub mod names;
pub mod row;
pub mod when;
