//! The cumulative distribution of improvement: the share that improved at least as much, for every amount at once.
//!
//! No threshold is chosen, so none can be chosen to please. Beside the share of the episodes with an endpoint stands
//! the share of all due episodes, which counts a missing endpoint as not improved.

use super::followed::Followed;
use crate::catalogue::measure::Direction;

/// A point of the distribution.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct CumulativePoint {
    /// The improvement, in the measure's own unit; negative is worse.
    pub improvement: f64,
    /// Episodes that improved at least as much.
    pub episodes: u32,
    /// Their share of the episodes with baseline and endpoint, 0 to 1.
    pub share_with_endpoint: f64,
    /// Their share of all due episodes, 0 to 1.
    pub share_of_due: f64,
}

/// Points at multiples of `apart`, smallest improvement (largest share) first, of those with equal shares the last.
///
/// The thresholds are whole steps and not the improvements that occur, which are patients' own. Points are left out so that no more than
/// `hide_up_to` episodes can be told apart: between two points that are kept, above the last and below the first improve more.
pub fn cumulative(episodes: &[&Followed], direction: Direction, apart: f64, hide_up_to: u32) -> Vec<CumulativePoint> {
    let mut improvements: Vec<f64> = episodes
        .iter()
        .filter_map(|episode| episode.pair())
        .map(|(baseline, endpoint)| steady(direction.improvement(baseline, endpoint)))
        .collect();
    improvements.sort_unstable_by(f64::total_cmp);
    let (with_endpoint, hide) = (improvements.len(), hide_up_to as usize);
    let Some((first, last)) = improvements.first().zip(improvements.last()) else { return Vec::new() };
    let at_least =
        |threshold: f64| with_endpoint - improvements.partition_point(|improvement| *improvement < threshold);
    let mut points = Vec::new();
    let mut last_kept = with_endpoint;
    for step in (first / apart).floor() as i32..=(last / apart).floor() as i32 {
        let threshold = steady(f64::from(step) * apart);
        let reached = at_least(threshold);
        let is_last_of_equals = at_least(steady(f64::from(step + 1) * apart)) < reached;
        if is_last_of_equals && reached > hide && last_kept - reached > hide {
            last_kept = reached;
            points.push(CumulativePoint {
                improvement: threshold,
                episodes: u32::try_from(reached).unwrap_or(u32::MAX),
                share_with_endpoint: reached as f64 / with_endpoint as f64,
                share_of_due: reached as f64 / episodes.len() as f64,
            });
        }
    }
    points
}

/// Rounds away the binary tail of a difference of decimals, so that equal improvements are equal.
fn steady(improvement: f64) -> f64 {
    (improvement * 1e9).round() / 1e9 + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rows::names::NameList;

    fn group(pairs: &[(f64, Option<f64>)]) -> Vec<Followed> {
        let site = NameList::default().intern("A").unwrap();
        let of = |&(b, endpoint): &(f64, Option<f64>)| Followed { quarter: None, site, baseline: Some(b), endpoint };
        pairs.iter().map(of).collect()
    }

    #[test]
    fn the_missing_count_as_not_improved_beside_the_share_of_those_seen() {
        // improvements -1 0.1 0.1 3 (two of them 0.1 but for rounding), one endpoint missing
        let episodes = group(&[(5.0, Some(2.0)), (0.3, Some(0.2)), (5.0, None), (0.4, Some(0.3)), (5.0, Some(6.0))]);
        let points = cumulative(&episodes.iter().collect::<Vec<_>>(), Direction::LowerIsBetter, 0.1, 0);
        let seen: Vec<_> =
            points.iter().map(|p| (p.improvement, p.episodes, p.share_with_endpoint, p.share_of_due)).collect();
        // not at -1, which is the worst patient's own
        assert_eq!(seen, [(0.1, 3, 0.75, 0.6), (3.0, 1, 0.25, 0.2)]);
    }

    #[test]
    fn no_two_points_set_fewer_episodes_apart_than_may_be_told_apart() {
        let pairs: Vec<_> = (0..40).map(|i| (10.0, Some(f64::from(i % 11)))).collect();
        let episodes = group(&pairs);
        let points = cumulative(&episodes.iter().collect::<Vec<_>>(), Direction::LowerIsBetter, 0.5, 4);
        let counts: Vec<u32> = points.iter().map(|p| p.episodes).collect();
        assert!(counts.len() > 3 && points.iter().all(|p| p.improvement.fract() == 0.0), "{points:?}");
        let from_all: Vec<u32> = std::iter::once(40).chain(counts.iter().copied()).collect();
        assert!(from_all.windows(2).all(|pair| pair[0] - pair[1] > 4), "{counts:?}");
        assert!(counts.iter().all(|n| *n > 4), "{counts:?}");
        let few = group(&pairs[..4]);
        assert!(cumulative(&few.iter().collect::<Vec<_>>(), Direction::LowerIsBetter, 0.5, 4).is_empty());
    }

    #[test]
    fn a_threshold_is_no_patients_own_improvement() {
        // one patient improved by 3.37 and adds no point of their own
        let mut pairs: Vec<_> = (0..30).map(|i| (9.0, Some(f64::from(i % 6)))).collect();
        pairs.push((9.0, Some(9.0 - 3.37)));
        let episodes = group(&pairs);
        let points = cumulative(&episodes.iter().collect::<Vec<_>>(), Direction::LowerIsBetter, 0.5, 4);
        assert!(points.iter().all(|p| (2.0 * p.improvement).fract() == 0.0), "{points:?}");
    }
}
