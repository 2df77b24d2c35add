//! `sites.html`, `sites/NAME.html` and `setups.html`: an opening, and sections.

use super::{Row, Section, Surround};
use askama::Template;

/// A page about sites, or about setups.
#[derive(Clone, PartialEq, Debug, Template)]
#[template(path = "sites.html", config = "src/report/templates/askama.toml")]
pub struct SitesPage {
    /// What every page carries.
    pub around: Surround,
    /// Heading of the opening, for those who hear the page.
    pub opening_heading: &'static str,
    /// Leading sentences.
    pub opening: Vec<Row>,
    /// The sections, in order; those without content are left out by the maker.
    pub sections: Vec<Section>,
}

impl SitesPage {
    /// The page as HTML.
    pub fn render(&self) -> Result<String, askama::Error> {
        Template::render(self)
    }
}
