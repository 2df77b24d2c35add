//! `backtest.csv`: how well predictions did for patients whom the model had not seen.

use super::sheet::{Cell, Column, Form, Kind, always, maybe};
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings};
use crate::findings::curve::BacktestRow;

const fn low(name: &'static str, kind: Kind) -> Column {
    maybe(name, kind, "its lower 95 % limit")
}

const fn high(name: &'static str, kind: Kind) -> Column {
    maybe(name, kind, "its upper 95 % limit")
}

/// The sheet.
pub const FORM: Form = Form {
    name: "backtest",
    title: "How well the predictions did for patients whom the model had not seen",
    columns: &[
        always("condition", Kind::Text, "condition key"),
        always("measure", Kind::Text, "outcome key: measure and site of pain"),
        always("visit_no", Kind::Count, "number of the follow-up reading, 1 the first after the baseline"),
        always("patients", Kind::Count, "patients with that reading and a known end"),
        maybe("auc", Kind::Share, "area under the receiver operating characteristic of the chance of response"),
        maybe("brier", Kind::Share, "mean squared difference of chance and response"),
        maybe("calibration_slope", Kind::Number, "1 is ideal; less means that chances were too extreme"),
        maybe("band_coverage", Kind::Share, "share of these readings inside the 80 % band predicted before them"),
        maybe("sensitivity", Kind::Share, "of those who did not respond, the share called behind"),
        maybe("specificity", Kind::Share, "of those who responded, the share not called behind"),
        maybe("ppv", Kind::Share, "of those called behind, the share that did not respond"),
        always("scheme", Kind::Text, "how patients were held out"),
        maybe("calibration_intercept", Kind::Number, "0 is ideal"),
        low("auc_low", Kind::Share),
        high("auc_high", Kind::Share),
        low("calibration_slope_low", Kind::Number),
        high("calibration_slope_high", Kind::Number),
        low("calibration_intercept_low", Kind::Number),
        high("calibration_intercept_high", Kind::Number),
        low("band_coverage_low", Kind::Share),
        high("band_coverage_high", Kind::Share),
        low("sensitivity_low", Kind::Share),
        high("sensitivity_high", Kind::Share),
        low("specificity_low", Kind::Share),
        high("specificity_high", Kind::Share),
        low("ppv_low", Kind::Share),
        high("ppv_high", Kind::Share),
    ],
    key: &["condition", "measure", "scheme", "visit_no"],
};

/// The lines of one outcome.
pub fn lines(condition: &ConditionFindings, outcome: &OutcomeFindings) -> Vec<Vec<Cell>> {
    let rows = outcome.backtest.iter().flat_map(|backtest| &backtest.rows);
    rows.map(|row| line(&condition.key, &outcome.key, row)).collect()
}

fn line(condition: &str, measure: &str, row: &BacktestRow) -> Vec<Cell> {
    let number = |x: Option<f64>| x.map_or(Cell::Empty, Cell::Number);
    let value = |estimate: Option<Estimate>| number(estimate.map(|e| e.value));
    let mut cells = vec![
        condition.into(),
        measure.into(),
        u64::from(row.visit_no).into(),
        u64::from(row.patients).into(),
        value(row.auc),
        number(row.brier),
        value(row.calibration_slope),
        value(row.band_coverage),
        value(row.sensitivity),
        value(row.specificity),
        value(row.ppv),
        row.scheme.into(),
        value(row.calibration_intercept),
    ];
    let with_limits = [
        row.auc,
        row.calibration_slope,
        row.calibration_intercept,
        row.band_coverage,
        row.sensitivity,
        row.specificity,
        row.ppv,
    ];
    cells.extend(with_limits.iter().flat_map(|e| [number(e.map(|e| e.low)), number(e.map(|e| e.high))]));
    cells
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::invented;

    #[test]
    fn each_limit_stands_in_its_own_column() {
        let bulletin = invented::bulletin();
        let condition = &bulletin.conditions[0];
        let first = &lines(condition, &condition.outcomes[0])[0];
        assert_eq!(first.len(), FORM.columns.len());
        let at = |name: &str| match first[FORM.columns.iter().position(|c| c.name == name).unwrap()] {
            Cell::Number(number) => number,
            _ => panic!("{name} is no number"),
        };
        for name in
            ["auc", "calibration_slope", "calibration_intercept", "band_coverage", "sensitivity", "specificity", "ppv"]
        {
            let (low, high) = (at(&format!("{name}_low")), at(&format!("{name}_high")));
            assert!((low + high) / 2.0 - at(name) < 1e-9 && low < high, "{name}"); // the invented limits are symmetric
        }
    }
}
