//! Last digits: does a clinician round?
//!
//! **Where.** Where values spread over so many units of their last place that the last digit should be even. For a normal
//! spread of s units of the last place, the shares of digits depart from a tenth by a factor of at most 1 + 2 exp(-2 pi2 s2 / 100), the
//! first Fourier coefficient of the wrapped normal distribution: 1.4 % at the [`LEAST_SPREAD`] of 5 units. Pain on a 100 mm line and
//! forces in whole pounds qualify; a 0 to 10 scale does not.
//!
//! **Unit recorded.** Inside, forces are newtons. The unit and decimals that a site wrote are found again as the coarsest on
//! which nearly all of the clinician's values lie; values of a unit that cannot be found are not tested.
//!
//! **Test.** One visit an episode, drawn by the patient's key: the values of one patient depend on each other. Then
//! [`mendcurve_stats::digits`], by the most preferred digit.

use super::shares::FEWEST_VISITS;
use super::tested::{Question, Tested};
use super::visits::{Level, SetupVisit, SetupVisits, UnitId};
use crate::catalogue::parameter::{About, Parameter};
use crate::catalogue::{MeasureId, Region};
use crate::rows::names::Names;
use crate::rows::row::Answers;
use crate::units::Unit;
use crate::visits::parameter_value::value;
use crate::visits::visits::Visits;
use mendcurve_stats::digits::{digit_preference, last_digits};
use mendcurve_stats::random::{stream, uniform};
use mendcurve_stats::sum::sample_sd;
use std::collections::BTreeMap;

/// Units of the last place that values must spread over, as a standard deviation.
pub const LEAST_SPREAD: f64 = 5.0;
/// Share of values ending in the preferred digit, from which on it matters.
const MATTERS: f64 = 0.25;
/// Share of values that must lie on a unit's steps.
const NEARLY_ALL: f64 = 0.98;
const SEED: u64 = 13;

/// What is read.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Digits {
    /// The peak pull, in whatever unit of force it was written.
    PeakPull(Region),
    /// The score of a measure.
    Score(MeasureId),
}

/// An answer with what it was about.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct DigitsTested {
    /// Of what.
    pub of: Digits,
    /// The answer.
    pub tested: Tested,
}

/// One value an episode and clinician.
type Drawn<'a> = (UnitId, &'a SetupVisit, f64);

/// Looks at the last digits of each clinician's peak pulls and scores.
pub fn tests(visits: &SetupVisits<'_>, records: &Visits, names: &Names) -> Vec<DigitsTested> {
    let mut by: BTreeMap<Digits, Vec<(UnitId, &SetupVisit, f64)>> = BTreeMap::new();
    for visit in &visits.list {
        let (Some(clinician), Some(row)) = (visit.unit(Level::Clinician), visits.row(visit)) else { continue };
        if let (Some(region), Some(pull)) = (visit.region, row.dose.peak_force) {
            by.entry(Digits::PeakPull(region)).or_default().push((clinician, visit, pull.get()));
        }
        for score in records.scores_of(row) {
            if let Answers::Value(value) = score.answers() {
                by.entry(Digits::Score(score.measure)).or_default().push((clinician, visit, value));
            }
        }
    }
    let mut found = Vec::new();
    for (of, values) in by {
        let drawn = one_an_episode(values, names);
        for of_clinician in drawn.chunk_by(|a, b| a.0 == b.0) {
            found.extend(test(of, of_clinician).map(|tested| DigitsTested { of, tested }));
        }
    }
    found
}

/// One value an episode and clinician, in order of clinicians.
fn one_an_episode<'a>(mut values: Vec<Drawn<'a>>, names: &Names) -> Vec<Drawn<'a>> {
    values.sort_by_key(|(clinician, visit, _)| (*clinician, visit.episode, visit.row));
    values
        .chunk_by(|a, b| (a.0, a.1.episode) == (b.0, b.1.episode))
        .filter_map(|of| {
            let key = names.patients.get(of.first()?.1.patient);
            let lot = uniform(&mut stream(SEED, key.as_bytes()));
            of.get((lot * of.len() as f64) as usize).copied()
        })
        .collect()
}

fn test(of: Digits, drawn: &[Drawn<'_>]) -> Option<Tested> {
    let values: Vec<f64> = drawn.iter().map(|(_, _, value)| *value).collect();
    if (values.len() as u32) < FEWEST_VISITS {
        return None;
    }
    let (unit, decimals) = match of {
        Digits::PeakPull(_) => written_force(&values)?,
        Digits::Score(_) => (("", 1.0), written_decimals(&values)?),
    };
    let written: Vec<f64> = values.iter().map(|value| value / unit.1).collect();
    if sample_sd(&written)? * 10.0_f64.powi(decimals as i32) < LEAST_SPREAD {
        return None;
    }
    let (digits, _) = last_digits(&rounded(&written, decimals), decimals).ok()?;
    let preferred = digit_preference(&digits, None).ok()?.preferred;
    let n = digits.len() as f64;
    let half = 1.96 * (0.09 / n).sqrt();
    let about = match of {
        Digits::PeakPull(region) => Some(About { parameter: Parameter::PullShare, region }),
        Digits::Score(_) => None,
    };
    Some(Tested {
        question: Question::Digits { digit: preferred.digit, unit: unit.0 },
        unit: drawn.first()?.0,
        about,
        observed: preferred.share,
        reference: 0.1,
        interval: ((0.1 - half).max(0.0), 0.1 + half),
        since: None,
        visits: digits.len() as u32,
        patients: super::column::patients(drawn.iter().map(|(_, visit, _)| visit.patient)),
        matters: preferred.share >= MATTERS,
        p: preferred.p,
    })
}

/// Converted values carry the rounding of the conversion: the written number is the nearest one.
fn rounded(values: &[f64], decimals: u32) -> Vec<f64> {
    let places = 10.0_f64.powi(decimals as i32);
    values.iter().map(|value| (value * places).round() / places).collect()
}

/// The unit of force, with its newtons, and the decimals that values were written in: the coarsest that fits nearly all.
fn written_force(values_n: &[f64]) -> Option<((&'static str, f64), u32)> {
    let units = [Unit::Newton, Unit::PoundForce, Unit::KilogramForce];
    let candidates = [0, 1].into_iter().flat_map(|decimals| units.map(|unit| (unit, decimals)));
    candidates
        .filter_map(|(unit, decimals)| Some((unit.symbol(), unit.factor()?, decimals)))
        .find(|(_, factor, decimals)| fits(values_n, factor / 10.0_f64.powi(*decimals as i32)))
        .map(|(symbol, factor, decimals)| ((symbol, factor), decimals))
}

fn written_decimals(values: &[f64]) -> Option<u32> {
    (0..=2).find(|decimals| fits(values, 10.0_f64.powi(-(*decimals as i32))))
}

/// Whether nearly all values are whole numbers of steps.
fn fits(values: &[f64], step: f64) -> bool {
    let on = values.iter().filter(|value| {
        let steps = **value / step;
        (steps - steps.round()).abs() <= 1e-6 * steps.abs().max(1.0)
    });
    on.count() as f64 >= NEARLY_ALL * values.len() as f64
}

/// The step in which a site records a parameter, in the parameter's own unit: the coarsest of the usual ones on which nearly all of
/// its values lie; a thousandth where none fits.
pub fn step(parameter: Parameter, values: &[f64]) -> f64 {
    let usual: &[(f64, &[f64])] = match parameter {
        Parameter::ReturnTension => &[(1.0, &[10.0, 1.0, 0.1]), (4.448_221_615_260_5, &[1.0, 0.1]), (9.806_65, &[1.0, 0.1])],
        Parameter::SplitGap => &[(1.0, &[1.0, 0.5, 0.1]), (25.4, &[0.25, 0.125, 0.0625, 0.01]), (10.0, &[0.1, 0.01])],
        _ => &[(1.0, &[5.0, 1.0, 0.5, 0.1, 0.01])],
    };
    let steps = usual.iter().flat_map(|(unit, steps)| steps.iter().map(move |step| unit * step));
    steps.filter(|step| fits(values, *step)).fold(0.001, f64::max)
}

/// The coarsest step in which any site records a parameter.
pub fn coarsest_step(visits: &SetupVisits<'_>, about: About) -> f64 {
    let mut by_site: BTreeMap<UnitId, Vec<f64>> = BTreeMap::new();
    for visit in visits.list.iter().filter(|visit| visit.region == Some(about.region)) {
        if let Some(value) = visits.row(visit).and_then(|row| value(row, about.parameter)) {
            by_site.entry(visit.site).or_default().push(value);
        }
    }
    by_site.values().map(|values| step(about.parameter, values)).fold(0.001, f64::max)
}
