//! Is the usual value of a unit unlike its siblings'?
//!
//! One value an episode, the mean of its visits at the unit, less what its condition differs by. A unit's mean is held against
//! its siblings twice: by what chance makes of its patients, and by how much units of its kind usually differ
//! ([`mendcurve_stats::siblings`]). The larger p value counts, so that both must speak against it. Chance is a t test for numbers; for
//! what is yes or no, where few patients make a skewed mean, the binomial distribution at the chance that the unit's conditions give.

use super::column::{Column, Usual, condition_means, patients};
use super::tested::{Question, Tested};
use super::visits::{Level, SetupVisits, UnitId};
use crate::catalogue::parameter::{Nature, Parameter, SetBy};
use crate::rows::row::NameId;
use mendcurve_stats::distribution::{binomial_at_least, t_quantile, t_two_sided};
use mendcurve_stats::siblings::{Unit, beside_siblings};
use mendcurve_stats::sum::{mean, sum};

/// Episodes that a unit must have to be held against its siblings.
pub const FEWEST_EPISODES: usize = 10;

/// What one unit has.
#[derive(Clone, PartialEq, Debug)]
pub struct UnitMean {
    pub unit: UnitId,
    /// One value an episode, its condition allowed for.
    pub values: Vec<f64>,
    /// The patient of each.
    pub whose: Vec<NameId>,
    /// Their mean.
    pub mean: f64,
    /// Their mean before conditions were allowed for.
    pub as_seen: f64,
    /// What the conditions of its episodes give on average, over all units.
    pub by_condition: f64,
    pub visits: u32,
    pub patients: u32,
}

/// Units of a level with episodes enough, and the standard deviation of episodes within them with its degrees of freedom.
#[derive(Clone, PartialEq, Debug)]
pub struct UnitMeans {
    /// The units in order.
    pub units: Vec<UnitMean>,
    /// Standard deviation within units.
    pub sd: f64,
    pub degrees_of_freedom: f64,
}

/// The means of a column's units.
pub fn unit_means(column: &Column<'_>, level: Level) -> UnitMeans {
    let mut usual = column.usual(level);
    usual.sort_by_key(|one| (one.unit, one.episode));
    let by_condition = condition_means(&usual);
    let all: Vec<f64> = usual.iter().map(|one| one.value).collect();
    let of_all = mean(&all).unwrap_or(0.0);
    let expected = |one: &Usual| by_condition.get(&one.condition).copied().unwrap_or(of_all);
    let of_unit = |of: &[Usual]| {
        let values: Vec<f64> = of.iter().map(|one| one.value + of_all - expected(one)).collect();
        let conditions: Vec<f64> = of.iter().map(expected).collect();
        Some(UnitMean {
            unit: of.first()?.unit,
            mean: mean(&values)?,
            as_seen: mean(&of.iter().map(|one| one.value).collect::<Vec<f64>>())?,
            by_condition: mean(&conditions)?,
            values,
            whose: of.iter().map(|one| one.patient).collect(),
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
            Some(Level::Clinician | Level::Table) => visits.units.site_of(unit).position(),
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
    tests_of(visits, column, &unit_means(column, level), margin)
}

/// The same of means that are known already.
pub fn tests_of(visits: &SetupVisits<'_>, column: &Column<'_>, means: &UnitMeans, margin: Option<f64>) -> Vec<Tested> {
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
        let is_number = matches!(column.about.parameter.nature(), Nature::Number { .. });
        let by_chance = match error > 0.0 {
            true if is_number => t_two_sided(distance / error, means.degrees_of_freedom).unwrap_or(1.0),
            true => two_sided_binomial(unit),
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
            sides: None,
            visits: unit.visits,
            patients: unit.patients,
            matters: distance.abs() > margin,
            p: beside.p.max(by_chance),
        });
    }
    found
}

/// Twice the smaller tail of the unit's sum of values as a binomial count, at the chance that its conditions give; at most 1.
fn two_sided_binomial(unit: &UnitMean) -> f64 {
    let n = unit.values.len() as f64;
    let chance = unit.by_condition.clamp(0.0, 1.0);
    // the sum as seen, before conditions were allowed for
    let hits = (n * unit.as_seen).clamp(0.0, n);
    let at_least = binomial_at_least(hits, n, chance).unwrap_or(1.0);
    let at_most = binomial_at_least(n - hits, n, 1.0 - chance).unwrap_or(1.0);
    (2.0 * at_least.min(at_most)).min(1.0)
}

fn is_sibling(visits: &SetupVisits<'_>, unit: UnitId, other: UnitId) -> bool {
    let is_site = visits.units.get(unit).is_some_and(|unit| unit.level == Level::Site);
    unit != other && (is_site || visits.units.site_of(unit) == visits.units.site_of(other))
}
