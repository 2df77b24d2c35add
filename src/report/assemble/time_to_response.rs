//! How long until a response: a figure of the first definition, a sheet of all.

use super::condition::Page;
use crate::findings::bulletin::OutcomeFindings;
use crate::findings::curve::TimeToResponse;
use crate::report::figures::{FigureError, incidence};
use crate::report::lookup::count;
use crate::report::pages::{Block, Cell, Section, Sheet};
use crate::report::wording::{result_sheets, time_to_response as words};

impl Page<'_> {
    pub(super) fn time_to_response(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("time-to-response", words::HEADING);
        for outcome in self.condition.outcomes.iter().filter(|outcome| !outcome.definitions.is_empty()) {
            section.add(Block::Heading(outcome.title.clone()));
            if outcome.time_to_response.is_empty() {
                section.say(words::NOTHING_TO_SHOW);
                continue;
            }
            let figure = incidence::draw(self.edition, self.condition, outcome)?;
            self.place(&mut section, figure, incidence::READ, vec![words::MEDIAN_NOTE.to_string()]);
            self.add_sheet(&mut section, sheet(outcome), words::COLUMNS_NOTE);
        }
        Ok(section)
    }
}

fn sheet(outcome: &OutcomeFindings) -> Sheet {
    let mut sheet = Sheet::new(words::caption(&outcome.title), result_sheets::DEFINITION, &words::COLUMNS);
    for found in &outcome.time_to_response {
        sheet.row(words::defined(&found.definition, &found.label), cells(found));
    }
    sheet
}

fn cells(found: &TimeToResponse) -> Vec<Cell> {
    vec![
        count(&found.episodes),
        count(&found.events),
        count(&found.stopped),
        words::median(found.median_day, found.median_low, found.median_high).into(),
        found.p_logrank.map_or(Cell::from(result_sheets::NONE), |p| words::p_value(p).into()),
    ]
}
