//! Findings -> report: formats and draws, computes nothing.

pub mod publish;
pub mod sheets;
