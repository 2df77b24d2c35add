//! The due episodes that one comparison of sites is about.
//!
//! **Quantities.** Whether an episode responded (of those with what the definition of a minimal important change needs),
//! by how much its burden fell (of those with baseline and endpoint), and whether it was followed up at all (of all).
//!
//! **All conditions together.** A domain, pain or disability, is then followed by one outcome an episode: the first in
//! the order of its condition of which the episode has a baseline. The order puts pain where the condition has it first:
//! limb before trunk with radiculopathy, trunk before limb without; then the outcome with the most baselines. The choice
//! looks at no endpoint, so it cannot prefer a good result.

use super::super::fitted_course::{RESPONSE, Records, has_a_course};
use super::super::followed::Followed;
use crate::catalogue::measure::Domain;
use crate::catalogue::{ConditionId, Definition, PainSite};
use crate::episodes::episode::Episode;
use crate::readings::reading::Outcome;
use crate::rows::row::NameId;
use crate::rows::when::Quarter;
use std::collections::BTreeMap;

/// What sites are compared on.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Quantity {
    /// A minimal important change: yes or no.
    Response,
    /// Fall of burden from baseline to endpoint, points of 100.
    Change,
    /// Baseline and endpoint are there: yes or no.
    FollowedUp,
}

/// Whom a comparison is about.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Scope {
    /// One outcome of one condition.
    One(Option<ConditionId>, Outcome),
    /// A domain over all conditions.
    All(Domain),
}

/// A due episode in a comparison.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Case {
    /// The episode, by position in the run.
    pub episode: u32,
    pub site: NameId,
    /// The quarter it was due in.
    pub quarter: Option<Quarter>,
    pub condition: Option<ConditionId>,
    /// What it is followed on.
    pub outcome: Outcome,
    /// Burden at the start, 0 to 100.
    pub baseline: Option<f64>,
    /// Burden at the start in the other domain (disability beside pain, pain beside disability), 0 to 100.
    pub other_baseline: Option<f64>,
    /// 1 or 0 for a response or a follow-up; points of burden, positive for better, for a change.
    pub value: f64,
}

/// An outcome of an episode: burden at both ends, and whether it responded when that can be decided.
struct Ends {
    baseline: Option<f64>,
    both: Option<(f64, f64)>,
    responded: Option<bool>,
}

/// Reads the outcomes of episodes.
pub struct Reader<'a> {
    records: Records<'a>,
    /// Of each condition and domain: its outcomes in order.
    order: BTreeMap<(Option<ConditionId>, u8), Vec<Outcome>>,
    responses: BTreeMap<(Option<ConditionId>, Outcome), Option<Definition>>,
}

impl<'a> Reader<'a> {
    pub fn new(records: Records<'a>) -> Self {
        let mut baselines: BTreeMap<(Option<ConditionId>, Outcome), usize> = BTreeMap::new();
        for course in &records.courses.list {
            let Some(episode) = records.episodes.list.get(course.episode as usize) else { continue };
            if has_a_course(records.measures.get(course.outcome.measure)) {
                *baselines.entry((episode.condition, course.outcome)).or_default() +=
                    usize::from(course.baseline.is_some() && episode.is_due);
            }
        }
        let mut order: BTreeMap<(Option<ConditionId>, u8), Vec<Outcome>> = BTreeMap::new();
        let mut responses = BTreeMap::new();
        for &(condition, outcome) in baselines.keys() {
            let measure = records.measures.get(outcome.measure);
            let radicular = condition.is_some_and(|id| records.conditions.get(id).radicular);
            order.entry((condition, place(measure.domain))).or_default().push(outcome);
            let response = measure.definitions(radicular).into_iter().find(|definition| definition.key == RESPONSE);
            responses.insert((condition, outcome), response);
        }
        for ((condition, _), outcomes) in &mut order {
            let radicular = condition.is_some_and(|id| records.conditions.get(id).radicular);
            outcomes.sort_by_key(|outcome| {
                let most = std::cmp::Reverse(baselines.get(&(*condition, *outcome)).copied().unwrap_or(0));
                (place_of_pain(outcome.pain_site, radicular), most, *outcome)
            });
        }
        Self { records, order, responses }
    }

    /// The outcomes of one condition that can be compared, with their domain.
    pub fn outcomes(&self) -> impl Iterator<Item = (Option<ConditionId>, Outcome)> {
        self.responses.keys().copied()
    }

    /// The outcome that speaks for a domain in an episode; `None` when its condition has none.
    pub fn speaks(&self, id: u32, episode: &Episode, domain: Domain) -> Option<Outcome> {
        let order = self.order.get(&(episode.condition, place(domain)))?;
        let course = |outcome: &Outcome| self.records.courses.get(id, *outcome);
        let with_baseline = order.iter().find(|outcome| course(outcome).is_some_and(|c| c.baseline.is_some()));
        let read = || order.iter().find(|outcome| course(outcome).is_some());
        with_baseline.or_else(read).or(order.first()).copied()
    }

    /// The cases of a comparison, in the order of the run.
    pub fn cases(&self, scope: Scope, quantity: Quantity) -> Vec<Case> {
        let episodes = (0..).zip(&self.records.episodes.list).filter(|(_, episode)| episode.is_due);
        episodes.filter_map(|(id, episode)| self.case(id, episode, scope, quantity)).collect()
    }

    fn case(&self, id: u32, episode: &Episode, scope: Scope, quantity: Quantity) -> Option<Case> {
        let outcome = match scope {
            Scope::One(condition, outcome) => Some(outcome).filter(|_| episode.condition == condition)?,
            Scope::All(domain) => self.speaks(id, episode, domain)?,
        };
        let ends = self.ends(id, episode, outcome);
        let value = match quantity {
            Quantity::Response => f64::from(u8::from(ends.responded?)),
            Quantity::Change => ends.both.map(|(before, after)| before - after)?,
            Quantity::FollowedUp => f64::from(u8::from(ends.both.is_some())),
        };
        let domain = self.records.measures.get(outcome.measure).domain;
        let other = self.speaks(id, episode, other_domain(domain));
        Some(Case {
            episode: id,
            site: episode.site,
            quarter: episode.due,
            condition: episode.condition,
            outcome,
            baseline: ends.baseline,
            other_baseline: other.and_then(|other| self.ends(id, episode, other).baseline),
            value,
        })
    }

    /// What counts as a response in an outcome of a condition.
    pub fn response(&self, condition: Option<ConditionId>, outcome: Outcome) -> Option<&Definition> {
        self.responses.get(&(condition, outcome)).and_then(Option::as_ref)
    }

    /// An episode as one outcome sees it.
    pub fn followed(&self, id: u32, outcome: Outcome) -> Option<Followed> {
        self.records.followed(id, outcome)
    }

    fn ends(&self, id: u32, episode: &Episode, outcome: Outcome) -> Ends {
        let measure = self.records.measures.get(outcome.measure);
        let (baseline, endpoint) =
            self.followed(id, outcome).map_or((None, None), |followed| (followed.baseline, followed.endpoint));
        let burden = |score: f64| measure.burden(score).map(|burden| burden.get());
        let response = self.response(episode.condition, outcome);
        let responded = response.zip(baseline.zip(endpoint)).and_then(|(definition, (before, after))| {
            definition.reachable(before).then(|| definition.reached(before, after))
        });
        Ends {
            baseline: baseline.and_then(burden),
            both: baseline.and_then(burden).zip(endpoint.and_then(burden)),
            responded,
        }
    }

    pub fn records(&self) -> Records<'a> {
        self.records
    }
}

/// The domain beside which a baseline is read.
fn other_domain(domain: Domain) -> Domain {
    if domain == Domain::Pain { Domain::Disability } else { Domain::Pain }
}

fn place(domain: Domain) -> u8 {
    match domain {
        Domain::Pain => 0,
        Domain::Disability => 1,
        Domain::Function => 2,
        Domain::Change => 3,
    }
}

/// Where a condition's pain is looked for first.
fn place_of_pain(site: PainSite, radicular: bool) -> u8 {
    match site {
        PainSite::Leg | PainSite::Arm => u8::from(!radicular),
        PainSite::Back | PainSite::Neck => u8::from(radicular),
        PainSite::Other | PainSite::Unspecified => 2,
    }
}
