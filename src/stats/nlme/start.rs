//! Starting values from the data, and whether the data can carry the model at all.
//!
//! At a given tau the mean curve is a regression of y on (e, 1 - e). A geometric grid of tau, from a third of the earliest
//! time after 0 to three times the last, gives the best pooled curve; the variation of subjects' mean residuals starts
//! the variances. Of the grid's better points the one with the highest log-likelihood is taken.

use std::collections::BTreeSet;

use nalgebra::DVector;

use super::likelihood::Likelihood;
use super::outcome::{Coefficient, Doubt, Shortage};
use super::parameters::{Factor, Layout, Parameters};
use crate::error::{InputError, all_finite, same_length};
use crate::series::Series;
use crate::sum::{mean, sum};

const GRID: usize = 24;
/// The spread of log tau at the start.
const START_SPREAD: f64 = 0.4;
/// Every so many of the grid's points the log-likelihood is tried.
const TRIED: usize = 6;

/// Refuses numbers that make no sense; the number of covariates.
pub(super) fn checked(subjects: &[Series]) -> Result<usize, InputError> {
    let covariates = subjects.first().map_or(0, |s| s.covariates.len());
    for s in subjects {
        check_one(s, covariates)?;
    }
    Ok(covariates)
}

/// Refuses one subject's numbers.
pub(super) fn check_one(s: &Series, covariates: usize) -> Result<(), InputError> {
    same_length("values", s.times.len(), s.values.len())?;
    same_length("covariates", covariates, s.covariates.len())?;
    all_finite("values", s.values)?;
    all_finite("covariates", s.covariates)?;
    match s.times.iter().position(|t| !(*t >= 0.0 && t.is_finite())) {
        Some(index) => Err(InputError::BadElement { what: "times", index, domain: "finite and not below 0" }),
        None => Ok(()),
    }
}

fn distinct(times: impl Iterator<Item = f64>) -> BTreeSet<u64> {
    times.map(|t| (t + 0.0).to_bits()).collect()
}

/// What is missing for a fit with this layout, if anything.
pub(super) fn shortage(subjects: &[Series], layout: Layout) -> Option<Shortage> {
    let times = distinct(subjects.iter().flat_map(|s| s.times.iter().copied())).len();
    if times < 3 {
        return Some(Shortage { what: "distinct times", needed: 3, found: times });
    }
    let long = subjects.iter().filter(|s| distinct(s.times.iter().copied()).len() >= 3).count();
    let needed = layout.varying.count() + layout.covariates + 3;
    if long < needed {
        return Some(Shortage { what: "subjects with measurements at three times or more", needed, found: long });
    }
    let readings: usize = subjects.iter().map(|s| s.values.len()).sum();
    if readings <= 2 * layout.len() {
        return Some(Shortage { what: "measurements", needed: 2 * layout.len() + 1, found: readings });
    }
    None
}

/// What makes a fit meaningless before it is tried, if anything.
pub(super) fn doubt(subjects: &[Series], layout: Layout) -> Option<Doubt> {
    let varies = |s: &Series| s.values.windows(2).any(|w| w[0] != w[1]);
    if !subjects.iter().any(varies) {
        return Some(Doubt::NoChange);
    }
    // covariates: each must vary and not repeat those before it
    let n = subjects.len();
    let mut kept: Vec<DVector<f64>> = vec![DVector::from_element(n, 1.0 / (n as f64).sqrt())];
    for k in 0..layout.covariates {
        let column = DVector::from_fn(n, |i, _| subjects[i].covariates[k]);
        let mut rest = column.clone();
        for _ in 0..2 {
            for q in &kept {
                rest -= q * q.dot(&rest);
            }
        }
        if rest.norm() <= 1e-8 * column.norm() {
            return Some(Doubt::Covariate(k));
        }
        kept.push(&rest / rest.norm());
    }
    None
}

/// How spread out values and times are: bounds for starting values and steps.
pub(super) struct Scale {
    pub value_sd: f64,
    /// Log of the shortest time after 0 and of the longest.
    pub log_times: (f64, f64),
}

pub(super) fn scale(subjects: &[Series]) -> Scale {
    let values: Vec<f64> = subjects.iter().flat_map(|s| s.values.iter().copied()).collect();
    let value_sd = crate::sum::sample_variance(&values).unwrap_or(1.0).sqrt().max(f64::MIN_POSITIVE.sqrt());
    let positive = || subjects.iter().flat_map(|s| s.times.iter().copied()).filter(|t| *t > 0.0);
    let (first, last) = (positive().fold(f64::INFINITY, f64::min), positive().fold(0.0, f64::max));
    let log_times = if last > 0.0 { (first.ln(), last.ln()) } else { (0.0, 0.0) };
    Scale { value_sd, log_times }
}

struct Pooled {
    log_tau: f64,
    baseline: f64,
    plateau: f64,
    rss: f64,
}

fn pooled(subjects: &[Series], log_tau: f64) -> Option<Pooled> {
    let rate = (-log_tau).exp();
    let pairs = || subjects.iter().flat_map(|s| s.times.iter().zip(s.values)).map(|(t, y)| ((-t * rate).exp(), *y));
    let n = pairs().count() as f64;
    let (me, my) = (sum(pairs().map(|p| p.0)) / n, sum(pairs().map(|p| p.1)) / n);
    let see = sum(pairs().map(|(e, _)| (e - me).powi(2)));
    let sey = sum(pairs().map(|(e, y)| (e - me) * (y - my)));
    let rise = sey / see;
    let plateau = my - rise * me;
    let rss = sum(pairs().map(|(e, y)| (y - plateau - rise * e).powi(2)));
    let finite = rise.is_finite() && plateau.is_finite() && rss.is_finite();
    finite.then_some(Pooled { log_tau, baseline: plateau + rise, plateau, rss })
}

/// Parameters from which to climb.
pub(super) fn start(subjects: &[Series], layout: Layout, scale: &Scale) -> Option<DVector<f64>> {
    let (low, high) = (scale.log_times.0 - 3.0_f64.ln(), scale.log_times.1 + 3.0_f64.ln());
    let grid: Vec<Pooled> =
        (0..GRID).filter_map(|k| pooled(subjects, low + (high - low) * k as f64 / (GRID - 1) as f64)).collect();
    let best = grid.iter().min_by(|a, b| a.rss.total_cmp(&b.rss))?;
    let tries = grid.iter().step_by(TRIED).chain([best]);
    let candidates = tries.filter_map(|at| {
        let psi = DVector::from_vec(layout.pack(&with_spread(subjects, layout, at, scale)));
        let value = Likelihood::new(subjects, layout, &psi)?.value(&psi);
        value.is_finite().then_some((value, psi))
    });
    candidates.max_by(|a, b| a.0.total_cmp(&b.0)).map(|c| c.1)
}

/// The pooled curve with variances from the spread of subjects' mean residuals.
fn with_spread(subjects: &[Series], layout: Layout, at: &Pooled, scale: &Scale) -> Parameters {
    let rate = (-at.log_tau).exp();
    let residual = |t: f64, y: f64| y - at.plateau - (at.baseline - at.plateau) * (-t * rate).exp();
    let mut means = Vec::new();
    let mut within = Vec::new();
    for s in subjects {
        let own: Vec<f64> = s.times.iter().zip(s.values).map(|(t, y)| residual(*t, *y)).collect();
        if let Some(m) = mean(&own) {
            means.push(m);
            within.extend(own.iter().map(|r| (r - m).powi(2)));
        }
    }
    let floor = (0.05 * scale.value_sd).powi(2);
    let between = crate::sum::sample_variance(&means).unwrap_or(0.0).max(floor).sqrt();
    let noise = (0.7 * mean(&within).unwrap_or(0.0)).max(floor);
    let varying = layout.varying;
    let factor = Factor {
        tt: if varying.log_tau { START_SPREAD } else { 0.0 },
        bb: if varying.baseline { between } else { 0.0 },
        pb: if varying.baseline && varying.plateau { 0.3 * between } else { 0.0 },
        pp: if varying.plateau { between } else { 0.0 },
        ..Factor::default()
    };
    let mut beta = vec![0.0; layout.fixed()];
    for (k, value) in [at.baseline, at.plateau, at.log_tau].into_iter().enumerate() {
        beta[k * layout.each()] = value;
    }
    Parameters { beta, factor, log_sigma: 0.5 * noise.ln() }
}

/// The longest step of each parameter: a spread of the values, or a factor of e in time.
pub(super) fn longest(subjects: &[Series], layout: Layout, scale: &Scale) -> DVector<f64> {
    let n = subjects.len().max(1) as f64;
    let root_mean_square: Vec<f64> = (0..layout.covariates)
        .map(|k| (sum(subjects.iter().map(|s| s.covariates[k].powi(2))) / n).sqrt().max(1e-12))
        .collect();
    let of = |coefficient: Coefficient| match coefficient {
        Coefficient::LogTau => 1.0,
        _ => 2.0 * scale.value_sd,
    };
    let beta = Coefficient::ALL
        .iter()
        .flat_map(|c| {
            let whole = of(*c);
            std::iter::once(whole).chain(root_mean_square.iter().map(move |m| whole / m)).collect::<Vec<_>>()
        })
        .collect();
    let v = scale.value_sd;
    let factor = Factor { bb: v, pb: v, pp: v, tb: 0.5, tp: 0.5, tt: 0.5 };
    DVector::from_vec(layout.pack(&Parameters { beta, factor, log_sigma: 0.7 }))
}
