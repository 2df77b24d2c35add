//! Findings -> the page of a condition.

use super::by::sheet as sheet_by;
use super::course;
use crate::findings::bulletin::{ConditionFindings, Period};
use crate::report::edition::Edition;
use crate::report::figures::{DAYS_A_WEEK, Figure, FigureError, change_by, distribution, weekly_course};
use crate::report::lookup::{cell, cell_of_two, change_cell, change_row, count, leading_outcome, ordinal_row, shown};
use crate::report::pages::{Block, ConditionPage, PlacedFigure, Row, Section, Sheet};
use crate::report::wording::{self, headings, phrases, result_sheets, results};

const UP: &str = "../";

/// The page of a condition in the making; its longer sections stand in files of their own.
pub(super) struct Page<'p> {
    pub(super) edition: &'p Edition<'p>,
    pub(super) condition: &'p ConditionFindings,
    figures: Vec<Figure>,
}

pub(super) fn condition_page(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
) -> Result<(ConditionPage, Vec<Figure>), FigureError> {
    let mut page = Page { edition, condition, figures: Vec::new() };
    let finished = ConditionPage {
        around: edition.around(&condition.title, &edition.condition_file(condition), UP),
        opening_heading: headings::WHO,
        opening: page.opening(),
        change: page.change(),
        responders: page.responders()?,
        course: page.course()?,
        time_to_response: page.time_to_response()?,
        distribution: page.distribution()?,
        sites: page.sites()?,
        quarters: page.quarters()?,
        backtest: page.backtest(),
    };
    Ok((finished, page.figures))
}

impl Page<'_> {
    pub(super) fn place(&mut self, section: &mut Section, figure: Option<Figure>, caption: &str, notes: Vec<String>) {
        let Some(figure) = figure else { return };
        section.rows.push(Row::new(Block::Figure(PlacedFigure::new(&figure, caption, UP)), notes));
        self.figures.push(figure);
    }

    /// Adds a sheet; a sentence in its place when all of it is withheld.
    pub(super) fn add_sheet(&self, section: &mut Section, sheet: Sheet, note: &str) {
        if sheet.says_nothing() {
            section.say(result_sheets::all_withheld(&sheet.caption));
            return;
        }
        let notes = self.edition.with_withheld(&sheet, vec![note.to_string()]);
        section.rows.push(Row::new(Block::Sheet(sheet), notes));
    }

    fn opening(&self) -> Vec<Row> {
        let condition = self.condition;
        let who = results::started_and_due(
            shown(&condition.episodes_started).map(u64::from),
            shown(&condition.episodes_due).map(u64::from),
        );
        let mut sheet = Sheet::new(result_sheets::ONSET_CAPTION, result_sheets::ONSET_CORNER, &headings::ONSET_COLUMNS);
        sheet.row(result_sheets::EPISODES, condition.onset_mix.iter().map(count).collect());
        let notes = self.edition.with_withheld(&sheet, Vec::new());
        vec![
            Row::new(Block::Lead(who), vec![results::PERIOD_OF_PAGE.to_string()]),
            Row::new(Block::Sheet(sheet), notes),
        ]
    }

    fn change(&self) -> Section {
        let mut section = Section::new("change", headings::CHANGE);
        let period = Period::All;
        let caption = result_sheets::measures_caption(&phrases::period(&period));
        let mut sheet = Sheet::new(caption, result_sheets::MEASURE, &headings::CHANGE_COLUMNS);
        for outcome in &self.condition.outcomes {
            if let Some(row) = change_row(outcome, &period, None) {
                let places = outcome.decimals;
                let mean_and_sd = |mean: f64, sd: f64| {
                    format!("{} ({})", wording::decimal(mean, places), wording::decimal(sd, places))
                };
                let cells = vec![
                    count(&row.episodes),
                    cell_of_two(&row.baseline_mean, &row.baseline_sd, mean_and_sd),
                    cell_of_two(&row.endpoint_mean, &row.endpoint_sd, mean_and_sd),
                    change_cell(&row.change, places),
                    cell(&row.effect_size, |e| wording::signed(e, 2)),
                ];
                sheet.row(result_sheets::measure_and_unit(&outcome.title, &outcome.unit), cells);
            }
        }
        if !sheet.rows.is_empty() {
            self.add_sheet(&mut section, sheet, result_sheets::EFFECT_SIZE_NOTE);
        }
        let sheet = self.ordinal_sheet(&period);
        if !sheet.rows.is_empty() {
            self.add_sheet(&mut section, sheet, result_sheets::ORDINAL_NOTE);
        }
        if section.rows.is_empty() {
            section.say(results::NOTHING_TO_SHOW);
        }
        section
    }

    fn ordinal_sheet(&self, period: &Period) -> Sheet {
        let caption = result_sheets::ordinal_caption(&phrases::period(period));
        let mut sheet = Sheet::new(caption, result_sheets::MEASURE, &headings::ORDINAL_COLUMNS);
        for outcome in &self.condition.outcomes {
            let Some(row) = ordinal_row(outcome, period, None) else { continue };
            let median = |value: f64| wording::decimal(value, 1);
            sheet.row(
                outcome.title.as_str(),
                vec![
                    count(&row.episodes),
                    cell(&row.baseline_median, median),
                    cell(&row.endpoint_median, median),
                    count(&row.better),
                    count(&row.same),
                    count(&row.worse),
                ],
            );
        }
        sheet
    }

    fn course(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("course", headings::COURSE);
        for outcome in &self.condition.outcomes {
            section.add(Block::Heading(outcome.title.clone()));
            if outcome.ordinal {
                section.say(results::ORDINAL);
                continue;
            }
            let figure = weekly_course::draw(self.edition, self.condition, outcome)?;
            self.place(&mut section, figure, &weekly_course::read(outcome), course::cautions());
            section.rows.extend(course::in_words(outcome));
            if outcome.weeks.is_empty() {
                continue;
            }
            match &outcome.natural_course {
                Some(published) => {
                    let points: Vec<_> =
                        published.points.iter().map(|(day, mean)| (day / DAYS_A_WEEK, *mean)).collect();
                    let text = wording::course::natural_course(&published.label, &points, outcome.decimals);
                    section.add_with_note(Block::Paragraph(text), phrases::sentence(&published.citation));
                }
                None => {
                    section.say(wording::course::NO_NATURAL_COURSE);
                }
            }
        }
        Ok(section)
    }

    fn distribution(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("distribution", headings::DISTRIBUTION);
        for outcome in &self.condition.outcomes {
            let figure = distribution::draw(self.edition, self.condition, outcome)?;
            self.place(&mut section, figure, distribution::READ, Vec::new());
        }
        if !section.rows.is_empty() {
            let intro = Block::Paragraph(results::DISTRIBUTION_INTRO.to_string());
            section.rows.insert(0, Row::new(intro, Vec::new()));
        }
        Ok(section)
    }

    fn sites(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("sites", headings::SITES);
        let parts = self.edition.site_parts();
        if let Some(outcome) = leading_outcome(self.condition) {
            section.say(results::SITES_CAVEAT);
            let figure = change_by::draw(self.edition, self.condition, outcome, "sites", &parts)?;
            self.place(&mut section, figure, change_by::READ, Vec::new());
        }
        for outcome in &self.condition.outcomes {
            let sheet = sheet_by(outcome, result_sheets::by_site_caption(&outcome.title), result_sheets::SITE, &parts);
            self.add_sheet(&mut section, sheet, result_sheets::BY_COLUMNS_NOTE);
        }
        Ok(section)
    }

    fn quarters(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("quarters", headings::QUARTERS);
        let parts = self.edition.quarter_parts();
        if self.condition.outcomes.is_empty() {
            return Ok(section);
        }
        if parts.is_empty() {
            section.say(results::NO_QUARTERS);
            return Ok(section);
        }
        if let Some(outcome) = leading_outcome(self.condition) {
            let figure = change_by::draw(self.edition, self.condition, outcome, "quarters", &parts)?;
            self.place(&mut section, figure, change_by::READ, Vec::new());
        }
        for outcome in &self.condition.outcomes {
            let sheet =
                sheet_by(outcome, result_sheets::by_quarter_caption(&outcome.title), result_sheets::QUARTER, &parts);
            self.add_sheet(&mut section, sheet, result_sheets::BY_COLUMNS_NOTE);
        }
        Ok(section)
    }
}
