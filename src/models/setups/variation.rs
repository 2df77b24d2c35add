//! Where a parameter's variation sits: between sites, between the tables or clinicians of a site, between the patients of one, or
//! between the visits of a patient.
//!
//! Nested variance components by restricted maximum likelihood with profile-likelihood intervals ([`mendcurve_stats::nested`]). A
//! patient seen on two tables counts once on each. A yes or no is taken as 1 and 0. Beyond [`MOST_VISITS`] visits whole
//! patients are taken at even steps: the limits of a share of the variance are then set by the number of sites and tables.

use super::column::Column;
use super::unlike::{is_numeric, narrow_level};
use super::visits::{Level, UnitId};
use mendcurve_stats::nested::{Nested, Outcome, Refusal, fit};
use mendcurve_stats::{Interval, Level as Confidence};

/// Visits beyond which patients are picked.
pub const MOST_VISITS: usize = 40_000;

/// A level of the variation.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct AtLevel {
    /// `site`, `table` or `clinician`, `patient`, `visit`.
    pub level: &'static str,
    /// Groups at the level; visits at the last.
    pub groups: usize,
    pub variance: f64,
    /// Its share of the whole.
    pub share: f64,
    /// 95 % interval of the share; absent where no limit could be found.
    pub interval: Option<Interval>,
}

/// Where the variation sits, or why it cannot be told.
#[derive(Clone, PartialEq, Debug)]
pub enum Variation {
    /// Level by level, with the number of visits.
    Levels(Vec<AtLevel>, u32),
    Untold(&'static str),
}

/// The variation of a column.
pub fn variation(column: &Column<'_>, confidence: Confidence) -> Variation {
    if !is_numeric(column.about.parameter) {
        return Variation::Untold("words have no variance");
    }
    let narrow = narrow_level(column.about.parameter);
    let step = column.values.len().div_ceil(MOST_VISITS).max(1) as u32;
    let code = |unit: UnitId| unit.position() as u32;
    let mut rows: Vec<(u32, u32, u32, f64)> = column
        .values
        .iter()
        .filter(|(visit, _)| visit.patient.0.get() % step == 0)
        .filter_map(|(visit, value)| Some((code(visit.site), code(visit.unit(narrow)?), visit.patient.0.get(), *value)))
        .collect();
    rows.sort_by(|a, b| (a.0, a.1, a.2).cmp(&(b.0, b.1, b.2)).then(a.3.total_cmp(&b.3)));
    let codes = |of: fn(&(u32, u32, u32, f64)) -> u32| -> Vec<u32> { rows.iter().map(of).collect() };
    let (sites, narrower, patients) = (codes(|row| row.0), codes(|row| row.1), codes(|row| row.2));
    let values: Vec<f64> = rows.iter().map(|row| row.3).collect();
    let Ok(data) = Nested::new(&[&sites, &narrower, &patients], &values) else {
        return Variation::Untold("too few visits record it");
    };
    let fitted = match fit(&data) {
        Outcome::Fitted(fitted) => fitted,
        Outcome::NotFitted(why) => return Variation::Untold(in_words(&why)),
    };
    let names = ["site", if narrow == Level::Table { "table" } else { "clinician" }, "patient", "visit"];
    let intervals = fitted.intervals(&data, confidence);
    let levels = fitted.components.iter().zip(names).enumerate().map(|(i, (component, level))| AtLevel {
        level,
        groups: data.groups(i).unwrap_or(data.observations()),
        variance: component.variance,
        share: component.share,
        interval: intervals.get(i).and_then(|found| found.share),
    });
    Variation::Levels(levels.collect(), data.observations() as u32)
}

fn in_words(why: &Refusal) -> &'static str {
    match why {
        Refusal::NotConverged(_) => "the fit did not arrive at a maximum",
        Refusal::NotNested { .. } => "the levels cannot be told apart: one site, or one table or clinician at each",
        Refusal::NoRepeats => "no patient has two visits that record it",
        Refusal::NoResidualVariation => "the visits of each patient all say the same",
    }
}
