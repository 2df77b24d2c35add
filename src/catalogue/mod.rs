//! Facts of the trade as data, each with its source: measures, conditions, identifiers.

pub mod bands;
pub mod conditions;
pub mod error;
mod identifier_forms;
mod identifier_names;
mod identifier_numbers;
mod identifier_values;
pub mod identifiers;
pub mod measure;
mod measure_file;
pub mod measurement_error;
pub mod measures;
pub mod natural_course;
pub mod pain_site;
pub mod parameter;
pub mod possible_rules;
pub mod region;
pub mod response;
pub mod rule;
pub mod setup_standard;
pub mod sourced;

pub use conditions::{CellCodes, CodeMatch, Condition, ConditionId, Conditions};
pub use error::CatalogueError;
pub use measures::{Definition, Measure, MeasureId, Measures, Scale};
pub use pain_site::PainSite;
pub use region::Region;
