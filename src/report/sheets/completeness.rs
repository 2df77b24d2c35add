//! `completeness.csv`: how many episodes have a baseline and an endpoint.

use super::sheet::{Cell, Form, Kind, always, is_withheld, maybe, period, site};
use crate::findings::bulletin::CompletenessRow;

/// The sheet.
pub const FORM: Form = Form {
    name: "completeness",
    title: "How many due episodes have a baseline and an endpoint",
    columns: &[
        always("period", Kind::Period, "quarter in which the endpoint window closed, or all"),
        always("site", Kind::Text, "site, or all"),
        always("condition", Kind::Text, "condition key"),
        always("measure", Kind::Text, "outcome key: measure and site of pain"),
        maybe("episodes", Kind::Count, "due episodes that started"),
        maybe("with_baseline", Kind::Count, "of these, with a baseline; empty for a measure that looks back"),
        maybe(
            "with_endpoint",
            Kind::Count,
            "of these, with baseline and endpoint; for a measure that looks back, with an endpoint",
        ),
        maybe("share", Kind::Share, "with_endpoint / episodes"),
        always("withheld", Kind::Flag, "whether a number of the line is withheld as a small cell"),
    ],
    key: &["period", "site", "condition", "measure"],
};

/// One line.
pub fn line(row: &CompletenessRow) -> Vec<Cell> {
    let counts = [row.episodes, row.with_baseline, row.with_endpoint];
    let withheld = counts.iter().any(is_withheld) || is_withheld(&row.share);
    vec![
        period(&row.period),
        site(row.site.as_ref()),
        row.condition.as_str().into(),
        row.measure.as_str().into(),
        row.episodes.into(),
        row.with_baseline.into(),
        row.with_endpoint.into(),
        row.share.into(),
        Cell::Flag(withheld),
    ]
}
