//! `conditions/KEY.html`: one condition.

use super::{Row, Section, Surround};
use askama::Template;

/// The page of a condition.
#[derive(Clone, PartialEq, Debug, Template)]
#[template(path = "condition.html", config = "src/report/templates/askama.toml")]
pub struct ConditionPage {
    /// What every page carries.
    pub around: Surround,
    /// Heading of the opening, for those who hear the page.
    pub opening_heading: &'static str,
    /// Who these patients are.
    pub opening: Vec<Row>,
    /// Baseline, endpoint and change of each measure.
    pub change: Section,
    /// Who responded, by each definition.
    pub responders: Section,
    /// The mean by week, the curve, the natural course.
    pub course: Section,
    /// How long until a response, and who stopped before.
    pub time_to_response: Section,
    /// The share that improved by at least so much.
    pub distribution: Section,
    /// By site.
    pub sites: Section,
    /// By quarter.
    pub quarters: Section,
    /// How well the predictions did.
    pub backtest: Section,
}

impl ConditionPage {
    /// The page as HTML.
    pub fn render(&self) -> Result<String, askama::Error> {
        Template::render(self)
    }
}
