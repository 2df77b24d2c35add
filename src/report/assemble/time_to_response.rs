//! How long until a response: a figure of the first definition, a sheet of all.

use super::condition::Page;
use super::drawings::Drawn;
use super::edition::Edition;
use super::pick::{count, shown};
use crate::findings::bulletin::{ConditionFindings, OutcomeFindings};
use crate::findings::curve::TimeToResponse;
use crate::report::figures::{FigureError, FigureText, Incidence, IncidenceAt, MedianDay, incidence};
use crate::report::pages::{Block, Cell, Section, Sheet};
use crate::report::wording::{course_figure, phrases, result_sheets, time_to_response as words};

impl Page<'_> {
    pub(super) fn time_to_response(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("time-to-response", words::HEADING);
        for outcome in self.condition.outcomes.iter().filter(|outcome| !outcome.definitions.is_empty()) {
            section.add(Block::Heading(outcome.title.clone()));
            if outcome.time_to_response.is_empty() {
                section.say(words::NOTHING_TO_SHOW);
                continue;
            }
            let figure = figure(self.edition, self.condition, outcome)?;
            self.place(&mut section, figure, words::READ, vec![words::MEDIAN_NOTE.to_string()]);
            self.add_sheet(&mut section, sheet(outcome), words::COLUMNS_NOTE);
        }
        Ok(section)
    }
}

/// The incidence by the first definition of which more than the first day may be shown.
fn figure(edition: &Edition<'_>, condition: &ConditionFindings, outcome: &OutcomeFindings) -> Drawn {
    let first = outcome
        .time_to_response
        .iter()
        .find_map(|found| Some((found, found.incidence.last().filter(|last| last.day > 0.0)?)));
    let Some((found, last)) = first else { return Ok(None) };
    let stopped = found.stopped_by.last().copied().unwrap_or((0.0, 0.0));
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "response"),
        title: words::title(last, stopped),
        subtitle: words::subtitle(
            &condition.title,
            &phrases::within(&outcome.title),
            found,
            shown(&found.episodes).map(u64::from),
        ),
        source: format!("{} {}", edition.source(None), course_figure::UNCONTROLLED_IN_BRIEF),
    };
    let points = found.incidence.iter().map(|point| IncidenceAt {
        day: point.day,
        response: point.response.value,
        low: point.response.low,
        high: point.response.high,
    });
    let median = found.median_day.map(|day| MedianDay { day, low: found.median_low, high: found.median_high });
    incidence(&text, &Incidence { points: points.collect(), stopped: found.stopped_by.clone(), median }).map(Some)
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
