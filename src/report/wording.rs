//! Every sentence and number format that a reader sees.

pub mod backtest;
pub mod course;
pub mod curve;
pub mod dose;
pub mod dose_figures;
pub mod figures;
pub mod headings;
pub mod imputation;
pub mod may_say;
pub mod methods;
pub mod methods_of_dose;
pub mod methods_of_models;
pub mod methods_of_setups;
pub mod methods_of_sites;
pub mod notice;
mod numbers;
pub mod on_track;
pub mod patient_course;
pub mod phrases;
pub mod quality;
pub mod result_sheets;
pub mod results;
pub mod setup_figures;
pub mod setup_findings;
pub mod setup_parameters;
pub mod setup_terminal;
pub mod setups;
pub mod site_figures;
pub mod sites;
pub mod time_to_response;

pub use numbers::{
    NOT_RECORDED, WITHHELD, count, counted, decimal, episodes_behind, n_of, percent, percent_with_interval, range,
    signed, signed_with_interval, with_interval,
};

/// Read out where a dash stands.
pub const WITHHELD_WORD: &str = "withheld";
/// Words of the link to a figure's PNG.
pub const PNG_LINK: &str = "As a PNG for slides.";

/// The fixed words around every page.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Around {
    /// First link, for those who cannot see the masthead.
    pub skip: &'static str,
    /// The notice in one line.
    pub brief: &'static str,
    /// Words of the link to the notice.
    pub notice_link: &'static str,
    /// Name of the list of pages.
    pub pages: &'static str,
    /// Heading of the notice.
    pub notice_heading: &'static str,
    /// The notice.
    pub notice: [&'static str; 4],
    /// Heading of what is withheld.
    pub small_cells_heading: &'static str,
}

/// The fixed words around every page.
pub const AROUND: Around = Around {
    skip: "To the text",
    brief: notice::NOTICE_IN_BRIEF,
    notice_link: "Read the notice.",
    pages: "Pages of this bulletin",
    notice_heading: notice::NOTICE_HEADING,
    notice: notice::NOTICE,
    small_cells_heading: notice::SMALL_CELLS_HEADING,
};
