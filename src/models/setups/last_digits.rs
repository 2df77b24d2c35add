//! Last digits: does a clinician round more than others?
//!
//! **Where.** Where values spread over so many units of their last place that the last digit should not depend on what is measured.
//! For a normal spread of s units of the last place, the shares of digits depart from a tenth by a factor of at most
//! 1 + 2 exp(-2 pi2 s2 / 100), the first Fourier coefficient of the wrapped normal distribution: 1.4 % at the [`LEAST_SPREAD`] of
//! 5 units. Pain on a 100 mm line and forces in whole pounds qualify; a 0 to 10 scale does not. The ends of a scale are left out: many
//! patients end at 0.
//!
//! **As written.** Inside, forces are newtons. The unit and step that a site wrote are found again as the coarsest on which nearly all of
//! the site's values lie; where none fits nothing is tested. A machine that is set in steps of 5 N ends in 0 and 5 for everybody.
//!
//! **Test.** Patients like round numbers, too. So a clinician's digits are held against those of the other clinicians whose site
//! writes the same unit and step: [`mendcurve_stats::digits`] with the shares of both together as what is expected, by the digit
//! most above it. One visit an episode, drawn by the patient's key: the values of one patient depend on each other.

use super::shares::FEWEST_VISITS;
use super::tested::{Question, Tested};
use super::visits::{Level, SetupVisit, SetupVisits, UnitId};
use crate::catalogue::parameter::{About, Parameter};
use crate::catalogue::{MeasureId, Measures, Region};
use crate::rows::names::Names;
use crate::rows::row::Answers;
use crate::units::{INCH, POUND_FORCE, STANDARD_GRAVITY, Unit};
use crate::visits::parameter_value::value;
use crate::visits::visits::Visits;
use mendcurve_stats::digits::{digit_preference, last_digits};
use mendcurve_stats::interval::ERRORS_95;
use mendcurve_stats::random::{stream, uniform};
use mendcurve_stats::sum::{sample_sd, sum};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// Units of the last place that values must spread over, as a standard deviation.
pub const LEAST_SPREAD: f64 = 5.0;
/// How many more values than others' must end in the preferred digit to matter, as a share.
const MATTERS: f64 = 0.15;
/// Values that the others must have.
const FEWEST_OTHERS: f64 = 50.0;
/// Share of values that must lie on a unit's steps.
const NEARLY_ALL: f64 = 0.98;
const SEED: u64 = 13;
/// Visits that one task looks through.
const VISITS_A_TASK: usize = 1 << 14;

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
    pub of: Digits,
    pub tested: Tested,
}

/// One value an episode and clinician.
type Drawn<'a> = (UnitId, &'a SetupVisit, f64);

/// Looks at the last digits of each clinician's peak pulls and scores; of one kind after the other, since the values of all together
/// take more memory than the visits.
pub fn tests(visits: &SetupVisits<'_>, records: &Visits, measures: &Measures, names: &Names) -> Vec<DigitsTested> {
    let kinds = kinds(visits, records);
    kinds.into_iter().flat_map(|of| tests_of(of, values(of, visits, records, measures), names)).collect()
}

/// What some visit with a clinician records.
fn kinds(visits: &SetupVisits<'_>, records: &Visits) -> BTreeSet<Digits> {
    let of_part = |part: &[SetupVisit]| {
        let mut kinds = BTreeSet::new();
        for visit in part.iter().filter(|visit| visit.clinician.is_some()) {
            let Some(row) = visits.row(visit) else { continue };
            kinds.extend(visit.region.filter(|_| row.dose.peak_force.is_some()).map(Digits::PeakPull));
            kinds.extend(records.scores_of(row).iter().map(|score| Digits::Score(score.measure)));
        }
        kinds
    };
    visits.list.par_chunks(VISITS_A_TASK).flat_map_iter(of_part).collect()
}

/// The values of one kind by site, those at the ends of a scale left out.
fn values<'v>(
    of: Digits,
    visits: &'v SetupVisits<'_>,
    records: &Visits,
    measures: &Measures,
) -> BTreeMap<UnitId, Vec<Drawn<'v>>> {
    let mut by: BTreeMap<UnitId, Vec<Drawn<'v>>> = BTreeMap::new();
    for visit in &visits.list {
        let (Some(clinician), Some(row)) = (visit.unit(Level::Clinician), visits.row(visit)) else { continue };
        let mut take = |value: f64| by.entry(visit.site).or_default().push((clinician, visit, value));
        match of {
            Digits::PeakPull(region) => {
                row.dose
                    .peak_force
                    .filter(|_| visit.region == Some(region))
                    .into_iter()
                    .for_each(|pull| take(pull.get()));
            }
            Digits::Score(id) => {
                let measure = measures.get(id);
                for score in records.scores_of(row).iter().filter(|score| score.measure == id) {
                    if let Answers::Value(value) = score.answers()
                        && value > measure.low
                        && value < measure.high
                    {
                        take(value);
                    }
                }
            }
        }
    }
    by
}

fn tests_of(of: Digits, by_site: BTreeMap<UnitId, Vec<Drawn<'_>>>, names: &Names) -> Vec<DigitsTested> {
    let of_site = |(_, values): (UnitId, Vec<Drawn<'_>>)| {
        let written = Written::of(of, &values)?;
        let drawn = one_an_episode(values, names);
        let own = drawn.chunk_by(|a, b| a.0 == b.0).filter_map(|own| OfClinician::of(own, written));
        Some((written, own.collect::<Vec<_>>()))
    };
    let of_sites: Vec<_> = by_site.into_par_iter().filter_map(of_site).collect();
    let mut alike: BTreeMap<Written, Vec<OfClinician>> = BTreeMap::new();
    for (written, of_clinicians) in of_sites {
        alike.entry(written).or_default().extend(of_clinicians);
    }
    let mut found = Vec::new();
    for (written, clinicians) in &alike {
        let tested = clinicians.iter().filter_map(|own| own.test(of, *written, clinicians));
        found.extend(tested.map(|tested| DigitsTested { of, tested }));
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

/// A unit and a step in it: `step` times 10 to the power of -`decimals`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
struct Written {
    unit: Option<Unit>,
    step: u8,
    decimals: u8,
}

impl Written {
    /// The coarsest on which nearly all values lie.
    fn of(of: Digits, values: &[Drawn<'_>]) -> Option<Self> {
        let units: &[Option<Unit>] = match of {
            Digits::PeakPull(_) => &[Some(Unit::Newton), Some(Unit::PoundForce), Some(Unit::KilogramForce)],
            Digits::Score(_) => &[None],
        };
        let numbers: Vec<f64> = values.iter().map(|(_, _, value)| *value).collect();
        let steps = [(10, 0), (5, 0), (2, 0), (1, 0), (5, 1), (2, 1), (1, 1)];
        let candidates = steps
            .into_iter()
            .flat_map(|(step, decimals)| units.iter().map(move |unit| Self { unit: *unit, step, decimals }));
        candidates.into_iter().find(|written| fits(&numbers, f64::from(written.step) * written.last_place()))
    }

    /// A unit of the last place, as the value is kept.
    fn last_place(self) -> f64 {
        self.unit.and_then(Unit::factor).unwrap_or(1.0) / 10.0_f64.powi(i32::from(self.decimals))
    }
}

/// The last digits of one clinician.
#[derive(Clone, PartialEq, Debug)]
struct OfClinician {
    clinician: UnitId,
    digits: Vec<u8>,
    patients: u32,
}

impl OfClinician {
    fn of(own: &[Drawn<'_>], written: Written) -> Option<Self> {
        let places: Vec<f64> = own.iter().map(|(_, _, value)| (value / written.last_place()).round()).collect();
        if (places.len() as u32) < FEWEST_VISITS || sample_sd(&places)? < LEAST_SPREAD {
            return None;
        }
        Some(Self {
            clinician: own.first()?.0,
            digits: last_digits(&places, 0).ok()?.0,
            patients: super::column::patients(own.iter().map(|(_, visit, _)| visit.patient)),
        })
    }

    fn test(&self, of: Digits, written: Written, all: &[Self]) -> Option<Tested> {
        let mut counts = [0.0; 10];
        for digit in all.iter().flat_map(|other| &other.digits) {
            *counts.get_mut(usize::from(*digit))? += 1.0;
        }
        let total = sum(counts);
        let others = total - self.digits.len() as f64;
        if others < FEWEST_OTHERS {
            return None;
        }
        let own = digit_preference(&self.digits, Some(&counts.map(|count| count / total))).ok()?;
        let preferred = own.preferred;
        let ending = *own.counts.get(usize::from(preferred.digit))?;
        let n = self.digits.len() as f64;
        let of_others = counts.get(usize::from(preferred.digit))? - preferred.share * n;
        let reference = of_others / others;
        let half = ERRORS_95 * (reference * (1.0 - reference) / n).sqrt();
        Some(Tested {
            question: Question::Digits { digit: preferred.digit, unit: written.unit.map_or("", Unit::symbol) },
            unit: self.clinician,
            about: match of {
                Digits::PeakPull(region) => Some(About { parameter: Parameter::PullShare, region }),
                Digits::Score(_) => None,
            },
            observed: preferred.share,
            reference,
            interval: ((reference - half).max(0.0), (reference + half).min(1.0)),
            since: None,
            sides: Some((ending as u32, (own.n - ending) as u32)),
            visits: self.digits.len() as u32,
            patients: self.patients,
            matters: preferred.share >= reference + MATTERS,
            p: preferred.p,
        })
    }
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
        Parameter::ReturnTension => {
            &[(1.0, &[10.0, 1.0, 0.1]), (POUND_FORCE, &[1.0, 0.1]), (STANDARD_GRAVITY, &[1.0, 0.1])]
        }
        Parameter::SplitGap => &[(1.0, &[1.0, 0.5, 0.1]), (INCH, &[0.25, 0.125, 0.0625, 0.01]), (10.0, &[0.1, 0.01])],
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
