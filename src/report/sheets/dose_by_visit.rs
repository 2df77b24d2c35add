//! `dose_by_visit.csv`: peak pull by condition and number of the visit.

use super::sheet::{Cell, Form, Kind, always, is_withheld, maybe};
use crate::findings::bulletin::Shown;
use crate::findings::dose::PullByVisit;

/// The sheet.
pub const FORM: Form = Form {
    name: "dose_by_visit",
    title: "Peak pull as percent of body weight by condition and number of the treated visit, visits 1 to 12",
    columns: &[
        always("condition", Kind::Text, "condition key, or not_recorded"),
        always("region", Kind::OneOf(&["lumbar", "cervical", "other"]), "region of the condition"),
        always("visit_no", Kind::Count, "number of the treated visit in its episode, from 1"),
        maybe("visits", Kind::Count, "visits that record the pull, to whole tens"),
        maybe("percent_10", Kind::Number, "10 % of visits lie at or below it, percent of body weight"),
        maybe("percent_25", Kind::Number, "25 % of visits lie at or below it, percent of body weight"),
        maybe("percent_50", Kind::Number, "median, percent of body weight"),
        maybe("percent_75", Kind::Number, "75 % of visits lie at or below it, percent of body weight"),
        maybe("percent_90", Kind::Number, "90 % of visits lie at or below it, percent of body weight"),
        always("withheld", Kind::Flag, "whether the line is withheld since few patients stand behind it"),
    ],
    key: &["condition", "visit_no"],
};

/// A line.
pub fn line(pull: &PullByVisit) -> Vec<Cell> {
    let at = |place: usize| match pull.percent {
        Shown::Value(percent) => percent.get(place).map_or(Cell::Empty, |percent| Cell::Number(*percent)),
        _ => Cell::Empty,
    };
    vec![
        pull.condition.as_str().into(),
        pull.region.key().into(),
        u64::from(pull.visit_no).into(),
        pull.visits.into(),
        at(0),
        at(1),
        at(2),
        at(3),
        at(4),
        Cell::Flag(is_withheld(&pull.percent)),
    ]
}
