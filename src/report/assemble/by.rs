//! Sheets of an outcome by site and by quarter.

use crate::findings::bulletin::{OrdinalRow, OutcomeFindings, Period, Shown};
use crate::report::edition::Part;
use crate::report::lookup::{
    cell_of_two, change_cell, change_row, completeness_row, count, leading_definition, ordinal_row, rate_cell,
    responder_row, worst_to_best_cell,
};
use crate::report::pages::{Cell, Sheet};
use crate::report::wording::{self, headings, result_sheets};

/// The sheet of an outcome, one row a part and one for the whole.
pub(super) fn sheet(outcome: &OutcomeFindings, caption: String, corner: &str, parts: &[Part]) -> Sheet {
    let mut sheet = Sheet::new(caption, corner, &headings::BY_COLUMNS);
    for (label, period, site) in parts {
        sheet.row(label.as_str(), cells(outcome, period, site.as_deref()));
    }
    sheet.total(result_sheets::WHOLE_GROUP, cells(outcome, &Period::All, None));
    sheet
}

fn cells(outcome: &OutcomeFindings, period: &Period, site: Option<&str>) -> Vec<Cell> {
    let completeness = completeness_row(outcome, period, site);
    let change = change_row(outcome, period, site);
    let ordinal = ordinal_row(outcome, period, site);
    let responders = leading_definition(outcome).and_then(|(key, _)| responder_row(outcome, period, site, key));
    let none = || Cell::from(result_sheets::NONE);
    vec![
        completeness.map_or_else(none, |row| count(&row.episodes)),
        completeness.map_or_else(none, |row| {
            cell_of_two(&row.with_endpoint, &row.share, |n, share| {
                format!("{} ({})", wording::count(u64::from(n)), wording::percent(share))
            })
        }),
        match (change, ordinal) {
            (Some(row), _) => change_cell(&row.change, outcome.decimals),
            (None, Some(row)) => better_same_worse(row),
            (None, None) => none(),
        },
        responders.map_or_else(none, |row| rate_cell(&row.rate)),
        responders.map_or_else(none, worst_to_best_cell),
    ]
}

fn better_same_worse(row: &OrdinalRow) -> Cell {
    match (&row.better, &row.same, &row.worse) {
        (Shown::Value(better), Shown::Value(same), Shown::Value(worse)) => {
            result_sheets::better_same_worse(u64::from(*better), u64::from(*same), u64::from(*worse)).into()
        }
        (Shown::Missing, _, _) => Cell::Missing,
        _ => Cell::Withheld,
    }
}
