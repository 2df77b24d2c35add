//! Sections on dose delivered and on dose and setup against outcome, for the page on setups.

use crate::catalogue::Region;
use crate::findings::bulletin::Shown;
use crate::findings::dose::{DoseAssociation, DoseBySite, DoseFindings, PullByVisit};
use crate::models::dose::exposures::Exposure;
use crate::report::edition::Edition;
use crate::report::figures::{
    self, Figure, FigureError, FigureText, FirstAndLast, OddsOf, OddsRatios, OddsRow, PullAt, PullGroup, PullOfSite,
    PullPanel, first_and_last, odds_ratios, pull_by_visit,
};
use crate::report::lookup::{cell, count, shown};
use crate::report::pages::{Block, PlacedFigure, Row, Section, Sheet};
use crate::report::wording::{self, dose as words, dose_figures as figure_words, sites};

/// Most conditions that the pull by visit is drawn of.
const MOST_PANELS: usize = 4;
/// Fewest visits of a condition that may be shown for it to be drawn.
const FEWEST_VISITS: usize = 2;
const REGIONS: [Region; 2] = [Region::Lumbar, Region::Cervical];

/// The sections with their figures; a section without content is left out.
pub(super) fn dose_parts(
    edition: &Edition<'_>,
    dose: &DoseFindings,
) -> Result<(Vec<Section>, Vec<Figure>), FigureError> {
    let mut parts = Parts { edition, dose, figures: Vec::new() };
    let sections = vec![parts.delivered()?, parts.against_outcome()?];
    Ok((sections.into_iter().filter(|section| !section.rows.is_empty()).collect(), parts.figures))
}

struct Parts<'p> {
    edition: &'p Edition<'p>,
    dose: &'p DoseFindings,
    figures: Vec<Figure>,
}

impl<'p> Parts<'p> {
    fn place(&mut self, section: &mut Section, figure: Option<Figure>, caption: &str) {
        let Some(figure) = figure else { return };
        section.add(Block::Figure(PlacedFigure::new(&figure, caption, "")));
        self.figures.push(figure);
    }

    fn text(&self, name: &str, title: String, subtitle: String) -> FigureText {
        FigureText { name: name.to_owned(), title, subtitle, source: self.edition.source(None) }
    }

    fn of_region(&self, region: Region) -> impl Iterator<Item = &'p DoseBySite> + use<'p> {
        self.dose.by_site.iter().filter(move |line| line.region == region)
    }

    fn delivered(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("dose-delivered", words::DELIVERED);
        if self.dose.by_visit.is_empty() && self.dose.by_site.is_empty() {
            return Ok(section);
        }
        for region in REGIONS {
            let whole = self.of_region(region).find(|line| line.site.is_none());
            if let Some((line, delivered)) = whole.and_then(|line| Some((line, shown(&line.delivered)?))) {
                section.add(Block::Lead(words::delivered_lead(region, delivered, shown(&line.most_delivered))));
            }
        }
        section.say(words::DELIVERED_INTRO);
        let figure = self.by_visit()?;
        self.place(&mut section, figure, figure_words::READ_BY_VISIT);
        let figure = self.first_and_last()?;
        self.place(&mut section, figure, figure_words::READ_FIRST_LAST);
        for region in REGIONS {
            let mut sheet = Sheet::new(words::site_caption(region), words::SITE, &words::SITE_COLUMNS);
            for line in self.of_region(region) {
                if let Some(site) = &line.site {
                    sheet.row(site.as_str(), cells(line));
                }
            }
            if let Some(whole) = self.of_region(region).find(|line| line.site.is_none() && !sheet.rows.is_empty()) {
                sheet.total(wording::result_sheets::WHOLE_GROUP, cells(whole));
                let notes = self.edition.with_withheld(&sheet, vec![words::SITE_NOTE.to_owned()]);
                section.rows.push(Row::new(Block::Sheet(sheet), notes));
            }
        }
        Ok(section)
    }

    fn by_visit(&self) -> Result<Option<Figure>, FigureError> {
        let conditions: Vec<&[PullByVisit]> = self
            .dose
            .by_visit
            .chunk_by(|a, b| a.condition == b.condition)
            .filter(|lines| lines.iter().filter_map(pull_at).count() >= FEWEST_VISITS)
            .take(MOST_PANELS)
            .collect();
        let Some(largest) = conditions.first() else { return Ok(None) };
        let highest = |region: Region| {
            let of_region = conditions.iter().copied().flatten().filter(move |line| line.region == region);
            of_region.filter_map(pull_at).map(|at| at.quartiles.1).fold(0.0, f64::max)
        };
        let panel = |lines: &&[PullByVisit]| {
            let line = lines.first()?;
            Some(PullPanel {
                title: line.condition_title.clone(),
                highest: highest(line.region),
                visits: lines.iter().filter_map(pull_at).collect(),
            })
        };
        let drawn: Vec<PullAt> = largest.iter().filter_map(pull_at).collect();
        let (Some(line), Some(first), Some(last)) = (largest.first(), drawn.first(), drawn.last()) else {
            return Ok(None);
        };
        let visits = conditions.iter().copied().flatten().filter_map(|line| shown(&line.visits)).sum();
        let text = self.text(
            "dose_by_visit",
            words::by_visit_title(&line.condition_title, (first.median, last.median), last.visit),
            words::by_visit_subtitle(conditions.len(), visits),
        );
        let data = figures::PullByVisit { panels: conditions.iter().filter_map(panel).collect() };
        pull_by_visit(&text, &data).map(Some)
    }

    fn first_and_last(&self) -> Result<Option<Figure>, FigureError> {
        let groups: Vec<PullGroup> = REGIONS
            .into_iter()
            .filter(|region| self.of_region(*region).any(|line| shown(&line.rise).is_some()))
            .map(|region| PullGroup {
                label: words::care(region).to_owned(),
                sites: self.of_region(region).map(pull_of_site).collect(),
            })
            .collect();
        let rises = |region| {
            let sites = self.of_region(region).filter_map(|line| Some((line.site.as_deref()?, shown(&line.rise)?)));
            sites.collect::<Vec<_>>()
        };
        let Some((region, rises)) = REGIONS.into_iter().map(|r| (r, rises(r))).find(|(_, rises)| !rises.is_empty())
        else {
            return Ok(None);
        };
        let by_rise = |a: &&(&'p str, f64), b: &&(&'p str, f64)| a.1.total_cmp(&b.1);
        let (Some(most), Some(least)) = (rises.iter().max_by(by_rise), rises.iter().min_by(by_rise)) else {
            return Ok(None);
        };
        let episodes = self.of_region(region).find(|line| line.site.is_none()).and_then(|line| shown(&line.episodes));
        let text = self.text(
            "dose_first_last",
            words::first_last_title(region, *most, (rises.len() > 1).then_some(*least)),
            words::first_last_subtitle(region, episodes),
        );
        first_and_last(&text, &FirstAndLast { groups }).map(Some)
    }

    fn against_outcome(&mut self) -> Result<Section, FigureError> {
        let mut section = Section::new("dose-and-outcome", words::AGAINST_OUTCOME);
        let found = &self.dose.associations;
        if found.is_empty() && self.dose.untested.is_empty() {
            return Ok(section);
        }
        for association in found.iter().filter(|association| association.is_beyond_chance()) {
            section.add_with_note(Block::Lead(words::lead(association)), words::note(association));
        }
        section.say(words::DESIGN);
        section.add_with_note(Block::Paragraph(words::NOT_PROOF.to_owned()), words::E_VALUE);
        let figure = self.associations()?;
        self.place(&mut section, figure, figure_words::READ_ASSOCIATIONS);
        let others = found.iter().filter(|association| !association.is_beyond_chance());
        let items: Vec<String> = others.map(words::item).collect();
        if !items.is_empty() {
            section.add(Block::List(items));
        }
        section.say(words::NOT_VISITS);
        if !self.dose.untested.is_empty() {
            section.add(Block::Heading(words::UNTESTED.to_owned()));
            section.add(Block::List(self.dose.untested.iter().map(words::not_tested).collect()));
        }
        Ok(section)
    }

    fn associations(&self) -> Result<Option<Figure>, FigureError> {
        let found = &self.dose.associations;
        let episodes = || found.iter().map(|association| association.episodes);
        let (Some(fewest), Some(most)) = (episodes().min(), episodes().max()) else { return Ok(None) };
        let row = |exposure: Exposure| OddsRow {
            exposure: words::exposure(exposure).to_owned(),
            step: words::step(exposure).to_owned(),
            outcomes: found.iter().filter(|association| association.exposure == exposure).map(odds_of).collect(),
        };
        let rows = Exposure::ALL.into_iter().map(row).filter(|row| !row.outcomes.is_empty()).collect();
        let text = self.text(
            "dose_associations",
            words::associations_title(found),
            words::associations_subtitle(fewest, most),
        );
        odds_ratios(&text, &OddsRatios { rows }).map(Some)
    }
}

fn pull_at(line: &PullByVisit) -> Option<PullAt> {
    let [_, low, median, high, _] = shown(&line.percent)?;
    Some(PullAt { visit: line.visit_no, median, quartiles: (low, high) })
}

fn pull_of_site(line: &DoseBySite) -> PullOfSite {
    PullOfSite {
        site: line.site.clone().unwrap_or_else(|| figure_words::WHOLE_GROUP.to_owned()),
        pulls: shown(&line.first).zip(shown(&line.last)),
        is_withheld: line.first == Shown::Withheld,
        progression: shown(&line.progression),
        is_whole: line.site.is_none(),
    }
}

fn odds_of(found: &DoseAssociation) -> OddsOf {
    OddsOf {
        outcome: sites::domain(found.domain).to_owned(),
        ratio: found.odds_ratio.value,
        limits: (found.odds_ratio.low, found.odds_ratio.high),
        e_values: (found.e_value, found.e_value_of_limit),
        stands_out: found.is_beyond_chance(),
    }
}

fn cells(line: &DoseBySite) -> Vec<crate::report::pages::Cell> {
    vec![
        count(&line.episodes),
        cell(&line.first, words::of_body_weight),
        cell(&line.last, words::of_body_weight),
        cell(&line.progression, words::progression),
        cell(&line.minutes, |minutes| wording::decimal(minutes, 1)),
        cell(&line.delivered, wording::percent),
        cell(&line.most_delivered, wording::percent),
        cell(&line.visits_a_week, |visits| wording::decimal(visits, 1)),
    ]
}

#[cfg(test)]
#[path = "dose_tests.rs"]
mod tests;
