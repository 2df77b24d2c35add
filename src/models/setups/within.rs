//! What changes from one visit of a patient to the next.

use super::column::Column;
use crate::catalogue::parameter::Nature;
use mendcurve_stats::quantile::Sorted;

/// The steps of all patients.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Within {
    /// Steps from one visit of an episode to the next that both record the parameter.
    pub steps: u32,
    /// Of these, to another value.
    pub changed: u32,
    /// Of those to another value, the median and the 90th percentile of how far, for a number.
    pub how_far: Option<(f64, f64)>,
}

/// The steps of a column; `None` without any.
pub fn within(column: &Column<'_>) -> Option<Within> {
    let mut far = Vec::new();
    let mut steps = 0;
    for episode in column.values.chunk_by(|a, b| a.0.episode == b.0.episode) {
        for pair in episode.windows(2) {
            let [before, after] = pair else { continue };
            steps += 1;
            if before.1 != after.1 {
                far.push((after.1 - before.1).abs());
            }
        }
    }
    let is_number = matches!(column.about.parameter.nature(), Nature::Number { .. });
    let sorted = Sorted::new(&far).ok().filter(|_| is_number);
    let how_far = sorted.and_then(|sorted| Some((sorted.median(), sorted.quantile(0.9).ok()?)));
    (steps > 0).then_some(Within { steps, changed: far.len() as u32, how_far })
}
