//! Facts of the trade as data, each with its source: measures, conditions, identifiers.

pub mod error;
pub mod measure;
mod measure_file;
pub mod measures;
pub mod pain_site;
pub mod response;
pub mod sourced;

pub use error::CatalogueError;
pub use measures::{Definition, Measure, MeasureId, Measures, Scale};
pub use pain_site::PainSite;

/// A condition of the registry, by position.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct ConditionId(pub u16);
/// The region of the spine that is treated.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Region {
    /// Low back.
    Lumbar,
    /// Neck.
    Cervical,
    /// Any other.
    Other,
}
