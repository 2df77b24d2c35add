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

/// One point for each improvement that occurs, smallest improvement (largest share) first.
///
/// Points are left out so that no more than `hide_up_to` episodes can be told apart: between two points that are
/// kept, above the last and below the first improve more episodes than that, or none.
pub fn cumulative(episodes: &[&Followed], direction: Direction, hide_up_to: u32) -> Vec<CumulativePoint> {
    let mut improvements: Vec<f64> = episodes
        .iter()
        .filter_map(|episode| episode.pair())
        .map(|(baseline, endpoint)| steady(direction.improvement(baseline, endpoint)))
        .collect();
    improvements.sort_unstable_by(f64::total_cmp);
    let with_endpoint = improvements.len();
    let hide = hide_up_to as usize;
    let mut points = Vec::new();
    // episodes that improved at least as much as the last point kept; the first point stands for all of them
    let mut last_kept = None;
    for (position, improvement) in improvements.iter().enumerate() {
        if position > 0 && improvements.get(position - 1) == Some(improvement) {
            continue;
        }
        let at_least = with_endpoint - position;
        let apart = last_kept.map_or(at_least > hide, |last: usize| last - at_least > hide);
        if at_least > hide && apart {
            last_kept = Some(at_least);
            points.push(CumulativePoint {
                improvement: *improvement,
                episodes: u32::try_from(at_least).unwrap_or(u32::MAX),
                share_with_endpoint: at_least as f64 / with_endpoint as f64,
                share_of_due: at_least as f64 / episodes.len() as f64,
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
        let points = cumulative(&episodes.iter().collect::<Vec<_>>(), Direction::LowerIsBetter, 0);
        let seen: Vec<_> =
            points.iter().map(|p| (p.improvement, p.episodes, p.share_with_endpoint, p.share_of_due)).collect();
        assert_eq!(seen, [(-1.0, 4, 1.0, 0.8), (0.1, 3, 0.75, 0.6), (3.0, 1, 0.25, 0.2)]);
    }

    #[test]
    fn no_two_points_set_fewer_episodes_apart_than_may_be_told_apart() {
        let pairs: Vec<_> = (0..40).map(|i| (10.0, Some(f64::from(i % 11)))).collect();
        let episodes = group(&pairs);
        let points = cumulative(&episodes.iter().collect::<Vec<_>>(), Direction::LowerIsBetter, 4);
        let counts: Vec<u32> = points.iter().map(|p| p.episodes).collect();
        assert_eq!(counts.first(), Some(&40));
        assert!(counts.len() > 3);
        assert!(counts.windows(2).all(|pair| pair[0] - pair[1] > 4), "{counts:?}");
        assert!(counts.iter().all(|n| *n > 4), "{counts:?}");
        let few = group(&pairs[..4]);
        assert!(cumulative(&few.iter().collect::<Vec<_>>(), Direction::LowerIsBetter, 4).is_empty());
    }
}
