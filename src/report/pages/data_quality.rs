//! `data-quality.html`: how well the exports were understood.

use super::{Section, Surround};
use askama::Template;

/// The page on the data.
#[derive(Clone, PartialEq, Debug, Template)]
#[template(path = "data-quality.html", config = "src/report/templates/askama.toml")]
pub struct DataQualityPage {
    /// What every page carries.
    pub around: Surround,
    /// read = kept + duplicate + rejected.
    pub reconciliation: Section,
    /// Why rows were rejected.
    pub rejections: Section,
    /// Why cells were blanked.
    pub blanked: Section,
    /// Rows that repeat a visit with other values.
    pub duplicates: Section,
    /// Columns dropped or not mentioned.
    pub columns: Section,
    /// Calendar dates or day offsets.
    pub dates: Section,
    /// Readings by site.
    pub completeness: Section,
    /// Transfers, overlaps, open episodes, missing baselines.
    pub episodes: Section,
}

impl DataQualityPage {
    /// The page as HTML.
    pub fn render(&self) -> Result<String, askama::Error> {
        Template::render(self)
    }
}
