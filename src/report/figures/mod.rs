//! Figures: a finding -> one SVG, and a PNG made from that very SVG; nothing where nothing may be shown.
//!
//! Each kind has a file of its own, with its words; `frame` draws what all share: a title that states the finding, a
//! subtitle with the denominator, a source line. Nothing here computes a result: what is drawn was computed before.

mod comparison;
#[cfg(test)]
mod condition_tests;
mod frame;
mod labels;
mod palette;
mod pen;
mod png;
mod rows;
#[cfg(test)]
mod sampled;
mod scale;
mod score_axis;
#[cfg(test)]
mod tests;

pub mod accounting;
pub mod by_quarter;
pub mod change_by;
pub mod completeness;
pub mod distribution;
pub mod first_last;
pub mod funnel;
pub mod incidence;
pub mod odds_ratios;
pub mod patient_course;
pub mod pull_by_visit;
pub mod responders;
pub mod setup_charts;
pub mod setup_funnel;
pub mod setup_levels;
pub mod setup_openings;
pub mod setup_strips;
pub mod setup_words;
pub mod site_course;
pub mod site_intervals;
pub mod weekly_course;

pub use first_last::{FirstAndLast, PullGroup, PullOfSite, first_and_last};
pub use odds_ratios::{OddsOf, OddsRatios, OddsRow, odds_ratios};
pub use patient_course::patient_course;
pub use pull_by_visit::{PullAt, PullByVisit, PullPanel, pull_by_visit};
pub use setup_charts::{ChartChange, ChartPanel, ChartPoint, SetupCharts, setup_charts};
pub use setup_funnel::{FunnelMark, LimitsAtVisits, SetupFunnel, setup_funnel};
pub use setup_levels::{LevelRow, SetupLevels, setup_levels};
pub use setup_openings::{OpeningRow, SetupOpenings, setup_openings};
pub use setup_strips::{SetupStrips, StripRow, setup_strips};
pub use setup_words::{SetupWords, WordsRow, setup_words};

use thiserror::Error;

/// Why a figure could not be made. None of these comes from the data.
#[derive(Debug, Error)]
pub enum FigureError {
    /// The embedded typeface cannot be read.
    #[error("the embedded typeface cannot be read")]
    Typeface,
    /// The drawing library refused.
    #[error("the figure `{name}` cannot be drawn: {reason}")]
    Drawing {
        /// The figure's name.
        name: String,
        /// What the library said.
        reason: String,
    },
    /// The PNG could not be made.
    #[error("no PNG can be made of the figure `{name}`: {reason}")]
    Png {
        /// The figure's name.
        name: String,
        /// What the library said.
        reason: String,
    },
}

/// The words around a figure.
#[derive(Clone, PartialEq, Debug)]
pub struct FigureText {
    /// File name without ending: lower-case letters, digits, `-` and `_`; unique in a report.
    pub name: String,
    /// The finding, as a sentence.
    pub title: String,
    /// The denominator.
    pub subtitle: String,
    /// Where the numbers come from.
    pub source: String,
}

/// A figure, unless nothing of it may be shown.
pub(super) type Drawn = Result<Option<Figure>, FigureError>;

/// Days of findings become weeks on an axis.
pub(super) const DAYS_A_WEEK: f64 = 7.0;

/// A finished figure.
#[derive(Clone, PartialEq, Debug)]
pub struct Figure {
    /// File name without ending.
    pub name: String,
    /// The finding it states.
    pub title: String,
    /// The drawing: one `svg` element with `title` and `desc`, fit to stand inside a page or alone.
    pub svg: String,
}

impl Figure {
    /// The same drawing as a PNG, [`PNG_WIDTH`] pixels wide, on white.
    pub fn png(&self) -> Result<Vec<u8>, FigureError> {
        png::png_of(self)
    }
}

/// Width of every PNG in pixels: that of a slide.
pub const PNG_WIDTH: u32 = 1920;
