//! `curve_points.csv`: what the figures draw: observed weekly medians and means, the fitted mean with its bands, published points.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings};

/// The sheet.
pub const FORM: Form = Form {
    name: "curve_points",
    title: "Observed weekly means, fitted means and published courses, by day since the first treated visit",
    columns: &[
        always("condition", Kind::Text, "condition key"),
        always("measure", Kind::Text, "outcome key: measure and site of pain"),
        always("day", Kind::Number, "day since the first treated visit; published courses count from study entry"),
        maybe("mean", Kind::Number, "mean in the measure's own unit"),
        maybe("mean_low", Kind::Number, "lower 95 % limit of the mean"),
        maybe("mean_high", Kind::Number, "upper 95 % limit of the mean"),
        maybe(
            "band_low",
            Kind::Number,
            "10th percentile of readings, observed or expected: the spread of patients, not of the mean; empty where few lie beyond it",
        ),
        maybe("band_high", Kind::Number, "90th percentile of readings"),
        maybe("natural_course", Kind::Number, "mean of published cohorts"),
        always("kind", Kind::OneOf(&["observed", "fitted", "published"]), "where the mean comes from"),
        maybe("episodes", Kind::Count, "episodes behind an observed mean"),
        maybe("median", Kind::Number, "median of the readings of an observed week"),
    ],
    key: &["condition", "measure", "kind", "day"],
};

/// The lines of one outcome.
pub fn lines(condition: &ConditionFindings, outcome: &OutcomeFindings) -> Vec<Vec<Cell>> {
    let line = |day: f64, mean: Option<Estimate>, rest: [Cell; 3], kind: &str, observed: [Cell; 2]| -> Vec<Cell> {
        let ([band_low, band_high, published], [episodes, median]) = (rest, observed);
        let number = |x: Option<f64>| x.map_or(Cell::Empty, Cell::Number);
        vec![
            condition.key.as_str().into(),
            outcome.key.as_str().into(),
            day.into(),
            number(mean.map(|m| m.value)),
            number(mean.map(|m| m.low)),
            number(mean.map(|m| m.high)),
            band_low,
            band_high,
            published,
            kind.into(),
            episodes,
            median,
        ]
    };
    let mut lines = Vec::new();
    for week in &outcome.weeks {
        let [low, high] = week.band.map_or([Cell::Empty, Cell::Empty], |band| [band.0.into(), band.1.into()]);
        let band = [low, high, Cell::Empty];
        let observed = [u64::from(week.episodes).into(), week.median.into()];
        lines.push(line(week.day, Some(week.mean), band, "observed", observed));
    }
    for point in outcome.curve.fitted().iter().flat_map(|curve| &curve.points) {
        let band = [point.band.0.into(), point.band.1.into(), Cell::Empty];
        lines.push(line(point.day, Some(point.mean), band, "fitted", [Cell::Empty, Cell::Empty]));
    }
    for (day, mean) in outcome.natural_course.iter().flat_map(|course| &course.points) {
        let published = [Cell::Empty, Cell::Empty, mean.value.into()];
        lines.push(line(*day, None, published, "published", [Cell::Empty, Cell::Empty]));
    }
    lines
}
