//! Findings -> report: formats and draws, computes nothing.

pub mod assemble;
mod edition;
pub mod figures;
mod file_names;
#[cfg(test)]
pub(crate) mod invented;
#[cfg(test)]
pub(crate) mod invented_dose;
#[cfg(test)]
pub(crate) mod invented_setups;
#[cfg(test)]
pub(crate) mod invented_sites;
#[cfg(test)]
pub(crate) mod invented_worklist;
mod lookup;
pub mod pages;
pub mod publish;
pub mod restricted;
pub mod sheets;
pub mod typeface;
pub mod wording;

pub use assemble::{PagesWritten, ReportError, Rules, Threshold, write_pages};
pub use restricted::write_restricted;
