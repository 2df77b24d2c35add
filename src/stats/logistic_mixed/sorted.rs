//! Rows put side by side by group.

use std::ops::Range;

use crate::error::{InputError, at_least};
use crate::logistic::Checked;

/// Rows that a task takes at least, in whole groups.
const TASK_ROWS: usize = 4096;

/// Rows sorted by group, in the order given within a group.
pub(super) struct Sorted {
    pub columns: usize,
    pub design: Vec<f64>,
    pub successes: Vec<f64>,
    pub trials: Vec<f64>,
    pub offset: Vec<f64>,
    /// Rows of each group.
    pub groups: Vec<Range<usize>>,
    /// Groups of each task.
    pub tasks: Vec<Range<usize>>,
    /// Logarithm of the binomial coefficients of all rows.
    pub log_coefficients: f64,
    /// Log-likelihood, without the coefficients, of the model that fits each row exactly.
    pub saturated: f64,
}

impl Sorted {
    pub(super) fn new(rows: &Checked, group: &[usize]) -> Result<Self, InputError> {
        let order = starts(group)?;
        let (starts, p) = (order, rows.columns());
        let groups: Vec<Range<usize>> = starts.windows(2).map(|w| w[0]..w[1]).collect();
        at_least("groups", 2, groups.len())?;
        let mut next = starts;
        let mut place = vec![0; group.len()];
        for (j, g) in group.iter().enumerate() {
            place[next[*g]] = j;
            next[*g] += 1;
        }
        let pick = |values: &[f64]| place.iter().map(|j| values[*j]).collect::<Vec<f64>>();
        let mut design = Vec::with_capacity(rows.design.len());
        place.iter().for_each(|j| design.extend_from_slice(&rows.design[j * p..(j + 1) * p]));
        let mut tasks = Vec::new();
        let mut from = 0;
        for to in 1..=groups.len() {
            if to == groups.len() || groups[from..to].iter().map(ExactSizeIterator::len).sum::<usize>() >= TASK_ROWS {
                tasks.push(from..to);
                from = to;
            }
        }
        Ok(Self {
            columns: p,
            design,
            successes: pick(&rows.successes),
            trials: pick(&rows.trials),
            offset: rows.offset.as_ref().map_or_else(|| vec![0.0; group.len()], |o| pick(o)),
            groups,
            tasks,
            log_coefficients: rows.log_coefficients(),
            saturated: rows.saturated(),
        })
    }
}

/// Where each group's rows start once sorted, and where the last ends.
fn starts(group: &[usize]) -> Result<Vec<usize>, InputError> {
    let gap = |index| InputError::BadElement { what: "groups", index, domain: "numbered from 0 without gaps" };
    // with more groups than rows there is a gap
    if let Some(index) = group.iter().position(|g| *g >= group.len()) {
        return Err(gap(index));
    }
    let count = group.iter().max().map_or(0, |g| g + 1);
    let mut sizes = vec![0_usize; count];
    group.iter().for_each(|g| sizes[*g] += 1);
    if let Some(missing) = sizes.iter().position(|s| *s == 0) {
        return Err(gap(group.iter().position(|g| *g > missing).unwrap_or(0)));
    }
    let mut starts = vec![0];
    let mut total = 0;
    for size in sizes {
        total += size;
        starts.push(total);
    }
    Ok(starts)
}
