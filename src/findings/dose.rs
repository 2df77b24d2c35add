//! Dose as plain data: what `dose_by_visit.csv`, `dose_by_site.csv`, `dose_associations.csv` and the sections on dose say.

use super::FALSE_DISCOVERY_RATE;
use super::shown::{Estimate, Shown};
use crate::catalogue::Region;
use crate::catalogue::measure::Domain;
use crate::models::dose::association::{Test, Untested};
use crate::models::dose::exposures::Exposure;
use crate::models::sites::case_mix::Covariate;

/// Everything about dose. Counts are given to whole tens.
#[derive(Clone, PartialEq, Debug)]
pub struct DoseFindings {
    /// Pull by condition and visit, the condition of the most visits first, without a condition last.
    pub by_visit: Vec<PullByVisit>,
    /// Dose by region and site: the whole group of a region, then its sites in order of name.
    pub by_site: Vec<DoseBySite>,
    /// Exposures held against the response of a domain.
    pub associations: Vec<DoseAssociation>,
    /// Those that could not be.
    pub untested: Vec<NotTested>,
}

/// Pull at one visit of a condition's episodes.
#[derive(Clone, PartialEq, Debug)]
pub struct PullByVisit {
    /// Condition key.
    pub condition: String,
    /// Title for people.
    pub condition_title: String,
    /// Where it is.
    pub region: Region,
    /// Number of the treated visit, from 1.
    pub visit_no: u32,
    /// Visits that record the pull.
    pub visits: Shown<u32>,
    /// 10, 25, 50, 75 and 90 % of visits lie at or below these, percent of body weight.
    pub percent: Shown<[f64; 5]>,
}

/// Dose of one site in one region, over the episodes that have ended or are due. A number of the whole group is withheld where
/// that of a site is.
#[derive(Clone, PartialEq, Debug)]
pub struct DoseBySite {
    /// The region.
    pub region: Region,
    /// The site; the whole group when absent.
    pub site: Option<String>,
    /// Episodes.
    pub episodes: Shown<u32>,
    /// Mean pull at the first visit, percent of body weight, of episodes that record it at the first and at the last.
    pub first: Shown<f64>,
    /// Mean pull at the last visit of the same episodes.
    pub last: Shown<f64>,
    /// The difference of the two, points of body weight.
    pub rise: Shown<f64>,
    /// Median progression of the episodes, percent of body weight a visit.
    pub progression: Shown<f64>,
    /// Median of minutes under pull a visit.
    pub minutes: Shown<f64>,
    /// Visits delivered / visits planned, over the episodes with a plan.
    pub delivered: Shown<f64>,
    /// Share of the episodes with a plan that got at least 80 % of it.
    pub most_delivered: Shown<f64>,
    /// Median of visits a week.
    pub visits_a_week: Shown<f64>,
}

/// An exposure that goes along with the response of a domain, or does not. Never proof, and no advice on dose.
#[derive(Clone, PartialEq, Debug)]
pub struct DoseAssociation {
    /// The exposure.
    pub exposure: Exposure,
    /// Whose response.
    pub domain: Domain,
    /// Episodes.
    pub episodes: u32,
    /// Sites in which some responded and some did not.
    pub sites: u32,
    /// Share that responded, to whole percent.
    pub responded: f64,
    /// SD of the exposure within sites, in its own unit.
    pub spread: f64,
    /// Odds ratio for one step more of the exposure, within sites and at equal case mix.
    pub odds_ratio: Estimate,
    /// Two-sided p value of no association.
    pub p: f64,
    /// How limits and p value were found.
    pub test: Test,
    /// The p value after the report's one Benjamini-Hochberg step over all findings on setups; `None` before it.
    pub q: Option<f64>,
    /// E-value of the estimate.
    pub e_value: f64,
    /// E-value of the limit nearer to 1; 1 where the interval holds 1.
    pub e_value_of_limit: f64,
    /// What was allowed for beside the site.
    pub allowed_for: Vec<Covariate>,
}

impl DoseAssociation {
    /// Whether it is more than chance explains: the interval leaves out 1, and so it is after allowing for the number of findings.
    pub fn is_beyond_chance(&self) -> bool {
        let excludes_one = self.odds_ratio.low > 1.0 || self.odds_ratio.high < 1.0;
        excludes_one && self.q.is_some_and(|q| q <= FALSE_DISCOVERY_RATE)
    }
}

/// An exposure that could not be held against the response of a domain.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct NotTested {
    /// The exposure.
    pub exposure: Exposure,
    /// Whose response.
    pub domain: Domain,
    /// Why.
    pub why: Untested,
}

impl DoseFindings {
    /// The p values of the associations, in their order: part of the report's one Benjamini-Hochberg step over findings on setups.
    pub fn p_values(&self) -> Vec<f64> {
        self.associations.iter().map(|association| association.p).collect()
    }

    /// Sets what that step made of them, in the same order; those without one keep none.
    pub fn set_q(&mut self, q: &[f64]) {
        for (association, q) in self.associations.iter_mut().zip(q) {
            association.q = Some(*q);
        }
    }
}
