//! `recovery_curves.csv`: the parameters of each condition's curve, or why there is none.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::findings::bulletin::{ConditionFindings, CurveOutcome, Estimate, OutcomeFindings};

const MODEL: &str = "exponential approach to a plateau, least squares on weekly means";

const PARAMETERS: &[&str] = &["start", "plateau", "half_time_days", "day_of_important_change", "none"];

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
    let line = |parameter: &str, estimate: Option<Estimate>, error: Option<f64>, note: &str| -> Vec<Cell> {
        let number = |x: Option<f64>| x.map_or(Cell::Empty, Cell::Number);
        vec![
            condition.key.as_str().into(),
            outcome.key.as_str().into(),
            MODEL.into(),
            outcome.curve_patients.into(),
            u64::from(outcome.curve_readings).into(),
            parameter.into(),
            number(estimate.map(|e| e.value)),
            number(error),
            number(estimate.map(|e| e.low)),
            number(estimate.map(|e| e.high)),
            note.into(),
        ]
    };
    match &outcome.curve {
        CurveOutcome::Fitted(curve) => {
            let [start, plateau, half_time] = curve.std_errors;
            let mut lines = vec![
                line("start", Some(curve.start), Some(start), &curve.evidence),
                line("plateau", Some(curve.plateau), Some(plateau), &curve.evidence),
                line("half_time_days", Some(curve.half_time_days), Some(half_time), &curve.evidence),
            ];
            if let Some(day) = curve.day_of_important_change {
                lines.push(line("day_of_important_change", Some(day), None, &curve.evidence));
            }
            lines
        }
        CurveOutcome::NotIdentifiable(why) => vec![line("none", None, None, &format!("not identifiable: {why}"))],
        CurveOutcome::TooFewWeeks => vec![line("none", None, None, "too few weeks with enough readings")],
    }
}
