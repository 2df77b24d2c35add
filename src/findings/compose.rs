//! A run's episodes and readings -> everything the report says.

use super::against_previous::allow_for_their_number;
use super::bulletin::{Bulletin, ConditionFindings};
use super::circulating::{circulating, fingerprint, round_quality};
use super::compare_sites::compare_sites;
use super::condition::condition;
use super::dose::DoseFindings;
use super::dose_delivered::dose_findings;
use super::find_setups::{SetupSources, setup_findings};
use super::quality::DataQuality;
use super::rounding::Precision;
use super::setups::SetupFindings;
use super::site_pages::{SitesFound, site_pages};
use super::sources::Sources;
use super::withhold::Rule;
use crate::catalogue::ConditionId;
use crate::episodes::episode::Episode;
use crate::group::settings::Audience;
use crate::models::fitted_course::Records;
use crate::models::grid::Grid;
use crate::models::sites::cases::Reader;
use crate::rows::names::Names;
use crate::rows::row::NameId;
use crate::rows::when::Quarter;
use rayon::prelude::*;
use std::collections::BTreeSet;

/// Setups and dose: one Benjamini-Hochberg step goes over the p values of both.
pub fn setups_and_dose(sources: &SetupSources<'_>, rule: Rule) -> (SetupFindings, DoseFindings) {
    let mut dose = dose_findings(sources.records, sources.visits, sources.standard, rule);
    let (setups, q) = setup_findings(sources, rule, &dose.p_values());
    dose.set_q(&q);
    (setups, dose)
}

/// Everything the report says, as it may circulate. `setups`: what [`setups_and_dose`] found, beforehand: then neither its columns nor the fitted courses
/// are in memory while the other is made; without it nothing is said of them.
pub fn bulletin(sources: Sources<'_>, setups: Option<(SetupFindings, DoseFindings)>, quality: DataQuality) -> Bulletin {
    let precision = Precision::of(sources.audience, || fingerprint(&sources.records));
    let told = Rule::of(sources.audience);
    let bulletin = bulletin_by(precision.rule(told), sources, setups, quality);
    circulating(Bulletin { withhold_up_to: told.up_to, ..bulletin }, precision)
}

/// The account of rows as it may circulate, where nothing else is said.
pub fn circulating_account(mut account: DataQuality, audience: Audience, records: &Records<'_>) -> DataQuality {
    round_quality(&mut account, Precision::of(audience, || fingerprint(records)));
    account
}

/// The same before it is rounded, by another rule of what is small; tests of disclosure need the truth beside it.
pub(crate) fn bulletin_by(
    rule: Rule,
    sources: Sources<'_>,
    setups: Option<(SetupFindings, DoseFindings)>,
    quality: DataQuality,
) -> Bulletin {
    let episodes = &sources.records.episodes.list;
    let quarters: BTreeSet<Quarter> =
        episodes.iter().filter(|episode| episode.is_due).filter_map(|episode| episode.due).collect();
    let sites = sites_by_name(episodes, sources.records.names);
    let grid = Grid::new(quarters.iter().copied().collect(), sites.clone());
    let mut conditions: Vec<ConditionFindings> =
        conditions_by_size(episodes).into_par_iter().map(|id| condition(&sources, rule, &grid, id)).collect();
    allow_for_their_number(&mut conditions);
    let reader = Reader::new(sources.records);
    let sites_compared = match sites.len() {
        0 | 1 => Vec::new(),
        _ => compare_sites(&sources, &reader, rule, &grid, &conditions),
    };
    let pages = match sites_compared.len() {
        0 => SitesFound::default(),
        _ => site_pages(&sources, &reader, rule, &sites, &sites_compared, &conditions),
    };
    // exports that record nothing of setup or dose have no page on them
    let (setups, dose) = setups.filter(|(setups, _)| !setups.parameters.is_empty()).unzip();
    Bulletin {
        group: sources.group.to_owned(),
        period: sources.records.period,
        quarters: quarters.into_iter().collect(),
        sites: sites.into_iter().map(|site| sources.records.names.sites.get(site).to_owned()).collect(),
        withhold_up_to: rule.up_to,
        audience: sources.audience,
        conditions,
        sites_compared,
        site_findings: pages.sites,
        lost: pages.whole,
        setups,
        dose,
        quality,
    }
}

/// The sites that have episodes, in order of name.
fn sites_by_name(episodes: &[Episode], names: &Names) -> Vec<NameId> {
    let sites: BTreeSet<NameId> = episodes.iter().map(|episode| episode.site).collect();
    let mut sites: Vec<NameId> = sites.into_iter().collect();
    sites.sort_by(|a, b| names.sites.get(*a).cmp(names.sites.get(*b)));
    sites
}

/// The conditions that have episodes, most episodes first, then in the order of the registry; last, if any, those
/// without a condition.
fn conditions_by_size(episodes: &[Episode]) -> Vec<Option<ConditionId>> {
    let met: BTreeSet<Option<ConditionId>> = episodes.iter().map(|episode| episode.condition).collect();
    let mut sized: Vec<(Option<ConditionId>, usize)> =
        met.into_iter().map(|id| (id, episodes.iter().filter(|episode| episode.condition == id).count())).collect();
    sized.sort_by_key(|(id, size)| (id.is_none(), std::cmp::Reverse(*size), *id));
    sized.into_iter().map(|(id, _)| id).collect()
}
