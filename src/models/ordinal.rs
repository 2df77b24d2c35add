//! Ordinal measures: medians and who got better, never means.
//!
//! The words of a verbal scale have an order but no distances, so a mean of their ranks means nothing.

use super::completeness::count;
use super::followed::Followed;
use crate::catalogue::measure::Direction;
use mendcurve_stats::quantile::Sorted;

/// What can be said of an ordinal outcome, over the due episodes with baseline and endpoint.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct OrdinalChange {
    /// Episodes with baseline and endpoint.
    pub episodes: u32,
    /// Median rank at the start.
    pub baseline_median: Option<f64>,
    /// Median rank at the end.
    pub endpoint_median: Option<f64>,
    /// Episodes with a better word at the end.
    pub better: u32,
    /// With the same word.
    pub same: u32,
    /// With a worse word.
    pub worse: u32,
}

impl OrdinalChange {
    pub fn of(episodes: &[&Followed], direction: Direction) -> Self {
        let (before, after): (Vec<f64>, Vec<f64>) = episodes.iter().filter_map(|episode| episode.pair()).unzip();
        let moved = |is_so: fn(f64) -> bool| {
            count(episodes, |episode| episode.pair().is_some_and(|(b, e)| is_so(direction.improvement(b, e))))
        };
        Self {
            episodes: u32::try_from(before.len()).unwrap_or(u32::MAX),
            baseline_median: Sorted::new(&before).ok().map(|sorted| sorted.median()),
            endpoint_median: Sorted::new(&after).ok().map(|sorted| sorted.median()),
            better: moved(|improvement| improvement > 0.0),
            same: moved(|improvement| improvement == 0.0),
            worse: moved(|improvement| improvement < 0.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rows::names::NameList;

    #[test]
    fn better_same_and_worse_add_up_to_the_episodes_with_both() {
        let site = NameList::default().intern("A").unwrap();
        let of = |b, endpoint| Followed { quarter: None, site, baseline: Some(b), endpoint };
        let all = [of(3.0, Some(1.0)), of(2.0, Some(2.0)), of(1.0, Some(2.0)), of(4.0, Some(0.0)), of(3.0, None)];
        let change = OrdinalChange::of(&all.iter().collect::<Vec<_>>(), Direction::LowerIsBetter);
        assert_eq!((change.episodes, change.better, change.same, change.worse), (4, 2, 1, 1));
        assert_eq!((change.baseline_median, change.endpoint_median), (Some(2.5), Some(1.5)));
    }
}
