//! A parameter week by week on a control chart: means of a number with limits from their moving ranges (XmR), shares of a yes
//! or no with limits from counts, widened by Laney's p' where weeks differ by more than chance.
//!
//! The signals of the chart's rules are shown where they are. They are not findings: with hundreds of points some must signal.

use super::changes::{Change, Series, Week};
use crate::catalogue::parameter::{About, Nature};
use mendcurve_stats::control_chart::{Dispersal, WESTERN_ELECTRIC, p_chart, xmr};

/// Weeks below which there is no chart.
pub const FEWEST_WEEKS: usize = 8;

/// A chart of one unit.
#[derive(Clone, PartialEq, Debug)]
pub struct Chart {
    pub series: Series,
    pub centre: f64,
    /// Limits of each week, three standard deviations.
    pub limits: Vec<(f64, f64)>,
    /// Whether each week signals by a rule.
    pub signals: Vec<bool>,
    /// Whether weeks differ by more than chance, so that limits were widened; for shares.
    pub widened: bool,
    /// A change that was found in the series.
    pub change: Option<Change>,
}

/// The charts of all sites, and those of narrower units with a change among `found`.
pub fn charts(about: About, sites: &[Series], narrower: &[Series], found: &[&Change]) -> Vec<Chart> {
    let has_change = |series: &&Series| found.iter().any(|change| change.unit == series.unit);
    sites
        .iter()
        .chain(narrower.iter().filter(has_change))
        .filter_map(|series| {
            let change = found.iter().find(|change| change.unit == series.unit).map(|change| (*change).clone());
            chart(about, series.clone(), change)
        })
        .collect()
}

fn chart(about: About, series: Series, change: Option<Change>) -> Option<Chart> {
    if series.weeks.len() < FEWEST_WEEKS {
        return None;
    }
    let of = |read: fn(&Week) -> f64| -> Vec<f64> { series.weeks.iter().map(read).collect() };
    let values = of(|week| week.value);
    let is_number = matches!(about.parameter.nature(), Nature::Number { .. });
    let (centre, limits, signals, widened) = if is_number {
        let chart = xmr(&values).ok()?;
        let limits = vec![(chart.limits.low, chart.limits.high); values.len()];
        (chart.centre, limits, chart.signals(&values, &WESTERN_ELECTRIC).ok()?, false)
    } else {
        let (counts, sizes) = (of(|week| (week.value * f64::from(week.n)).round()), of(|week| f64::from(week.n)));
        let laney = p_chart(&counts, &sizes, Dispersal::Laney).ok()?;
        // Laney's ratio below 1 would narrow the limits: chance alone is the least that a chart must allow for
        let widened = laney.sigma_z > 1.0;
        let chart = if widened { laney } else { p_chart(&counts, &sizes, Dispersal::CountsAlone).ok()? };
        let limits =
            sizes.iter().map(|size| chart.limits(*size).map(|found| (found.interval.low, found.interval.high)));
        (
            chart.centre,
            limits.collect::<Result<_, _>>().ok()?,
            chart.signals(&counts, &sizes, &WESTERN_ELECTRIC).ok()?,
            widened,
        )
    };
    let signals = (0..values.len()).map(|i| signals.iter().any(|signal| signal.index == i)).collect();
    Some(Chart { series, centre, limits, signals, widened, change })
}
