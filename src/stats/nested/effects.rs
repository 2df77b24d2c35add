//! Best linear unbiased predictions of the groups' effects.

use super::criterion::{Known, Predicted, Step, passed, step_down, walk_up};
use super::fit::Fit;
use super::tree::Nested;

/// What is predicted of one group's effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Position of its parent among the groups of the level above; 0 for the top level.
    pub parent: usize,
    /// The effect: how far the group lies from its parent's level, shrunken; in units of the values.
    pub value: f64,
    /// The standard deviation of prediction error, the uncertainty of the mean included, the components taken as known.
    pub sd: f64,
    /// The group's own level: the mean and all effects down to it.
    pub level_mean: f64,
    /// The standard deviation of its prediction error.
    pub level_sd: f64,
}

impl Fit {
    /// The predicted effects of the groups of `level`, 0 being the top, in the order of the rows; `None` beyond the lowest.
    /// `data` must be what was fitted.
    #[must_use]
    pub fn effects(&self, data: &Nested, level: usize) -> Option<Vec<Effect>> {
        let lowest = data.upper.len();
        let v = self.variances();
        if level > lowest || v.len() != lowest + 2 {
            return None;
        }
        let up = walk_up(data, &v);
        let down = |known: Known, v: f64, parent: Predicted| -> Step {
            step_down(known, passed(known.precision, v), v, parent)
        };
        let mut above = vec![Predicted { mean: up.root.mean, variance: 1.0 / up.root.precision }];
        for ((parents, known), v) in data.upper.iter().zip(&up.known).zip(&v).take(level) {
            let children = parents.iter().zip(known);
            above = children.map(|(parent, known)| down(*known, *v, above[*parent]).predicted).collect();
        }
        let effect = |parent: usize, known: Known| {
            let step = down(known, v[level], above[parent]);
            Effect {
                parent,
                value: v[level] * step.pull,
                sd: step.effect_variance.sqrt(),
                level_mean: data.centre + step.predicted.mean,
                level_sd: step.predicted.variance.sqrt(),
            }
        };
        Some(if level == lowest {
            let known = |n: f64, mean| Known { precision: n / v[lowest + 1], mean };
            data.leaves.iter().map(|leaf| effect(leaf.parent, known(leaf.n, leaf.mean))).collect()
        } else {
            data.upper[level].iter().zip(&up.known[level]).map(|(parent, known)| effect(*parent, *known)).collect()
        })
    }
}
