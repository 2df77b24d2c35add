//! Is the usual value of a unit unlike its siblings'?
//!
//! One value an episode, the median of its visits at the unit, less what its condition differs by. A unit's mean is held against
//! its siblings twice: by what chance makes of its patients, and by how much units of its kind usually differ
//! ([`mendcurve_stats::siblings`]). The larger p value counts, so that both must speak against it.

use super::column::{Column, Usual, allow_for_condition, patients};
use super::tested::{Question, Tested};
use super::visits::{Level, SetupVisits, UnitId};
use crate::catalogue::parameter::{Nature, Parameter, SetBy};
use mendcurve_stats::distribution::{t_quantile, t_two_sided};
use mendcurve_stats::siblings::{Unit, beside_siblings};
use mendcurve_stats::sum::{mean, sum};

/// Episodes that a unit must have to be held against its siblings.
pub const FEWEST_EPISODES: usize = 8;

/// What one unit has.
#[derive(Clone, PartialEq, Debug)]
pub struct UnitMean {
    /// The unit.
    pub unit: UnitId,
    /// One value an episode, its condition allowed for.
    pub values: Vec<f64>,
    /// Their mean.
    pub mean: f64,
    /// Visits.
    pub visits: u32,
    /// Patients.
    pub patients: u32,
}

/// Units of a level with episodes enough, and the standard deviation of episodes within them with its degrees of freedom.
#[derive(Clone, PartialEq, Debug)]
pub struct UnitMeans {
    /// The units in order.
    pub units: Vec<UnitMean>,
    /// Standard deviation within units.
    pub sd: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
}

/// The means of a column's units.
pub fn unit_means(column: &Column<'_>, level: Level) -> UnitMeans {
    let mut usual = column.usual(level);
    allow_for_condition(&mut usual);
    usual.sort_by_key(|one| (one.unit, one.episode));
    let of_unit = |of: &[Usual]| {
        let values: Vec<f64> = of.iter().map(|one| one.value).collect();
        Some(UnitMean {
            unit: of.first()?.unit,
            mean: mean(&values)?,
            values,
            visits: of.iter().map(|one| one.visits).sum(),
            patients: patients(of.iter().map(|one| one.patient)),
        })
    };
    let of_units = usual.chunk_by(|a, b| a.unit == b.unit).filter_map(of_unit);
    let units: Vec<UnitMean> = of_units.filter(|unit| unit.values.len() >= FEWEST_EPISODES).collect();
    let squares = units.iter().flat_map(|unit| unit.values.iter().map(|value| (value - unit.mean).powi(2)));
    let episodes: usize = units.iter().map(|unit| unit.values.len()).sum();
    let degrees_of_freedom = episodes.saturating_sub(units.len()) as f64;
    let sd = if degrees_of_freedom > 0.0 { (sum(squares) / degrees_of_freedom).sqrt() } else { 0.0 };
    UnitMeans { units, sd, degrees_of_freedom }
}

impl UnitMeans {
    /// The units as members of families: all sites of one, clinicians and tables of their site.
    pub fn as_families(&self, visits: &SetupVisits<'_>, value: impl Fn(&UnitMean) -> f64) -> Vec<Unit> {
        let family = |unit: UnitId| match visits.units.get(unit).map(|unit| unit.level) {
            Some(Level::Clinician | Level::Table) => visits.units.site_of(unit).0 as usize,
            _ => 0,
        };
        self.units.iter().map(|unit| Unit { family: family(unit.unit), value: value(unit) }).collect()
    }
}

/// How far apart units must be to matter where no standard says: a share of visits, or half a standard deviation of episodes.
pub fn margin_without_standard(parameter: Parameter, sd: f64) -> f64 {
    match parameter.nature() {
        Nature::Number { .. } => 0.5 * sd,
        Nature::YesNo => 0.1,
        Nature::Word(_) => 0.2,
    }
}

/// The level below the site at which a parameter is compared.
pub fn narrow_level(parameter: Parameter) -> Level {
    match parameter.set_by() {
        SetBy::Table => Level::Table,
        SetBy::Clinician | SetBy::Course => Level::Clinician,
    }
}

/// Whether a parameter's values may be taken as numbers: a word only where there are two.
pub fn is_numeric(parameter: Parameter) -> bool {
    !matches!(parameter.nature(), Nature::Word(words) if words.len() != 2)
}

/// Holds the units of a level against their siblings. `margin`: how far apart they must be to matter, where the standard says.
pub fn tests(visits: &SetupVisits<'_>, column: &Column<'_>, level: Level, margin: Option<f64>) -> Vec<Tested> {
    let means = unit_means(column, level);
    let Ok(beside) = beside_siblings(&means.as_families(visits, |unit| unit.mean)) else { return Vec::new() };
    let margin = margin.unwrap_or_else(|| margin_without_standard(column.about.parameter, means.sd));
    let Ok(wide) = t_quantile(0.975, means.degrees_of_freedom.max(1.0)) else { return Vec::new() };
    let mut found = Vec::new();
    for (unit, beside) in means.units.iter().zip(beside) {
        let Some(beside) = beside else { continue };
        let n = unit.values.len() as f64;
        let siblings = means.units.iter().filter(|other| is_sibling(visits, unit.unit, other.unit));
        let of_siblings: usize = siblings.map(|other| other.values.len()).sum();
        let error = means.sd * (1.0 / n + 1.0 / (of_siblings.max(1) as f64)).sqrt();
        let distance = unit.mean - beside.reference;
        let by_chance = match error > 0.0 {
            true => t_two_sided(distance / error, means.degrees_of_freedom).unwrap_or(1.0),
            false => f64::from(u8::from(distance == 0.0)),
        };
        let half = wide * means.sd / n.sqrt();
        found.push(Tested {
            question: Question::Unlike,
            unit: unit.unit,
            about: Some(column.about),
            observed: unit.mean,
            reference: beside.reference,
            interval: (unit.mean - half, unit.mean + half),
            since: None,
            visits: unit.visits,
            patients: unit.patients,
            matters: distance.abs() > margin,
            p: beside.p.max(by_chance),
        });
    }
    found
}

fn is_sibling(visits: &SetupVisits<'_>, unit: UnitId, other: UnitId) -> bool {
    let is_site = visits.units.get(unit).is_some_and(|unit| unit.level == Level::Site);
    unit != other && (is_site || visits.units.site_of(unit) == visits.units.site_of(other))
}
