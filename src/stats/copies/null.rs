//! How many repeats, and how long a run, patients who differ would have by themselves.

use super::EXACT_STEPS;
use crate::distribution::normal_cdf;

/// Steps of the trapezoidal rule over the standard normal error, to this many on each side and half a deviation wide.
const NODES: i32 = 10;

/// Patients with their steps and mean rates, and how uncertain these are.
pub(super) struct Null {
    /// Steps and mean rate of each patient.
    pub trials: Vec<(usize, f64)>,
    /// Correlation between the steps of a patient.
    pub correlation: f64,
    /// Standard error of the logit of the rates.
    pub error: f64,
}

impl Null {
    pub(super) fn expected(&self) -> f64 {
        self.trials.iter().map(|(n, p)| *n as f64 * p).sum()
    }

    /// Standard deviation of the repeats, the uncertainty of the rates included.
    pub(super) fn sd(&self) -> f64 {
        let information: f64 = self.trials.iter().map(|(n, p)| *n as f64 * p * (1.0 - p)).sum();
        (variance(&self.trials, self.correlation) + (self.error * information).powi(2)).sqrt()
    }

    /// Chance of at least `repeats` repeats.
    pub(super) fn tail(&self, repeats: usize) -> f64 {
        let steps: usize = self.trials.iter().map(|(n, _)| n).sum();
        self.averaged(|trials| {
            if steps <= EXACT_STEPS {
                total(trials, self.correlation).iter().skip(repeats).sum()
            } else {
                let mean: f64 = trials.iter().map(|(n, p)| *n as f64 * p).sum();
                normal_cdf((mean - repeats as f64 + 0.5) / variance(trials, self.correlation).sqrt())
            }
        })
    }

    /// Chance of a run of at least `length` repeats in any patient.
    pub(super) fn run_tail(&self, length: usize) -> f64 {
        if length == 0 {
            return 1.0;
        }
        let steps: usize = self.trials.iter().map(|(n, _)| n).sum();
        let most = self.trials.iter().map(|(n, _)| *n).max().unwrap_or(0);
        self.averaged(|trials| {
            let rate = trials.iter().map(|(n, p)| *n as f64 * p).sum::<f64>() / steps as f64;
            let with = with_run(most, rate, self.correlation, length);
            // 1 minus a product near 1, without losing digits
            -trials.iter().map(|(n, _)| (-with[*n].min(1.0)).ln_1p()).sum::<f64>().exp_m1()
        })
    }

    /// The mean of `of` over the normal error of the rates' logits.
    fn averaged(&self, of: impl Fn(&[(usize, f64)]) -> f64) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for i in -NODES..=NODES {
            let z = f64::from(i) / 2.0;
            let weight = (-z * z / 2.0).exp();
            let odds = (self.error * z).exp();
            let moved: Vec<(usize, f64)> =
                self.trials.iter().map(|(n, p)| (*n, p * odds / (1.0 - p + p * odds))).collect();
            sum += weight * of(&moved);
            weights += weight;
        }
        (sum / weights).clamp(0.0, 1.0)
    }
}

fn variance(trials: &[(usize, f64)], correlation: f64) -> f64 {
    trials.iter().map(|(n, p)| *n as f64 * p * (1.0 - p) * (1.0 + (*n as f64 - 1.0) * correlation)).sum()
}

/// The chance that the urn's next step repeats, after `repeats` in `steps`.
fn next_repeats(p: f64, correlation: f64, repeats: usize, steps: usize) -> f64 {
    (p * (1.0 - correlation) + repeats as f64 * correlation) / (1.0 - correlation + steps as f64 * correlation)
}

/// The beta-binomial distribution of the repeats in `n` steps.
pub(super) fn repeats_of_one(n: usize, p: f64, correlation: f64) -> Vec<f64> {
    let mut chances = vec![1.0];
    for steps in 0..n {
        let mut next = vec![0.0; steps + 2];
        for (repeats, chance) in chances.iter().enumerate() {
            let up = next_repeats(p, correlation, repeats, steps);
            next[repeats + 1] += chance * up;
            next[repeats] += chance * (1.0 - up);
        }
        chances = next;
    }
    chances
}

/// The distribution of the repeats of all patients together.
fn total(trials: &[(usize, f64)], correlation: f64) -> Vec<f64> {
    let mut sorted = trials.to_vec();
    sorted.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut all = vec![1.0];
    for alike in sorted.chunk_by(|a, b| a == b) {
        let one = repeats_of_one(alike[0].0, alike[0].1, correlation);
        for _ in alike {
            let mut next = vec![0.0; all.len() + one.len() - 1];
            for (i, chance) in all.iter().enumerate() {
                for (to, add) in next[i..].iter_mut().zip(&one) {
                    *to += chance * add;
                }
            }
            all = next;
        }
    }
    all
}

/// For 0, 1, ... `most` steps: the chance that they hold a run of `length` repeats (at least 1).
pub(super) fn with_run(most: usize, p: f64, correlation: f64, length: usize) -> Vec<f64> {
    // chance of each number of repeats so far with each length of the current run, below `length`
    let mut alive = vec![vec![0.0; length]; most + 1];
    alive[0][0] = 1.0;
    let mut reached = vec![0.0];
    for steps in 0..most {
        let mut next = vec![vec![0.0; length]; most + 1];
        let mut more = 0.0;
        for (repeats, runs) in alive.iter().enumerate().take(steps + 1) {
            let up = next_repeats(p, correlation, repeats, steps);
            for (run, chance) in runs.iter().enumerate() {
                next[repeats][0] += chance * (1.0 - up);
                if run + 1 < length {
                    next[repeats + 1][run + 1] += chance * up;
                } else {
                    more += chance * up;
                }
            }
        }
        reached.push(reached[steps] + more);
        alive = next;
    }
    reached
}
