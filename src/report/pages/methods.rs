//! `methods.html`: how each number is computed.

use super::{Section, Surround};
use askama::Template;

/// The page on methods.
#[derive(Clone, PartialEq, Debug, Template)]
#[template(path = "methods.html", config = "src/report/templates/askama.toml")]
pub struct MethodsPage {
    /// What every page carries.
    pub around: Surround,
    /// Sections in reading order.
    pub sections: Vec<Section>,
}

impl MethodsPage {
    /// The page as HTML.
    pub fn render(&self) -> Result<String, askama::Error> {
        Template::render(self)
    }
}
