//! One shift, one drift, or no change.
//!
//! **Formulas.** Shift: level a before a place, a + d from it on. Drift: level a up to a place, then a + b (t - t_place). For every place with
//! the minimum number of observations on both sides the least-squares fit is enumerated; the model (none, shift, drift) has the least
//! BIC. Interval of places: the likelihood of each place, others parameters at their best, RSS^(-(n-2)/2), normalised over all places
//! (Cobb 1978, Biometrika 65:243-51, whose conditional solution it approximates); the smallest set that holds the level, from its first
//! to its last place.
//! p value of no change: the largest reduction of RSS by either model, held against permutations of the values (with their weights)
//! over the times, (k + 1) / (B + 1): exact for exchangeable values, so for any distribution of independent ones with equal weights.
//!
//! **Measured** (`tests.rs`, 60 observations, minimum segment 5): the 95 % interval of a shift holds the true place in 98 % of series, for
//! shifts of 0.7, 1 and 2 standard deviations (39, 28 and 5 places wide on average); that of a drift in 95 %. p <= 0.05 in 5.4 % of stable
//! normal series and 4.7 % of skewed ones (1,000 each); at lag-1 correlation 0.3 in 24 %.
//!
//! **Domain and edge cases.** At least twice the minimum segment, which is 2 or more. No variation: no change, p = 1.
//!
//! **Cost.** O(n) for each permutation.
//!
//! **Reference.** Nile, folder `nile_shift`; a drift against `lm` at every knot in R, folder `drift_onset`.

use super::bic;
use super::observations::Observations;
use super::place::{Fit, best, drift_fits, likely_places, shift_fits};
use crate::error::{InputError, at_least};
use crate::level::Level;
use crate::random::{stream, uniform};
use crate::sum::sum;

/// How a series may have changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// From one level to another at once.
    Shift,
    /// Away from its level at a steady slope, to the end.
    Drift,
}

/// What is asked of [`one_change`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings<'a> {
    /// Observations needed on either side of a change, at least 2.
    pub least_segment: usize,
    /// Level of the interval of places.
    pub level: Level,
    /// Permutations for the p value; 999 is usual, and 0 gives p = 1.
    pub permutations: u32,
    /// Seed of the run.
    pub seed: u64,
    /// Name of the series, so that its permutations do not depend on the order of calls.
    pub key: &'a [u8],
}

/// A change of one shape at its best place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Shift: the first observation at the new level. Drift: the last at the old, where the slope begins. From 0.
    pub place: usize,
    /// First and last place of the interval, ends included.
    pub places: (usize, usize),
    /// Level before the change.
    pub before: f64,
    /// Shift: new level less old. Drift: slope by unit of time.
    pub size: f64,
    /// Weighted residual sum of squares.
    pub rss: f64,
    /// BIC of the model.
    pub bic: f64,
}

/// No change, a shift and a drift side by side.
#[derive(Debug, Clone, PartialEq)]
pub struct OneChange {
    /// The shape with the least BIC; `None` if no change has it.
    pub chosen: Option<Shape>,
    /// The best shift.
    pub shift: Change,
    /// The best drift.
    pub drift: Change,
    /// BIC of no change.
    pub bic_none: f64,
    /// p value of no change.
    pub p: f64,
    /// Lag-1 correlation of the residuals of the chosen model: p is too small where it is well above 0.
    pub residual_correlation: f64,
}

/// Weighs one shift and one drift against no change.
///
/// # Errors
/// If the minimum segment is below 2, or there are fewer than twice as many observations.
pub fn one_change(observations: &Observations, settings: &Settings<'_>) -> Result<OneChange, InputError> {
    let least = settings.least_segment;
    if least < 2 {
        return Err(InputError::OutOfRange { what: "minimum length of a segment", domain: "at least 2" });
    }
    at_least("observations", least.saturating_mul(2), observations.len())?;
    let values = observations.deviations();
    let total = observations.total();
    let shifts = shift_fits(&values, observations, least, total);
    let drifts = drift_fits(&values, observations, least, total);
    let change = |fits: &[Fit]| {
        let too_few = InputError::TooFew { what: "places", needed: 1, found: 0 };
        let (Some(fit), Some(places)) = (best(fits), likely_places(fits, values.len(), settings.level.share())) else {
            return Err(too_few);
        };
        let (before, size) = (observations.mean() + fit.before, fit.size);
        Ok(Change { place: fit.place, places, before, size, rss: fit.rss, bic: bic(observations, fit.rss, 4) })
    };
    let (shift, drift) = (change(&shifts)?, change(&drifts)?);
    let bic_none = bic(observations, total, 2);
    let chosen = if total == 0.0 || bic_none <= shift.bic.min(drift.bic) {
        None
    } else if shift.bic <= drift.bic {
        Some(Shape::Shift)
    } else {
        Some(Shape::Drift)
    };
    let p = if total == 0.0 { 1.0 } else { permutation_p(observations, &values, total, settings) };
    let residuals = residuals(observations, &values, chosen, &shift, &drift);
    Ok(OneChange { chosen, shift, drift, bic_none, p, residual_correlation: lag_one(&residuals) })
}

/// The least residual sum of squares of a shift or a drift.
fn least_rss(values: &[f64], observations: &Observations, least: usize, total: f64) -> f64 {
    let of = |fits: Vec<Fit>| best(&fits).map_or(total, |fit| fit.rss);
    of(shift_fits(values, observations, least, total)).min(of(drift_fits(values, observations, least, total)))
}

fn permutation_p(observations: &Observations, values: &[f64], total: f64, settings: &Settings<'_>) -> f64 {
    let observed = least_rss(values, observations, settings.least_segment, total);
    let mut stream = stream(settings.seed, settings.key);
    let mut permuted = observations.clone();
    let mut order: Vec<usize> = (0..values.len()).collect();
    let mut as_small = 0_u32;
    for _ in 0..settings.permutations {
        // Fisher & Yates
        for i in (1..order.len()).rev() {
            order.swap(i, (uniform(&mut stream) * (i + 1) as f64) as usize);
        }
        let shuffled: Vec<f64> = order.iter().map(|i| values[*i]).collect();
        permuted.take_weights(observations, &order);
        let rss = least_rss(&shuffled, &permuted, settings.least_segment, total);
        // equal but for rounding counts as equal
        as_small += u32::from(rss <= observed + 1e-11 * total);
    }
    f64::from(as_small + 1) / f64::from(settings.permutations + 1)
}

/// Residuals times the square root of their weights.
fn residuals(
    observations: &Observations,
    values: &[f64],
    chosen: Option<Shape>,
    shift: &Change,
    drift: &Change,
) -> Vec<f64> {
    let times = observations.times();
    let fitted = |i: usize| match chosen {
        None => 0.0,
        Some(Shape::Shift) => shift.before - observations.mean() + if i < shift.place { 0.0 } else { shift.size },
        Some(Shape::Drift) => {
            drift.before - observations.mean() + drift.size * (times[i] - times[drift.place]).max(0.0)
        }
    };
    (0..values.len()).map(|i| (values[i] - fitted(i)) * observations.weights()[i].sqrt()).collect()
}

/// Sum of products of neighbours over the sum of squares; 0 without variation.
fn lag_one(residuals: &[f64]) -> f64 {
    let squares = sum(residuals.iter().map(|e| e * e));
    if squares > 0.0 { sum(residuals.windows(2).map(|pair| pair[0] * pair[1])) / squares } else { 0.0 }
}
