//! mendcurve tells a group of clinics whether their motorised spinal traction works.
//!
//! The modules stand in the order of a visit's journey through the program; code in one
//! may use those above it, never those below (a test checks this).
#![forbid(unsafe_code)]

pub mod error;
pub mod outputs;
pub mod units;

pub mod catalogue;
pub mod group;

pub mod export;
pub mod rows;
pub mod visits;

pub mod episodes;
pub mod readings;

pub mod models;

pub mod findings;

pub mod report;

pub mod query;

/// The invented group to try the program on, and to test it with.
pub mod sample;

pub mod cli;
