//! Findings -> report: formats and draws, computes nothing.

pub mod assemble;
pub mod figures;
#[cfg(test)]
mod invented;
pub mod pages;
pub mod publish;
pub mod sheets;
pub mod typeface;
pub mod wording;

pub use assemble::{PagesWritten, ReportError, Rules, Threshold, write_pages};
