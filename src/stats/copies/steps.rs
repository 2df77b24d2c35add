//! Steps from entry to entry, and the rates of the others that they are held against.

use std::collections::BTreeMap;

use super::{FEWEST_PATIENTS, FEWEST_STEPS, NOT_RECORDED, Sequence};

/// The largest correlation between steps that is believed.
const LARGEST_CORRELATION: f64 = 0.95;

/// One step: a bit for each field recorded at both ends, and for each that agrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Step {
    pub recorded: u64,
    pub agree: u64,
}

/// One patient's steps.
pub(super) struct Patient {
    pub source: usize,
    pub steps: Vec<Step>,
    /// Steps with too few fields to count.
    pub too_few_fields: usize,
    /// For each step, whether it follows the one before it without a gap.
    follows: Vec<bool>,
}

impl Patient {
    pub(super) fn new(sequence: &Sequence, fields: usize, least_fields: usize) -> Self {
        let entries: Vec<&[u32]> = sequence.entries.chunks_exact(fields).collect();
        let mut patient = Self { source: sequence.source, steps: Vec::new(), too_few_fields: 0, follows: Vec::new() };
        let mut unbroken = false;
        for pair in entries.windows(2) {
            let mut step = Step { recorded: 0, agree: 0 };
            for (field, (before, after)) in pair[0].iter().zip(pair[1]).enumerate() {
                if *before != NOT_RECORDED && *after != NOT_RECORDED {
                    step.recorded |= 1 << field;
                    step.agree |= u64::from(before == after) << field;
                }
            }
            if (step.recorded.count_ones() as usize) < least_fields {
                patient.too_few_fields += 1;
                unbroken = false;
            } else {
                patient.steps.push(step);
                patient.follows.push(unbroken);
                unbroken = true;
            }
        }
        patient
    }

    /// Steps with all of `fields` recorded, and how many of these agree in all of them.
    fn count(&self, fields: u64) -> (usize, usize) {
        let with = self.steps.iter().filter(|s| s.recorded & fields == fields);
        with.fold((0, 0), |(n, r), s| (n + 1, r + usize::from(s.agree & fields == fields)))
    }
}

/// A patient seen by the reference.
pub(super) struct Seen {
    pub steps: usize,
    pub repeats: usize,
    /// Mean expected rate of its steps.
    pub rate: f64,
    pub longest_run: usize,
}

/// The others' rates for the fields of one source.
pub(super) struct Reference {
    /// By the fields recorded at a step.
    rates: BTreeMap<u64, f64>,
    /// Correlation between the steps of one patient, 0 to [`LARGEST_CORRELATION`].
    pub correlation: f64,
    /// Standard error of the logit of the rates, all moving as one.
    pub error: f64,
}

impl Reference {
    pub(super) fn new(own: &[&Patient], others: &[&Patient]) -> Self {
        let mut wanted: BTreeMap<u64, f64> = BTreeMap::new();
        for step in own.iter().flat_map(|p| &p.steps) {
            *wanted.entry(step.recorded).or_default() += 1.0;
        }
        let mut rates = BTreeMap::new();
        let (mut excess, mut room) = (0.0, 0.0);
        // what each other patient adds to the error of the number expected, and the least that error can be
        let mut pulls = vec![0.0; others.len()];
        let (mut least_error, mut information) = (0.0, 0.0);
        for (fields, share) in &wanted {
            let counts: Vec<(usize, usize)> = others.iter().map(|p| p.count(*fields)).collect();
            let patients = counts.iter().filter(|(n, _)| *n > 0).count();
            let (n, r) = counts.iter().fold((0, 0), |(n, r), (a, b)| (n + a, r + b));
            if n < FEWEST_STEPS || patients < FEWEST_PATIENTS {
                continue;
            }
            let (n, r) = (n as f64, r as f64);
            let rate = (r + 0.5) / (n + 1.0);
            let spread = rate * (1.0 - rate);
            // the rate was fitted to these patients: one degree of freedom
            let correction = patients as f64 / (patients - 1) as f64;
            for (pull, (steps, repeats)) in pulls.iter_mut().zip(&counts) {
                let (steps, repeats) = (*steps as f64, *repeats as f64);
                let off = repeats - steps * rate;
                *pull += share * off / n * correction.sqrt();
                excess += share * (correction * off * off - steps * spread);
                room += share * steps * (steps - 1.0) * spread;
            }
            least_error += share * (spread / (n + 1.0)).sqrt();
            information += share * spread;
            rates.insert(*fields, rate);
        }
        let correlation = if room > 0.0 { (excess / room).clamp(0.0, LARGEST_CORRELATION) } else { 0.0 };
        let clustered = pulls.iter().map(|h| h * h).sum::<f64>().sqrt();
        let error = if information > 0.0 { clustered.max(least_error) / information } else { 0.0 };
        Self { rates, correlation, error }
    }

    pub(super) fn see(&self, patient: &Patient) -> Seen {
        let mut seen = Seen { steps: 0, repeats: 0, rate: 0.0, longest_run: 0 };
        let mut run = 0;
        for (step, follows) in patient.steps.iter().zip(&patient.follows) {
            let Some(rate) = self.rates.get(&step.recorded) else {
                run = 0;
                continue;
            };
            let repeats = step.agree == step.recorded;
            run = match (repeats, follows) {
                (true, true) => run + 1,
                (true, false) => 1,
                (false, _) => 0,
            };
            seen.steps += 1;
            seen.repeats += usize::from(repeats);
            seen.rate += rate;
            seen.longest_run = seen.longest_run.max(run);
        }
        seen.rate /= seen.steps.max(1) as f64;
        seen
    }
}

/// Share of the pairs of entries of different patients that agree in all fields, a field not recorded being a value of its
/// own; `None` with fewer than two patients.
pub(super) fn chance_agreement<'a>(patients: impl Iterator<Item = &'a [u32]>, fields: usize) -> Option<f64> {
    let mut all: Vec<(&[u32], usize)> = patients
        .enumerate()
        .flat_map(|(patient, entries)| entries.chunks_exact(fields).map(move |entry| (entry, patient)))
        .collect();
    let squares = |sorted: &[usize]| sorted.chunk_by(|a, b| a == b).map(|s| (s.len() as f64).powi(2)).sum::<f64>();
    let mut owners: Vec<usize> = all.iter().map(|(_, patient)| *patient).collect();
    owners.sort_unstable();
    let pairs = (all.len() as f64).powi(2) - squares(&owners);
    all.sort_unstable();
    let agreeing: f64 = all
        .chunk_by(|a, b| a.0 == b.0)
        .map(|same| {
            let owners: Vec<usize> = same.iter().map(|(_, patient)| *patient).collect();
            (same.len() as f64).powi(2) - squares(&owners)
        })
        .sum();
    (pairs > 0.0).then(|| agreeing / pairs)
}
