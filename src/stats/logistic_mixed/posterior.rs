//! What is known of each group's intercept, given the data and the estimated parameters.

use rayon::prelude::*;

use super::fitted::GroupIntercept;
use super::group::GroupAt;
use super::maximise::Maximum;
use super::sorted::Sorted;
use super::standardise::MeanChance;
use crate::distribution::normal_quantile;
use crate::error::InputError;
use crate::gauss_hermite::GaussHermite;
use crate::interval::Interval;
use crate::level::Level;

/// The intercept of one group before rates are known.
struct Known {
    mode: f64,
    mean: f64,
    sd: f64,
    /// Intercepts at the nodes, with their shares.
    nodes: Vec<(f64, f64)>,
}

/// One for each group, in the order of their numbers. `etas` and `trials` are those of all rows.
pub(super) fn intercepts(
    data: &Sorted,
    fine: &GaussHermite,
    end: &Maximum,
    etas: &[f64],
    trials: &[f64],
    level: Level,
) -> Result<Vec<GroupIntercept>, InputError> {
    let (b, sd) = end.at.parameters.split_at(data.columns);
    let z = -normal_quantile(level.tail())?;
    let known: Option<Vec<Known>> = data
        .groups
        .par_iter()
        .zip(&end.at.modes)
        .map(|(rows, mode)| {
            let at = GroupAt::new(data, rows.clone(), b, sd[0], *mode)?;
            let integral = at.integral(fine)?;
            let nodes: Vec<(f64, f64)> =
                integral.v.iter().zip(&integral.shares).map(|(v, share)| (sd[0] * v, *share)).collect();
            let mean: f64 = nodes.iter().map(|(u, share)| share * u).sum();
            let variance: f64 = nodes.iter().map(|(u, share)| share * (u - mean).powi(2)).sum();
            Some(Known { mode: sd[0] * at.mode, mean, sd: variance.sqrt(), nodes })
        })
        .collect();
    // they were evaluated there during the fit
    let known = known.ok_or(InputError::OutOfRange { what: "random intercepts", domain: "finite" })?;
    let needed = known.iter().flat_map(|k| {
        let limits = [k.mean - z * k.sd, k.mean + z * k.sd];
        k.nodes.iter().map(|(u, _)| *u).chain(limits)
    });
    let (low, high) = needed.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), u| (l.min(u), h.max(u)));
    let chance = MeanChance::new(etas, trials, low, high);
    let of_group = |k: Known| GroupIntercept {
        mode: k.mode,
        mean: k.mean,
        sd: k.sd,
        rate: k.nodes.iter().map(|(u, share)| share * chance.at(*u)).sum(),
        rate_interval: Interval { low: chance.at(k.mean - z * k.sd), high: chance.at(k.mean + z * k.sd) },
    };
    Ok(known.into_iter().map(of_group).collect())
}
