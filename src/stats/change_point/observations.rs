//! Values in the order of time, checked once, and sums over any stretch of them.

use crate::error::{InputError, all_finite, positive_weights, same_length};
use crate::sum::{sum, weighted_mean};

/// Residual sums of squares below this share of the total are rounding, and count as 0.
const ROUNDING: f64 = 1e-24;

/// Values at ascending times, with weights.
#[derive(Debug, Clone, PartialEq)]
pub struct Observations {
    times: Vec<f64>,
    values: Vec<f64>,
    weights: Vec<f64>,
    mean: f64,
}

impl Observations {
    /// `values` seen at `times`, strictly ascending; `weights` proportional to 1 / variance, as the number of readings behind a mean,
    /// all 1 if none are given.
    ///
    /// # Errors
    /// If lengths differ, there are no values, a value or time is not finite, a time does not come after the one before,
    /// or a weight is not positive and finite.
    pub fn new(times: &[f64], values: &[f64], weights: Option<&[f64]>) -> Result<Self, InputError> {
        same_length("times", values.len(), times.len())?;
        all_finite("times", times)?;
        if let Some(before) = times.windows(2).position(|pair| pair[0] >= pair[1]) {
            return Err(InputError::BadElement {
                what: "times",
                index: before + 1,
                domain: "later than the one before",
            });
        }
        let weights = weights.map_or_else(|| vec![1.0; values.len()], <[f64]>::to_vec);
        positive_weights(&weights, values.len())?;
        let mean = weighted_mean(values, &weights)?;
        Ok(Self { times: times.to_vec(), values: values.to_vec(), weights, mean })
    }

    /// Number of observations.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether there are none: never.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    pub(super) fn times(&self) -> &[f64] {
        &self.times
    }

    pub(super) fn weights(&self) -> &[f64] {
        &self.weights
    }

    pub(super) fn mean(&self) -> f64 {
        self.mean
    }

    /// Takes the weights of `from` in this order.
    pub(super) fn take_weights(&mut self, from: &Self, order: &[usize]) {
        for (weight, i) in self.weights.iter_mut().zip(order) {
            *weight = from.weights[*i];
        }
    }

    /// Values less their mean, which keeps the digits of sums of squares.
    pub(super) fn deviations(&self) -> Vec<f64> {
        self.values.iter().map(|y| y - self.mean).collect()
    }

    pub(super) fn sum_log_weights(&self) -> f64 {
        sum(self.weights.iter().map(|w| w.ln()))
    }

    /// Sum of squares around the mean.
    pub(super) fn total(&self) -> f64 {
        let largest = self.values.iter().fold(0.0_f64, |a, y| a.max(y.abs()));
        let total = sum(self.values.iter().zip(&self.weights).map(|(y, w)| w * (y - self.mean) * (y - self.mean)));
        // equal values whose mean is rounded have no variation
        let scale = largest * largest * sum(self.weights.iter().copied());
        if total <= ROUNDING * scale { 0.0 } else { total }
    }
}

/// A residual sum of squares computed as a difference: what is left of `total`, without what rounding alone leaves.
pub(super) fn left_of(total: f64, rss: f64) -> f64 {
    if rss <= 1e-14 * total { 0.0 } else { rss }
}

/// Sums over the first i observations, i from 0.
pub(super) struct Running {
    weight: Vec<f64>,
    weighted: Vec<f64>,
    squares: Vec<f64>,
}

impl Running {
    pub(super) fn new(values: &[f64], weights: &[f64]) -> Self {
        let mut running = Self { weight: vec![0.0], weighted: vec![0.0], squares: vec![0.0] };
        let (mut w0, mut w1, mut w2) = (0.0, 0.0, 0.0);
        for (y, w) in values.iter().zip(weights) {
            w0 += w;
            w1 += w * y;
            w2 += w * y * y;
            running.weight.push(w0);
            running.weighted.push(w1);
            running.squares.push(w2);
        }
        running
    }

    /// Total weight of `from..to`.
    pub(super) fn weight(&self, from: usize, to: usize) -> f64 {
        self.weight[to] - self.weight[from]
    }

    /// Mean of `from..to`.
    pub(super) fn mean(&self, from: usize, to: usize) -> f64 {
        (self.weighted[to] - self.weighted[from]) / self.weight(from, to)
    }

    /// Sum of squares of `from..to` around its mean.
    pub(super) fn rss(&self, from: usize, to: usize) -> f64 {
        let weighted = self.weighted[to] - self.weighted[from];
        (self.squares[to] - self.squares[from] - weighted * weighted / self.weight(from, to)).max(0.0)
    }
}
