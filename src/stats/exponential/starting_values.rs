//! Starting values for an exponential, and whether its best rate lies inside what the times can show.
//!
//! At a given tau the curve is a regression of y on exp(-(t - t0) / tau), t0 the earliest time; with a fixed start it is
//! a regression of y - start on 1 - exp(-t / tau) through the origin. The grid of tau is geometric, from a twentieth
//! of the gap between the first two distinct times, 0 among them if the start is fixed (where exp(-20), 2e-9, of the change is left at the second)
//! to a hundred times the range of the times (where the curve bends by half a per cent of its change: a straight line).

use std::collections::BTreeMap;

use super::StartValue;
use crate::sum::sum;

/// Points of the grid for each factor of e.
const POINTS_PER_E: f64 = 8.0;
/// Share of the variation between times by which the best point must beat both ends of the grid; below is rounding.
const BARELY: f64 = 1e-9;

/// The values seen at one time: all that the profile needs of them.
pub(super) struct TimeMean {
    pub time: f64,
    pub weight: f64,
    pub mean: f64,
}

/// Where the profiled sum of squares is least.
pub(super) enum Profile {
    /// The means do not differ.
    Constant,
    /// At the fast end of the grid.
    BestAtFastest,
    /// At the slow end of the grid.
    BestAtSlowest,
    /// Inside, about here.
    Inside { start: f64, plateau: f64, log_tau: f64 },
}

/// Weighted means by distinct time, in order of time; weights are those of `weights`, or 1, added up.
pub(super) fn by_distinct_time(times: &[f64], values: &[f64], weights: Option<&[f64]>) -> Vec<TimeMean> {
    let mut groups: BTreeMap<OrderedTime, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
    for (i, (&time, &value)) in times.iter().zip(values).enumerate() {
        let weight = weights.map_or(1.0, |w| w[i]);
        let (group_weights, products) = groups.entry(OrderedTime(time + 0.0)).or_default();
        group_weights.push(weight);
        products.push(weight * value);
    }
    let summarise = |(time, (weights, products)): (OrderedTime, (Vec<f64>, Vec<f64>))| {
        let weight = sum(weights);
        TimeMean { time: time.0, weight, mean: sum(products) / weight }
    };
    groups.into_iter().map(summarise).collect()
}

/// A finite time as a map key.
#[derive(PartialEq)]
struct OrderedTime(f64);

impl Eq for OrderedTime {}
impl PartialOrd for OrderedTime {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for OrderedTime {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

/// Profiles the sum of squares over the grid of tau. `means` holds at least two distinct times.
pub(super) fn profile(means: &[TimeMean], start: StartValue) -> Profile {
    let largest = means.iter().map(|m| m.mean.abs()).fold(0.0, f64::max);
    let total = match start {
        StartValue::Free => {
            let weight = sum(means.iter().map(|m| m.weight));
            let mean = sum(means.iter().map(|m| m.weight * m.mean)) / weight;
            sum(means.iter().map(|m| m.weight * (m.mean - mean).powi(2)))
        }
        StartValue::Fixed(value) => sum(means.iter().map(|m| m.weight * (m.mean - value).powi(2))),
    };
    let rounding = sum(means.iter().map(|m| m.weight)) * (1e-12 * largest).powi(2);
    if total <= rounding {
        return Profile::Constant;
    }
    // a fixed start says what happens at time 0 without a reading there
    let mut knots: Vec<f64> = means.iter().map(|m| m.time).collect();
    if matches!(start, StartValue::Fixed(_)) && !knots.contains(&0.0) {
        knots.push(0.0);
        knots.sort_by(f64::total_cmp);
    }
    let first_gap = knots[1] - knots[0];
    let range = knots[knots.len() - 1] - knots[0];
    let (fastest, slowest) = ((first_gap / 20.0).ln(), (range * 100.0).ln());
    let steps = ((slowest - fastest) * POINTS_PER_E).ceil();
    let candidates: Vec<Candidate> = (0..=steps as usize)
        .map(|k| fastest + (slowest - fastest) * (k as f64 / steps))
        .filter_map(|log_tau| at_tau(means, start, log_tau))
        .collect();
    let (Some(first), Some(last)) = (candidates.first(), candidates.last()) else {
        return Profile::BestAtSlowest;
    };
    let best = candidates.iter().fold(first, |best, c| if c.rss < best.rss { c } else { best });
    // at the ends the curve no longer depends on tau, so that rounding would pick among equals
    if first.rss - best.rss <= BARELY * total {
        Profile::BestAtFastest
    } else if last.rss - best.rss <= BARELY * total {
        Profile::BestAtSlowest
    } else {
        Profile::Inside { start: best.start, plateau: best.plateau, log_tau: best.log_tau }
    }
}

struct Candidate {
    log_tau: f64,
    start: f64,
    plateau: f64,
    rss: f64,
}

/// The best curve with this tau; `None` if it cannot be computed, as when a time far before 0 meets a small tau.
fn at_tau(means: &[TimeMean], start: StartValue, log_tau: f64) -> Option<Candidate> {
    let tau = log_tau.exp();
    let (start, plateau) = match start {
        StartValue::Free => {
            let origin = means[0].time;
            let left = |m: &TimeMean| (-(m.time - origin) / tau).exp();
            let weight = sum(means.iter().map(|m| m.weight));
            let mean_left = sum(means.iter().map(|m| m.weight * left(m))) / weight;
            let mean_y = sum(means.iter().map(|m| m.weight * m.mean)) / weight;
            let sxx = sum(means.iter().map(|m| m.weight * (left(m) - mean_left).powi(2)));
            let sxy = sum(means.iter().map(|m| m.weight * (left(m) - mean_left) * (m.mean - mean_y)));
            let change = sxy / sxx; // from the earliest time to the plateau
            let plateau = mean_y - change * mean_left;
            (plateau + change * (origin / tau).exp(), plateau)
        }
        StartValue::Fixed(value) => {
            let gone = |m: &TimeMean| -(-m.time / tau).exp_m1();
            let sxx = sum(means.iter().map(|m| m.weight * gone(m).powi(2)));
            let sxy = sum(means.iter().map(|m| m.weight * gone(m) * (m.mean - value)));
            (value, value + sxy / sxx)
        }
    };
    let curve = |t: f64| plateau + (start - plateau) * (-t / tau).exp();
    let rss = sum(means.iter().map(|m| m.weight * (m.mean - curve(m.time)).powi(2)));
    let usable = start.is_finite() && plateau.is_finite() && rss.is_finite();
    usable.then_some(Candidate { log_tau, start, plateau, rss })
}
