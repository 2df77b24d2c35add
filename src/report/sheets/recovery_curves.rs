//! `recovery_curves.csv`: the parameters of each condition's curve, or why there is none.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::findings::bulletin::{ConditionFindings, OutcomeFindings};
use crate::findings::curve::{CurveOutcome, Parameter};

const PARAMETERS: &[&str] = &[
    "baseline",
    "plateau",
    "half_time_days",
    "day_of_important_change",
    "mean_day_0",
    "mean_day_14",
    "mean_day_42",
    "mean_day_84",
    "sd_baseline",
    "sd_plateau",
    "sd_log_time",
    "correlation_baseline_plateau",
    "correlation_baseline_log_time",
    "correlation_plateau_log_time",
    "sd_residual",
    "held_out_margin",
    "none",
];

/// The sheet.
pub const FORM: Form = Form {
    name: "recovery_curves",
    title: "Parameters of the recovery curves",
    columns: &[
        always("condition", Kind::Text, "condition key"),
        always("measure", Kind::Text, "outcome key: measure and site of pain"),
        always("model", Kind::Text, "what was fitted"),
        maybe("patients", Kind::Count, "episodes behind the curve; empty when withheld"),
        always("readings", Kind::Count, "readings behind the curve"),
        always("parameter", Kind::OneOf(PARAMETERS), "what is estimated; none where there is no curve"),
        maybe("estimate", Kind::Number, "estimate in the measure's own unit, or in days"),
        maybe("std_error", Kind::Number, "standard error"),
        maybe("ci_low", Kind::Number, "lower 95 % limit"),
        maybe("ci_high", Kind::Number, "upper 95 % limit"),
        always("note", Kind::Text, "how the fit ended, or why there is none"),
    ],
    key: &["condition", "measure", "parameter"],
};

/// The lines of one outcome.
pub fn lines(condition: &ConditionFindings, outcome: &OutcomeFindings) -> Vec<Vec<Cell>> {
    let line = |model: &str, name: &str, parameter: Option<&Parameter>, note: &str| -> Vec<Cell> {
        let number = |x: Option<f64>| x.map_or(Cell::Empty, Cell::Number);
        let (error, low, high) = match parameter.and_then(|parameter| parameter.uncertainty) {
            Some((error, low, high)) => (Some(error), Some(low), Some(high)),
            None => (None, None, None),
        };
        vec![
            condition.key.as_str().into(),
            outcome.key.as_str().into(),
            model.into(),
            outcome.curve_patients.into(),
            u64::from(outcome.curve_readings).into(),
            name.into(),
            number(parameter.map(|parameter| parameter.value)),
            number(error),
            number(low),
            number(high),
            note.into(),
        ]
    };
    match &outcome.curve {
        CurveOutcome::Fitted(curve) => curve
            .parameters
            .iter()
            .map(|parameter| line(curve.model.label(), parameter.name, Some(parameter), &curve.evidence))
            .collect(),
        CurveOutcome::NotIdentifiable(why) => vec![line("none", "none", None, &format!("not identifiable: {why}"))],
        CurveOutcome::TooFewReadings => vec![line("none", "none", None, "too few patients with enough readings")],
    }
}
