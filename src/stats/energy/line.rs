//! Single values: the two distribution functions side by side.

use crate::error::{InputError, all_finite, at_least};

/// All values in ascending order.
pub(super) struct Line {
    /// For each value in ascending order: its row, and the distance to the next value.
    steps: Vec<(usize, f64)>,
}

impl Line {
    pub(super) fn new(first: &[f64], second: &[f64]) -> Result<Self, InputError> {
        at_least("values in each sample", 1, first.len().min(second.len()))?;
        all_finite("first sample", first)?;
        all_finite("second sample", second)?;
        let mut values: Vec<(f64, usize)> = first.iter().chain(second).copied().zip(0..).collect();
        values.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let next = values.iter().skip(1).map(|v| v.0).chain(values.last().map(|v| v.0));
        Ok(Self { steps: values.iter().zip(next).map(|((value, row), next)| (*row, next - value)).collect() })
    }
}

impl Line {
    /// E alone. F - G in steps of 1 / (n m), a whole number, so that no division is left within the loop.
    pub(super) fn distance(&self, in_first: &[bool]) -> f64 {
        let n = in_first.iter().filter(|first| **first).count();
        let (n, m) = (n as f64, (in_first.len() - n) as f64);
        let (mut difference, mut apart) = (0.0, 0.0);
        for (row, gap) in &self.steps {
            difference += if in_first[*row] { m } else { -n };
            apart += difference * difference * gap;
        }
        2.0 * apart / (n * m * (n * m))
    }

    /// E and the mean distance between the samples, given which rows are in the first.
    pub(super) fn compare(&self, in_first: &[bool]) -> (f64, f64) {
        let n = in_first.iter().filter(|first| **first).count();
        let (n, m) = (n as f64, (in_first.len() - n) as f64);
        let (mut below_first, mut below_second) = (0.0, 0.0);
        let (mut apart, mut between) = (0.0, 0.0);
        for (row, gap) in &self.steps {
            if in_first[*row] {
                below_first += 1.0;
            } else {
                below_second += 1.0;
            }
            let (f, g) = (below_first / n, below_second / m);
            apart += (f - g) * (f - g) * gap;
            // E|X - Y| is the integral of the chance that a point lies between the two
            between += (f * (1.0 - g) + g * (1.0 - f)) * gap;
        }
        (2.0 * apart, between)
    }
}
