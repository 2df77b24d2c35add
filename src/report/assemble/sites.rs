//! `sites.html`: all sites compared like for like.

use crate::findings::bulletin::{Estimate, Period, Shown};
use crate::findings::sites::{Call, SeenAndLost, SiteComparison, SiteRow};
use crate::models::sites::cases::Quantity;
use crate::report::edition::{Edition, SITES_FILE};
use crate::report::figures::{Figure, FigureError, funnel, site_intervals};
use crate::report::lookup::{cell, cell_of_two, count, shown};
use crate::report::pages::{Block, Cell, PlacedFigure, Row, Section, Sheet, SitesPage};
use crate::report::wording::{self, phrases, result_sheets, site_figures as figure_words, sites as words};

/// Most leading sentences.
const MOST_LEADS: usize = 6;

pub(super) fn sites_page(edition: &Edition<'_>) -> Result<(SitesPage, Vec<Figure>), FigureError> {
    let mut page = Page { edition, figures: Vec::new() };
    let sections =
        vec![page.funnels()?, page.estimates()?, page.lost()?, page.by_condition(), page.models(), page.pages()];
    let finished = SitesPage {
        around: edition.around(words::TITLE, SITES_FILE, ""),
        opening_heading: words::OPENING,
        opening: page.opening(),
        sections: sections.into_iter().filter(|section| !section.rows.is_empty()).collect(),
    };
    Ok((finished, page.figures))
}

struct Page<'p> {
    edition: &'p Edition<'p>,
    figures: Vec<Figure>,
}

impl<'p> Page<'p> {
    fn compared(&self) -> &'p [SiteComparison] {
        &self.edition.bulletin.sites_compared
    }

    fn over_all(&self, quantity: Quantity) -> impl Iterator<Item = &'p SiteComparison> + use<'p> {
        self.compared().iter().filter(move |c| c.is_over_all() && c.quantity == quantity)
    }

    fn opening(&self) -> Vec<Row> {
        let mut called: Vec<(&SiteComparison, &SiteRow)> = self
            .compared()
            .iter()
            .flat_map(|c| c.rows.iter().map(move |row| (c, row)))
            .filter(|(_, r)| r.stands_out() && !r.hides_rates())
            .collect();
        called.sort_by(|a, b| a.1.q.partial_cmp(&b.1.q).unwrap_or(std::cmp::Ordering::Equal));
        let mut leads: Vec<Row> = called
            .iter()
            .take(MOST_LEADS)
            .map(|(c, row)| Row::new(Block::Lead(words::call_lead(c, row)), vec![call_note(c, row)]))
            .collect();
        if leads.is_empty() {
            let tested = self.compared().len();
            leads.push(Row::new(Block::Lead(words::nobody(self.edition.bulletin.sites.len(), tested)), Vec::new()));
        }
        leads
    }

    fn place(&mut self, section: &mut Section, figure: Option<Figure>, caption: &str) {
        let Some(figure) = figure else { return };
        section.add(Block::Figure(PlacedFigure::new(&figure, caption, "")));
        self.figures.push(figure);
    }

    fn funnels(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("observed-and-expected", words::FUNNELS);
        section.say(words::INTRO);
        for quantity in [Quantity::Response, Quantity::Change] {
            for comparison in self.over_all(quantity) {
                section.add(Block::Heading(words::name(comparison)));
                let figure = funnel::draw(self.edition, comparison)?;
                self.place(&mut section, figure, funnel::READ);
                let figure = site_intervals::before_after(self.edition, comparison)?;
                self.place(&mut section, figure, site_intervals::READ_BEFORE_AFTER);
                for period in self.edition.periods().into_iter().rev() {
                    add_rows(self.edition, &mut section, comparison, &period);
                }
            }
        }
        Ok(section)
    }

    fn estimates(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("estimates", words::ESTIMATES);
        for quantity in [Quantity::Response, Quantity::Change] {
            for comparison in self.over_all(quantity) {
                let figure = site_intervals::shrunken(self.edition, comparison)?;
                if comparison.between_sd == Some(0.0) {
                    section.say(words::no_spread(comparison));
                }
                self.place(&mut section, figure, site_intervals::READ_SHRUNKEN);
            }
        }
        Ok(section)
    }

    fn lost(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("followed-up", words::LOST);
        section.say(words::LOST_INTRO);
        for comparison in self.over_all(Quantity::FollowedUp) {
            let figure = funnel::draw(self.edition, comparison)?;
            self.place(&mut section, figure, funnel::READ);
            let bulletin = self.edition.bulletin;
            let mut sheet =
                Sheet::new(words::lost_caption(&comparison.measure_title), words::SITE, &words::LOST_COLUMNS);
            for site in &bulletin.site_findings {
                if let Some(lost) = site.lost.iter().find(|lost| lost.domain.key() == comparison.measure) {
                    sheet.row(site.site.as_str(), lost_cells(lost));
                }
            }
            if let Some(lost) = bulletin.lost.iter().find(|lost| lost.domain.key() == comparison.measure) {
                sheet.total(result_sheets::WHOLE_GROUP, lost_cells(lost));
            }
            let notes = self.edition.with_withheld(&sheet, vec![words::LOST_NOTE.to_string()]);
            section.rows.push(Row::new(Block::Sheet(sheet), notes));
        }
        Ok(section)
    }

    /// Calls of each condition's outcomes, by site.
    fn by_condition(&self) -> Section {
        let mut section = Section::new("by-condition", words::BY_CONDITION);
        let single: Vec<&SiteComparison> = self.compared().iter().filter(|c| !c.is_over_all()).collect();
        let stand_out: Vec<(&SiteComparison, &SiteRow)> = single
            .iter()
            .flat_map(|c| c.rows.iter().map(move |row| (*c, row)))
            .filter(|(_, row)| row.stands_out())
            .collect();
        let lines = single.iter().flat_map(|c| &c.rows);
        let (tested, too_few) = lines.fold((0, 0), |(tested, too_few), row| match row.call {
            Call::TooFew => (tested, too_few + 1),
            _ => (tested + 1, too_few),
        });
        section.say(words::conditions_tested(tested, stand_out.len(), too_few));
        section.add(Block::List(stand_out.iter().map(|(c, row)| words::call_lead(c, row)).collect()));
        section.rows.retain(|row| !matches!(&row.block, Block::List(items) if items.is_empty()));
        section
    }

    fn models(&self) -> Section {
        let mut section = Section::new("models", words::MODELS);
        let mut sheet = Sheet::new(words::MODELS_CAPTION, words::COMPARISON, &words::MODEL_COLUMNS);
        for comparison in self.compared().iter().filter(|comparison| comparison.is_over_all()) {
            let discrimination =
                comparison.discrimination.map_or(Cell::Missing, |e| Cell::Text(words::discrimination(&e)));
            let number =
                |value: Option<f64>| value.map_or(Cell::Missing, |value| Cell::Text(wording::decimal(value, 2)));
            sheet.row(
                words::name(comparison),
                vec![
                    count(&comparison.episodes),
                    Cell::Text(words::allowed_for(comparison)),
                    discrimination,
                    number(comparison.calibration_slope),
                    number(comparison.between_sd),
                ],
            );
        }
        if !sheet.rows.is_empty() {
            let notes = self.edition.with_withheld(&sheet, vec![words::MODELS_NOTE.to_string()]);
            section.rows.push(Row::new(Block::Sheet(sheet), notes));
        }
        section.say(words::MODELS_OF_CONDITIONS);
        section
    }

    fn pages(&self) -> Section {
        let mut section = Section::new("pages", words::PAGES);
        for site in &self.edition.bulletin.site_findings {
            section.add(Block::Link { text: site.site.clone(), href: self.edition.site_file(&site.site) });
        }
        section
    }
}

/// What stands beside a call.
pub(super) fn call_note(comparison: &SiteComparison, row: &SiteRow) -> String {
    format!("{} {}", words::call_note(comparison, row), words::period_note(&phrases::period(&row.period)))
}

/// The sheet of a comparison in a period.
fn add_rows(edition: &Edition<'_>, section: &mut Section, comparison: &SiteComparison, period: &Period) {
    let rows: Vec<&SiteRow> = comparison.rows.iter().filter(|row| row.period == *period).collect();
    if rows.is_empty() {
        return;
    }
    let caption = words::rows_caption(comparison, &phrases::period(period));
    let mut sheet = Sheet::new(caption, words::SITE, &words::ROW_COLUMNS);
    for row in rows {
        sheet.row(row.site.as_str(), cells(comparison, row));
    }
    let is_first = !section.rows.iter().any(|row| matches!(row.block, Block::Sheet(_)));
    let explained = if is_first { vec![words::ROWS_NOTE.to_string()] } else { Vec::new() };
    let notes = edition.with_withheld(&sheet, explained);
    section.rows.push(Row::new(Block::Sheet(sheet), notes));
}

fn none() -> Cell {
    Cell::from(result_sheets::NONE)
}

/// The cells of a line.
pub(super) fn cells(comparison: &SiteComparison, row: &SiteRow) -> Vec<Cell> {
    let quantity = comparison.quantity;
    let value = |number: f64| figure_words::value(number, quantity, 1);
    vec![
        cell(&row.episodes, |n| words::episodes(row, n)),
        cell(&row.raw, value),
        cell(&row.expected_rate, value),
        cell(&row.adjusted, value),
        cell(&row.limits_95, |limits| figure_words::between(limits, quantity)),
        match &row.shrunken {
            Shown::Missing => none(),
            shrunken => cell(shrunken, |estimate| words::interval(&estimate, quantity)),
        },
        row.q.map_or(none(), |q| Cell::Text(words::q_value(q))),
        Cell::Text(row.call.key().to_owned()),
    ]
}

/// The cells of those seen and lost.
pub(super) fn lost_cells(lost: &SeenAndLost) -> Vec<Cell> {
    let rate = |shown: &Shown<Estimate>| cell(shown, |e| words::interval(&e, Quantity::Response));
    vec![
        count(&lost.due),
        match (&lost.followed_up, &lost.share) {
            (Shown::Withheld, Shown::Value(share)) => Cell::Text(wording::percent(*share)),
            (followed_up, share) => cell_of_two(followed_up, share, |n, share| {
                format!("{} ({})", wording::count(u64::from(n)), wording::percent(share))
            }),
        },
        rate(&lost.seen),
        rate(&lost.imputed),
        cell(&lost.gap, words::gap),
    ]
}

/// Share followed up and the fall of the rate when the lost are imputed, when both may be shown.
pub(super) fn lost_numbers(lost: &SeenAndLost) -> Option<(f64, f64)> {
    Some((shown(&lost.share)?, shown(&lost.gap)?))
}
