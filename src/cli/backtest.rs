//! `mendcurve backtest`: how predictions did for patients they had not seen.

use super::args::BacktestArguments;
use super::journey;
use super::progress::Stages;
use super::say;
use crate::error::{Exit, Problem};
use crate::findings::bulletin::{Bulletin, Estimate};
use crate::findings::curve::{Backtest, BacktestRow};
use crate::group::load::load;
use crate::query::answer::STYLE;
use crate::report::wording::{count, decimal, on_track as words};
use comfy_table::{CellAlignment, Table};

const HEADINGS: [&str; 9] = [
    "follow-up",
    "patients",
    "area under ROC",
    "Brier",
    "calibration slope",
    "in 80 % band",
    "sensitivity",
    "specificity",
    "PPV of behind",
];

/// Runs the command.
///
/// # Errors
/// Settings, mappings or exports are wrong, or hold direct identifiers.
pub fn run(arguments: &BacktestArguments) -> Result<Exit, Problem> {
    let group = load(&arguments.folder)?;
    let stages = Stages::new(arguments.quiet);
    let understood = journey::understand(&group, &stages)?;
    journey::refuse_too_many_rejected(&group, &understood)?;
    let records = journey::records(&group, &understood, None);
    let fitted = journey::fit(records, &stages);
    // nothing of setups is printed
    let bulletin = journey::find(&group, &understood, records, &fitted, None, &stages)?;
    say::out(&text(&bulletin))?;
    Ok(Exit::Fine)
}

/// Every condition and outcome: the coverage of the band in a sentence, then a sheet for each scheme. 95 % intervals in
/// brackets; a number that too few patients stand behind is a dash.
pub fn text(bulletin: &Bulletin) -> String {
    let mut text = format!("{}: predictions for patients they had not seen\n", bulletin.group);
    let mut any = false;
    for condition in &bulletin.conditions {
        for outcome in &condition.outcomes {
            let Some(backtest) = &outcome.backtest else { continue };
            any = true;
            text.push_str(&format!("\n{}; {}\n", condition.title, outcome.title));
            text.push_str(&words::backtest(backtest).replace('\u{a0}', " "));
            text.push('\n');
            sheets(backtest, &mut text);
        }
    }
    if any {
        text.push_str(words::BACKTEST_KEY);
    } else {
        text.push_str(words::NO_BACKTEST);
    }
    text.push('\n');
    text
}

fn sheets(backtest: &Backtest, text: &mut String) {
    for rows in backtest.rows.chunk_by(|a, b| a.scheme == b.scheme) {
        let Some(first) = rows.first() else { continue };
        let mut table = Table::new();
        table.load_style(STYLE).set_header(HEADINGS);
        for row in rows {
            table.add_row(cells(row));
        }
        for column in table.column_iter_mut() {
            column.set_padding((0, 1));
            column.set_cell_alignment(CellAlignment::Right);
        }
        text.push_str(&format!("\n{}\n{}\n", first.scheme, table.trim_fmt()));
    }
}

fn cells(row: &BacktestRow) -> [String; 9] {
    let dash = || "–".to_string();
    let number = |x: Option<f64>| x.map_or_else(dash, |x| decimal(x, 2));
    let estimate = |e: Option<Estimate>| {
        e.map_or_else(dash, |e| format!("{} ({} to {})", decimal(e.value, 2), decimal(e.low, 2), decimal(e.high, 2)))
    };
    [
        row.visit_no.to_string(),
        count(row.patients.into()),
        estimate(row.auc),
        number(row.brier),
        estimate(row.calibration_slope),
        estimate(row.band_coverage),
        estimate(row.sensitivity),
        estimate(row.specificity),
        estimate(row.ppv),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::invented;

    fn bulletin() -> Bulletin {
        let mut bulletin = invented::bulletin();
        let estimate = |value: f64| Some(Estimate { value, low: value - 0.06, high: value + 0.05 });
        let row = |scheme, visit_no, auc| BacktestRow {
            scheme,
            visit_no,
            patients: 1_204,
            auc,
            brier: Some(0.186),
            calibration_slope: estimate(0.97),
            calibration_intercept: estimate(0.02),
            band_coverage: estimate(0.79),
            sensitivity: estimate(0.42),
            specificity: estimate(0.9),
            ppv: None,
        };
        bulletin.conditions.iter_mut().flat_map(|c| &mut c.outcomes).for_each(|outcome| outcome.backtest = None);
        bulletin.conditions[0].outcomes[0].backtest = Some(Backtest {
            rows: vec![
                row("five folds by patient", 1, estimate(0.66)),
                row("five folds by patient", 2, estimate(0.74)),
                row("later episodes", 1, None),
            ],
            coverage: estimate(0.79),
            withheld: Some("under 30 patients were there to try".into()),
        });
        bulletin
    }

    #[test]
    fn each_scheme_has_its_sheet_under_the_coverage() {
        insta::assert_snapshot!(text(&bulletin()));
    }

    #[test]
    fn without_a_backtest_it_says_so() {
        let mut bulletin = bulletin();
        bulletin.conditions.clear();
        assert!(text(&bulletin).contains(words::NO_BACKTEST));
    }
}
