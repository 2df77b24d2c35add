//! `responders.csv`: who improved by how much, with every denominator.

use super::sheet::{Cell, Form, Kind, always, is_withheld, maybe, period, site, three};
use crate::findings::bulletin::ResponderRow;

/// The sheet.
pub const FORM: Form = Form {
    name: "responders",
    title: "Responder rates with Wilson intervals and what the missing could do to them",
    columns: &[
        always("period", Kind::Period, "quarter in which the endpoint window closed, or all"),
        always("site", Kind::Text, "site, or all"),
        always("condition", Kind::Text, "condition key"),
        always("measure", Kind::Text, "outcome key: measure and site of pain"),
        always("definition", Kind::Text, "definition of a response"),
        always("denominator", Kind::Text, "what `episodes` counts, in words"),
        maybe("episodes", Kind::Count, "the denominator"),
        maybe("with_outcome", Kind::Count, "of these, with what the definition needs"),
        maybe("responders", Kind::Count, "of these, responders"),
        maybe("rate", Kind::Share, "responders / with_outcome"),
        maybe("ci_low", Kind::Share, "lower 95 % Wilson limit of the rate"),
        maybe("ci_high", Kind::Share, "upper 95 % Wilson limit of the rate"),
        maybe("worst_case", Kind::Share, "rate if nobody without an outcome responded"),
        maybe("best_case", Kind::Share, "rate if everybody without an outcome responded"),
        maybe(
            "imputed_rate",
            Kind::Share,
            "rate with missing baselines and endpoints imputed from the recovery curve, pooled over the draws",
        ),
        maybe("imputed_low", Kind::Share, "lower 95 % limit of the imputed rate"),
        maybe("imputed_high", Kind::Share, "upper 95 % limit of the imputed rate"),
        maybe(
            "baseline_too_low",
            Kind::Count,
            "due episodes whose baseline is too low to respond, not in the denominator; inside the group shown however few",
        ),
        maybe(
            "baseline_missing",
            Kind::Count,
            "due episodes without a baseline, in the denominator; inside the group shown however few",
        ),
        always("withheld", Kind::Flag, "whether a number of the line is withheld as a small cell"),
    ],
    key: &["period", "site", "condition", "measure", "definition"],
};

/// One line.
pub fn line(row: &ResponderRow) -> Vec<Cell> {
    let [rate, low, high] = three(row.rate);
    let [imputed, imputed_low, imputed_high] = three(row.imputed);
    let counts = [row.episodes, row.with_outcome, row.responders, row.baseline_too_low, row.baseline_missing];
    let cases = [row.worst_case, row.best_case];
    let withheld = counts.iter().any(is_withheld) || cases.iter().any(is_withheld) || is_withheld(&row.rate);
    vec![
        period(&row.period),
        site(row.site.as_ref()),
        row.condition.as_str().into(),
        row.measure.as_str().into(),
        row.definition.as_str().into(),
        row.denominator.into(),
        row.episodes.into(),
        row.with_outcome.into(),
        row.responders.into(),
        rate,
        low,
        high,
        row.worst_case.into(),
        row.best_case.into(),
        imputed,
        imputed_low,
        imputed_high,
        row.baseline_too_low.into(),
        row.baseline_missing.into(),
        Cell::Flag(withheld),
    ]
}
