//! What all pages of one bulletin have in common: names of files, links, the period.

use super::rules::Rules;
use crate::findings::bulletin::{Bulletin, ConditionFindings, OutcomeFindings, Period};
use crate::findings::setup_audience::{SetupsShown, shown_to};
use crate::report::figures::ScoreAxis;
use crate::report::pages::{PageLink, Sheet, Surround};
use crate::report::wording::{self, headings, notice, phrases, setups, sites};

pub(super) const INDEX_FILE: &str = "index.html";
pub(super) const SITES_FILE: &str = "sites.html";
pub(super) const SETUPS_FILE: &str = "setups.html";
pub(super) const DATA_QUALITY_FILE: &str = "data-quality.html";
pub(super) const METHODS_FILE: &str = "methods.html";

/// A bulletin about to be written.
pub(super) struct Edition<'b> {
    pub(super) bulletin: &'b Bulletin,
    pub(super) rules: &'b Rules,
    /// Setups as these readers may see them.
    pub(super) setups: Option<SetupsShown<'b>>,
}

impl<'b> Edition<'b> {
    pub(super) fn new(bulletin: &'b Bulletin, rules: &'b Rules) -> Self {
        let setups = bulletin.setups.as_ref().map(|setups| shown_to(setups, bulletin.audience));
        Self { bulletin, rules, setups }
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
        format!("conditions/{}.html", file_name(&condition.key))
    }

    /// The page of a site.
    pub(super) fn site_file(&self, site: &str) -> String {
        let position = self.bulletin.sites.iter().position(|name| name == site).unwrap_or(0);
        let name = file_name(site);
        let twin = self.bulletin.sites.iter().take(position).any(|other| file_name(other) == name);
        if twin { format!("sites/{name}-{position}.html") } else { format!("sites/{name}.html") }
    }

    /// Name of a figure about an outcome of a condition.
    pub(super) fn figure_name(&self, condition: &ConditionFindings, outcome: &OutcomeFindings, kind: &str) -> String {
        format!("{}_{}_{kind}", file_name(&condition.key), file_name(&outcome.key))
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
        wording::figures::source(&self.bulletin.group, self.bulletin.sites.len() as u64, cited)
    }
}

/// The axis of an outcome.
pub(super) fn axis(outcome: &OutcomeFindings) -> ScoreAxis {
    let with_unit = |unit: &str| match unit {
        "" => outcome.title.clone(),
        unit => format!("{}, {unit}", outcome.title),
    };
    ScoreAxis {
        title: with_unit(&outcome.unit),
        change_title: with_unit(phrases::unit_of_change(&outcome.unit)),
        range: outcome.range,
        lower_is_better: outcome.lower_is_better,
        decimals: outcome.decimals,
    }
}

/// A key as a file name: letters, digits, `-`; anything else becomes `-`.
pub(super) fn file_name(key: &str) -> String {
    let safe = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    key.chars().map(safe).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_leads_out_of_the_folder() {
        assert_eq!(file_name("../../Etc/passwd"), "------etc-passwd");
        assert_eq!(file_name("lumbar_disc"), "lumbar-disc");
    }
}
