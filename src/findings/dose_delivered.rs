//! A run's visits and episodes -> what may be said of dose.
//!
//! **Small cells.** A number is withheld where the patients behind it are few, a share also where those who did or did not are.
//! Counts are given to whole tens and nothing is summed over conditions or regions, so that no withheld line follows from others;
//! a number of the whole group is withheld where that of one of its sites is.
//! Associations stand on a hundred episodes or more.

use super::NOT_RECORDED;
use super::dose::{DoseAssociation, DoseBySite, DoseFindings, NotTested, PullByVisit};
use super::shown::{Estimate, Shown, as_count};
use super::withhold::Rule;
use crate::catalogue::setup_standard::SetupStandard;
use crate::catalogue::{ConditionId, Region};
use crate::models::dose::association::{Held, associations};
use crate::models::dose::delivered::{Behind, DoseAtSite, PullAtVisit, by_site, by_visit};
use crate::models::dose::episode_dose::doses;
use crate::models::fitted_course::Records;
use crate::visits::visits::Visits;
use std::collections::BTreeMap;

/// Dose delivered, and dose and setup against outcome. `visits`: those that the run's episodes were cut from; `standard`: what a setup
/// should be; `rule`: which numbers of patients are small.
pub fn dose_findings(records: Records<'_>, visits: &Visits, standard: &SetupStandard, rule: Rule) -> DoseFindings {
    let window_opens = records.windows.endpoint_days.0;
    let doses = doses(records.episodes, visits, standard, window_opens);
    let episodes = &records.episodes.list;
    let (held, (visits, sites)) = rayon::join(
        || associations(records, &doses),
        || rayon::join(|| by_visit(episodes, &doses), || by_site(episodes, &doses)),
    );
    let (associations, untested) = outcomes(rule, held);
    DoseFindings {
        by_visit: pull_by_visit(records, rule, visits),
        by_site: dose_by_site(records, rule, sites),
        associations,
        untested,
    }
}

fn outcomes(rule: Rule, held: Vec<Held>) -> (Vec<DoseAssociation>, Vec<NotTested>) {
    let (mut associations, mut untested) = (Vec::new(), Vec::new());
    for Held { exposure, domain, found } in held {
        let found = match found {
            Ok(found) => found,
            Err(why) => {
                untested.push(NotTested { exposure, domain, why });
                continue;
            }
        };
        let share = found.responders as f64 / found.episodes.max(1) as f64;
        associations.push(DoseAssociation {
            exposure,
            domain,
            episodes: tens(rule, as_count(found.episodes)),
            sites: as_count(found.sites),
            responded: (100.0 * share).round() / 100.0,
            spread: found.spread,
            odds_ratio: Estimate { value: found.odds_ratio, low: found.interval.low, high: found.interval.high },
            p: found.p,
            test: found.test,
            q: None,
            e_value: found.e_value.estimate,
            e_value_of_limit: found.e_value.limit,
            allowed_for: found.allowed_for,
        });
    }
    (associations, untested)
}

fn pull_by_visit(records: Records<'_>, rule: Rule, lines: Vec<PullAtVisit>) -> Vec<PullByVisit> {
    let mut sizes: BTreeMap<Option<ConditionId>, u64> = BTreeMap::new();
    for line in &lines {
        *sizes.entry(line.condition).or_default() += u64::from(line.visits);
    }
    let mut lines = lines;
    let size = |line: &PullAtVisit| sizes.get(&line.condition).copied().unwrap_or(0);
    lines.sort_by_key(|l| (l.condition.is_none(), std::cmp::Reverse(size(l)), l.condition, l.visit_no));
    let shown = |line: PullAtVisit| {
        let known = line.condition.map(|id| records.conditions.get(id));
        let is_small = rule.is_small(line.patients);
        PullByVisit {
            condition: known.map_or(NOT_RECORDED.to_owned(), |condition| condition.key.clone()),
            condition_title: known.map_or("Condition not recorded".to_owned(), |condition| condition.title.clone()),
            region: known.map_or(Region::Other, |condition| condition.region),
            visit_no: line.visit_no,
            visits: if is_small { Shown::Withheld } else { Shown::Value(tens(rule, line.visits)) },
            percent: if is_small { Shown::Withheld } else { Shown::Value(line.percent) },
        }
    };
    lines.into_iter().map(shown).collect()
}

fn dose_by_site(records: Records<'_>, rule: Rule, lines: Vec<DoseAtSite>) -> Vec<DoseBySite> {
    let name = |line: &DoseAtSite| line.site.map(|site| records.names.sites.get(site).to_owned());
    let mut lines: Vec<(Option<String>, DoseAtSite)> = lines.into_iter().map(|line| (name(&line), line)).collect();
    lines.sort_by(|a, b| (a.1.region, &a.0).cmp(&(b.1.region, &b.0)));
    let mut shown: Vec<DoseBySite> = lines.into_iter().map(|(site, line)| site_line(rule, site, &line)).collect();
    let sites: Vec<DoseBySite> = shown.iter().filter(|line| line.site.is_some()).cloned().collect();
    for whole in shown.iter_mut().filter(|line| line.site.is_none()) {
        withhold_with_parts(whole, &sites);
    }
    shown
}

fn site_line(rule: Rule, site: Option<String>, line: &DoseAtSite) -> DoseBySite {
    let number = |behind: Option<Behind>| match behind {
        None => Shown::Missing,
        Some(behind) if rule.is_small(behind.patients) => Shown::Withheld,
        Some(behind) => Shown::Value(behind.value),
    };
    let (most, less) = line.most_and_less;
    let is_small = rule.is_small(line.patients);
    DoseBySite {
        region: line.region,
        site,
        episodes: if is_small { Shown::Withheld } else { Shown::Value(tens(rule, line.episodes)) },
        first: number(line.first),
        last: number(line.last),
        rise: number(line.rise()),
        progression: number(line.progression),
        minutes: number(line.minutes),
        delivered: number(line.delivered),
        most_delivered: if rule.is_small(most) || rule.is_small(less) {
            Shown::Withheld
        } else {
            number(line.most_delivered)
        },
        visits_a_week: number(line.visits_a_week),
    }
}

/// Withholds of the whole group what is withheld of a site of its region.
fn withhold_with_parts(whole: &mut DoseBySite, sites: &[DoseBySite]) {
    let region = whole.region;
    let hides = |number: fn(&DoseBySite) -> Shown<f64>| {
        sites.iter().any(|site| site.region == region && number(site) == Shown::Withheld)
    };
    if sites.iter().any(|site| site.region == region && site.episodes == Shown::Withheld) {
        whole.episodes = Shown::Withheld;
    }
    for (number, is_hidden) in [
        (&mut whole.first, hides(|line| line.first)),
        (&mut whole.last, hides(|line| line.last)),
        (&mut whole.rise, hides(|line| line.rise)),
        (&mut whole.progression, hides(|line| line.progression)),
        (&mut whole.minutes, hides(|line| line.minutes)),
        (&mut whole.delivered, hides(|line| line.delivered)),
        (&mut whole.most_delivered, hides(|line| line.most_delivered)),
        (&mut whole.visits_a_week, hides(|line| line.visits_a_week)),
    ] {
        if is_hidden {
            *number = Shown::Withheld;
        }
    }
}

/// To whole tens, of which none is a small count.
fn tens(rule: Rule, count: u32) -> u32 {
    (count.saturating_add(5) / 10).max(rule.up_to / 10 + 1) * 10
}

#[cfg(test)]
#[path = "dose_tests.rs"]
mod tests;
