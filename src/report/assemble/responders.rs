//! Who responded, by each definition, with what the missing could do to it.

use super::condition::Page;
use crate::findings::bulletin::{OutcomeFindings, Period, ResponderRow, Shown};
use crate::report::figures::{FigureError, responders};
use crate::report::lookup::{cell, count, rate_cell, responder_row, shown};
use crate::report::pages::{Block, Cell, Section, Sheet};
use crate::report::wording::{self, headings, imputation, phrases, result_sheets};

impl Page<'_> {
    pub(super) fn responders(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("responders", headings::RESPONDERS);
        let (period, mut is_explained) = (Period::All, false);
        for outcome in &self.condition.outcomes {
            if outcome.definitions.is_empty() {
                continue;
            }
            section.add(Block::Heading(outcome.title.clone()));
            let rows = rows(outcome, &period);
            let is_imputed = rows.iter().any(|(_, row)| !matches!(row.imputed, Shown::Missing));
            let figure = responders::draw(self.edition, self.condition, outcome, &period)?;
            self.place(&mut section, figure, &responders::read(is_imputed), Vec::new());
            self.add_sheet(
                &mut section,
                sheet(outcome, &period, &rows, is_imputed),
                result_sheets::RESPONDER_COLUMNS_NOTE,
            );
            match rows.iter().any(|(_, row)| shown(&row.imputed).is_some()) {
                true if !is_explained => {
                    section.say(imputation::HOW);
                    is_explained = true;
                }
                false if !is_imputed => {
                    section.say(imputation::NOT_IMPUTED);
                }
                _ => {}
            }
            let tipping = tipping_points(outcome, &rows);
            if !tipping.is_empty() {
                section.say(imputation::TIPPING_INTRO).add(Block::List(tipping));
            }
        }
        Ok(section)
    }
}

/// The definitions of an outcome with what is known of the whole group.
fn rows<'o>(outcome: &'o OutcomeFindings, period: &Period) -> Vec<(&'o (String, String), &'o ResponderRow)> {
    let row = |definition: &'o (String, String)| {
        responder_row(outcome, period, None, &definition.0).map(|row| (definition, row))
    };
    outcome.definitions.iter().filter_map(row).collect()
}

fn sheet(
    outcome: &OutcomeFindings,
    period: &Period,
    rows: &[(&(String, String), &ResponderRow)],
    is_imputed: bool,
) -> Sheet {
    let caption = result_sheets::responders_caption(&outcome.title, &phrases::period(period));
    let mut columns = headings::RESPONDER_COLUMNS.to_vec();
    let after_best_case = 6;
    if is_imputed {
        columns.insert(after_best_case, imputation::COLUMN);
    }
    let mut sheet = Sheet::new(caption, result_sheets::DEFINITION, &columns);
    for ((key, label), row) in rows {
        let mut cells = vec![
            count(&row.episodes),
            count(&row.with_outcome),
            count(&row.responders),
            rate_cell(&row.rate),
            cell(&row.worst_case, wording::percent),
            cell(&row.best_case, wording::percent),
            count(&row.baseline_too_low),
            count(&row.baseline_missing),
        ];
        if is_imputed {
            let imputed = match row.imputed {
                Shown::Missing => Cell::from(imputation::NONE),
                _ => rate_cell(&row.imputed),
            };
            cells.insert(after_best_case, imputed);
        }
        sheet.row(phrases::definition(key, label), cells);
    }
    sheet
}

fn tipping_points(outcome: &OutcomeFindings, rows: &[(&(String, String), &ResponderRow)]) -> Vec<String> {
    let sentence = |((key, label), row): &(&(String, String), &ResponderRow)| {
        let (tipping, seen) = (row.tipping?, shown(&row.rate)?);
        shown(&row.imputed)?;
        Some(imputation::tipping(key, label, tipping, &seen, &outcome.unit, outcome.decimals))
    };
    rows.iter().filter_map(sentence).collect()
}
