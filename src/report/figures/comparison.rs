//! What figures of a comparison of sites share.

use super::FigureText;
use crate::findings::bulletin::{Period, Shown};
use crate::findings::sites::{SiteComparison, SiteRow};
use crate::models::sites::cases::Quantity;
use crate::report::edition::Edition;
use crate::report::wording::{counted, phrases, site_figures as words, sites};

/// Fewest sites that a figure compares.
pub(super) const FEWEST_SITES: usize = 2;

/// The lines of a period.
pub(super) fn rows<'c>(compared: &'c SiteComparison, period: &Period) -> impl Iterator<Item = &'c SiteRow> {
    compared.rows.iter().filter(move |row| row.period == *period)
}

/// The words around a figure over all periods.
pub(super) fn text(edition: &Edition<'_>, compared: &SiteComparison, kind: &str, title: String) -> FigureText {
    let episodes = match compared.episodes {
        Shown::Value(n) => {
            let about = if compared.has_hidden_parts { "about " } else { "" };
            format!(", {about}{} in the model", counted(u64::from(n), "episode", "episodes"))
        }
        _ => String::new(),
    };
    FigureText {
        name: edition.comparison_name(compared, kind),
        title,
        subtitle: format!("{}; {}{episodes}", sites::name(compared), phrases::period(&Period::All)),
        source: edition.source(None),
    }
}

/// The title of the axis.
pub(super) fn axis(compared: &SiteComparison) -> String {
    words::axis(compared.quantity, &phrases::within(&compared.measure_title))
}

/// The least and the largest value an axis can have.
pub(super) fn ends(quantity: Quantity) -> (f64, f64) {
    if words::is_share(quantity) { (0.0, 1.0) } else { (f64::NEG_INFINITY, f64::INFINITY) }
}

/// The text alternative: the group's value, then what is said of each site.
pub(super) fn described(compared: &SiteComparison, group: f64, sites: impl Iterator<Item = String>) -> String {
    let sites = sites.collect::<Vec<_>>().join(" ");
    format!("{}. Whole group: {}. {sites}", axis(compared), words::value(group, compared.quantity, 1))
}
