//! Findings -> the first page.

use super::course;
use super::setups;
use super::sites::{call_note, lost_numbers};
use crate::findings::bulletin::{ConditionFindings, Difference, Estimate, OutcomeFindings, Period, Shown};
use crate::findings::leads::{Lead, MOST, leads};
use crate::findings::may_say::statements;
use crate::report::edition::{self, Edition, INDEX_FILE};
use crate::report::figures::{Figure, FigureError, completeness, funnel, weekly_course};
use crate::report::lookup::{
    cell, cell_of_two, change_cell, change_row, completeness_row, count, leading_definition, leading_outcome,
    rate_cell, responder_row, shown, worst_to_best_cell,
};
use crate::report::pages::{Block, Cell, IndexPage, PlacedFigure, Row, Section, Sheet};
use crate::report::wording::{self, headings, may_say as may_say_words, phrases, result_sheets, results, sites};
use crate::rows::when::Quarter;

pub(super) fn index_page(edition: &Edition<'_>) -> Result<(IndexPage, Vec<Figure>), FigureError> {
    let mut figures = Vec::new();
    let conditions = conditions(edition, &mut figures)?;
    let completeness = completeness(edition, &mut figures)?;
    let page = IndexPage {
        around: edition.around(headings::INDEX_TITLE, INDEX_FILE, ""),
        opening_heading: headings::IN_BRIEF,
        opening: opening(edition),
        conditions,
        quarters: quarters(edition),
        completeness,
        to_others: may_say(edition),
        limits: limits(edition),
    };
    Ok((page, figures))
}

/// The findings chosen, each with a link to what shows it.
fn opening(edition: &Edition<'_>) -> Vec<Row> {
    let mut rows: Vec<Row> =
        leads(edition.bulletin).iter().filter_map(|lead| row_of(edition, lead)).take(MOST).collect();
    rows.extend(edition.setups.as_ref().and_then(|shown| setups::on_first_page(&shown.setups)));
    rows
}

fn row_of(edition: &Edition<'_>, lead: &Lead<'_>) -> Option<Row> {
    match *lead {
        Lead::Responded(condition) => responder_lead(edition, condition),
        Lead::Against { condition, outcome, difference, by_rate: false, year_ago } => {
            quarter_lead(edition, condition, outcome, difference.change?, year_ago)
        }
        Lead::Against { condition, outcome, difference, by_rate: true, year_ago } => {
            quarter_rate_lead(edition, condition, outcome, difference.rate?, year_ago)
        }
        Lead::Site(comparison, row) => Some(linked(
            sites::call_lead(comparison, row),
            figure_link(edition::SITES_FILE, &edition.comparison_name(comparison, funnel::KIND)),
            call_note(comparison, row),
        )),
        Lead::Lost { site, lost, whole } => {
            let ((share, gap), (group, group_gap)) = (lost_numbers(lost)?, lost_numbers(whole)?);
            Some(linked(
                sites::gap_lead(site, share, group, gap, group_gap),
                format!("{}#followed-up", edition.site_file(site)),
                sites::lost_note(sites::domain(lost.domain)),
            ))
        }
        Lead::Completeness(condition) => completeness_lead(edition, condition),
    }
}

/// A leading sentence with a link to what shows it, and its side note.
fn linked(text: String, href: String, note: String) -> Row {
    Row::new(Block::LinkedLead { text, link: headings::SHOWN_BY, href }, vec![note])
}

fn figure_link(file: &str, figure: &str) -> String {
    format!("{file}#figure-{figure}")
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
        let figure = edition.figure_name(condition, outcome, "responders");
        Some(linked(lead, figure_link(&edition.condition_file(condition), &figure), note))
    })
}

fn quarter_lead(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
    difference: Difference,
    year_ago: bool,
) -> Option<Row> {
    let quarter = edition.bulletin.period?;
    let earlier = if year_ago { quarter.a_year_before() } else { quarter.previous() };
    let this = shown(&change_row(outcome, &Period::Quarter(quarter), None)?.change)?;
    let before = shown(&change_row(outcome, &Period::Quarter(earlier), None)?.change)?;
    let about = results::Compared {
        condition: &condition.title,
        measure: &outcome.title,
        lower_is_better: outcome.lower_is_better,
        places: outcome.decimals,
        year_ago,
    };
    let lead = results::against_previous_lead(&about, &this, &before, &difference);
    let figure = edition.figure_name(condition, outcome, "quarters");
    let href = figure_link(&edition.condition_file(condition), &figure);
    Some(linked(lead, href, results::against_previous_note(&difference, outcome.decimals)))
}

fn quarter_rate_lead(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
    difference: Difference,
    year_ago: bool,
) -> Option<Row> {
    let quarter = edition.bulletin.period?;
    let (key, _) = leading_definition(outcome)?;
    let earlier = if year_ago { quarter.a_year_before() } else { quarter.previous() };
    let rate = |quarter| shown(&responder_row(outcome, &Period::Quarter(quarter), None, key)?.rate);
    let (this, before) = (rate(quarter)?, rate(earlier)?);
    let about = results::Compared {
        condition: &condition.title,
        measure: &outcome.title,
        lower_is_better: false,
        places: 0,
        year_ago,
    };
    let lead = results::rate_against_previous_lead(&about, &this, &before, &difference);
    Some(linked(lead, "#quarters".to_owned(), results::rate_against_previous_note(&difference)))
}

fn completeness_lead(edition: &Edition<'_>, condition: &ConditionFindings) -> Option<Row> {
    let outcome = leading_outcome(condition)?;
    edition.periods().into_iter().find_map(|period| {
        let row = completeness_row(outcome, &period, None)?;
        let (due, both) = (shown(&row.episodes)?, shown(&row.with_endpoint)?);
        let lead = results::completeness_lead(&condition.title, u64::from(both), u64::from(due));
        let note = results::of_outcome(&outcome.title, &phrases::period(&period));
        Some(linked(lead, "#completeness".to_owned(), note))
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
            && let Some(figure) = weekly_course::draw(edition, condition, outcome)?
        {
            let placed = PlacedFigure::new(&figure, weekly_course::read(outcome), "");
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

fn quarters(edition: &Edition<'_>) -> Section {
    let mut section = Section::new("quarters", headings::AGAINST_PREVIOUS);
    let Some(quarter) = edition.bulletin.period else {
        section.say(results::NO_QUARTERS);
        return section;
    };
    for (earlier, year_ago) in [(quarter.previous(), false), (quarter.a_year_before(), true)] {
        if !edition.bulletin.quarters.contains(&earlier) {
            section.say(results::no_such_quarter(earlier));
            continue;
        }
        let sheet = against(edition, quarter, earlier, year_ago);
        let notes = edition.with_withheld(&sheet, vec![result_sheets::AGAINST_NOTE.to_string()]);
        section.rows.push(Row::new(Block::Sheet(sheet), notes));
    }
    section
}

/// The leading outcome of each condition, this quarter against an earlier one.
fn against(edition: &Edition<'_>, quarter: Quarter, earlier: Quarter, year_ago: bool) -> Sheet {
    let (this, before) = (Period::Quarter(quarter), Period::Quarter(earlier));
    let caption = result_sheets::against_caption(quarter, earlier);
    let columns = if year_ago { headings::AGAINST_YEAR_COLUMNS } else { headings::AGAINST_COLUMNS };
    let mut sheet = Sheet::new(caption, result_sheets::CONDITION_AND_MEASURE, &columns);
    for condition in &edition.bulletin.conditions {
        let Some(outcome) = leading_outcome(condition) else { continue };
        let change = |period: &Period| {
            change_row(outcome, period, None).map_or(Cell::Missing, |row| {
                cell(&row.change, |e: Estimate| wording::signed(e.value, outcome.decimals))
            })
        };
        let rate = |period: &Period| {
            leading_definition(outcome)
                .and_then(|(key, _)| responder_row(outcome, period, None, key))
                .map_or(Cell::Missing, |row| rate_cell(&row.rate))
        };
        let against = if year_ago { &outcome.against_year_ago } else { &outcome.against_previous }.as_ref();
        let of_change = against.and_then(|a| a.change).map_or(Shown::Missing, |d| Shown::Value(d.estimate));
        let of_rate =
            against.and_then(|a| a.rate).map_or(Cell::Missing, |d| Cell::Text(result_sheets::points(&d.estimate)));
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
    sheet
}

/// What may be said to others, and what not.
fn may_say(edition: &Edition<'_>) -> Section {
    let found = statements(edition.bulletin);
    let mut section = Section::new("to-others", may_say_words::HEADING);
    for (heading, items) in [
        (may_say_words::MAY, found.may.iter().map(may_say_words::may).collect::<Vec<_>>()),
        (may_say_words::MAY_NOT, found.may_not.iter().map(may_say_words::may_not).collect()),
    ] {
        if !items.is_empty() {
            section.add(Block::Heading(heading.to_string()));
            section.add_with_note(Block::List(items), may_say_words::ALWAYS_WITH);
        }
    }
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
    let notes = edition.with_withheld(&sheet, vec![result_sheets::COMPLETENESS_NOTE.to_string()]);
    section.rows.push(Row::new(Block::Sheet(sheet), notes));
    if let Some(condition) = edition.bulletin.conditions.first()
        && let Some(outcome) = leading_outcome(condition)
        && let Some(figure) = completeness::draw(edition, condition, outcome)?
    {
        section.add(Block::Figure(PlacedFigure::new(&figure, completeness::READ, "")));
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
