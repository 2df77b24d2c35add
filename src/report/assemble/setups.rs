//! `setups.html`: how patients are set up and dosed.

use super::dose::dose_parts;
use super::setup_figures::{OPENINGS, change_charts, funnel, levels, name, openings, read_values, site_charts, values};
use super::setup_sheets::{broken_sheets, conformance_sheet, rules_sheet, tables_sheet, within_sheet};
use crate::findings::setups::{About, Kind, ParameterFindings, SetupFinding, SetupFindings, Variation};
use crate::report::edition::{Edition, METHODS_FILE, SETUPS_FILE};
use crate::report::figures::{Figure, FigureError};
use crate::report::file_names::file_name;
use crate::report::pages::{Block, PlacedFigure, Row, Section, Sheet, SitesPage};
use crate::report::wording::{
    headings, setup_figures as figure_words, setup_findings as found_words, setup_parameters as names, setups as words,
};

/// Findings set large.
const LEADS: usize = 3;
const TABLES: &str = "table-by-table";
const VISIT_TO_VISIT: &str = "visit-to-visit";
const POSSIBLE: &str = "possible-or-not";
const LOOKED_AT: &str = "looked-at";

/// The page; nothing where setups were not looked at.
pub(super) fn setups_page(edition: &Edition<'_>) -> Result<Option<(SitesPage, Vec<Figure>)>, FigureError> {
    let Some(shown) = &edition.setups else { return Ok(None) };
    let mut page = Page { edition, setups: &shown.setups, figures: Vec::new(), has_explained: false };
    let mut sections = page.parameters()?;
    sections.push(page.tables()?);
    sections.push(page.within());
    sections.push(page.rules());
    if let Some(dose) = &edition.bulletin.dose {
        let (more, drawn) = dose_parts(edition, dose)?;
        sections.extend(more);
        page.figures.extend(drawn);
    }
    sections.retain(|section| !section.rows.is_empty());
    let mut opening = page.opening(&sections);
    opening.extend(page.contents(&sections));
    sections.insert(0, page.looked_at());
    let finished = SitesPage {
        around: edition.around(words::TITLE, SETUPS_FILE, ""),
        opening_heading: words::OPENING,
        opening,
        sections,
    };
    Ok(Some((finished, page.figures)))
}

/// The section of a parameter.
fn section_id(about: About) -> String {
    format!("{}-{}", file_name(about.parameter.key()), about.region.key())
}

/// The section that a finding belongs to.
fn section_of(setups: &SetupFindings, found: &SetupFinding) -> String {
    match (found.kind, found.about) {
        (Kind::Opening, _) if !setups.tables.is_empty() => TABLES.to_owned(),
        (Kind::NotPossible, _) if !setups.rules.is_empty() => POSSIBLE.to_owned(),
        (Kind::CopiedForward, _) if setups.parameters.iter().any(|of| of.within.is_some()) => VISIT_TO_VISIT.to_owned(),
        (_, Some(about)) if setups.of(about).is_some() => section_id(about),
        _ => LOOKED_AT.to_owned(),
    }
}

/// A finding on another page, with a link to its section on this one.
pub(super) fn finding_elsewhere(setups: &SetupFindings, found: &SetupFinding, up: &str) -> Row {
    let block = Block::Finding {
        text: found_words::sentence(found, setups),
        look: found_words::look_at(found, setups),
        link: words::MORE,
        href: format!("{up}{SETUPS_FILE}#{}", section_of(setups, found)),
        is_lead: false,
    };
    Row::new(block, found_words::note(found))
}

/// On the first page: how many findings there are, and the first.
pub(super) fn on_first_page(setups: &SetupFindings) -> Option<Row> {
    let first = setups.findings.first()?;
    let text = words::on_first_page(setups.findings.len(), &found_words::sentence(first, setups));
    let href = format!("{SETUPS_FILE}#{}", section_of(setups, first));
    let block = Block::Finding { text, look: String::new(), link: words::MORE, href, is_lead: false };
    Some(Row::new(block, Vec::new()))
}

struct Page<'p> {
    edition: &'p Edition<'p>,
    setups: &'p SetupFindings,
    figures: Vec<Figure>,
    /// Whether a sheet of conformance was explained before.
    has_explained: bool,
}

impl<'p> Page<'p> {
    fn opening(&self, sections: &[Section]) -> Vec<Row> {
        let mut rows: Vec<Row> = Vec::new();
        if self.setups.findings.is_empty() {
            rows.push(Row::new(Block::Lead(words::nothing_found(self.setups)), Vec::new()));
        }
        for (position, found) in self.setups.findings.iter().enumerate() {
            let block = Block::Finding {
                text: found_words::sentence(found, self.setups),
                look: found_words::look_at(found, self.setups),
                link: headings::SHOWN_BY,
                href: self.link(found, sections),
                is_lead: position < LEADS,
            };
            rows.push(Row::new(block, found_words::note(found)));
        }
        let left_out = self.edition.setups.as_ref();
        if let Some(text) = left_out.and_then(|shown| words::left_out(shown.findings_left_out, shown.lines_left_out)) {
            rows.push(Row::new(Block::Paragraph(text), Vec::new()));
        }
        rows
    }

    /// The figure that shows a finding, else its section.
    fn link(&self, found: &SetupFinding, sections: &[Section]) -> String {
        let of = |kind: &str| found.about.map(|about| name(about, kind));
        let is_site = found.place.clinician.is_none() && found.place.table.is_none();
        let figure = match found.kind {
            Kind::Conformance => found.about.and_then(|about| {
                let start = name(about, "funnel");
                self.figures.iter().map(|figure| figure.name.clone()).find(|name| name.starts_with(&start))
            }),
            Kind::Unlike | Kind::Spread => of("values"),
            Kind::Shift | Kind::Drift => of(if is_site { "charts" } else { "changes" }),
            Kind::Opening => Some(OPENINGS.to_owned()),
            Kind::CopiedForward | Kind::Digits | Kind::NotPossible => None,
        };
        if let Some(name) = figure.filter(|name| self.figures.iter().any(|figure| figure.name == *name)) {
            return format!("#figure-{name}");
        }
        let section = section_of(self.setups, found);
        let is_there = sections.iter().any(|of| of.id == section);
        format!("#{}", if is_there { section.as_str() } else { LOOKED_AT })
    }

    /// The table of contents.
    fn contents(&self, sections: &[Section]) -> Option<Row> {
        let items: Vec<(String, String, String)> = sections
            .iter()
            .map(|section| {
                let found = self.setups.findings.iter().filter(|found| section_of(self.setups, found) == section.id);
                let note = match found.count() {
                    0 => String::new(),
                    n => found_words::how_many(n),
                };
                (section.heading.clone(), format!("#{}", section.id), note)
            })
            .collect();
        (items.len() > 1).then(|| Row::new(Block::Contents { label: words::CONTENTS, items }, Vec::new()))
    }

    fn looked_at(&self) -> Section {
        let mut section = Section::new(LOOKED_AT, words::LOOKED_AT);
        for paragraph in words::looked_at(self.setups) {
            section.say(paragraph);
        }
        section.add(Block::Link { text: words::HOW.to_owned(), href: format!("{METHODS_FILE}#setups") });
        section
    }

    /// Those with a standard or a finding in the order given, then the others in short.
    fn parameters(&mut self) -> Result<Vec<Section>, FigureError> {
        let setups = self.setups;
        let matters = |of: &&ParameterFindings| {
            !of.asked.is_empty() || setups.findings.iter().any(|found| found.about == Some(of.about))
        };
        let mut sections = Vec::new();
        for of in setups.parameters.iter().filter(matters) {
            sections.push(self.parameter(of)?);
        }
        for of in setups.parameters.iter().filter(|of| !matters(of)) {
            sections.push(self.parameter_in_short(of)?);
        }
        Ok(sections)
    }

    fn place(&mut self, section: &mut Section, figure: Option<Figure>, caption: &str) {
        let Some(figure) = figure else { return };
        section.add(Block::Figure(PlacedFigure::new(&figure, caption, "")));
        self.figures.push(figure);
    }

    /// What is asked, how many record it, and the values by site.
    fn values(&mut self, of: &ParameterFindings) -> Result<Section, FigureError> {
        let mut section = Section::new(section_id(of.about), names::heading(of.about));
        for item in &of.asked {
            section.add_with_note(
                Block::Paragraph(words::standard_asks(of.about, item, &of.unit, of.decimals)),
                words::source_of(item),
            );
        }
        let group = of.strips.iter().find(|strip| strip.site.is_none());
        let in_words = of.words.iter().find(|row| row.site.is_none());
        let numbers = group
            .and_then(|group| words::group_numbers(group, &of.unit, of.decimals))
            .or_else(|| in_words.and_then(words::group_words));
        let recorded = words::recorded(of.recorded, of.visits, of.about);
        section.say(numbers.map_or(recorded.clone(), |numbers| format!("{recorded} {numbers}")));
        let figure = values(self.edition, self.setups, of)?;
        self.place(&mut section, figure, read_values(of));
        Ok(section)
    }

    fn parameter(&mut self, of: &ParameterFindings) -> Result<Section, FigureError> {
        let mut section = self.values(of)?;
        section.add(Block::Heading(words::VARIATION.to_owned()));
        section.say(variation(of));
        let figure = levels(self.edition, of)?;
        self.place(&mut section, figure, figure_words::READ_LEVELS);
        if !of.conformance.is_empty() {
            section.add(Block::Heading(words::CONFORMANCE.to_owned()));
        }
        for (position, (item, met)) in of.asked.iter().zip(&of.conformance).enumerate() {
            section.say(words::met(met, item));
            let figure = funnel(self.edition, of, position)?;
            self.place(&mut section, figure, figure_words::READ_FUNNEL);
            let sheet = conformance_sheet(of.about, item, met);
            let is_first = !std::mem::replace(&mut self.has_explained, true);
            self.sheet(&mut section, sheet, if is_first { words::CONFORMANCE_NOTE } else { "" });
        }
        let charts = [
            (site_charts(self.edition, of)?, figure_words::READ_CHARTS),
            (change_charts(self.edition, of)?, figure_words::READ_CHANGES),
        ];
        if charts.iter().any(|(figure, _)| figure.is_some()) {
            section.add(Block::Heading(words::OVER_TIME.to_owned()));
        }
        for (figure, caption) in charts {
            self.place(&mut section, figure, caption);
        }
        Ok(section)
    }

    fn parameter_in_short(&mut self, of: &ParameterFindings) -> Result<Section, FigureError> {
        let mut section = self.values(of)?;
        section.add_with_note(Block::Paragraph(variation_in_short(of)), words::UNASKED_NOTE);
        Ok(section)
    }

    /// Adds a sheet with its note, which may be empty.
    fn sheet(&self, section: &mut Section, sheet: Sheet, note: &str) {
        if sheet.rows.is_empty() {
            return;
        }
        let notes = self.edition.with_withheld(&sheet, Vec::from_iter((!note.is_empty()).then(|| note.to_owned())));
        section.rows.push(Row::new(Block::Sheet(sheet), notes));
    }

    fn tables(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new(TABLES, words::TABLES);
        if self.setups.tables.is_empty() {
            return Ok(section);
        }
        section.say(words::TABLES_INTRO);
        let figure = openings(self.edition, &self.setups.tables)?;
        self.place(&mut section, figure, figure_words::READ_OPENINGS);
        self.sheet(&mut section, tables_sheet(&self.setups.tables), words::TABLES_NOTE);
        Ok(section)
    }

    fn within(&self) -> Section {
        let mut section = Section::new(VISIT_TO_VISIT, words::VISIT_TO_VISIT);
        let sheet = within_sheet(self.setups);
        if !sheet.rows.is_empty() {
            section.say(words::WITHIN_INTRO);
            self.sheet(&mut section, sheet, words::WITHIN_NOTE);
        }
        section
    }

    fn rules(&self) -> Section {
        let mut section = Section::new(POSSIBLE, words::POSSIBLE);
        if self.setups.rules.is_empty() {
            return section;
        }
        section.say(words::RULES_INTRO);
        section.add(Block::Sheet(rules_sheet(&self.setups.rules)));
        for sheet in broken_sheets(&self.setups.rules) {
            let notes = self.edition.with_withheld(&sheet, Vec::new());
            section.rows.push(Row::new(Block::Sheet(sheet), notes));
        }
        section
    }
}

/// Where the variation sits, or why it cannot be told.
fn variation(of: &ParameterFindings) -> String {
    match &of.variation {
        Variation::Untold(why) => words::untold(why),
        Variation::Levels(levels) => {
            let largest = levels.iter().max_by(|a, b| a.share.value.total_cmp(&b.share.value));
            largest.map_or_else(|| words::untold(words::NO_LEVELS), words::largest_part)
        }
    }
}

/// The same level by level, where no figure shows them.
fn variation_in_short(of: &ParameterFindings) -> String {
    match &of.variation {
        Variation::Levels(levels) if !levels.is_empty() => words::variation(levels),
        _ => variation(of),
    }
}
