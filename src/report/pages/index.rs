//! `index.html`: the quarter, for the director.

use super::{Row, Section, Surround};
use askama::Template;

/// The first page.
#[derive(Clone, PartialEq, Debug, Template)]
#[template(path = "index.html", config = "src/report/templates/askama.toml")]
pub struct IndexPage {
    /// What every page carries.
    pub around: Surround,
    /// Heading of the opening, for those who hear the page.
    pub opening_heading: &'static str,
    /// At most five leading sentences, each with its denominator beside it and a link to what shows it.
    pub opening: Vec<Row>,
    /// A line of results for each condition, with a figure.
    pub conditions: Section,
    /// This quarter against the one before and the same a year ago.
    pub quarters: Section,
    /// How many were measured, and what the others could do.
    pub completeness: Section,
    /// What may be said to others, and what not.
    pub to_others: Section,
    /// What these figures can and cannot say.
    pub limits: Section,
}

impl IndexPage {
    /// The page as HTML.
    pub fn render(&self) -> Result<String, askama::Error> {
        Template::render(self)
    }
}
