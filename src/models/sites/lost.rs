//! What the lost could do to a site's rate: the rate of response among those seen, and with the lost imputed.
//!
//! Over all conditions, one outcome an episode as in [`super::cases`]. The missing baselines and endpoints of each outcome are
//! drawn from its own fitted course ([`super::super::imputed_outcomes`]); in each draw the responders of a site are summed over its
//! conditions, and the draws are pooled by Rubin's rules. Where a site loses those who fare badly, its rate among those seen is
//! higher than with the lost imputed, and the gap is wider than the group's.

use super::super::followed::Followed;
use super::super::imputation::DRAWS;
use super::super::imputed_outcomes::ImputedOutcomes;
use super::super::responders::Responders;
use super::cases::Reader;
use crate::catalogue::measure::Domain;
use crate::catalogue::{ConditionId, Definition};
use crate::readings::reading::Outcome;
use crate::rows::row::NameId;
use mendcurve_stats::Level;
use mendcurve_stats::impute::{DrawnCount, pooled_proportion};
use mendcurve_stats::interval::Estimate;
use std::collections::BTreeMap;

/// Those seen and those lost of a domain.
#[derive(Clone, PartialEq, Debug)]
pub struct Lost {
    pub domain: Domain,
    /// The whole group.
    pub whole: SeenAndImputed,
    /// By site, in the order of names' numbers.
    pub sites: Vec<(NameId, SeenAndImputed)>,
}

/// One site or the group.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SeenAndImputed {
    /// Counts of those seen.
    pub seen: Responders,
    /// Due episodes.
    pub due: u32,
    /// Of these, with baseline and endpoint.
    pub followed_up: u32,
    /// The rate with the lost imputed; `None` where a condition with lost episodes has no fitted course.
    pub imputed: Option<Estimate>,
}

/// Sums over conditions, and over the draws of what is missing.
#[derive(Clone)]
struct Sums {
    seen: Responders,
    due: u32,
    followed_up: u32,
    drawn: Vec<DrawnCount>,
    cannot_draw: bool,
}

impl Sums {
    fn new() -> Self {
        Self {
            seen: Responders::default(),
            due: 0,
            followed_up: 0,
            drawn: vec![DrawnCount { successes: 0, trials: 0 }; DRAWS],
            cannot_draw: false,
        }
    }

    /// `drawn`: responders and episodes in each draw.
    fn add(&mut self, episodes: &[&Followed], drawn: Option<Vec<DrawnCount>>, definition: &Definition) {
        self.seen += Responders::of(episodes, definition);
        self.due += episodes.len() as u32;
        self.followed_up += episodes.iter().filter(|episode| episode.pair().is_some()).count() as u32;
        match drawn {
            Some(drawn) => {
                self.drawn.truncate(drawn.len()); // where very many are lost, there are fewer draws
                for (sum, draw) in self.drawn.iter_mut().zip(drawn) {
                    sum.successes += draw.successes;
                    sum.trials += draw.trials;
                }
            }
            None => self.cannot_draw |= episodes.iter().any(|episode| episode.pair().is_none()),
        }
    }

    fn finish(&self) -> SeenAndImputed {
        let pooled = pooled_proportion(&self.drawn, Level::NINETY_FIVE).ok();
        SeenAndImputed {
            seen: self.seen,
            due: self.due,
            followed_up: self.followed_up,
            imputed: pooled.filter(|_| !self.cannot_draw).map(|pooled| pooled.estimate),
        }
    }
}

/// Who was lost of a domain, and what they could do; `None` without a due episode.
pub fn lost(reader: &Reader<'_>, imputed: &ImputedOutcomes, domain: Domain) -> Option<Lost> {
    let records = reader.records();
    let mut by_outcome: BTreeMap<(Option<ConditionId>, Outcome), Vec<u32>> = BTreeMap::new();
    for (id, episode) in (0..).zip(&records.episodes.list).filter(|(_, episode)| episode.is_due) {
        if let Some(outcome) = reader.speaks(id, episode, domain) {
            by_outcome.entry((episode.condition, outcome)).or_default().push(id);
        }
    }
    let mut whole = Sums::new();
    let mut sites: BTreeMap<NameId, Sums> = BTreeMap::new();
    for ((condition, outcome), ids) in &by_outcome {
        let Some(definition) = reader.response(*condition, *outcome) else { continue };
        let imputed = imputed.get(*condition, *outcome);
        let followed: Vec<(u32, Followed)> =
            ids.iter().filter_map(|id| Some((*id, reader.followed(*id, *outcome)?))).collect();
        let mut members: BTreeMap<NameId, Vec<&(u32, Followed)>> = BTreeMap::new();
        for episode in &followed {
            members.entry(episode.1.site).or_default().push(episode);
        }
        let add = |sums: &mut Sums, episodes: &[&(u32, Followed)]| {
            let drawn = imputed.map(|outcome| {
                let positions: Vec<u32> = episodes.iter().filter_map(|(id, _)| outcome.position(*id)).collect();
                outcome.imputed.drawn(definition, &positions)
            });
            let seen: Vec<&Followed> = episodes.iter().map(|(_, followed)| followed).collect();
            sums.add(&seen, drawn, definition);
        };
        add(&mut whole, &followed.iter().collect::<Vec<_>>());
        for (site, episodes) in &members {
            add(sites.entry(*site).or_insert_with(Sums::new), episodes);
        }
    }
    (whole.due > 0).then(|| Lost {
        domain,
        whole: whole.finish(),
        sites: sites.iter().map(|(site, sums)| (*site, sums.finish())).collect(),
    })
}
