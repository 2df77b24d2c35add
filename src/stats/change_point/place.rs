//! Residual sums of squares of a shift or a drift at every possible place, and the places that fit nearly as well.

use super::observations::{Observations, Running, left_of};

/// What one change at one place leaves, and what it estimates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    pub(super) place: usize,
    pub(super) rss: f64,
    /// Level before the change, as a deviation from the mean of all values.
    pub(super) before: f64,
    /// Difference of levels, or slope by unit of time.
    pub(super) size: f64,
}

/// A shift at each place: `place` is the first observation of the new level.
pub(super) fn shift_fits(values: &[f64], observations: &Observations, least: usize, total: f64) -> Vec<Fit> {
    let n = values.len();
    let running = Running::new(values, observations.weights());
    let fit = |place| {
        let (before, after) = (running.mean(0, place), running.mean(place, n));
        // total less between, so that permuted values share the total
        let between = running.weight(0, place) * running.weight(place, n) / running.weight(0, n);
        let size = after - before;
        Fit { place, rss: left_of(total, total - between * size * size), before, size }
    };
    (least..=n - least).map(fit).collect()
}

/// A drift from each place on: `place` is the last observation at the old level, where the slope begins.
///
/// Least squares on (t - t_place)+, from sums over the observations behind the place.
pub(super) fn drift_fits(values: &[f64], observations: &Observations, least: usize, total: f64) -> Vec<Fit> {
    let n = values.len();
    let (times, weights) = (observations.times(), observations.weights());
    let (mut all, mut all_y) = (0.0, 0.0);
    for (y, w) in values.iter().zip(weights) {
        all += w;
        all_y += w * y;
    }
    // sums of w, w u, w u2, w y, w u y behind the place, u = t - t_place; moved on by the step from place to place
    let (mut w0, mut w1, mut w2, mut wy, mut wuy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let mut fits = vec![];
    for place in (0..n - 1).rev() {
        let step = times[place + 1] - times[place];
        let (y, w) = (values[place + 1], weights[place + 1]);
        // shift u of what is already summed, then add the observation just behind the place
        w2 += step * (2.0 * w1 + step * w0) + w * step * step;
        w1 += step * w0 + w * step;
        wuy += step * wy + w * step * y;
        w0 += w;
        wy += w * y;
        if place + 1 < least || place + 1 + least > n {
            continue;
        }
        let spread = w2 - w1 * w1 / all;
        let size = (wuy - w1 * all_y / all) / spread;
        let before = (all_y - size * w1) / all;
        fits.push(Fit { place, rss: left_of(total, total - size * size * spread), before, size });
    }
    fits.reverse();
    fits
}

/// The fit with the least residual sum of squares, the first of equals.
pub(super) fn best(fits: &[Fit]) -> Option<Fit> {
    fits.iter().copied().reduce(|best, fit| if fit.rss < best.rss { fit } else { best })
}

/// First and last place of the smallest set of places that holds `share` of the likelihood, RSS^(-(n - 2)/2), over all places.
pub(super) fn likely_places(fits: &[Fit], n: usize, share: f64) -> Option<(usize, usize)> {
    let best = best(fits)?;
    let mut likely: Vec<(f64, usize)> = fits
        .iter()
        .map(|fit| {
            // equal to the best counts as 1 also where both are 0
            let ratio = if fit.rss <= best.rss { 1.0 } else { best.rss / fit.rss };
            (ratio.powf((n as f64 - 2.0) / 2.0), fit.place)
        })
        .collect();
    likely.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let all: f64 = likely.iter().map(|(l, _)| l).sum();
    let (mut held, mut first, mut last) = (0.0, best.place, best.place);
    for (likelihood, place) in likely {
        if held >= share * all {
            break;
        }
        held += likelihood;
        (first, last) = (first.min(place), last.max(place));
    }
    Some((first, last))
}
