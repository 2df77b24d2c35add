//! Findings -> the first page.

use super::course;
use super::drawings;
use super::edition::{Edition, INDEX_FILE};
use super::pick::{
    cell_of_two, change_cell, change_row, completeness_row, count, leading_definition, leading_outcome, rate_cell,
    responder_row, shown, worst_to_best_cell,
};
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings, Period, Shown};
use crate::report::figures::{Figure, FigureError};
use crate::report::pages::{Block, Cell, IndexPage, PlacedFigure, Row, Section, Sheet};
use crate::report::wording::{self, figures as words, headings, phrases, result_sheets, results};

const LEADING_CONDITIONS: usize = 3;

pub(super) fn index_page(edition: &Edition<'_>) -> Result<(IndexPage, Vec<Figure>), FigureError> {
    let mut figures = Vec::new();
    let conditions = conditions(edition, &mut figures)?;
    let completeness = completeness(edition, &mut figures)?;
    let page = IndexPage {
        around: edition.around(headings::INDEX_TITLE, INDEX_FILE, ""),
        opening_heading: headings::IN_BRIEF,
        opening: opening(edition),
        conditions,
        quarters: against_previous(edition),
        completeness,
        limits: limits(edition),
    };
    Ok((page, figures))
}

/// At most five: three conditions, this quarter against the last, and who was lost.
fn opening(edition: &Edition<'_>) -> Vec<Row> {
    let conditions = &edition.bulletin.conditions;
    let mut rows: Vec<Row> =
        conditions.iter().filter_map(|c| responder_lead(edition, c)).take(LEADING_CONDITIONS).collect();
    rows.extend(conditions.iter().find_map(|c| quarter_lead(edition, c)));
    rows.extend(conditions.iter().find_map(|c| completeness_lead(edition, c)));
    rows
}

fn responder_lead(edition: &Edition<'_>, condition: &ConditionFindings) -> Option<Row> {
    let outcome = leading_outcome(condition)?;
    let (key, label) = leading_definition(outcome)?;
    edition.periods().into_iter().find_map(|period| {
        let row = responder_row(outcome, &period, None, key)?;
        let (rate, worst, best) = (shown(&row.rate)?, shown(&row.worst_case)?, shown(&row.best_case)?);
        let (with, of) = (shown(&row.with_outcome)?, shown(&row.episodes)?);
        let lead = results::responder_lead(&condition.title, &outcome.title, &phrases::reached(key, label), &rate);
        let note = results::responder_note(
            &phrases::period(&period),
            &wording::count(u64::from(with)),
            &wording::count(u64::from(of)),
            worst,
            best,
        );
        Some(Row::new(Block::Lead(lead), vec![note]))
    })
}

fn quarter_lead(edition: &Edition<'_>, condition: &ConditionFindings) -> Option<Row> {
    let outcome = leading_outcome(condition)?;
    let quarter = edition.bulletin.period?;
    let difference = outcome.against_previous.as_ref()?.change?;
    let this = shown(&change_row(outcome, &Period::Quarter(quarter), None)?.change)?;
    let before = shown(&change_row(outcome, &Period::Quarter(quarter.previous()), None)?.change)?;
    let lead = results::against_previous_lead(
        &condition.title,
        &outcome.title,
        &this,
        &before,
        &difference,
        outcome.lower_is_better,
        outcome.decimals,
    );
    Some(Row::new(Block::Lead(lead), vec![results::against_previous_note(&difference, outcome.decimals)]))
}

fn completeness_lead(edition: &Edition<'_>, condition: &ConditionFindings) -> Option<Row> {
    let outcome = leading_outcome(condition)?;
    edition.periods().into_iter().find_map(|period| {
        let row = completeness_row(outcome, &period, None)?;
        let (due, both) = (shown(&row.episodes)?, shown(&row.with_endpoint)?);
        let lead = results::completeness_lead(&condition.title, u64::from(both), u64::from(due));
        let note = results::of_outcome(&outcome.title, &phrases::period(&period));
        Some(Row::new(Block::Lead(lead), vec![note]))
    })
}

fn conditions(edition: &Edition<'_>, figures: &mut Vec<Figure>) -> Result<Section, FigureError> {
    let mut section = Section::new("conditions", headings::CONDITIONS);
    for condition in &edition.bulletin.conditions {
        section.add(Block::Heading(condition.title.clone()));
        let outcome = leading_outcome(condition);
        match outcome.and_then(|outcome| condition_line(edition, outcome)) {
            Some(row) => section.rows.push(row),
            None => {
                section.say(results::NOTHING_TO_SHOW);
            }
        }
        if let Some(outcome) = outcome
            && let Some(figure) = course::figure(edition, condition, outcome)?
        {
            let placed = PlacedFigure::new(&figure, course::caption(outcome), "");
            section.rows.push(Row::new(Block::Figure(placed), course::cautions()));
            figures.push(figure);
        }
        section.add(Block::Link { text: results::more_on(&condition.title), href: edition.condition_file(condition) });
    }
    Ok(section)
}

fn condition_line(edition: &Edition<'_>, outcome: &OutcomeFindings) -> Option<Row> {
    edition.periods().into_iter().find_map(|period| {
        let change_row = change_row(outcome, &period, None)?;
        let change = shown(&change_row.change)?;
        let mut line = results::change_line(&outcome.title, &change, &outcome.unit, outcome.decimals);
        if let Some((key, label)) = leading_definition(outcome)
            && let Some(row) = responder_row(outcome, &period, None, key)
            && let (Some(rate), Some(worst), Some(best)) =
                (shown(&row.rate), shown(&row.worst_case), shown(&row.best_case))
        {
            line.push(' ');
            line.push_str(&results::responder_line(&phrases::reached(key, label), &rate, worst, best));
        }
        let note = results::both_readings(&phrases::period(&period), shown(&change_row.episodes).map(u64::from));
        Some(Row::new(Block::Paragraph(line), vec![note]))
    })
}

fn against_previous(edition: &Edition<'_>) -> Section {
    let mut section = Section::new("quarters", headings::AGAINST_PREVIOUS);
    let Some(quarter) = edition.bulletin.period else {
        section.say(results::NO_QUARTERS);
        return section;
    };
    let (this, before) = (Period::Quarter(quarter), Period::Quarter(quarter.previous()));
    let caption = result_sheets::against_caption(quarter);
    let mut sheet = Sheet::new(caption, result_sheets::CONDITION_AND_MEASURE, &headings::AGAINST_COLUMNS);
    for condition in &edition.bulletin.conditions {
        let Some(outcome) = leading_outcome(condition) else { continue };
        let change = |period: &Period| {
            change_row(outcome, period, None).map_or(Cell::Missing, |row| {
                crate::report::assemble::pick::cell(&row.change, |e: Estimate| {
                    wording::signed(e.value, outcome.decimals)
                })
            })
        };
        let rate = |period: &Period| {
            leading_definition(outcome)
                .and_then(|(key, _)| responder_row(outcome, period, None, key))
                .map_or(Cell::Missing, |row| rate_cell(&row.rate))
        };
        let against = outcome.against_previous.as_ref();
        let of_change = against.and_then(|a| a.change).map(Shown::Value).unwrap_or(Shown::Missing);
        let of_rate = against.and_then(|a| a.rate).map_or(Cell::Missing, |e| Cell::Text(result_sheets::points(&e)));
        sheet.row(
            result_sheets::condition_and_measure(&condition.title, &outcome.title),
            vec![
                change(&this),
                change(&before),
                change_cell(&of_change, outcome.decimals),
                rate(&this),
                rate(&before),
                of_rate,
            ],
        );
    }
    let notes = with_withheld(edition, &sheet, vec![result_sheets::AGAINST_NOTE.to_string()]);
    section.rows.push(Row::new(Block::Sheet(sheet), notes));
    section
}

fn completeness(edition: &Edition<'_>, figures: &mut Vec<Figure>) -> Result<Section, FigureError> {
    let mut section = Section::new("completeness", headings::COMPLETENESS);
    section.say(results::COMPLETENESS_INTRO);
    let period = edition.period();
    let caption = result_sheets::completeness_caption(&phrases::period(&period));
    let mut sheet = Sheet::new(caption, result_sheets::CONDITION_AND_MEASURE, &headings::COMPLETENESS_COLUMNS);
    for condition in &edition.bulletin.conditions {
        let Some(outcome) = leading_outcome(condition) else { continue };
        let Some(row) = completeness_row(outcome, &period, None) else { continue };
        let responders = leading_definition(outcome).and_then(|(key, _)| responder_row(outcome, &period, None, key));
        sheet.row(
            result_sheets::condition_and_measure(&condition.title, &outcome.title),
            vec![
                count(&row.episodes),
                count(&row.with_baseline),
                cell_of_two(&row.with_endpoint, &row.share, |n, share| {
                    format!("{} ({})", wording::count(u64::from(n)), wording::percent(share))
                }),
                responders.map_or(Cell::Missing, worst_to_best_cell),
            ],
        );
    }
    let notes = with_withheld(edition, &sheet, vec![result_sheets::COMPLETENESS_NOTE.to_string()]);
    section.rows.push(Row::new(Block::Sheet(sheet), notes));
    if let Some(condition) = edition.bulletin.conditions.first()
        && let Some(outcome) = leading_outcome(condition)
        && let Some(figure) = drawings::completeness(edition, condition, outcome)?
    {
        section.add(Block::Figure(PlacedFigure::new(&figure, words::READ_COMPLETENESS, "")));
        figures.push(figure);
    }
    Ok(section)
}

fn limits(edition: &Edition<'_>) -> Section {
    let mut section = Section::new("limits", headings::LIMITS);
    section.add(Block::Heading(headings::CAN.to_string()));
    section.add(Block::List(results::can_say(edition.rules.endpoint_days)));
    section.add(Block::Heading(headings::CANNOT.to_string()));
    section.add(Block::List(results::cannot_say(edition.rules.endpoint_days)));
    section
}

/// Adds what a dash means to the notes of a sheet that holds one.
pub(super) fn with_withheld(edition: &Edition<'_>, sheet: &Sheet, mut notes: Vec<String>) -> Vec<String> {
    if sheet.withholds() {
        notes.push(edition.withheld_note());
    }
    notes
}
