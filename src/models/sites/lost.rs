//! What the lost could do to a site's rate: the rate of response among those seen, and with the lost imputed.
//!
//! Over all conditions, one outcome an episode as in [`super::cases`]. The missing baselines and endpoints of each outcome are
//! drawn from its own fitted course ([`super::super::imputation`]); in each draw the responders of a site are summed over its
//! conditions, and the draws are pooled by Rubin's rules. Where a site loses those who fare badly, its rate among those seen is
//! higher than with the lost imputed, and the gap is wider than the group's.

use super::super::fitted_course::{FittedCourse, FittedCourses};
use super::super::followed::Followed;
use super::super::imputation::{DRAWS, Imputed};
use super::super::panel::Track;
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
    /// The domain.
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

    fn add(&mut self, episodes: &[&Followed], draws: Option<&[Vec<&Followed>]>, definition: &Definition) {
        self.seen = sum(self.seen, Responders::of(episodes, definition));
        self.due += episodes.len() as u32;
        self.followed_up += episodes.iter().filter(|episode| episode.pair().is_some()).count() as u32;
        match draws {
            Some(draws) => {
                for (sum, draw) in self.drawn.iter_mut().zip(draws) {
                    let counts = Responders::of(draw, definition);
                    sum.successes += u64::from(counts.responders);
                    sum.trials += u64::from(counts.denominator);
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

fn sum(a: Responders, b: Responders) -> Responders {
    Responders {
        denominator: a.denominator + b.denominator,
        with_outcome: a.with_outcome + b.with_outcome,
        responders: a.responders + b.responders,
        baseline_too_low: a.baseline_too_low + b.baseline_too_low,
        baseline_missing: a.baseline_missing + b.baseline_missing,
    }
}

/// Who was lost of a domain, and what they could do; `None` without a due episode.
pub fn lost(reader: &Reader<'_>, fitted: &FittedCourses, domain: Domain) -> Option<Lost> {
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
        let followed: Vec<Followed> = ids.iter().filter_map(|id| reader.followed(*id, *outcome)).collect();
        let course = fitted.get(*condition, *outcome);
        let key = format!(
            "sites {} {}",
            outcome.key(records.measures),
            condition.map_or(String::new(), |id| { records.conditions.get(id).key.clone() })
        );
        let imputed = course.and_then(|course| impute(course, &key, &followed, ids));
        let mut members: BTreeMap<NameId, Vec<usize>> = BTreeMap::new();
        for (position, episode) in followed.iter().enumerate() {
            members.entry(episode.site).or_default().push(position);
        }
        let all: Vec<usize> = (0..followed.len()).collect();
        let add = |sums: &mut Sums, positions: &[usize]| {
            let pick = |list: &'_ [Followed]| -> Vec<Followed> {
                positions.iter().filter_map(|i| list.get(*i).copied()).collect()
            };
            let seen = pick(&followed);
            let drawn: Option<Vec<Vec<Followed>>> =
                imputed.as_ref().map(|imputed| imputed.draws().iter().map(|draw| pick(draw)).collect());
            let drawn: Option<Vec<Vec<&Followed>>> =
                drawn.as_ref().map(|draws| draws.iter().map(|draw| draw.iter().collect()).collect());
            sums.add(&seen.iter().collect::<Vec<_>>(), drawn.as_deref(), definition);
        };
        add(&mut whole, &all);
        for (site, positions) in &members {
            add(sites.entry(*site).or_insert_with(Sums::new), positions);
        }
    }
    (whole.due > 0).then(|| Lost {
        domain,
        whole: whole.finish(),
        sites: sites.iter().map(|(site, sums)| (*site, sums.finish())).collect(),
    })
}

fn impute(course: &FittedCourse, key: &str, followed: &[Followed], ids: &[u32]) -> Option<Imputed> {
    let chosen = course.fit.as_ref().ok()?;
    let tracks: Vec<Option<Track<'_>>> = ids.iter().map(|id| course.panel.track(*id)).collect();
    Some(Imputed::of(&chosen.model, course.scale, course.endpoint_day, key, followed, &tracks))
}
