//! Entries carried forward: does one source repeat its last entry in all fields more often than its siblings do?
//!
//! **Setting.** Each patient of a source (site, clinician) has a sequence of entries of several coded fields. A patient's
//! setup is stable for good reasons, so repeats as such show nothing. What is compared is the share of steps from one
//! entry to the next that repeat it exactly, in each source against all others together.
//!
//! **Fields recorded.** A step of the source counts on the fields recorded at both of its ends, M; it repeats if they all
//! agree. The rate to expect, p_M, comes from the others' steps that have all of M recorded, asked in these fields only:
//! (repeats + 1/2) / (steps + 1). A source that records few fields is thus not blamed for repeating them. Steps with
//! fewer than a stated number of fields, or for which the others have fewer than [`FEWEST_STEPS`] steps or [`FEWEST_PATIENTS`]
//! patients, are counted and left out.
//!
//! **p value of the number of repeats.** Patients differ: the repeats of one patient with n steps are beta-binomial with
//! mean rate p and correlation rho between steps (Williams 1975, Biometrics 31:949-52), a Polya urn: after x repeats in t
//! steps the next repeats with chance (p(1 - rho) + x rho) / (1 - rho + t rho). rho comes from the others by moments. The
//! sum over patients is convolved exactly up to [`EXACT_STEPS`] steps, beyond it normal with the same mean and variance.
//! The others' rate is itself uncertain (patients as clusters): the tail P(R >= r) is averaged over a normal error
//! of its logit, by the trapezoidal rule. One-sided: many repeats.
//!
//! **Longest run.** The most repeats in a row within one patient, with the chance that any patient of the source has one as
//! long, by the same urn at the source's mean expected rate. It holds that a patient's steps are exchangeable; where all
//! patients change at first and settle later, runs are longer than that and this p value too small.
//!
//! **Chance agreement.** The share of pairs of entries of different patients of the source that agree in all fields: the
//! source's own variety. Where it is near 1, all patients get the same, and repeats need no copying.
//!
//! **Domain and edge cases.** At most 64 fields. A single source has nothing to be compared with. Real differences in
//! practice between sources look like copying: this finds where to ask, not what happened. With few sources, one that copies
//! raises the rate of the others' comparison and hides milder ones.
//!
//! **Calibration.** With 6 sources of 25 patients of 1 to 12 steps, a mean rate of a half and nothing copied, p values of
//! the number of repeats at or below 0.05 came in these shares of 900 (standard error 0.007): patients alike 0.051; beta
//! with rho 0.2 and 0.4 0.057 and 0.064; logit-normal about as variable 0.043 and 0.050. Of the longest run: 0.00
//! to 0.03, since a run is a whole number and often the longest possible. This module's tests repeat it with fewer.

mod null;
mod steps;

use rayon::prelude::*;

use crate::error::{InputError, at_least};
use null::Null;
use steps::{Patient, Reference};

/// The code of a field that was not recorded.
pub const NOT_RECORDED: u32 = u32::MAX;
/// Steps that the others must have for a step to be compared.
pub const FEWEST_STEPS: usize = 20;
/// Patients that the others must have for a step to be compared.
pub const FEWEST_PATIENTS: usize = 5;
/// Steps of a source up to which the distribution of its repeats is exact.
pub const EXACT_STEPS: usize = 4000;

/// Sequences that one task takes apart.
const SEQUENCES_A_TASK: usize = 256;

/// One patient's entries, in order of time.
#[derive(Debug, Clone, Copy)]
pub struct Sequence<'a> {
    /// The source, counted from 0.
    pub source: usize,
    /// Entry after entry, one code for each field; [`NOT_RECORDED`] where there is none.
    pub entries: &'a [u32],
}

/// What one source repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// The source, counted from 0.
    pub source: usize,
    /// Patients with a step that is compared.
    pub patients: usize,
    /// Steps from one entry to the next that are compared.
    pub steps: usize,
    /// Steps left out: too few fields, or too few like it among the others.
    pub left_out: usize,
    /// Compared steps that repeat all fields exactly.
    pub repeats: usize,
    /// The most compared repeats in a row within one patient.
    pub longest_run: usize,
    /// Share of pairs of entries of different patients that agree in all fields; `None` with fewer than two patients.
    pub chance_agreement: Option<f64>,
    /// Against the others; `None` if no step is compared.
    pub against_others: Option<Comparison>,
}

/// A source against the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison {
    /// Repeats expected at the others' rates.
    pub expected: f64,
    /// Standard deviation of the repeats around it, the uncertainty of the rates included.
    pub sd: f64,
    /// Correlation between steps of one patient among the others, 0 to 1: how much patients differ.
    pub correlation: f64,
    /// Chance of at least as many repeats.
    pub p: f64,
    /// Chance that a patient of the source has a run at least as long.
    pub longest_run_p: f64,
}

/// Compares the repeats of each of `sources` sources with those of the others. Each entry has `fields` fields; steps with
/// fewer than `least_fields` recorded at both ends are left out.
///
/// # Errors
/// If there are no sources, no fields or more than 64, `least_fields` is not from 1 to `fields`, a sequence is not a whole
/// number of entries, or its source is beyond the last.
pub fn copies(
    sequences: &[Sequence],
    sources: usize,
    fields: usize,
    least_fields: usize,
) -> Result<Vec<Source>, InputError> {
    at_least("sources", 1, sources)?;
    if !(1..=64).contains(&fields) {
        return Err(InputError::OutOfRange { what: "number of fields", domain: "from 1 to 64" });
    }
    if !(1..=fields).contains(&least_fields) {
        return Err(InputError::OutOfRange { what: "fewest fields", domain: "from 1 to the number of fields" });
    }
    if let Some(index) = sequences.iter().position(|s| s.entries.len() % fields != 0) {
        return Err(InputError::BadElement { what: "sequences", index, domain: "a whole number of entries" });
    }
    if let Some(index) = sequences.iter().position(|s| s.source >= sources) {
        return Err(InputError::BadElement { what: "sequences", index, domain: "of a source that is counted" });
    }
    let patients: Vec<Patient> =
        sequences.par_iter().with_min_len(SEQUENCES_A_TASK).map(|s| Patient::new(s, fields, least_fields)).collect();
    Ok((0..sources)
        .into_par_iter()
        .map(|source| {
            let entries = sequences.iter().filter(|s| s.source == source).map(|s| s.entries);
            one_source(source, &patients, steps::chance_agreement(entries, fields))
        })
        .collect())
}

fn one_source(source: usize, patients: &[Patient], chance_agreement: Option<f64>) -> Source {
    let own: Vec<&Patient> = patients.iter().filter(|p| p.source == source).collect();
    let others: Vec<&Patient> = patients.iter().filter(|p| p.source != source).collect();
    let reference = Reference::new(&own, &others);
    let seen: Vec<steps::Seen> = own.iter().map(|p| reference.see(p)).collect();
    let all_steps: usize = own.iter().map(|p| p.steps.len() + p.too_few_fields).sum();
    let steps: usize = seen.iter().map(|s| s.steps).sum();
    let repeats = seen.iter().map(|s| s.repeats).sum();
    let longest_run = seen.iter().map(|s| s.longest_run).max().unwrap_or(0);
    let against_others = (steps > 0).then(|| {
        let trials = seen.iter().filter(|s| s.steps > 0).map(|s| (s.steps, s.rate)).collect();
        let null = Null { trials, correlation: reference.correlation, error: reference.error };
        Comparison {
            expected: null.expected(),
            sd: null.sd(),
            correlation: reference.correlation,
            p: null.tail(repeats),
            longest_run_p: null.run_tail(longest_run),
        }
    });
    Source {
        source,
        patients: seen.iter().filter(|s| s.steps > 0).count(),
        steps,
        left_out: all_steps - steps,
        repeats,
        longest_run,
        chance_agreement,
        against_others,
    }
}

#[cfg(test)]
mod tests;
