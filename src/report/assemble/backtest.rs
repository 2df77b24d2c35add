//! How well the predictions did, by number of the follow-up reading.

use super::condition::Page;
use crate::findings::bulletin::OutcomeFindings;
use crate::findings::curve::{Backtest, BacktestRow};
use crate::report::pages::{Block, Cell, Section, Sheet};
use crate::report::wording::{self, backtest as words, phrases};

impl Page<'_> {
    pub(super) fn backtest(&self) -> Section {
        let mut section = Section::new("predictions", words::HEADING);
        let averaged: Vec<&OutcomeFindings> = self.condition.outcomes.iter().filter(|o| !o.ordinal).collect();
        if averaged.is_empty() {
            return section;
        }
        section.say(words::INTRO);
        if averaged.iter().any(|outcome| outcome.backtest.is_some()) {
            section.say(words::WHAT_BEHIND_MEANS);
        }
        for outcome in averaged {
            section.add(Block::Heading(outcome.title.clone()));
            match &outcome.backtest {
                Some(backtest) => self.of_outcome(&mut section, outcome, backtest),
                None => {
                    section.say(words::NOT_TRIED);
                }
            }
        }
        section
    }

    fn of_outcome(&self, section: &mut Section, outcome: &OutcomeFindings, backtest: &Backtest) {
        let called = backtest.rows.iter().find_map(|row| row.ppv.map(|ppv| words::of_hundred(row, &ppv)));
        let said: Vec<String> = backtest.coverage.iter().map(words::coverage).chain(called).collect();
        if !said.is_empty() {
            let paragraph = Block::Paragraph(said.join(" "));
            match words::patients(&backtest.rows) {
                Some(note) => section.add_with_note(paragraph, note),
                None => section.add(paragraph),
            };
        }
        if let Some(why) = &backtest.withheld {
            section.say(phrases::sentence(why));
        }
        if backtest.rows.is_empty() {
            section.say(words::NO_LINES);
        }
        let mut schemes: Vec<&str> = backtest.rows.iter().map(|row| row.scheme).collect();
        schemes.dedup();
        for scheme in schemes {
            let rows: Vec<&BacktestRow> = backtest.rows.iter().filter(|row| row.scheme == scheme).collect();
            let calls = sheet(words::calls_caption(&outcome.title, scheme), &words::CALL_COLUMNS, &rows, calls);
            self.add_sheet(section, calls, words::CALLS_NOTE);
            let chances = sheet(words::chance_caption(&outcome.title, scheme), &words::CHANCE_COLUMNS, &rows, chances);
            self.add_sheet(section, chances, words::CHANCE_NOTE);
        }
    }
}

fn sheet(
    caption: String,
    columns: &[&str],
    rows: &[&BacktestRow],
    cells: fn(&BacktestRow) -> [Option<String>; 4],
) -> Sheet {
    let mut sheet = Sheet::new(caption, words::CORNER, columns);
    for row in rows {
        let mut line = vec![Cell::from(wording::count(u64::from(row.patients)))];
        line.extend(cells(row).into_iter().map(|text| Cell::from(text.unwrap_or_else(|| words::NONE.to_string()))));
        sheet.row(row.visit_no.to_string(), line);
    }
    sheet
}

fn chances(row: &BacktestRow) -> [Option<String>; 4] {
    [
        row.auc.as_ref().map(words::number),
        row.brier.map(|brier| wording::decimal(brier, 3)),
        row.calibration_slope.as_ref().map(words::number),
        row.calibration_intercept.as_ref().map(words::number),
    ]
}

fn calls(row: &BacktestRow) -> [Option<String>; 4] {
    [&row.band_coverage, &row.sensitivity, &row.specificity, &row.ppv].map(|share| share.as_ref().map(words::share))
}
