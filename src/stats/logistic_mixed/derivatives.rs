//! The likelihood of all groups with its exact gradient and its information.
//!
//! **Gradient of one group**, by theta = (b, sd). With log I = log s + log sum w exp(h(v) + z2/2), v = v0 + s z, and m the shares
//! of the nodes in the sum: d log I = d log s + sum m (h_theta(v) + h'(v) (dv0 + z ds)), where dv0 = s2 h'_theta(v0), and, with
//! c = 1/s2 = 1 + sd2 sum w, ds = -s3 dc / 2. Writing r, w and w' = w(1 - 2p) for a row's residual, weight and its slope:
//! h_b = sum r x, h_sd = v sum r, h'_b = -sd sum w x, h'_sd = sum r - sd v sum w,
//! dc_b = sd2 sum (w' x) + sd3 dv0_b sum w', dc_sd = 2 sd sum w + sd2 sum w' (v0 + sd dv0_sd).

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::group::{GroupAt, Integral};
use super::sorted::Sorted;
use crate::gauss_hermite::GaussHermite;
use crate::logistic::sums::{add_products, dot, mirror};

/// Rows whose residuals at all nodes are kept at once.
const BLOCK: usize = 64;

/// The likelihood at some parameters.
pub(super) struct At {
    /// Fixed effects, then the SD.
    pub parameters: Vec<f64>,
    /// Without binomial coefficients.
    pub log_likelihood: f64,
    pub gradient: DVector<f64>,
    /// By Louis' formula.
    pub information: DMatrix<f64>,
    /// Its first part, positive definite everywhere: the information if the intercepts were known.
    pub complete: DMatrix<f64>,
    /// v0 of each group.
    pub modes: Vec<f64>,
}

/// Sums over the groups of a task.
struct Sums {
    log_likelihood: f64,
    gradient: Vec<f64>,
    information: Vec<f64>,
    complete: Vec<f64>,
    modes: Vec<f64>,
}

/// `None` where the likelihood has no finite value.
pub(super) fn evaluate(
    data: &Sorted,
    rule: &GaussHermite,
    fine: &GaussHermite,
    parameters: &[f64],
    modes: &[f64],
) -> Option<At> {
    let d = data.columns + 1;
    let parts: Vec<Option<Sums>> =
        data.tasks.par_iter().map(|task| task_sums(data, task.clone(), rule, fine, parameters, modes)).collect();
    let mut total = Sums::zero(d, data.groups.len());
    for part in parts {
        let part = part?;
        total.log_likelihood += part.log_likelihood;
        add(&mut total.gradient, &part.gradient, 1.0);
        add(&mut total.information, &part.information, 1.0);
        add(&mut total.complete, &part.complete, 1.0);
        total.modes.extend(part.modes);
    }
    mirror(&mut total.information, d);
    mirror(&mut total.complete, d);
    let finite = |values: &[f64]| values.iter().all(|v| v.is_finite());
    if !(total.log_likelihood.is_finite() && finite(&total.gradient) && finite(&total.information)) {
        return None;
    }
    Some(At {
        parameters: parameters.to_vec(),
        log_likelihood: total.log_likelihood,
        gradient: DVector::from_vec(total.gradient),
        information: DMatrix::from_row_slice(d, d, &total.information),
        complete: DMatrix::from_row_slice(d, d, &total.complete),
        modes: total.modes,
    })
}

fn add(sum: &mut [f64], values: &[f64], times: f64) {
    sum.iter_mut().zip(values).for_each(|(s, v)| *s += times * v);
}

impl Sums {
    fn zero(d: usize, groups: usize) -> Self {
        let (gradient, information, complete) = (vec![0.0; d], vec![0.0; d * d], vec![0.0; d * d]);
        Self { log_likelihood: 0.0, gradient, information, complete, modes: Vec::with_capacity(groups) }
    }
}

fn task_sums(
    data: &Sorted,
    task: std::ops::Range<usize>,
    rule: &GaussHermite,
    fine: &GaussHermite,
    parameters: &[f64],
    modes: &[f64],
) -> Option<Sums> {
    let p = data.columns;
    let (b, sd) = (&parameters[..p], parameters[p]);
    let mut sums = Sums::zero(p + 1, task.len());
    for g in task {
        let at = GroupAt::new(data, data.groups[g].clone(), b, sd, modes[g])?;
        let integral = at.integral(rule)?;
        sums.log_likelihood += integral.log_integral;
        let nodes = Nodes::new(&at, &integral, p);
        add_gradient(&mut sums.gradient, &at, &integral, &nodes, rule, p);
        if rule.nodes.len() == fine.nodes.len() {
            nodes.add_information(&mut sums, &integral, p);
        } else {
            let integral = at.integral(fine)?;
            Nodes::new(&at, &integral, p).add_information(&mut sums, &integral, p);
        }
        sums.modes.push(at.mode);
    }
    Some(sums)
}

/// Sums over a group's rows at each node.
struct Nodes {
    /// Of residuals.
    residual: Vec<f64>,
    /// Of weights.
    weight: Vec<f64>,
    /// Mean residual of each row over the nodes.
    mean_residual: Vec<f64>,
    /// Of residuals times x, node by node.
    score: Vec<f64>,
    /// Of mean weights times x x', lower triangle.
    products: Vec<f64>,
    /// Of the mean of v times the weight, times x.
    weighted: Vec<f64>,
}

impl Nodes {
    fn new(at: &GroupAt, integral: &Integral, p: usize) -> Self {
        let k = integral.v.len();
        let factors: Vec<f64> = integral.v.iter().map(|v| (at.sd * v).exp()).collect();
        let v_shares: Vec<f64> = integral.v.iter().zip(&integral.shares).map(|(v, share)| v * share).collect();
        let mut nodes = Self {
            residual: vec![0.0; k],
            weight: vec![0.0; k],
            mean_residual: Vec::with_capacity(at.trials.len()),
            score: vec![0.0; k * p],
            products: vec![0.0; p * p],
            weighted: vec![0.0; p],
        };
        let mut residuals = vec![0.0; BLOCK * k];
        let mut weights = vec![0.0; k];
        let mut mean_weights = Vec::with_capacity(BLOCK);
        let rows = at.exponential.chunks(BLOCK).zip(at.successes.chunks(BLOCK)).zip(at.trials.chunks(BLOCK));
        for (((exponential, successes), trials), x) in rows.zip(at.design.chunks(BLOCK * p)) {
            mean_weights.clear();
            let counts = exponential.iter().zip(successes).zip(trials);
            for (((e, y), n), (kept, x)) in counts.zip(residuals.chunks_exact_mut(k).zip(x.chunks_exact(p))) {
                let failures = n - y;
                for ((residual, weight), factor) in kept.iter_mut().zip(&mut weights).zip(&factors) {
                    let t = e * factor;
                    let against = 1.0 / (1.0 + t);
                    let chance = t * against;
                    *residual = y * against - failures * chance;
                    *weight = n * chance * against;
                }
                add(&mut nodes.residual, kept, 1.0);
                add(&mut nodes.weight, &weights, 1.0);
                nodes.mean_residual.push(dot(kept, &integral.shares));
                mean_weights.push(dot(&weights, &integral.shares));
                add(&mut nodes.weighted, x, dot(&weights, &v_shares));
            }
            add_products(&mut nodes.products, x, &mean_weights, p);
            add_scores(&mut nodes.score, &residuals, x, k, p);
        }
        nodes
    }

    /// E[-h''] - Var[h'] over the nodes.
    fn add_information(&self, sums: &mut Sums, integral: &Integral, p: usize) {
        let d = p + 1;
        // v times the sum of residuals is the score by the SD
        let sd_score: Vec<f64> = integral.v.iter().zip(&self.residual).map(|(v, r)| v * r).collect();
        let mean = |of: &dyn Fn(usize) -> f64| integral.shares.iter().enumerate().map(|(q, m)| m * of(q)).sum::<f64>();
        let centre: Vec<f64> = (0..p).map(|i| mean(&|q| self.score[q * p + i])).collect();
        let sd_centre = mean(&|q| sd_score[q]);
        let sd_sd = mean(&|q| integral.v[q].powi(2) * self.weight[q]);
        for i in 0..p {
            add(&mut sums.complete[i * d..i * d + i + 1], &self.products[i * p..i * p + i + 1], 1.0);
            add(&mut sums.information[i * d..i * d + i + 1], &self.products[i * p..i * p + i + 1], 1.0);
        }
        for information in [&mut sums.complete, &mut sums.information] {
            add(&mut information[p * d..p * d + p], &self.weighted, 1.0);
            information[p * d + p] += sd_sd;
        }
        let mut deviation = vec![0.0; d];
        for (q, share) in integral.shares.iter().enumerate() {
            for i in 0..p {
                deviation[i] = self.score[q * p + i] - centre[i];
            }
            deviation[p] = sd_score[q] - sd_centre;
            for i in 0..d {
                let times = -share * deviation[i];
                add(&mut sums.information[i * d..i * d + i + 1], &deviation[..=i], times);
            }
        }
    }
}

/// Adds residuals times x for each node, four rows at a time.
fn add_scores(score: &mut [f64], residuals: &[f64], x: &[f64], k: usize, p: usize) {
    let mut fours = x.chunks_exact(4 * p);
    let mut used = 0;
    for (rows, r) in fours.by_ref().zip(residuals.chunks_exact(4 * k)) {
        let (first, rest) = rows.split_at(p);
        let (second, rest) = rest.split_at(p);
        let (third, fourth) = rest.split_at(p);
        for (q, out) in score.chunks_exact_mut(p).enumerate() {
            let (a, b, c, d) = (r[q], r[k + q], r[2 * k + q], r[3 * k + q]);
            let row = first.iter().zip(second).zip(third.iter().zip(fourth));
            for (out, ((x1, x2), (x3, x4))) in out.iter_mut().zip(row) {
                *out += a * x1 + b * x2 + (c * x3 + d * x4);
            }
        }
        used += 4;
    }
    for (row, r) in fours.remainder().chunks_exact(p).zip(residuals[used * k..].chunks_exact(k)) {
        score.chunks_exact_mut(p).zip(r).for_each(|(out, r)| add(out, row, *r));
    }
}

/// The exact gradient of one group's integral; see the head.
fn add_gradient(gradient: &mut [f64], at: &GroupAt, integral: &Integral, nodes: &Nodes, rule: &GaussHermite, p: usize) {
    let (sd, s) = (at.sd, at.scale);
    let factor = (sd * at.mode).exp();
    // np(1-p) and its slope for each row at the mode
    let weights: Vec<(f64, f64)> = at
        .exponential
        .iter()
        .zip(at.trials)
        .map(|(e, n)| {
            let t = e * factor;
            let against = 1.0 / (1.0 + t);
            let chance = t * against;
            let weight = n * chance * against;
            (weight, weight * (against - chance))
        })
        .collect();
    let (weight, slope) = weights.iter().fold((0.0, 0.0), |(w, s), row| (w + row.0, s + row.1));
    let (residual, _) = at.residual_and_weight(at.mode);
    let (mut by_mode, mut by_scale, mut by_sd) = (0.0, 0.0, 0.0);
    for (q, share) in integral.shares.iter().enumerate() {
        let h1 = sd * nodes.residual[q] - integral.v[q];
        by_mode += share * h1;
        by_scale += share * rule.nodes[q] * h1;
        by_sd += share * integral.v[q] * nodes.residual[q];
    }
    // what a change of c does, through log s and s
    let by_c = -(s * s + by_scale * s.powi(3)) / 2.0;
    let of_weight = -s * s * sd * (by_mode + by_c * sd.powi(3) * slope);
    let of_slope = by_c * sd * sd;
    for ((x, r), (w, w1)) in at.design.chunks_exact(p).zip(&nodes.mean_residual).zip(&weights) {
        add(gradient, x, r + of_weight * w + of_slope * w1);
    }
    let mode_by_sd = s * s * (residual - sd * at.mode * weight);
    let c_by_sd = 2.0 * sd * weight + sd * sd * slope * (at.mode + sd * mode_by_sd);
    gradient[p] += by_sd + by_mode * mode_by_sd + by_c * c_by_sd;
}
