//! Entries carried forward: whose setup entries repeat those of the visit before more often than other clinicians' do?
//!
//! [`mendcurve_stats::copies`] on each clinician's visits. A step is the way from the visit before (whoever made its entry) to a visit
//! of the clinician. Fields are coded alike everywhere: a site that writes whole kilograms repeats itself more easily than one that
//! writes tenths, so every number is rounded to the coarsest step that any site records it in ([`super::last_digits::step`]).

use super::last_digits::coarsest_step;
use super::tested::{Question, Tested};
use super::visits::{Level, SetupVisit, SetupVisits, UnitId};
use crate::catalogue::Region;
use crate::catalogue::parameter::{About, Nature, Parameter};
use crate::visits::parameter_value::value;
use mendcurve_stats::copies::{NOT_RECORDED, Sequence, copies};
use mendcurve_stats::interval::ERRORS_95;
use rayon::prelude::*;

/// The fields of an entry.
const FIELDS: [Parameter; 10] = [
    Parameter::ReturnTension,
    Parameter::TensionTurns,
    Parameter::SplitGap,
    Parameter::Angle,
    Parameter::BeltLandmark,
    Parameter::BeltSeated,
    Parameter::SlackCycle,
    Parameter::LevelPull,
    Parameter::TableLevel,
    Parameter::UpperRestraint,
];
/// Fields that a step must have at both ends.
const LEAST_FIELDS: usize = 4;
/// How many more of the steps than expected must repeat to matter, as a share.
const MATTERS: f64 = 0.1;
/// Steps below which a clinician is not tested.
const FEWEST_STEPS: usize = 20;

/// Runs that one task codes.
const RUNS_A_TASK: usize = 256;

/// Holds each clinician's repeats against the others', over lumbar visits, where setups have fields enough.
pub fn tests(visits: &SetupVisits<'_>) -> Vec<Tested> {
    let about = |parameter| About { parameter, region: Region::Lumbar };
    let step = |parameter: &Parameter| match parameter.nature() {
        Nature::Number { .. } => coarsest_step(visits, about(*parameter)),
        _ => 1.0,
    };
    let steps: Vec<f64> = FIELDS.par_iter().map(step).collect();
    let clinicians: Vec<UnitId> = visits.units.at(Level::Clinician).collect();
    let Some(first) = clinicians.first().copied() else { return Vec::new() };
    let runs = runs(visits);
    let coded = |(clinician, run): &(UnitId, &[SetupVisit])| {
        let mut entries = Vec::with_capacity(run.len() * FIELDS.len());
        run.iter().for_each(|visit| entries.extend(entry(visits, visit, &steps)));
        (*clinician, entries)
    };
    let coded: Vec<(UnitId, Vec<u32>)> = runs.par_iter().with_min_len(RUNS_A_TASK).map(coded).collect();
    let sequences: Vec<Sequence<'_>> = coded
        .iter()
        .map(|(clinician, entries)| Sequence { source: clinician.position() - first.position(), entries })
        .collect();
    let Ok(sources) = copies(&sequences, clinicians.len(), FIELDS.len(), LEAST_FIELDS) else { return Vec::new() };
    let mut found = Vec::new();
    for source in sources.iter().filter(|source| source.steps >= FEWEST_STEPS) {
        let (Some(others), Some(unit)) = (source.against_others, clinicians.get(source.source)) else { continue };
        let steps = source.steps as f64;
        let (observed, reference) = (source.repeats as f64 / steps, others.expected / steps);
        let half = ERRORS_95 * others.sd / steps;
        let of_unit = runs.iter().filter(|(clinician, _)| clinician == unit);
        found.push(Tested {
            question: Question::CopiedForward,
            unit: *unit,
            about: None,
            observed,
            reference,
            interval: ((reference - half).max(0.0), (reference + half).min(1.0)),
            since: None,
            sides: Some((source.repeats as u32, (source.steps - source.repeats) as u32)),
            visits: source.steps as u32,
            patients: super::column::patients(of_unit.filter_map(|(_, run)| run.first().map(|visit| visit.patient))),
            matters: observed >= reference + MATTERS,
            p: others.p,
        });
    }
    found
}

/// Each stretch of visits of one episode by one clinician, with the visit before it.
fn runs<'a>(visits: &'a SetupVisits<'_>) -> Vec<(UnitId, &'a [SetupVisit])> {
    let mut runs = Vec::new();
    for episode in visits.list.chunk_by(|a, b| a.episode == b.episode) {
        if episode.first().and_then(|visit| visit.region) != Some(Region::Lumbar) {
            continue;
        }
        let mut begin = 0;
        for run in episode.chunk_by(|a, b| a.clinician == b.clinician) {
            let end = begin + run.len();
            let with_before = episode.get(begin.saturating_sub(1)..end).unwrap_or(run);
            if let Some(clinician) = run.first().and_then(|visit| visit.clinician)
                && with_before.len() > 1
            {
                runs.push((clinician, with_before));
            }
            begin = end;
        }
    }
    runs
}

/// The fields of a visit as codes.
fn entry(visits: &SetupVisits<'_>, visit: &SetupVisit, steps: &[f64]) -> [u32; FIELDS.len()] {
    let row = visits.row(visit);
    std::array::from_fn(|field| {
        let (Some(parameter), Some(step)) = (FIELDS.get(field), steps.get(field)) else { return NOT_RECORDED };
        let code = row.and_then(|row| value(row, *parameter)).map(|value| (value / step).round() + 1e6);
        code.filter(|code| (0.0..4e9).contains(code)).map_or(NOT_RECORDED, |code| code as u32)
    })
}
