//! `site_comparison.csv`: each site beside what is expected for its case mix.

use super::sheet::{Cell, Form, Kind, always, maybe, period, three};
use crate::findings::bulletin::Shown;
use crate::findings::sites::{Limits, SiteComparison};

/// The sheet.
pub const FORM: Form = Form {
    name: "site_comparison",
    title: "Sites compared like for like: observed against expected, limits of chance, and what it comes to",
    columns: &[
        always("period", Kind::Period, "quarter in which the endpoint window closed, or all"),
        always("condition", Kind::Text, "condition key, or all_conditions"),
        always("measure", Kind::Text, "outcome key; over all conditions the domain, pain or disability"),
        always("site", Kind::Text, "site"),
        always(
            "definition",
            Kind::OneOf(&["minimal_important", "change_of_burden", "followed_up"]),
            "what is compared: share with a minimal important change, fall of burden in points of 100, share with baseline and endpoint",
        ),
        maybe("episodes", Kind::Count, "due episodes in the comparison; to whole tens where withheld is true"),
        maybe("observed", Kind::Number, "responders, followed up, or summed fall of burden"),
        maybe("expected", Kind::Number, "the same as the case-mix model expects it"),
        maybe("ratio", Kind::Number, "observed / expected; none for a change"),
        maybe("raw_rate", Kind::Number, "observed / episodes, before adjustment"),
        maybe("adjusted_rate", Kind::Number, "at the group's case mix: a share, or points of burden"),
        maybe(
            "shrunken_rate",
            Kind::Number,
            "the adjusted rate drawn towards the group (random site); over all periods",
        ),
        maybe("shrunken_low", Kind::Number, "lower 95 % limit of the shrunken rate"),
        maybe("shrunken_high", Kind::Number, "upper 95 % limit of the shrunken rate"),
        maybe(
            "low_95",
            Kind::Number,
            "lower limit of what chance gives 95 % of the time, on the scale of adjusted_rate",
        ),
        maybe("high_95", Kind::Number, "upper limit of the same"),
        maybe("low_998", Kind::Number, "lower limit of what chance gives 99.8 % of the time"),
        maybe("high_998", Kind::Number, "upper limit of the same"),
        maybe("score", Kind::Number, "standard score after over-dispersion, positive for better"),
        maybe("q_value", Kind::Share, "p value adjusted over all comparisons of the run (Benjamini-Hochberg)"),
        always(
            "call",
            Kind::OneOf(&["above", "below", "within", "too few"]),
            "what it comes to at a false discovery rate of 5 %; too few also where a site alone uses a measure",
        ),
        always(
            "withheld",
            Kind::Flag,
            "whether numbers of the line are withheld as a small cell; rates are then rounded to whole percent or points",
        ),
    ],
    key: &["period", "condition", "measure", "site", "definition"],
};

/// The lines of a comparison.
pub fn lines(comparison: &SiteComparison) -> impl Iterator<Item = Vec<Cell>> {
    comparison.rows.iter().map(move |row| {
        let [shrunken, shrunken_low, shrunken_high] = three(row.shrunken);
        let [low_95, high_95] = two(row.limits_95);
        let [low_998, high_998] = two(row.limits_998);
        vec![
            period(&row.period),
            comparison.condition.as_str().into(),
            comparison.measure.as_str().into(),
            row.site.as_str().into(),
            comparison.definition().into(),
            row.episodes.into(),
            row.observed.into(),
            row.expected.into(),
            row.ratio.into(),
            row.raw.into(),
            row.adjusted.into(),
            shrunken,
            shrunken_low,
            shrunken_high,
            low_95,
            high_95,
            low_998,
            high_998,
            row.score.into(),
            row.q.map_or(Cell::Empty, Cell::Number),
            row.call.key().into(),
            Cell::Flag(row.hides_counts()),
        ]
    })
}

fn two(limits: Shown<Limits>) -> [Cell; 2] {
    match limits {
        Shown::Value((low, high)) => [low.into(), high.into()],
        Shown::Withheld | Shown::Missing => [Cell::Empty, Cell::Empty],
    }
}
