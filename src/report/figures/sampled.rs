//! Figures of the sample's own findings, or of those with changes, for tests.

use super::{Drawn, Figure, change_by, responders};
use crate::findings::bulletin::{Bulletin, ConditionFindings, OutcomeFindings, Period};
use crate::findings::quality::FileAccount;
use crate::findings::whole_tests::sample;
use crate::report::edition::Edition;
use crate::report::{Rules, invented};
use resvg::usvg::roxmltree::Document;
use std::sync::LazyLock;

/// The edition of a bulletin inside the group.
pub(super) fn edition(bulletin: &Bulletin) -> Edition<'_> {
    static RULES: LazyLock<Rules> = LazyLock::new(invented::rules);
    Edition::new(bulletin, &RULES)
}

/// What is found of a condition's outcome.
pub(super) fn of<'b>(
    bulletin: &'b Bulletin,
    condition: &str,
    outcome: &str,
) -> (&'b ConditionFindings, &'b OutcomeFindings) {
    let condition = bulletin.conditions.iter().find(|found| found.key == condition).unwrap();
    (condition, condition.outcomes.iter().find(|found| found.key == outcome).unwrap())
}

/// Back pain of the sample, or that with changes.
pub(super) fn back_pain(bulletin: &Bulletin) -> (&ConditionFindings, &OutcomeFindings) {
    of(bulletin, "low_back_pain", "pain_nrs_back")
}

/// The sample with changes to its back pain.
pub(super) fn edited(edit: impl FnOnce(&mut OutcomeFindings)) -> Bulletin {
    let mut bulletin = sample().clone();
    let condition = bulletin.conditions.iter_mut().find(|found| found.key == "low_back_pain").unwrap();
    edit(condition.outcomes.iter_mut().find(|found| found.key == "pain_nrs_back").unwrap());
    bulletin
}

/// The sample with the accounts of one file.
pub(super) fn with_accounts() -> Bulletin {
    let mut bulletin = sample().clone();
    bulletin.quality.files = invented::bulletin().quality.files;
    bulletin.quality.files.truncate(1);
    bulletin.quality.total = FileAccount::total(&bulletin.quality.files);
    bulletin
}

/// A figure of back pain in a bulletin.
pub(super) fn drawn(
    bulletin: &Bulletin,
    draw: fn(&Edition<'_>, &ConditionFindings, &OutcomeFindings) -> Drawn,
) -> Option<Figure> {
    let (condition, outcome) = back_pain(bulletin);
    draw(&edition(bulletin), condition, outcome).unwrap()
}

pub(super) fn rates(edition: &Edition<'_>, condition: &ConditionFindings, outcome: &OutcomeFindings) -> Drawn {
    responders::draw(edition, condition, outcome, &Period::All)
}

pub(super) fn change_by_site(edition: &Edition<'_>, condition: &ConditionFindings, outcome: &OutcomeFindings) -> Drawn {
    change_by::draw(edition, condition, outcome, "sites", &edition.site_parts())
}

pub(super) fn texts<'d>(document: &'d Document<'_>) -> Vec<&'d str> {
    document.descendants().filter(|n| n.has_tag_name("text")).filter_map(|n| n.text()).map(str::trim).collect()
}

pub(super) fn child_text<'d>(document: &'d Document<'_>, tag: &str) -> &'d str {
    document.descendants().find(|n| n.has_tag_name(tag)).and_then(|n| n.text()).unwrap_or("")
}
