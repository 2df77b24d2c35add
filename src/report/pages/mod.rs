//! Pages: structs of finished strings, each with its template. Nothing is computed here.

mod condition;
mod data_quality;
mod index;
mod methods;
mod parts;
mod restricted;
mod sites;

pub use condition::ConditionPage;
pub use data_quality::DataQualityPage;
pub use index::IndexPage;
pub use methods::MethodsPage;
pub use parts::{Block, Cell, Column, PageLink, PlacedFigure, Row, Section, Sheet, SheetRow, Standing, Surround};
pub use restricted::RestrictedPage;
pub use sites::SitesPage;
