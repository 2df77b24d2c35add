//! `restricted/*.html`: pages that show patients one by one.

use super::{Section, Surround};
use askama::Template;

/// A page that shows patients one by one. Its style sheet is a file of its own, since there may be thousands.
#[derive(Clone, PartialEq, Debug, Template)]
#[template(path = "restricted.html", config = "src/report/templates/askama.toml")]
pub struct RestrictedPage {
    /// What every page carries.
    pub around: Surround,
    /// At the head of the page.
    pub restricted: &'static str,
    /// Where the style sheet lies, relative to the page.
    pub style_href: String,
    /// Sections in reading order.
    pub sections: Vec<Section>,
}

impl RestrictedPage {
    /// The page as HTML.
    pub fn render(&self) -> Result<String, askama::Error> {
        Template::render(self)
    }
}
