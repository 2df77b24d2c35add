//! Findings -> report: formats and draws, computes nothing.

pub mod publish;
