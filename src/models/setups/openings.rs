//! Traction tables beside their siblings: the opening of the split at equal return tension.
//!
//! A stiffer return spring opens the split less, so openings are compared at one tension: least squares of opening on tension within
//! tables gives the slope b (mm a newton), and a table's opening at the group's mean tension is its mean less b (its mean
//! tension - the group's). Only recent visits count, since a table that drifted is asked for as it is now. It stands out by both
//! yardsticks of [`unlike`](super::unlike): patients by chance, and what tables of a site usually differ by.

use super::column::{Column, patients};
use super::tested::{Question, Tested};
use super::visits::{Level, SetupVisit, SetupVisits, UnitId};
use crate::catalogue::parameter::About;
use mendcurve_stats::distribution::{t_quantile, t_two_sided};
use mendcurve_stats::siblings::{BesideSiblings, Unit, beside_siblings};
use mendcurve_stats::sum::{mean, sum};
use std::collections::HashMap;

/// Days before the last visit that count as recent.
pub const RECENT_DAYS: i32 = 91;
/// Visits that a table must have.
const FEWEST_VISITS: usize = 10;

#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Opening {
    pub table: UnitId,
    /// Recent visits that record opening and tension.
    pub visits: u32,
    /// Patients behind them.
    pub patients: u32,
    /// Mean opening as recorded, mm.
    pub recorded_mm: f64,
    /// Mean opening at the group's mean tension, mm.
    pub at_equal_tension_mm: f64,
    /// Its 95 % interval, patients taken as what is independent.
    pub interval_mm: (f64, f64),
    /// The table beside its siblings; absent where there are too few.
    pub beside: Option<BesideSiblings>,
    /// p value of the difference, the larger of the two; absent likewise.
    pub p: Option<f64>,
}

/// All tables with recent visits enough. `gaps` and `tensions`: the columns of opening (mm) and return tension (N) of one region.
pub fn openings(visits: &SetupVisits<'_>, gaps: &Column<'_>, tensions: &Column<'_>) -> Vec<Opening> {
    let mut rows = recent_pairs(gaps, tensions);
    rows.sort_by_key(|(table, visit, _, _)| (*table, visit.row));
    let tables: Vec<&[Pair<'_>]> =
        rows.chunk_by(|a, b| a.0 == b.0).filter(|of_table| of_table.len() >= FEWEST_VISITS).collect();
    let means: Vec<(f64, f64)> =
        tables.iter().filter_map(|of| Some((mean(&column(of, 2))?, mean(&column(of, 3))?))).collect();
    let Some(all_tension) = mean(&tables.iter().flat_map(|of| column(of, 3)).collect::<Vec<_>>()) else {
        return Vec::new();
    };
    let within = || {
        tables
            .iter()
            .zip(&means)
            .flat_map(|(of, (gap, tension))| of.iter().map(move |row| (row.2 - gap, row.3 - tension)))
    };
    let squares = sum(within().map(|(_, tension)| tension * tension));
    let slope = if squares > 0.0 { sum(within().map(|(gap, tension)| gap * tension)) / squares } else { 0.0 };
    let df = within().count().saturating_sub(tables.len() + 1).max(1) as f64;
    let sd = (sum(within().map(|(gap, tension)| (gap - slope * tension).powi(2))) / df).sqrt();
    let adjusted: Vec<f64> = means.iter().map(|(gap, tension)| gap - slope * (tension - all_tension)).collect();
    let table = |of: &[Pair<'_>]| of.first().map_or(UnitId::at(0), |row| row.0);
    let families: Vec<Unit> = tables
        .iter()
        .zip(&adjusted)
        .map(|(of, value)| Unit { family: visits.units.site_of(table(of)).position(), value: *value })
        .collect();
    let (Ok(beside), Ok(wide)) = (beside_siblings(&families), t_quantile(0.975, df)) else { return Vec::new() };
    let mut found = Vec::new();
    for (((of, (recorded, _)), value), beside) in tables.iter().zip(&means).zip(&adjusted).zip(beside) {
        let patients = patients(of.iter().map(|row| row.1.patient));
        let error = sd / f64::from(patients).sqrt();
        let by_chance = |reference: f64| match error > 0.0 {
            true => t_two_sided((value - reference) / (error * std::f64::consts::SQRT_2), df).unwrap_or(1.0),
            false => 1.0,
        };
        found.push(Opening {
            table: table(of),
            visits: of.len() as u32,
            patients,
            recorded_mm: *recorded,
            at_equal_tension_mm: *value,
            interval_mm: (value - wide * error, value + wide * error),
            beside,
            p: beside.map(|beside| beside.p.max(by_chance(beside.reference))),
        });
    }
    found
}

impl Opening {
    /// The same as an answer about `gaps`; `None` without siblings. `margin`: what matters, mm.
    pub fn tested(&self, gaps: About, margin: f64) -> Option<Tested> {
        let beside = self.beside?;
        Some(Tested {
            question: Question::Opening,
            unit: self.table,
            about: Some(gaps),
            observed: self.at_equal_tension_mm,
            reference: beside.reference,
            interval: self.interval_mm,
            since: None,
            sides: None,
            visits: self.visits,
            patients: self.patients,
            matters: (self.at_equal_tension_mm - beside.reference).abs() > margin,
            p: self.p?,
        })
    }
}

/// A visit's table, itself, its opening and its tension.
type Pair<'a> = (UnitId, &'a SetupVisit, f64, f64);

fn column(of: &[Pair<'_>], which: usize) -> Vec<f64> {
    of.iter().map(|row| if which == 2 { row.2 } else { row.3 }).collect()
}

/// Visits that record both, in the last [`RECENT_DAYS`] days; undated visits count as recent.
fn recent_pairs<'a>(gaps: &Column<'a>, tensions: &Column<'a>) -> Vec<Pair<'a>> {
    let last = gaps.values.iter().filter_map(|(visit, _)| visit.day).max();
    let is_recent = |visit: &SetupVisit| match (visit.day, last) {
        (Some(day), Some(last)) => day > last - RECENT_DAYS,
        _ => true,
    };
    let tension: HashMap<u32, f64> = tensions
        .values
        .iter()
        .filter(|(visit, _)| is_recent(visit))
        .map(|(visit, tension)| (visit.row, *tension))
        .collect();
    let pair = |(visit, gap): &(&'a SetupVisit, f64)| {
        Some((visit.unit(Level::Table)?, *visit, *gap, *tension.get(&visit.row)?))
    };
    gaps.values.iter().filter_map(pair).collect()
}
