//! `sites/NAME.html`: one site.

use super::setups::finding_elsewhere;
use super::sites::{call_note, cells, lost_cells, lost_numbers};
use crate::findings::bulletin::{Period, Shown};
use crate::findings::sites::{Call, SiteComparison, SiteFindings, SiteRow};
use crate::report::edition::{Edition, SETUPS_FILE};
use crate::report::figures::{Figure, FigureError, by_quarter, site_course};
use crate::report::lookup::count;
use crate::report::pages::{Block, PlacedFigure, Row, Section, Sheet, SitesPage};
use crate::report::wording::{phrases, result_sheets, setups as setup_words, sites as words};

const UP: &str = "../";

pub(super) fn site_page(edition: &Edition<'_>, site: &SiteFindings) -> Result<(SitesPage, Vec<Figure>), FigureError> {
    let mut page = Page { edition, site, figures: Vec::new() };
    let sections = vec![page.compared(), page.course()?, page.quarters()?, page.lost(), page.ended(), page.setups()];
    let finished = SitesPage {
        around: edition.around(&site.site, &edition.site_file(&site.site), UP),
        opening_heading: words::OPENING,
        opening: page.opening(),
        sections: sections.into_iter().filter(|section| !section.rows.is_empty()).collect(),
    };
    Ok((finished, page.figures))
}

struct Page<'p> {
    edition: &'p Edition<'p>,
    site: &'p SiteFindings,
    figures: Vec<Figure>,
}

impl<'p> Page<'p> {
    /// Its lines in all comparisons.
    fn rows(&self) -> impl Iterator<Item = (&'p SiteComparison, &'p SiteRow)> + use<'p> {
        let (compared, name) = (&self.edition.bulletin.sites_compared, &self.site.site);
        compared.iter().flat_map(move |c| c.rows.iter().filter(move |row| row.site == *name).map(move |row| (c, row)))
    }

    fn opening(&self) -> Vec<Row> {
        let mut leads: Vec<Row> = self
            .rows()
            .filter(|(_, row)| row.stands_out() && !row.hides_rates())
            .map(|(c, row)| Row::new(Block::Lead(words::call_lead(c, row)), vec![call_note(c, row)]))
            .collect();
        if leads.is_empty() {
            let tested = self.rows().filter(|(_, row)| row.call != Call::TooFew).count();
            let text = match tested {
                0 => words::too_few(&self.site.site),
                n => words::not_called(&self.site.site, n),
            };
            leads.push(Row::new(Block::Lead(text), Vec::new()));
        }
        leads.extend(self.lost_lead());
        leads
    }

    /// What the lost could do, in the first domain that may be shown.
    fn lost_lead(&self) -> Option<Row> {
        self.site.lost.iter().find_map(|lost| {
            let whole = self.edition.bulletin.lost.iter().find(|whole| whole.domain == lost.domain)?;
            let ((share, gap), (group, group_gap)) = (lost_numbers(lost)?, lost_numbers(whole)?);
            let lead = words::gap_lead(&self.site.site, share, group, gap, group_gap);
            Some(Row::new(Block::Paragraph(lead), vec![words::lost_note(words::domain(lost.domain))]))
        })
    }

    fn place(&mut self, section: &mut Section, figure: Option<Figure>, caption: &str) {
        let Some(figure) = figure else { return };
        section.add(Block::Figure(PlacedFigure::new(&figure, caption, UP)));
        self.figures.push(figure);
    }

    fn compared(&self) -> Section {
        let mut section = Section::new("compared", words::FUNNELS);
        for period in self.edition.periods().into_iter().rev() {
            let caption = words::site_caption(&self.site.site, &phrases::period(&period));
            let mut sheet = Sheet::new(caption, words::COMPARISON, &words::ROW_COLUMNS);
            for (comparison, row) in self.rows().filter(|(_, row)| row.period == period) {
                if row.call != Call::TooFew || comparison.is_over_all() {
                    sheet.row(words::name(comparison), cells(comparison, row));
                }
            }
            if !sheet.rows.is_empty() {
                let explained = if section.rows.is_empty() { vec![words::ROWS_NOTE.to_string()] } else { Vec::new() };
                let notes = self.edition.with_withheld(&sheet, explained);
                section.rows.push(Row::new(Block::Sheet(sheet), notes));
            }
        }
        section
    }

    fn course(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("course", words::COURSE);
        for course in &self.site.courses {
            let Some(figure) = site_course::draw(self.edition, &self.site.site, course)? else { continue };
            let placed = PlacedFigure::new(&figure, site_course::READ, UP);
            section.rows.push(Row::new(Block::Figure(placed), super::course::cautions()));
            self.figures.push(figure);
        }
        Ok(section)
    }

    fn quarters(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("quarters", words::BY_QUARTER);
        for of in &self.site.quarters {
            let figure = by_quarter::draw(self.edition, &self.site.site, of)?;
            self.place(&mut section, figure, by_quarter::READ);
        }
        Ok(section)
    }

    fn lost(&self) -> Section {
        let mut section = Section::new("followed-up", words::LOST);
        let caption = words::site_lost_caption(&phrases::period(&Period::All));
        let mut sheet = Sheet::new(caption, words::MEASURE, &words::LOST_COLUMNS);
        for lost in &self.site.lost {
            sheet.row(phrases::capital(words::domain(lost.domain)), lost_cells(lost));
            if let Some(whole) = self.edition.bulletin.lost.iter().find(|whole| whole.domain == lost.domain) {
                sheet.total(words::of_group(words::domain(lost.domain), result_sheets::WHOLE_GROUP), lost_cells(whole));
            }
        }
        if !sheet.rows.is_empty() {
            let notes = self.edition.with_withheld(&sheet, vec![words::LOST_NOTE.to_string()]);
            section.rows.push(Row::new(Block::Sheet(sheet), notes));
        }
        section
    }

    /// What was found of setups here.
    fn setups(&self) -> Section {
        let mut section = Section::new("setups", setup_words::AT_SITE);
        let Some(shown) = &self.edition.setups else { return section };
        let here = shown.setups.findings.iter().filter(|found| found.place.site == self.site.site);
        section.rows.extend(here.map(|found| finding_elsewhere(&shown.setups, found, UP)));
        if section.rows.is_empty() {
            section.say(setup_words::nothing_at(&self.site.site, &shown.setups));
            section.add(Block::Link { text: setup_words::TITLE.to_owned(), href: format!("{UP}{SETUPS_FILE}") });
        }
        section
    }

    fn ended(&self) -> Section {
        let ended = &self.site.ended;
        let mut section = Section::new("ended", words::ENDED);
        if ended.due == Shown::Withheld {
            section.say(result_sheets::all_withheld(words::ENDED_CAPTION));
            return section;
        }
        let mut sheet = Sheet::new(words::ENDED_CAPTION, words::SITE, &words::ENDED_COLUMNS);
        let cells =
            [ended.due, ended.completed, ended.stopped_early, ended.referred_on, ended.lost, ended.not_recorded];
        sheet.row(self.site.site.as_str(), cells.iter().map(count).collect());
        let notes = self.edition.with_withheld(&sheet, Vec::new());
        section.rows.push(Row::new(Block::Sheet(sheet), notes));
        section
    }
}
