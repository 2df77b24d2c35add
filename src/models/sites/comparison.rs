//! One comparison of sites: each held against what its patients would be expected to do at the group as a whole.
//!
//! **Expected.** A case-mix model without sites ([`super::null_model`]) is fitted to every due episode of the comparison; what it
//! expects of a site's episodes is summed (indirect standardisation). For a yes or no the site's adjusted rate is observed / expected
//! x the group's rate; for a change it is the group's mean + (observed - expected) / n.
//!
//! Where a site differs from the others in what the model holds, the part of the site's own effect that the model took for the case
//! mix's is given back ([`mendcurve_stats::standardised`]); a site that alone uses a measure or alone has a class cannot be told from it and
//! is not called.
//!
//! **Chance.** The p value is that of the score test of the site's indicator, which allows for the site's own part in the model
//! ([`mendcurve_stats::standardised`]). Limits are exact ([`mendcurve_stats::funnel`]): what chance alone gives for a site of this
//! size and case mix.
//!
//! **Over-dispersion** (Spiegelhalter 2005, Stat Med 24:1185-202). Sites may differ by more than chance for reasons that no model
//! holds. phi is the mean of the winsorised squared scores of the *other* sites, so that a site that stands out does not
//! widen its own limits, and never below 1; the score is divided by its root. It needs ten other sites: with fewer, phi cannot
//! be told from one site that differs ([`mendcurve_stats::funnel`]).
//!
//! **Too few.** A site is not called with fewer than ten episodes, or fewer than five expected to respond or not to.

use super::between_sites::{Between, between_sites};
use super::case_mix::{COVARIATES, CaseMix, Covariate, room};
use super::cases::{Case, Quantity, Reader, Scope};
use super::null_model::{NullModel, Quality, null_model, quality};
use crate::catalogue::ConditionId;
use crate::readings::reading::Outcome;
use crate::rows::row::NameId;
use crate::rows::when::Quarter;
use mendcurve_stats::distribution::{chi_square_tail, normal_quantile};
use mendcurve_stats::funnel::{Interpolation, WINSORISED_SHARE, dispersion, proportion_limits, standardised_limits};
use mendcurve_stats::poisson_binomial::PoissonBinomial;
use mendcurve_stats::standardised::{Held, Spread, WithoutGroups};
use mendcurve_stats::{Interval, Level};
use std::collections::BTreeMap;

/// Fewest episodes of a site that is called.
pub const FEWEST_EPISODES: usize = 10;
/// Fewest of its episodes expected to respond, and not to.
pub const FEWEST_EXPECTED: f64 = 5.0;

/// Fewest episodes for which the funnel is drawn.
const FEWEST_IN_FUNNEL: usize = 5;

#[derive(Clone, Debug)]
pub struct Comparison {
    /// Whom it is about.
    pub scope: Scope,
    pub quantity: Quantity,
    /// Episodes in the model.
    pub episodes: usize,
    /// Mean over all of them: a rate, or points of burden.
    pub overall: f64,
    /// What the model allows for, with the number of episodes that lack it.
    pub entered: Vec<(Covariate, usize)>,
    /// What it does not, for want of room or of variation.
    pub left_out: Vec<Covariate>,
    /// How well the model tells episodes apart.
    pub quality: Quality,
    /// Whether a perfect prediction had to be penalised.
    pub penalised: bool,
    /// How far the sites lie apart; `None` where it could not be fitted.
    pub between: Option<Between>,
    /// One line a period and site that has episodes.
    pub lines: Vec<Line>,
    /// What the whole is made of.
    pub parts: Vec<Part>,
    /// Limits of chance for a site of average case mix, by number of episodes.
    pub funnel: Vec<FunnelAt>,
}

/// Limits of chance around the group's value.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct FunnelAt {
    pub episodes: f64,
    pub limits_95: Interval,
    pub limits_998: Interval,
}

/// The episodes of a line that one outcome of one condition stands for.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Part {
    pub condition: Option<ConditionId>,
    pub outcome: Outcome,
    pub episodes: usize,
    /// Sum observed.
    pub observed: f64,
}

/// One site in one period.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    /// The quarter; `None` for all.
    pub quarter: Option<Quarter>,
    /// Whether the line is tested and called.
    pub is_tested: bool,
    pub site: NameId,
    pub episodes: usize,
    /// Sum observed.
    pub observed: f64,
    /// Sum expected.
    pub expected: f64,
    /// Mean observed.
    pub raw: f64,
    /// Mean if it had the group's case mix.
    pub adjusted: f64,
    /// The adjusted value drawn towards the group, over all periods only; `None` where the sites do not differ beyond chance.
    pub shrunken: Option<(f64, Interval)>,
    /// What chance alone gives 95 % of the time, on the scale of `adjusted`.
    pub limits_95: Interval,
    /// What chance alone gives 99.8 % of the time.
    pub limits_998: Interval,
    /// Over-dispersion among the other sites; 1 without.
    pub phi: f64,
    /// Standard score after over-dispersion, positive for better; `None` where the site has too few episodes.
    pub score: Option<f64>,
    /// Its two-sided p value.
    pub p: Option<f64>,
    /// What the line is made of, in order of condition and outcome.
    pub parts: Vec<Part>,
}

/// The quarters of a comparison.
#[derive(Clone, Copy, Debug)]
pub struct Quarters<'a> {
    /// The one reported: tested, as all periods together are.
    pub reported: Option<Quarter>,
    /// All that have due episodes: a comparison over all conditions shows each of them, untested.
    pub all: &'a [Quarter],
}

impl Quarters<'_> {
    /// The periods for which lines are made, with whether each is tested.
    fn periods(&self, scope: Scope) -> Vec<(Option<Quarter>, bool)> {
        let reported = self.reported;
        let shown = |quarter: &&Quarter| matches!(scope, Scope::All(_)) || Some(**quarter) == reported;
        let quarters = self.all.iter().filter(shown).map(|quarter| (Some(*quarter), Some(*quarter) == reported));
        std::iter::once((None, true)).chain(quarters).collect()
    }
}

/// Compares the sites; `None` without two sites or without a model.
pub fn compare(reader: &Reader<'_>, scope: Scope, quantity: Quantity, quarters: Quarters<'_>) -> Option<Comparison> {
    let cases = reader.cases(scope, quantity);
    let mut sites: Vec<NameId> = cases.iter().map(|case| case.site).collect();
    sites.sort_unstable();
    sites.dedup();
    if sites.len() < 2 {
        return None;
    }
    let mix = case_mix(reader, &cases, quantity);
    let values: Vec<f64> = cases.iter().map(|case| case.value).collect();
    let null = null_model(quantity, &mix, values)?;
    let quality = quality(quantity, &mix, &cases, &null, reader);
    let NullModel { model, penalised, regression, .. } = null;
    let site_of: Vec<usize> = cases.iter().filter_map(|case| sites.binary_search(&case.site).ok()).collect();
    let between = between_sites(quantity, &mix, model.observed(), &site_of, sites.len(), regression);
    let overall = model.observed().iter().sum::<f64>() / cases.len() as f64;
    let mut at_site: Vec<Vec<usize>> = vec![Vec::new(); sites.len()];
    for (i, site) in site_of.iter().enumerate() {
        at_site.get_mut(*site)?.push(i);
    }
    let mut lines = Vec::new();
    for (quarter, is_tested) in quarters.periods(scope) {
        let in_quarter =
            |i: &&usize| quarter.is_none_or(|q| cases.get(**i).is_some_and(|case| case.quarter == Some(q)));
        let hold = |(site, all): (usize, &Vec<usize>)| {
            let members: Vec<usize> = all.iter().filter(in_quarter).copied().collect();
            let held = model.hold(&members);
            (site, members, held)
        };
        let held: Vec<(usize, Vec<usize>, Held)> = at_site.iter().enumerate().map(hold).collect();
        let scores: Vec<Option<f64>> =
            held.iter().map(|(_, _, held)| held.score.filter(|_| is_tested && is_enough(quantity, held))).collect();
        for (position, (site, members, held)) in held.iter().enumerate() {
            let Some(&name) = sites.get(*site).filter(|_| held.n > 0) else { continue };
            let phi = phi_of_others(&scores, position);
            let score = scores.get(position).copied().flatten().map(|score| score / phi.sqrt());
            let shrunken = between
                .as_ref()
                .filter(|between| quarter.is_none() && between.sd > 0.0)
                .and_then(|b| b.sites.get(*site).copied());
            let distribution = distribution(quantity, members, model.expected());
            let limits = |level| limits(quantity, overall, held, distribution.as_ref(), level);
            lines.push(Line {
                quarter,
                is_tested,
                site: name,
                episodes: held.n,
                observed: held.observed,
                expected: expected_by_others(quantity, held),
                raw: held.observed / held.n as f64,
                adjusted: adjusted(quantity, overall, held, held.observed),
                shrunken,
                limits_95: limits(Level::NINETY_FIVE)?,
                limits_998: limits(Level::NINETY_NINE_POINT_EIGHT)?,
                phi,
                score,
                p: score.and_then(|score| p_value(held, score, phi)),
                parts: parts(members.iter().filter_map(|i| cases.get(*i))),
            });
        }
    }
    let most = lines.iter().map(|line| line.episodes).max().unwrap_or(0);
    Some(Comparison {
        funnel: funnel(&model, quantity, overall, most),
        scope,
        quantity,
        episodes: cases.len(),
        overall,
        entered: mix.entered,
        left_out: mix.left_out,
        quality,
        penalised,
        between,
        lines,
        parts: parts(cases.iter()),
    })
}

fn parts<'c>(cases: impl Iterator<Item = &'c Case>) -> Vec<Part> {
    let mut parts: BTreeMap<(Option<ConditionId>, Outcome), (usize, f64)> = BTreeMap::new();
    for case in cases {
        let part = parts.entry((case.condition, case.outcome)).or_default();
        part.0 += 1;
        part.1 += case.value;
    }
    let part = |((condition, outcome), (episodes, observed))| Part { condition, outcome, episodes, observed };
    parts.into_iter().map(part).collect()
}

/// What is allowed for: all that is known before treatment. For a follow-up not the scores at the start: that they are missing is a
/// part of what is compared.
fn case_mix(reader: &Reader<'_>, cases: &[Case], quantity: Quantity) -> CaseMix {
    let events = cases.iter().filter(|case| case.value > 0.5).count();
    let scores = [Covariate::Baseline, Covariate::OtherBaseline];
    let but_scores: Vec<Covariate> = COVARIATES.into_iter().filter(|covariate| !scores.contains(covariate)).collect();
    let (wanted, room) = match quantity {
        Quantity::Response => (&COVARIATES[..], room(cases.len(), Some(events))),
        Quantity::Change => (&COVARIATES[..], room(cases.len(), None)),
        Quantity::FollowedUp => (&but_scores[..], room(cases.len(), Some(events))),
    };
    CaseMix::of(cases, &reader.records().episodes.list, wanted, room)
}

/// Whether a site has episodes enough to be called.
fn is_enough(quantity: Quantity, held: &Held) -> bool {
    let scarce = held.expected.min(held.n as f64 - held.expected);
    held.n >= FEWEST_EPISODES && (quantity == Quantity::Change || scarce >= FEWEST_EXPECTED)
}

/// Limits by number of episodes, up to a little over the largest site's: about forty points, from five episodes on.
fn funnel(model: &WithoutGroups, quantity: Quantity, overall: f64, most: usize) -> Vec<FunnelAt> {
    let last = most + most / 12 + 1;
    let step = (last / 40).max(1);
    let limits = |n: usize, level: Level| match (quantity, model.spread()) {
        (Quantity::Change, Spread::Normal { rss, degrees_of_freedom }) => {
            let reach = -normal_quantile(level.tail()).ok()? * (rss / degrees_of_freedom / n as f64).sqrt();
            Some(Interval { low: overall - reach, high: overall + reach })
        }
        _ => Some(proportion_limits(overall, n as u64, level, Interpolation::Inside).ok()?.interval),
    };
    let at = |n: usize| {
        let (limits_95, limits_998) = (limits(n, Level::NINETY_FIVE)?, limits(n, Level::NINETY_NINE_POINT_EIGHT)?);
        Some(FunnelAt { episodes: n as f64, limits_95, limits_998 })
    };
    (FEWEST_IN_FUNNEL..=last).step_by(step).chain([last]).filter_map(at).collect()
}

/// Over-dispersion among the sites other than the one at `position`; 1 where there is none, or too few sites to tell.
fn phi_of_others(scores: &[Option<f64>], position: usize) -> f64 {
    let others = scores.iter().enumerate().filter(|(other, _)| *other != position);
    let others: Vec<f64> = others.filter_map(|(_, score)| *score).collect();
    dispersion(&others, &vec![1.0; others.len()], 0.0, WINSORISED_SHARE).map_or(1.0, |found| found.phi)
}

/// The p value of a score after over-dispersion: that of the test where there is none, else by the normal distribution.
fn p_value(held: &Held, score: f64, phi: f64) -> Option<f64> {
    if phi == 1.0 { held.p } else { chi_square_tail(score * score, 1.0).ok() }
}

/// What a model of the other sites would expect of a site: the part of its own effect that the model took for the case mix's is given
/// back. A yes or no stays within the number of episodes.
fn expected_by_others(quantity: Quantity, held: &Held) -> f64 {
    if held.score.is_none() {
        return held.expected;
    }
    let expected = held.observed - held.shared * (held.observed - held.expected);
    match quantity {
        Quantity::Change => expected,
        Quantity::Response | Quantity::FollowedUp => expected.clamp(0.5, held.n as f64 - 0.5),
    }
}

/// A sum of a site as a rate or mean at the group's case mix.
fn adjusted(quantity: Quantity, overall: f64, held: &Held, sum: f64) -> f64 {
    let expected = expected_by_others(quantity, held);
    match quantity {
        Quantity::Change => overall + (sum - expected) / held.n as f64,
        Quantity::Response | Quantity::FollowedUp => (sum / expected * overall).min(1.0),
    }
}

/// The distribution of a site's count if it does as the model expects of its episodes; `None` for a change.
fn distribution(quantity: Quantity, members: &[usize], expected: &[f64]) -> Option<PoissonBinomial> {
    let chances: Vec<f64> = members.iter().filter_map(|i| expected.get(*i).copied()).collect();
    (quantity != Quantity::Change).then(|| PoissonBinomial::new(&chances).ok()).flatten()
}

/// What chance alone gives for a site.
fn limits(
    quantity: Quantity,
    overall: f64,
    held: &Held,
    distribution: Option<&PoissonBinomial>,
    level: Level,
) -> Option<Interval> {
    let reach = match quantity {
        Quantity::Change => {
            let reach = -normal_quantile(level.tail()).ok()? * held.variance.sqrt();
            (reach, reach)
        }
        Quantity::Response | Quantity::FollowedUp => {
            let ratio = standardised_limits(distribution?, level, Interpolation::Inside).ok()?.interval;
            ((1.0 - ratio.low) * held.expected, (ratio.high - 1.0) * held.expected)
        }
    };
    // the score's own standard deviation, of kappa (O - E), against that of O
    let stretch = match held.score {
        Some(score) if score != 0.0 && held.variance > 0.0 => {
            (held.shared * (held.observed - held.expected) / score / held.variance.sqrt()).abs()
        }
        _ => 1.0,
    };
    let centre = expected_by_others(quantity, held);
    let at = |sum: f64| adjusted(quantity, overall, held, sum);
    Some(Interval { low: at(lowest(quantity, centre - stretch * reach.0)), high: at(centre + stretch * reach.1) })
}

/// A count is never below zero.
fn lowest(quantity: Quantity, sum: f64) -> f64 {
    if quantity == Quantity::Change { sum } else { sum.max(0.0) }
}
