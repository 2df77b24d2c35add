//! The invented group as data: conditions, sites and planted faults of `plan.toml`, checked.

use super::SampleError;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// Everything that is decided before a patient is drawn.
#[derive(Deserialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// First day of visits.
    #[serde(deserialize_with = "iso_day")]
    pub first_day: NaiveDate,
    /// Last day of visits.
    #[serde(deserialize_with = "iso_day")]
    pub last_day: NaiveDate,
    /// What patients come with.
    #[serde(rename = "condition")]
    pub conditions: Vec<ConditionPlan>,
    /// The clinics.
    #[serde(rename = "site")]
    pub sites: Vec<SitePlan>,
    /// One site's return spring is left too tight.
    pub return_tension_too_high: TensionFault,
    /// One site repeats its setup entries.
    pub copied_forward: CopyFault,
    /// One table of a site drifts.
    pub drifting: DriftFault,
    /// One clinician rounds.
    pub digits: DigitFault,
}

/// The part of the spine that is treated.
#[derive(Deserialize, Serialize, Clone, Copy, PartialEq, Eq, Debug)]
#[serde(rename_all = "snake_case")]
pub enum Region {
    /// Low back.
    Lumbar,
    /// Neck.
    Cervical,
}

/// Where pain is felt.
#[derive(Deserialize, Serialize, Clone, Copy, PartialEq, Eq, Debug)]
#[serde(rename_all = "snake_case")]
pub enum PainSite {
    /// Back.
    Back,
    /// Leg.
    Leg,
    /// Neck.
    Neck,
    /// Arm.
    Arm,
}

/// One condition.
#[derive(Deserialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct ConditionPlan {
    /// Name in the registry of conditions.
    pub id: String,
    /// Region treated.
    pub region: Region,
    /// Where the worst pain is.
    pub main_pain: PainSite,
    /// Where else it hurts, if anywhere.
    pub second_pain: Option<PainSite>,
    /// Mean usual pain, 0-10, before selection at entry.
    pub pain: f64,
    /// Mean share of the pain that stays.
    pub plateau_share: f64,
    /// Median days until half of what goes is gone.
    pub half_time_days: f64,
    /// Codes in use.
    pub codes: Vec<String>,
    /// Retired codes written by mistake instead of a valid one.
    pub retired: Vec<String>,
    /// A retired code written by mistake beside a valid one.
    pub retired_beside: Option<String>,
}

/// One clinic.
#[derive(Deserialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct SitePlan {
    /// Name.
    pub name: String,
    /// First letter, used in clinicians' and tables' codes.
    pub code: String,
    /// Share of the group's patients.
    pub share: f64,
    /// Clinicians.
    pub clinicians: i64,
    /// Traction tables.
    pub tables: i64,
    /// Share of patients under 6 weeks from onset.
    pub acute: f64,
    /// Share of patients 6 to 12 weeks from onset.
    pub subacute: f64,
    /// Weights of the conditions, in their order.
    pub case_mix: Vec<f64>,
    /// Chance of a telephone reading at 12 weeks.
    pub called: f64,
    /// Chance that pain is asked at a later visit.
    pub pain_each_visit: f64,
    /// Usual upper restraint for lumbar traction.
    pub restraint: String,
    /// Added to pain at entry: this site's patients are worse.
    #[serde(default)]
    pub severity: f64,
    /// Half-time against the group's; below 1 is faster.
    #[serde(default = "one")]
    pub half_time_factor: f64,
    /// Plateau against the group's; below 1 is better.
    #[serde(default = "one")]
    pub plateau_factor: f64,
    /// No static traction here.
    #[serde(default)]
    pub intermittent_only: bool,
    /// Chance a visit that a patient at pain 10 does not come back, 0 at pain 4 and below.
    #[serde(default = "usual_leaving")]
    pub leave_when_bad: f64,
}

/// Return tension left too high.
#[derive(Deserialize, Serialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct TensionFault {
    /// Where.
    pub site: String,
    /// Turns back from full.
    pub turns: f64,
    /// What the others use, lbf.
    pub usual_lbf: f64,
    /// Opening of the split lost per lbf above usual.
    pub gap_mm_per_lbf: f64,
}

/// Setup entries copied from the visit before.
#[derive(Deserialize, Serialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct CopyFault {
    /// Where.
    pub site: String,
    /// Who.
    pub clinicians: Vec<String>,
    /// Share of their visits.
    pub share: f64,
}

/// A slow change of one recorded quantity.
#[derive(Deserialize, Serialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct DriftFault {
    /// Where.
    pub site: String,
    /// Which table.
    pub table: String,
    /// Which field.
    pub parameter: String,
    /// First day of the change.
    #[serde(deserialize_with = "iso_day", serialize_with = "as_iso")]
    pub since: NaiveDate,
    /// Change a week, mm.
    pub mm_per_week: f64,
}

/// Rounding to tens by one clinician.
#[derive(Deserialize, Serialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct DigitFault {
    /// Where.
    pub site: String,
    /// Who.
    pub clinician: String,
}

impl Plan {
    /// The plan that the program carries.
    pub fn shipped() -> Result<Self, SampleError> {
        let plan: Self = toml::from_str(include_str!("plan.toml")).map_err(|e| SampleError::Plan(e.to_string()))?;
        if plan.sites.iter().any(|site| site.case_mix.len() != plan.conditions.len()) {
            return Err(SampleError::Plan("a site's case_mix needs one weight a condition".into()));
        }
        Ok(plan)
    }
}

impl Plan {
    /// The same group with nothing planted: every site treats, follows up and records alike. Whom they treat still differs.
    pub fn without_faults(mut self) -> Self {
        for site in &mut self.sites {
            (site.half_time_factor, site.plateau_factor) = (1.0, 1.0);
            site.leave_when_bad = usual_leaving();
            (site.called, site.pain_each_visit) = (0.3, 0.78);
        }
        let faulty = [
            &mut self.return_tension_too_high.site,
            &mut self.copied_forward.site,
            &mut self.drifting.site,
            &mut self.digits.site,
        ];
        faulty.into_iter().for_each(String::clear); // no site has no name
        self.digits.clinician.clear();
        self
    }
}

fn one() -> f64 {
    1.0
}

fn usual_leaving() -> f64 {
    0.05
}

fn iso_day<'de, D: serde::Deserializer<'de>>(from: D) -> Result<NaiveDate, D::Error> {
    String::deserialize(from)?.parse().map_err(serde::de::Error::custom)
}

fn as_iso<S: serde::Serializer>(day: &NaiveDate, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(day)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_plan_is_six_sites_whose_shares_make_one() {
        let plan = Plan::shipped().unwrap();
        assert_eq!(plan.sites.len(), 6);
        let sum: f64 = plan.sites.iter().map(|site| site.share).sum();
        assert!((sum - 1.0).abs() < 1e-9, "{sum}");
        for site in &plan.sites {
            assert!((site.case_mix.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{}", site.name);
            assert!((2..=3).contains(&site.tables) && (3..=5).contains(&site.clinicians));
        }
    }

    #[test]
    fn every_planted_fault_names_a_site_of_the_plan() {
        let plan = Plan::shipped().unwrap();
        let faulty =
            [&plan.return_tension_too_high.site, &plan.copied_forward.site, &plan.drifting.site, &plan.digits.site];
        for name in faulty {
            assert!(plan.sites.iter().any(|site| site.name == *name), "{name}");
        }
    }
}
