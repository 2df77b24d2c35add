//! How different two samples are, in any respect: the energy distance and its permutation test.
//!
//! **Formula.** E = 2 E|X - Y| - E|X - X'| - E|Y - Y'|, each mean over all pairs of the samples, a value with itself
//! included (Szekely & Rizzo 2013, J Stat Plan Inference 143:1249-72): 0 if and only if the samples are distributed
//! alike. Of single values: E = 2 times the integral of (F - G)2, F and G the two empirical distribution functions, so that
//! sorting is all the work and nothing cancels. The coefficient of inhomogeneity, E over 2 E|X - Y|, has no unit and lies
//! within 0 and 1.
//!
//! **Test.** p = (k + 1) / (B + 1), k the number of B random divisions of all values into samples of the same sizes with an E
//! at least as large (Phipson & Smyth 2010, Stat Appl Genet Mol Biol 9:39). Division i has a random stream named by the
//! caller's key and i: neither the order of calls nor the threads matter.
//!
//! **Domain and edge cases.** Finite values, at least one in each sample. Values must be exchangeable if the samples are
//! alike: give one a patient, not one a visit, or the test finds patients instead of samples. No variation: E = 0,
//! p = 1. The square root of E is what some programs call the energy distance.
//!
//! **Cost.** A sort, then n a division.
//!
//! **Reference.** Python's `scipy.stats.energy_distance`, squared, and `dcor.energy_distance`, folder `energy_distance`.

mod line;

use rayon::prelude::*;

use crate::error::{InputError, at_least};
use crate::random::{stream, uniform};

use line::Line;

/// E of a division that falls short of the observed one by this share of the mean distance counts as equal.
const ROUNDING: f64 = 1e-12;

/// Two samples compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Energy {
    /// E, in units of the values; at least 0.
    pub distance: f64,
    /// E over twice the mean distance between the samples, 0 to 1; 0 without variation.
    pub inhomogeneity: f64,
    /// Values in the first sample.
    pub first: usize,
    /// Values in the second.
    pub second: usize,
}

/// A comparison with its permutation test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EnergyTest {
    /// What was found.
    pub energy: Energy,
    /// Random divisions tried.
    pub permutations: u32,
    /// Of these, with an E at least as large.
    pub as_large: u32,
    /// (as large + 1) / (permutations + 1).
    pub p: f64,
}

/// The energy distance between two samples of single values.
///
/// # Errors
/// If a sample is empty or a value is not finite.
pub fn energy(first: &[f64], second: &[f64]) -> Result<Energy, InputError> {
    let line = Line::new(first, second)?;
    Ok(observed(&line, first.len(), second.len()))
}

/// The same with its permutation test: `permutations` random divisions (at least 1) of the run with seed `seed`, the
/// comparison being called `key` there.
///
/// # Errors
/// As [`energy`], and if there are no permutations.
pub fn energy_test(
    first: &[f64],
    second: &[f64],
    permutations: u32,
    seed: u64,
    key: &[u8],
) -> Result<EnergyTest, InputError> {
    at_least("permutations", 1, permutations as usize)?;
    let line = Line::new(first, second)?;
    Ok(test(&line, first.len(), second.len(), permutations, seed, key))
}

fn observed(pooled: &Line, n: usize, m: usize) -> Energy {
    let in_first: Vec<bool> = (0..n + m).map(|row| row < n).collect();
    let (distance, between) = pooled.compare(&in_first);
    let inhomogeneity = if between > 0.0 { (distance / (2.0 * between)).clamp(0.0, 1.0) } else { 0.0 };
    Energy { distance, inhomogeneity, first: n, second: m }
}

fn test(pooled: &Line, n: usize, m: usize, permutations: u32, seed: u64, key: &[u8]) -> EnergyTest {
    let energy = observed(pooled, n, m);
    let between = if energy.inhomogeneity > 0.0 { energy.distance / (2.0 * energy.inhomogeneity) } else { 0.0 };
    let enough = energy.distance - ROUNDING * between;
    let as_large =
        (0..permutations).into_par_iter().filter(|i| pooled.distance(&division(n, m, seed, key, *i)) >= enough).count()
            as u32;
    EnergyTest { energy, permutations, as_large, p: (f64::from(as_large) + 1.0) / (f64::from(permutations) + 1.0) }
}

/// Which values division `i` puts into the first sample: the smaller sample is drawn (Fisher-Yates, as far as needed).
fn division(n: usize, m: usize, seed: u64, key: &[u8], i: u32) -> Vec<bool> {
    let name: Vec<u8> = key.iter().copied().chain([0]).chain(i.to_le_bytes()).collect();
    let mut random = stream(seed, &name);
    let all = n + m;
    let mut order: Vec<usize> = (0..all).collect();
    let drawn_first = n <= m;
    let mut in_first = vec![!drawn_first; all];
    for k in 0..n.min(m) {
        let pick = k + ((uniform(&mut random) * (all - k) as f64) as usize).min(all - k - 1);
        order.swap(k, pick);
        in_first[order[k]] = drawn_first;
    }
    in_first
}

#[cfg(test)]
mod tests;
