//! Rows of several columns: Euclidean distances after standardising.

use super::{KEPT_ROWS, Pooled};
use crate::sum::sample_sd;

/// All rows, standardised, with what any division needs of their distances.
pub(super) struct Distances {
    rows: Vec<f64>,
    columns: usize,
    /// All distances, row after row; empty beyond [`KEPT_ROWS`].
    pub(super) kept: Vec<f64>,
    /// Sum of each row's distances to all others.
    sums: Vec<f64>,
    /// Sum over all ordered pairs.
    total: f64,
}

impl Distances {
    /// The samples must have been checked: whole rows, at least one in each, all finite.
    pub(super) fn new(first: &[f64], second: &[f64], columns: usize) -> Self {
        let mut rows: Vec<f64> = first.iter().chain(second).copied().collect();
        for column in 0..columns {
            let values: Vec<f64> = rows.iter().skip(column).step_by(columns).copied().collect();
            let scale = sample_sd(&values).filter(|sd| *sd > 0.0).map_or(0.0, f64::recip);
            rows.iter_mut().skip(column).step_by(columns).for_each(|value| *value *= scale);
        }
        let n = rows.len() / columns;
        let mut distances = Self { rows, columns, kept: Vec::new(), sums: vec![0.0; n], total: 0.0 };
        if n <= KEPT_ROWS {
            let kept =
                (0..n).flat_map(|i| (0..n).map(move |j| (i, j))).map(|(i, j)| distances.computed(i, j)).collect();
            distances.kept = kept;
        }
        distances.sums = (0..n).map(|i| (0..n).map(|j| distances.between(i, j)).sum()).collect();
        distances.total = distances.sums.iter().sum();
        distances
    }

    fn computed(&self, i: usize, j: usize) -> f64 {
        let row = |i: usize| &self.rows[i * self.columns..(i + 1) * self.columns];
        row(i).iter().zip(row(j)).map(|(a, b)| (a - b) * (a - b)).sum::<f64>().sqrt()
    }

    fn between(&self, i: usize, j: usize) -> f64 {
        if self.kept.is_empty() { self.computed(i, j) } else { self.kept[i * self.sums.len() + j] }
    }
}

impl Pooled for Distances {
    fn compare(&self, in_first: &[bool]) -> (f64, f64) {
        let all = self.sums.len();
        let n = in_first.iter().filter(|first| **first).count();
        // sums over the smaller sample give all the others
        let smaller_is_first = 2 * n <= all;
        let smaller: Vec<usize> = (0..all).filter(|&i| in_first[i] == smaller_is_first).collect();
        let outward: f64 = smaller.iter().map(|&i| self.sums[i]).sum();
        let pairs = |(k, &i): (usize, &usize)| smaller[..k].iter().map(|&j| self.between(i, j)).sum::<f64>();
        let within = 2.0 * smaller.iter().enumerate().map(pairs).sum::<f64>();
        let across = outward - within;
        let rest = self.total - within - 2.0 * across;
        let (s, l) = (smaller.len() as f64, (all - smaller.len()) as f64);
        let between = across / (s * l);
        ((2.0 * between - within / (s * s) - rest / (l * l)).max(0.0), between)
    }
}
