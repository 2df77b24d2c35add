//! `ordinal_change.csv`: medians and who got better, for measures whose words have an order but no distances.

use super::sheet::{Cell, Form, Kind, always, is_withheld, maybe, period, site};
use crate::findings::bulletin::OrdinalRow;

/// The sheet.
pub const FORM: Form = Form {
    name: "ordinal_change",
    title: "Medians and categories of ordinal measures, which are never averaged",
    columns: &[
        always("period", Kind::Period, "quarter in which the endpoint window closed, or all"),
        always("site", Kind::Text, "site, or all"),
        always("condition", Kind::Text, "condition key"),
        always("measure", Kind::Text, "outcome key: measure and site of pain"),
        maybe("episodes", Kind::Count, "due episodes with baseline and endpoint = better + same + worse"),
        maybe("baseline_median", Kind::Number, "median at the start, as a rank"),
        maybe("endpoint_median", Kind::Number, "median at the end, as a rank"),
        maybe("better", Kind::Count, "episodes with a better word at the end"),
        maybe("same", Kind::Count, "episodes with the same word"),
        maybe("worse", Kind::Count, "episodes with a worse word"),
        always("withheld", Kind::Flag, "whether a number of the line is withheld as a small cell"),
    ],
    key: &["period", "site", "condition", "measure"],
};

/// One line.
pub fn line(row: &OrdinalRow) -> Vec<Cell> {
    let counts = [row.episodes, row.better, row.same, row.worse];
    vec![
        period(&row.period),
        site(row.site.as_ref()),
        row.condition.as_str().into(),
        row.measure.as_str().into(),
        row.episodes.into(),
        row.baseline_median.into(),
        row.endpoint_median.into(),
        row.better.into(),
        row.same.into(),
        row.worse.into(),
        Cell::Flag(counts.iter().any(is_withheld) || is_withheld(&row.baseline_median)),
    ]
}
