//! Whether dose and setup go along with outcome, within sites and at equal case mix.
//!
//! **Model.** log odds of a response (minimal important change, of those that have what it needs) = site + case mix + b x, x being one
//! exposure ([`super::exposures`]) in its step; one exposure at a time, since they go together and none is the cause of the
//! others' association for certain. With an indicator a site only differences between patients of one site count: a site of high dose and good
//! outcome makes no association. Sites where all responded, or none, say nothing of that and are left out. The case mix is that of
//! the comparison of sites ([`crate::models::sites::case_mix`]), as far as there is room: five events and five non-events to a
//! column are enough where one exposure is asked for and the others only adjust (Vittinghoff & McCulloch 2007, Am J Epidemiol 165:710-8).
//!
//! **Test and interval.** Up to 2,000 episodes likelihood ratio and profile limits; beyond, where they agree with Wald's to two
//! digits, Wald's. Where a class predicts perfectly: Firth's penalised likelihood with its profile limits up to 1,000 episodes, and
//! Wald's test.
//!
//! **Not tested.** Under 100 episodes, 20 responders or 20 others, or no room beside the sites; and where under 20 episodes differ
//! from the median of their site by more than a hundredth of the step.
//!
//! **Many episodes.** Beyond 10,000 the patients are drawn by a keyed hash ([`crate::models::drawn_patients`]).
//!
//! **Not allowed for.** Two episodes of one patient count as two patients; few patients have two.

use super::episode_dose::EpisodeDose;
use super::exposures::Exposure;
use crate::catalogue::measure::Domain;
use crate::episodes::episode::Episode;
use crate::models::drawn_patients::lot;
use crate::models::fitted_course::Records;
use crate::models::sites::case_mix::{COVARIATES, CaseMix, Covariate};
use crate::models::sites::cases::{Case, Quantity, Reader, Scope};
use crate::rows::row::NameId;
use mendcurve_stats::distribution::chi_square_tail;
use mendcurve_stats::e_value::{EValue, of_odds_ratio};
use mendcurve_stats::logistic::{LogisticFit, Outcome, Rows, likelihood_ratio, logistic, profile_interval};
use mendcurve_stats::quantile::Sorted;
use mendcurve_stats::{InputError, Interval, Level};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// The domains whose responses are looked at.
pub const DOMAINS: [Domain; 2] = [Domain::Pain, Domain::Disability];
pub const FEWEST_EPISODES: usize = 100;
/// Fewest of them that responded, and that did not, and that differ from the median of their site.
pub const FEWEST_EACH: usize = 20;
/// Events, and non-events, to a column.
const EVENTS_A_COLUMN: usize = 5;
/// Most episodes whose limits are profiled.
const MOST_PROFILED: usize = 2_000;
/// The same of penalised fits, whose profile takes ten times the work.
const MOST_PENALISED: usize = 1_000;
/// About how many episodes are drawn where there are more; fewer where there are many columns.
const MOST_FITTED: usize = 10_000;
/// Rows x columns^2 of a pass: what [`MOST_FITTED`] of forty columns take.
const MOST_WORK: usize = MOST_FITTED * 40 * 40;
/// The exposure's column.
const COLUMN: &str = "exposure";

/// An exposure held against the response of a domain.
#[derive(Clone, PartialEq, Debug)]
pub struct Held {
    pub exposure: Exposure,
    pub domain: Domain,
    pub found: Result<Association, Untested>,
}

#[derive(Clone, PartialEq, Debug)]
pub struct Association {
    pub episodes: usize,
    /// Of these, that responded.
    pub responders: usize,
    /// Sites with both.
    pub sites: usize,
    /// SD of the exposure within sites, own unit.
    pub spread: f64,
    /// Odds of a response for one step more of the exposure / without.
    pub odds_ratio: f64,
    /// Its 95 % limits.
    pub interval: Interval,
    /// Two-sided p value of no association.
    pub p: f64,
    /// How it was found.
    pub test: Test,
    /// What a confounder that nobody measured would have to be to explain it away.
    pub e_value: EValue,
    /// What was allowed for beside the site.
    pub allowed_for: Vec<Covariate>,
}

/// How limits and p value were found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Test {
    /// Profile limits and likelihood-ratio test.
    LikelihoodRatio,
    /// Wald's limits and test.
    Wald,
    /// Firth's penalised likelihood with its profile limits where there are any, and Wald's test.
    Penalised,
}

/// Why an exposure was not tested.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Untested {
    /// No episode with an outcome has a first visit that records it.
    NotRecorded,
    /// Too few episodes, responders or others.
    TooFew,
    /// It is all but the same within each site, or follows from site and case mix.
    NoVariation,
    /// The model could not be fitted.
    NotFitted,
}

/// An episode with its exposure and its patient's lot.
#[derive(Clone, Copy)]
struct Exposed {
    case: Case,
    value: f64,
    lot: f64,
}

/// Every exposure against the response of each domain, in the order of [`DOMAINS`] within [`Exposure::ALL`]. `doses`: one an episode of the run.
pub fn associations(records: Records<'_>, doses: &[EpisodeDose]) -> Vec<Held> {
    let reader = Reader::new(records);
    let episodes = &records.episodes.list;
    let cases =
        DOMAINS.map(|domain| (domain, with_lots(records, reader.cases(Scope::All(domain), Quantity::Response))));
    let wanted: Vec<(Exposure, usize)> = Exposure::ALL
        .into_iter()
        .flat_map(|exposure| (0..DOMAINS.len()).map(move |domain| (exposure, domain)))
        .collect();
    let hold = |(exposure, place): (Exposure, usize)| {
        let value = |case: &Case| doses.get(case.episode as usize)?.exposures.get(exposure);
        let (domain, cases) = cases.get(place)?;
        let exposed =
            cases.iter().filter_map(|(case, lot)| Some(Exposed { case: *case, value: value(case)?, lot: *lot }));
        Some(Held { exposure, domain: *domain, found: associate(exposed.collect(), episodes, exposure.step()) })
    };
    wanted.into_par_iter().filter_map(hold).collect()
}

/// Cases with their patients' lots; 0 where all are taken anyway.
fn with_lots(records: Records<'_>, cases: Vec<Case>) -> Vec<(Case, f64)> {
    let draws = cases.len() > MOST_PROFILED;
    let key = |case: &Case| {
        let episode = records.episodes.list.get(case.episode as usize);
        episode.map_or("", |episode| records.names.patients.get(episode.patient))
    };
    cases.into_par_iter().map(|case| (case, if draws { lot(key(&case)) } else { 0.0 })).collect()
}

fn associate(mut exposed: Vec<Exposed>, episodes: &[Episode], step: f64) -> Result<Association, Untested> {
    if exposed.is_empty() {
        return Err(Untested::NotRecorded);
    }
    // a column a site, and some thirty more
    let columns = sites_of(&exposed).len() + 30;
    let most = MOST_FITTED.min(MOST_WORK / (columns * columns)).max(MOST_PROFILED);
    if exposed.len() > most {
        let share = most as f64 / exposed.len() as f64;
        exposed.retain(|exposed| exposed.lot < share);
    }
    let sites = sites_of(&exposed);
    exposed
        .retain(|exposed| sites.get(&exposed.case.site).is_some_and(|site| site.responders > 0 && site.others() > 0));
    let sites: BTreeMap<NameId, Site> =
        sites.into_iter().filter(|(_, site)| site.responders > 0 && site.others() > 0).collect();
    let responders = exposed.iter().filter(|exposed| exposed.case.value > 0.5).count();
    let scarce = responders.min(exposed.len() - responders);
    // intercept, the other sites, the exposure
    let room = (scarce / EVENTS_A_COLUMN).saturating_sub(sites.len() + 1);
    if exposed.len() < FEWEST_EPISODES || scarce < FEWEST_EACH || room == 0 {
        return Err(Untested::TooFew);
    }
    if differing(&exposed, &sites, step / 100.0) < FEWEST_EACH {
        return Err(Untested::NoVariation);
    }
    let cases: Vec<Case> = exposed.iter().map(|exposed| exposed.case).collect();
    let mix = CaseMix::of(&cases, episodes, &COVARIATES, room);
    let estimate = Design::new(&exposed, &sites, &mix, step).fit()?;
    let share = responders as f64 / exposed.len() as f64;
    let (odds_ratio, low, high) = (estimate.value.exp(), estimate.interval.low.exp(), estimate.interval.high.exp());
    let interval = Interval { low, high };
    Ok(Association {
        episodes: exposed.len(),
        responders,
        sites: sites.len(),
        spread: spread(&exposed, &sites),
        odds_ratio,
        interval,
        p: estimate.p,
        test: estimate.test,
        e_value: of_odds_ratio(odds_ratio, interval, share).map_err(|_| Untested::NotFitted)?,
        allowed_for: mix.entered.iter().map(|(covariate, _)| *covariate).collect(),
    })
}

#[derive(Default)]
struct Site {
    responders: usize,
    values: Vec<f64>,
}

impl Site {
    fn others(&self) -> usize {
        self.values.len() - self.responders
    }
}

fn sites_of(exposed: &[Exposed]) -> BTreeMap<NameId, Site> {
    let mut sites: BTreeMap<NameId, Site> = BTreeMap::new();
    for one in exposed {
        let site = sites.entry(one.case.site).or_default();
        site.responders += usize::from(one.case.value > 0.5);
        site.values.push(one.value);
    }
    sites
}

/// Episodes whose exposure differs from the median of their site by more than `by`.
fn differing(exposed: &[Exposed], sites: &BTreeMap<NameId, Site>, by: f64) -> usize {
    let medians: BTreeMap<NameId, f64> =
        sites.iter().filter_map(|(name, site)| Some((*name, Sorted::new(&site.values).ok()?.median()))).collect();
    let differs = |one: &&Exposed| medians.get(&one.case.site).is_some_and(|median| (one.value - median).abs() > by);
    exposed.iter().filter(differs).count()
}

fn spread(exposed: &[Exposed], sites: &BTreeMap<NameId, Site>) -> f64 {
    let squares = |site: &Site| {
        let mean = site.values.iter().sum::<f64>() / site.values.len().max(1) as f64;
        site.values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>()
    };
    let freedom = exposed.len().saturating_sub(sites.len()).max(1);
    (sites.values().map(squares).sum::<f64>() / freedom as f64).sqrt()
}

/// Columns by name, and what responded.
struct Design {
    columns: Vec<(String, Vec<f64>)>,
    successes: Vec<u32>,
}

/// The exposure's coefficient.
struct Coefficient {
    value: f64,
    interval: Interval,
    p: f64,
    test: Test,
}

impl Design {
    /// Intercept, an indicator of each site but the largest, case mix, exposure.
    fn new(exposed: &[Exposed], sites: &BTreeMap<NameId, Site>, mix: &CaseMix, step: f64) -> Self {
        let largest = sites.iter().max_by_key(|(name, site)| (site.values.len(), std::cmp::Reverse(**name)));
        let largest = largest.map(|(name, _)| *name);
        let mut columns = vec![("intercept".to_owned(), vec![1.0; exposed.len()])];
        for name in sites.keys().filter(|name| Some(**name) != largest) {
            let is = exposed.iter().map(|one| f64::from(u8::from(one.case.site == *name))).collect();
            columns.push((format!("site {}", name.0), is));
        }
        for (place, name) in mix.columns.iter().enumerate().skip(1) {
            columns.push((name.clone(), mix.rows().filter_map(|row| row.get(place).copied()).collect()));
        }
        let mean = exposed.iter().map(|one| one.value).sum::<f64>() / exposed.len().max(1) as f64;
        columns.push((COLUMN.to_owned(), exposed.iter().map(|one| (one.value - mean) / step).collect()));
        Self { columns, successes: exposed.iter().map(|one| u32::from(one.case.value > 0.5)).collect() }
    }

    /// Fits; a column of the case mix that sites and others reproduce is left out (a measure that one site alone uses).
    fn fit(mut self) -> Result<Coefficient, Untested> {
        loop {
            match self.try_to_fit() {
                Err(InputError::RankDeficient { term }) if term == COLUMN => return Err(Untested::NoVariation),
                Err(InputError::RankDeficient { term }) => self.columns.retain(|(name, _)| *name != term),
                Err(_) | Ok(None) => return Err(Untested::NotFitted),
                Ok(Some(coefficient)) => return Ok(coefficient),
            }
        }
    }

    fn try_to_fit(&self) -> Result<Option<Coefficient>, InputError> {
        let names: Vec<&str> = self.columns.iter().map(|(name, _)| name.as_str()).collect();
        let n = self.successes.len();
        let cell = |row: usize| self.columns.iter().filter_map(move |(_, column)| column.get(row).copied());
        let design: Vec<f64> = (0..n).flat_map(cell).collect();
        let trials = vec![1; n];
        let rows = Rows { successes: &self.successes, trials: &trials, design: &design, names: &names, offset: None };
        let last = names.len() - 1;
        let level = Level::NINETY_FIVE;
        match logistic(&rows)? {
            Outcome::Fitted(fit) if n <= MOST_PROFILED => {
                let profiled = likelihood_ratio(&rows, &fit, last, level)?;
                Ok(wald(&fit, last).map(|wald| match profiled {
                    Some(found) => {
                        Coefficient { interval: found.interval, p: found.p, test: Test::LikelihoodRatio, ..wald }
                    }
                    None => wald,
                }))
            }
            Outcome::Fitted(fit) => Ok(wald(&fit, last)),
            Outcome::Separated { firth, .. } => {
                let profiled = if n <= MOST_PENALISED { profile_interval(&rows, &firth, last, level)? } else { None };
                Ok(wald(&firth, last).map(|wald| Coefficient {
                    interval: profiled.unwrap_or(wald.interval),
                    test: Test::Penalised,
                    ..wald
                }))
            }
            Outcome::NotConverged(_) => Ok(None),
        }
    }
}

/// Wald's limits and test.
fn wald(fit: &LogisticFit, column: usize) -> Option<Coefficient> {
    let estimate = fit.estimate(column, Level::NINETY_FIVE)?;
    let z = estimate.value / estimate.standard_error;
    let p = chi_square_tail(z * z, 1.0).ok()?;
    Some(Coefficient { value: estimate.value, interval: estimate.interval, p, test: Test::Wald })
}

#[cfg(test)]
#[path = "association_tests.rs"]
mod tests;
