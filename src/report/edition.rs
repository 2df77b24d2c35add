//! What all pages of one bulletin have in common: names of files, links, the period.

use super::Rules;
use super::file_names::FileNames;
use crate::findings::bulletin::{Bulletin, ConditionFindings, OutcomeFindings, Period};
use crate::findings::setup_audience::{SetupsShown, shown_to};
use crate::findings::sites::SiteComparison;
use crate::group::settings::Audience;
use crate::report::pages::{PageLink, Sheet, Surround};
use crate::report::wording::{self, headings, notice, phrases, setups, sites};

pub(super) const INDEX_FILE: &str = "index.html";
pub(super) const SITES_FILE: &str = "sites.html";
pub(super) const SETUPS_FILE: &str = "setups.html";
pub(super) const DATA_QUALITY_FILE: &str = "data-quality.html";
pub(super) const METHODS_FILE: &str = "methods.html";

/// What a row is about: its label, period and site.
pub(super) type Part = (String, Period, Option<String>);

/// A bulletin about to be written.
pub(super) struct Edition<'b> {
    pub(super) bulletin: &'b Bulletin,
    pub(super) rules: &'b Rules,
    /// Setups as these readers may see them.
    pub(super) setups: Option<SetupsShown<'b>>,
    sites: FileNames,
    conditions: FileNames,
    outcomes: FileNames,
    /// Conditions, measures and definitions of comparisons of sites.
    compared: FileNames,
}

impl<'b> Edition<'b> {
    pub(super) fn new(bulletin: &'b Bulletin, rules: &'b Rules) -> Self {
        let setups = bulletin.setups.as_ref().map(|setups| shown_to(setups, bulletin.audience));
        let outcomes = bulletin.conditions.iter().flat_map(|condition| &condition.outcomes);
        Self {
            bulletin,
            rules,
            setups,
            sites: FileNames::of(bulletin.sites.iter().map(String::as_str)),
            conditions: FileNames::of(bulletin.conditions.iter().map(|condition| condition.key.as_str())),
            outcomes: FileNames::of(outcomes.map(|outcome| outcome.key.as_str())),
            compared: FileNames::of(bulletin.sites_compared.iter().flat_map(parts)),
        }
    }

    /// Whether it is for readers outside the group.
    pub(super) fn is_release(&self) -> bool {
        self.bulletin.audience == Audience::Release
    }

    /// The quarter reported; everything when the data know no quarters.
    pub(super) fn period(&self) -> Period {
        self.bulletin.period.map_or(Period::All, Period::Quarter)
    }

    /// The reported period, then everything: where the one cannot be shown the other may.
    pub(super) fn periods(&self) -> Vec<Period> {
        match self.period() {
            Period::All => vec![Period::All],
            quarter => vec![quarter, Period::All],
        }
    }

    pub(super) fn condition_file(&self, condition: &ConditionFindings) -> String {
        format!("conditions/{}.html", self.conditions.get(&condition.key))
    }

    /// The page of a site.
    pub(super) fn site_file(&self, site: &str) -> String {
        format!("sites/{}.html", self.sites.get(site))
    }

    /// Name of a figure about an outcome of a condition.
    pub(super) fn figure_name(&self, condition: &ConditionFindings, outcome: &OutcomeFindings, kind: &str) -> String {
        format!("{}_{}_{kind}", self.conditions.get(&condition.key), self.outcomes.get(&outcome.key))
    }

    /// Name of a figure about a domain of a site.
    pub(super) fn site_figure_name(&self, site: &str, domain: &str, kind: &str) -> String {
        format!("site_{}_{domain}_{kind}", self.sites.get(site))
    }

    /// Name of a figure about a comparison of sites.
    pub(super) fn comparison_name(&self, comparison: &SiteComparison, kind: &str) -> String {
        format!("sites_{}_{kind}", parts(comparison).map(|part| self.compared.get(part)).join("_"))
    }

    /// The surround of the page in `file`; `up` leads from its folder to the report's.
    pub(super) fn around(&self, title: &str, file: &str, up: &str) -> Surround {
        let mut links = vec![(headings::SUMMARY.to_string(), INDEX_FILE.to_string())];
        links.extend(self.bulletin.conditions.iter().map(|c| (c.title.clone(), self.condition_file(c))));
        if !self.bulletin.sites_compared.is_empty() {
            links.push((sites::TITLE.to_string(), SITES_FILE.to_string()));
        }
        if self.setups.is_some() {
            links.push((setups::TITLE.to_string(), SETUPS_FILE.to_string()));
        }
        links.push((headings::DATA_QUALITY.to_string(), DATA_QUALITY_FILE.to_string()));
        links.push((headings::METHODS.to_string(), METHODS_FILE.to_string()));
        let quarters = &self.bulletin.quarters;
        Surround {
            group: self.bulletin.group.clone(),
            title: title.to_string(),
            period: phrases::masthead(self.bulletin.period, quarters.first().copied().zip(quarters.last().copied())),
            links: links
                .into_iter()
                .map(|(label, href)| PageLink { label, is_current: href == file, href: format!("{up}{href}") })
                .collect(),
            small_cells: notice::small_cells(self.bulletin.withhold_up_to, self.bulletin.audience),
            made_by: notice::made_by(env!("CARGO_PKG_VERSION")),
            words: wording::AROUND,
        }
    }

    /// The side note of a sheet with withheld cells.
    pub(super) fn withheld_note(&self) -> String {
        notice::withheld_note(self.bulletin.withhold_up_to)
    }

    /// Adds what a dash means to the notes of a sheet that holds one.
    pub(super) fn with_withheld(&self, sheet: &Sheet, mut notes: Vec<String>) -> Vec<String> {
        if sheet.withholds() {
            notes.push(self.withheld_note());
        }
        notes
    }

    /// The source line of a figure.
    pub(super) fn source(&self, cited: Option<&str>) -> String {
        let sites = wording::counted(self.bulletin.sites.len() as u64, "site", "sites");
        let own = format!("Source: exports of {}, {sites}.", self.bulletin.group);
        cited.map_or(own.clone(), |citation| format!("{own} Published points: {}.", citation.trim_end_matches('.')))
    }

    /// One part a site, over everything.
    pub(super) fn site_parts(&self) -> Vec<Part> {
        self.bulletin.sites.iter().map(|site| (site.clone(), Period::All, Some(site.clone()))).collect()
    }

    /// One part a quarter, the whole group.
    pub(super) fn quarter_parts(&self) -> Vec<Part> {
        let part = |&quarter| (phrases::quarter_short(quarter), Period::Quarter(quarter), None);
        self.bulletin.quarters.iter().map(part).collect()
    }
}

/// What tells a comparison from others.
fn parts(comparison: &SiteComparison) -> [&str; 3] {
    [&comparison.condition, &comparison.measure, comparison.definition()]
}
