//! Profile-likelihood intervals of the components and of their shares.
//!
//! Holding component k at t, or at the share p of the total, ties it to the others: v_k = t + rho times their sum, rho =
//! p / (1 - p). The others are free, so one descent serves both; limits are found where the rise of the criterion
//! crosses the chi-square quantile, by regula falsi (Illinois) on its square root, nearly straight in ln v and logit p.

use super::criterion::evaluate;
use super::descent::{minimise, minimise_quickly};
use super::fit::{Fit, Part};
use super::tree::Nested;
use nalgebra::DMatrix;
use rayon::prelude::*;

use crate::distribution::normal_quantile;
use crate::interval::Interval;
use crate::level::Level;

/// Distance in standard errors at which an inner descent stops: its square is what the criterion is off by.
const TARGET: f64 = 1e-4;
/// How far the root of the rise may be from its quantile.
const TOLERANCE: f64 = 1e-6;
/// Evaluations of the profile spent on one limit.
const MAX_TRIALS: usize = 100;

/// The intervals of one component.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PartInterval {
    /// Which component.
    pub part: Part,
    /// Of its variance; `None` if a limit could not be found.
    pub variance: Option<Interval>,
    /// Of its share of the total; `None` if a limit could not be found.
    pub share: Option<Interval>,
}

/// What component `k` is held at.
#[derive(Clone, Copy)]
enum Held {
    Variance(f64),
    Share(f64),
}

struct Profile<'a> {
    data: &'a Nested,
    fit: &'a Fit,
    best: Vec<f64>,
    k: usize,
    z: f64,
    /// Where the last descent ended: the next starts there.
    warm: Vec<f64>,
    /// The Hessian there, by the other components.
    hessian: Option<DMatrix<f64>>,
}

impl Fit {
    /// Profile-likelihood intervals at `level` of each component's variance and share, in the order of the components.
    /// `data` must be what was fitted.
    #[must_use]
    pub fn intervals(&self, data: &Nested, level: Level) -> Vec<PartInterval> {
        let best = self.variances();
        let Ok(lower) = normal_quantile(level.tail()) else { return Vec::new() };
        let profile =
            |k| Profile { data, fit: self, best: best.clone(), k, z: -lower, warm: best.clone(), hessian: None };
        // each limit is a task of its own, so that the number of threads changes nothing
        (0..best.len())
            .into_par_iter()
            .map(|k| {
                let (variance, share) = rayon::join(|| profile(k).variance_limits(), || profile(k).share_limits());
                PartInterval { part: self.components[k].part, variance, share }
            })
            .collect()
    }
}

impl Profile<'_> {
    /// Root of the rise of the criterion with component k held, less the quantile; infinite where it has no value.
    fn excess(&mut self, held: Held) -> f64 {
        let (fixed, slope) = match held {
            Held::Variance(t) => (t, 0.0),
            Held::Share(p) => (0.0, p / (1.0 - p)),
        };
        let (k, data) = (self.k, self.data);
        let others: Vec<usize> = (0..self.best.len()).filter(|j| *j != k).collect();
        let whole = |u: &[f64]| {
            let mut v = vec![0.0; others.len() + 1];
            others.iter().zip(u).for_each(|(j, u)| v[*j] = *u);
            v[k] = fixed + slope * u.iter().sum::<f64>();
            v
        };
        let mut surface = |u: &[f64]| {
            let value = evaluate(data, &whole(u))?;
            let gradient = others.iter().map(|j| value.gradient[*j] + slope * value.gradient[k]).collect();
            Some((value.deviance, gradient))
        };
        let offsets: Vec<f64> = others.iter().map(|j| self.fit.offsets[*j]).collect();
        let pick = |v: &[f64]| others.iter().map(|j| v[*j]).collect::<Vec<f64>>();
        let mut start = pick(&self.warm);
        if start.iter().sum::<f64>() <= 0.0 {
            start.iter_mut().for_each(|u| *u = self.best.iter().sum::<f64>() / self.best.len() as f64);
        }
        let quick = minimise_quickly(&mut surface, &start, &offsets, &mut self.hessian, TARGET);
        let Some(at) = quick.or_else(|| minimise(&mut surface, &start, &offsets, TARGET).map(|end| end.at)) else {
            return f64::INFINITY;
        };
        self.warm = whole(&at.v);
        (at.deviance - self.fit.deviance).max(0.0).sqrt() - self.z
    }

    fn variance_limits(&mut self) -> Option<Interval> {
        let (offset, best) = (self.fit.offsets[self.k], self.best[self.k]);
        let value = |x: f64| (x.exp() - offset).max(0.0);
        let x = (best + offset).ln();
        self.warm = self.best.clone();
        let low = if best == 0.0 || (offset > 0.0 && self.excess(Held::Variance(0.0)) <= 0.0) {
            0.0
        } else {
            self.warm = self.best.clone();
            let floor = if offset > 0.0 { offset.ln() } else { f64::NEG_INFINITY };
            value(self.limit(x, floor, &|x| Held::Variance(value(x)))?)
        };
        self.warm = self.best.clone();
        let high = value(self.limit(x, f64::INFINITY, &|x| Held::Variance(value(x)))?);
        Some(Interval { low: low.min(best), high: high.max(best) })
    }

    fn share_limits(&mut self) -> Option<Interval> {
        let best = self.fit.components[self.k].share;
        let residual = self.fit.components[self.k].part == Part::Residual;
        let value = |x: f64| 1.0 / (1.0 + (-x).exp());
        let x = best.clamp(1e-12, 1.0 - 1e-12);
        let x = (x / (1.0 - x)).ln();
        self.warm = self.best.clone();
        let low = if best == 0.0 || (!residual && self.excess(Held::Share(0.0)) <= 0.0) {
            0.0
        } else {
            self.warm = self.best.clone();
            value(self.limit(x, f64::NEG_INFINITY, &|x| Held::Share(value(x)))?)
        };
        let high = if best == 1.0 || (residual && self.excess_without_groups() <= 0.0) {
            1.0
        } else {
            self.warm = self.best.clone();
            value(self.limit(x, f64::INFINITY, &|x| Held::Share(value(x)))?)
        };
        Some(Interval { low: low.min(best), high: high.max(best) })
    }

    /// The excess with the residual alone, whose variance is then the sample variance.
    fn excess_without_groups(&self) -> f64 {
        let squares = self.data.within + self.between();
        let mut v = vec![0.0; self.best.len()];
        v[self.k] = squares / (self.data.n as f64 - 1.0);
        match evaluate(self.data, &v) {
            Some(value) => (value.deviance - self.fit.deviance).max(0.0).sqrt() - self.z,
            None => f64::INFINITY,
        }
    }

    fn between(&self) -> f64 {
        let n = self.data.n as f64;
        let mean = self.data.leaves.iter().map(|leaf| leaf.n * leaf.mean).sum::<f64>() / n;
        self.data.leaves.iter().map(|leaf| leaf.n * (leaf.mean - mean).powi(2)).sum()
    }

    /// About how far the limit lies off in ln v or logit p: v is nearly chi-square with the degrees of freedom of its groups.
    fn first_step(&self) -> f64 {
        let data = self.data;
        let (own, above) = match self.fit.components[self.k].part {
            Part::Residual => (data.n, data.leaves.len()),
            Part::Level(0) => (data.groups(0).unwrap_or(2), 1),
            Part::Level(k) => (data.groups(k).unwrap_or(2), data.groups(k - 1).unwrap_or(1)),
        };
        1.1 * self.z * (2.0 / own.saturating_sub(above).max(1) as f64).sqrt()
    }

    /// The point between `from`, where the excess is negative, and `edge` at which it is 0.
    fn limit(&mut self, from: f64, edge: f64, held: &dyn Fn(f64) -> Held) -> Option<f64> {
        let away = if edge > from { 1.0 } else { -1.0 };
        let (mut inside, mut below) = (from, -self.z);
        let (mut outside, mut above);
        let mut step = self.first_step();
        let mut trials = 0;
        loop {
            outside = inside + away * step;
            // an edge where the component is gone is known to lie outside
            if (edge - outside) * away < 0.0 {
                outside = edge;
            }
            above = self.excess(held(outside));
            trials += 1;
            if above >= 0.0 {
                break;
            }
            if trials >= MAX_TRIALS || outside == edge {
                return None;
            }
            // the rise is nearly straight: reach a little beyond where it would cross
            let further = 1.05 * (outside - from).abs() * self.z / (above + self.z).max(1e-3 * self.z);
            step = (further - (outside - from).abs()).clamp(0.2 * step, 8.0 * step);
            (inside, below) = (outside, above);
        }
        let mut stayed = 0;
        while trials < MAX_TRIALS {
            let straight = inside + (outside - inside) * below / (below - above);
            let middle = inside + (outside - inside) / 2.0;
            let x = if above.is_finite() && straight.is_finite() { straight } else { middle };
            let excess = self.excess(held(x));
            trials += 1;
            if excess.abs() <= TOLERANCE || (outside - inside).abs() <= 1e-12 {
                return Some(x);
            }
            // Illinois: an end that stays twice counts half
            if excess < 0.0 {
                (inside, below) = (x, excess);
                above = if stayed == 1 { above / 2.0 } else { above };
                stayed = 1;
            } else {
                (outside, above) = (x, excess);
                below = if stayed == -1 { below / 2.0 } else { below };
                stayed = -1;
            }
        }
        None
    }
}
