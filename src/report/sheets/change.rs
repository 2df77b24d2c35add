//! `change.csv`: means before and after.

use super::sheet::{Cell, Form, Kind, always, is_withheld, maybe, period, site, three};
use crate::findings::bulletin::ChangeRow;

/// The sheet.
pub const FORM: Form = Form {
    name: "change",
    title: "Mean change from baseline to endpoint, in the measure's own unit",
    columns: &[
        always("period", Kind::Period, "quarter in which the endpoint window closed, or all"),
        always("site", Kind::Text, "site, or all"),
        always("condition", Kind::Text, "condition key"),
        always("measure", Kind::Text, "outcome key: measure and site of pain"),
        maybe("episodes", Kind::Count, "due episodes with baseline and endpoint"),
        maybe("baseline_mean", Kind::Number, "mean baseline"),
        maybe("endpoint_mean", Kind::Number, "mean endpoint"),
        maybe("change_mean", Kind::Number, "mean of endpoint - baseline"),
        maybe("change_sd", Kind::Number, "standard deviation of the change"),
        maybe("ci_low", Kind::Number, "lower 95 % t limit of the mean change"),
        maybe("ci_high", Kind::Number, "upper 95 % t limit of the mean change"),
        maybe("effect_size", Kind::Number, "mean improvement / standard deviation of the baseline; positive is better"),
        maybe("baseline_sd", Kind::Number, "standard deviation of the baseline"),
        maybe("endpoint_sd", Kind::Number, "standard deviation of the endpoint"),
        always("withheld", Kind::Flag, "whether the line is withheld as a small cell"),
    ],
    key: &["period", "site", "condition", "measure"],
};

/// One line.
pub fn line(row: &ChangeRow) -> Vec<Cell> {
    let [change, low, high] = three(row.change);
    vec![
        period(&row.period),
        site(row.site.as_ref()),
        row.condition.as_str().into(),
        row.measure.as_str().into(),
        row.episodes.into(),
        row.baseline_mean.into(),
        row.endpoint_mean.into(),
        change,
        row.change_sd.into(),
        low,
        high,
        row.effect_size.into(),
        row.baseline_sd.into(),
        row.endpoint_sd.into(),
        Cell::Flag(is_withheld(&row.episodes) || is_withheld(&row.baseline_mean)),
    ]
}
