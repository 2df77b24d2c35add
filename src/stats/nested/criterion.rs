//! The restricted likelihood and its gradient, by one walk up the tree and one down.

use super::tree::Nested;

/// The criterion at one set of components.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Value {
    /// Minus twice the restricted log-likelihood.
    pub deviance: f64,
    /// Its derivative by each variance: the levels from the top, then the residual.
    pub gradient: Vec<f64>,
    /// The estimate of mu, less the centre.
    pub mu: f64,
    /// The variance of that estimate.
    pub mu_variance: f64,
}

/// What a group knows: precision and mean of its own level, before its effect is integrated out.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Known {
    pub precision: f64,
    pub mean: f64,
}

/// What is predicted of a group's level (mu and all effects down to it).
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Predicted {
    pub mean: f64,
    pub variance: f64,
}

/// The tree after the walk up.
pub(super) struct Up {
    /// For each level but the lowest, from the top: what each group knows.
    pub known: Vec<Vec<Known>>,
    pub root: Known,
    /// For each level but the lowest, from the top: the precision w' that each group passes on.
    passed: Vec<Vec<f64>>,
    /// The same for the groups of the lowest level, by size.
    passed_by_size: Vec<f64>,
    /// Sum of ln(1 + v w) over all groups.
    log_determinant: f64,
    /// Sum of w'(m - parent's m)2 over all groups.
    squares: f64,
}

/// The precision that a group with effect variance `v` passes to its parent.
pub(super) fn passed(precision: f64, v: f64) -> f64 {
    precision / (1.0 + v * precision)
}

/// A child, or several alike, as its parent sees it: parent, number, w' of each, mean, squares of means.
type Child = (usize, f64, f64, f64, f64);

/// What the parents know of their children, and the sum of w'(m - parent's m)2.
fn gather(parents: usize, children: impl Iterator<Item = Child> + Clone) -> (Vec<Known>, f64) {
    let mut known = vec![Known::default(); parents];
    for (parent, number, weight, mean, _) in children.clone() {
        let parent = &mut known[parent];
        parent.precision += number * weight;
        parent.mean += number * weight * mean;
    }
    known.iter_mut().for_each(|known| known.mean /= known.precision);
    let mut total = 0.0;
    for (parent, number, weight, mean, squares) in children {
        let off = mean - known[parent].mean;
        total += weight * (squares + number * off * off);
    }
    (known, total)
}

fn parents(data: &Nested, level: usize) -> usize {
    if level == 0 { 1 } else { data.upper[level - 1].len() }
}

/// The walk up. `v` holds the variances of the levels from the top and then the residual's.
pub(super) fn walk_up(data: &Nested, v: &[f64]) -> Up {
    let lowest = data.upper.len();
    let residual = v[lowest + 1];
    let passed_by_size: Vec<f64> = data.sizes.iter().map(|(n, _)| passed(n / residual, v[lowest])).collect();
    let mut log_determinant: f64 =
        data.sizes.iter().map(|(n, groups)| groups * (v[lowest] * n / residual).ln_1p()).sum();
    let cells = data.cells.iter().map(|c| (c.parent, c.groups, passed_by_size[c.size], c.mean, c.squares));
    let (mut current, mut squares) = gather(parents(data, lowest), cells);
    let (mut known, mut all_passed) = (vec![Vec::new(); lowest], vec![Vec::new(); lowest]);
    for level in (0..lowest).rev() {
        let weights: Vec<f64> = current.iter().map(|k| passed(k.precision, v[level])).collect();
        log_determinant += current.iter().map(|k| (v[level] * k.precision).ln_1p()).sum::<f64>();
        let children = data.upper[level]
            .iter()
            .zip(&current)
            .zip(&weights)
            .map(|((parent, k), w)| (*parent, 1.0, *w, k.mean, 0.0));
        let (above, more) = gather(parents(data, level), children);
        squares += more;
        known[level] = std::mem::replace(&mut current, above);
        all_passed[level] = weights;
    }
    Up { known, root: current[0], passed: all_passed, passed_by_size, log_determinant, squares }
}

/// What one step of the walk down finds of a group.
pub(super) struct Step {
    pub predicted: Predicted,
    /// r: the best linear unbiased prediction over v.
    pub pull: f64,
    /// The prediction's own variance, that of mu included.
    pub effect_variance: f64,
}

/// What the parent's prediction and the group's own knowledge say of the group.
///
/// `weight` is w', which it passes up: 1 - v w' is 1 / (1 + v w), v over which is what is left of the effect's variance.
pub(super) fn step_down(known: Known, weight: f64, v: f64, parent: Predicted) -> Step {
    let kept = weight / known.precision;
    let pull = weight * (known.mean - parent.mean);
    let own = v * kept;
    Step {
        predicted: Predicted { mean: parent.mean + v * pull, variance: own + kept * kept * parent.variance },
        pull,
        effect_variance: own + (v * weight).powi(2) * parent.variance,
    }
}

/// The criterion with its gradient; `None` where it has no finite value.
pub(super) fn evaluate(data: &Nested, v: &[f64]) -> Option<Value> {
    let lowest = data.upper.len();
    let (n, residual) = (data.n as f64, v[lowest + 1]);
    // "is inside", so that NaN fails
    if !(residual > 0.0 && v.iter().all(|v| *v >= 0.0 && v.is_finite())) {
        return None;
    }
    let up = walk_up(data, v);
    let squares = data.within / residual + up.squares;
    let deviance = (n - 1.0) * (2.0 * std::f64::consts::PI).ln()
        + n * residual.ln()
        + up.log_determinant
        + up.root.precision.ln()
        + squares;
    let root = Predicted { mean: up.root.mean, variance: 1.0 / up.root.precision };
    let mut gradient = vec![0.0; lowest + 2];
    let mut above = vec![root];
    for level in 0..lowest {
        let mut predicted = Vec::with_capacity(data.upper[level].len());
        for ((parent, known), weight) in data.upper[level].iter().zip(&up.known[level]).zip(&up.passed[level]) {
            let step = step_down(*known, *weight, v[level], above[*parent]);
            gradient[level] += weight - weight * weight * above[*parent].variance - step.pull * step.pull;
            predicted.push(step.predicted);
        }
        above = predicted;
    }
    for cell in &data.cells {
        let weight = up.passed_by_size[cell.size];
        let parent = above[cell.parent];
        let off = cell.mean - parent.mean;
        gradient[lowest] += cell.groups * (weight - weight * weight * parent.variance)
            - weight * weight * (cell.squares + cell.groups * off * off);
    }
    // multiplying all variances by c changes D by (N - 1) ln c and the squares by 1/c: the derivatives add up to that
    let others: f64 = (0..=lowest).map(|k| v[k] * gradient[k]).sum();
    gradient[lowest + 1] = (n - 1.0 - squares - others) / residual;
    let finite = deviance.is_finite() && gradient.iter().all(|g| g.is_finite());
    finite.then_some(Value { deviance, gradient, mu: root.mean, mu_variance: root.variance })
}

/// A start by moments, from the lowest level up (DerSimonian & Laird 1986, Control Clin Trials 7:177-88, at each level),
/// and for each level the mean sampling variance of its groups' means.
pub(super) fn moments(data: &Nested) -> (Vec<f64>, Vec<f64>) {
    let lowest = data.upper.len();
    let residual = data.within / (data.n - data.leaves.len()) as f64;
    let (mut v, mut noise) = (vec![0.0; lowest + 2], vec![0.0; lowest + 2]);
    (v[lowest + 1], noise[lowest + 1]) = (residual, residual);
    for level in (0..=lowest).rev() {
        // with this level's variance at 0, w' is w and the squares are those between siblings
        let children: Vec<Child> = if level == lowest {
            let precision = |c: &super::tree::Cell| data.sizes[c.size].0 / residual;
            data.cells.iter().map(|c| (c.parent, c.groups, precision(c), c.mean, c.squares)).collect()
        } else {
            let known = walk_up(data, &v).known.swap_remove(level);
            data.upper[level].iter().zip(known).map(|(p, k)| (*p, 1.0, k.precision, k.mean, 0.0)).collect()
        };
        let (known, squares) = gather(parents(data, level), children.iter().copied());
        let groups: f64 = children.iter().map(|c| c.1).sum();
        let total: f64 = children.iter().map(|c| c.1 * c.2).sum();
        let spread = total - children.iter().map(|c| c.1 * c.2 * c.2 / known[c.0].precision).sum::<f64>();
        let excess = (squares - (groups - known.len() as f64)) / spread;
        v[level] = if excess > 0.0 && excess.is_finite() { excess } else { 0.0 };
        noise[level] = groups / total;
    }
    (v, noise)
}
