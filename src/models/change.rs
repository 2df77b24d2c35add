//! Change from baseline to endpoint, over the due episodes that have both.
//!
//! Change = endpoint - baseline in the measure's own unit, whatever its direction. Effect size = mean improvement /
//! SD of the baseline (divisor n - 1), so that positive is better for every measure. It is what came of the time and the
//! treatment together; nothing here says how much each did.

use super::followed::Followed;
use crate::catalogue::measure::Direction;
use mendcurve_stats::interval::{Estimate, PairedChange, Summary, paired_change};
use mendcurve_stats::{Level, sum};

/// The change of a group of episodes. A spread needs two episodes; where it is missing there is one or none.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct Change {
    /// Episodes with baseline and endpoint.
    pub episodes: u32,
    /// Mean baseline of these.
    pub baseline_mean: Option<f64>,
    /// SD of their baselines.
    pub baseline_sd: Option<f64>,
    pub endpoint_mean: Option<f64>,
    pub endpoint_sd: Option<f64>,
    /// Mean change with its 95 % t interval.
    pub change: Option<Estimate>,
    /// SD of the changes.
    pub change_sd: Option<f64>,
    /// Mean improvement / SD of the baseline.
    pub effect_size: Option<f64>,
}

impl Change {
    /// Works it out; numbers that need a second episode, or a spread, are missing without.
    pub fn of(episodes: &[&Followed], direction: Direction) -> Self {
        let (before, after): (Vec<f64>, Vec<f64>) = episodes.iter().filter_map(|episode| episode.pair()).unzip();
        let paired = paired_change(&before, &after, Level::NINETY_FIVE).ok();
        let better = direction.improvement(0.0, 1.0);
        Self {
            episodes: u32::try_from(before.len()).unwrap_or(u32::MAX),
            baseline_mean: sum::mean(&before),
            baseline_sd: sum::sample_sd(&before),
            endpoint_mean: sum::mean(&after),
            endpoint_sd: sum::sample_sd(&after),
            change: paired.map(mean_change),
            change_sd: paired.map(|change| change.sd_of_change),
            effect_size: paired.and_then(|change| change.standardised).map(|change| better * change.d.value),
        }
    }
}

fn mean_change(change: PairedChange) -> Estimate {
    Estimate { value: change.mean_change, standard_error: change.standard_error, interval: change.interval }
}

/// Size, mean and SD of the changes, for comparing two groups; `None` under two episodes.
pub fn change_summary(episodes: &[&Followed]) -> Option<Summary> {
    let changes: Vec<f64> = episodes.iter().filter_map(|episode| episode.pair()).map(|(b, e)| e - b).collect();
    Summary::of(&changes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rows::names::NameList;

    fn group(pairs: &[(f64, f64)]) -> Vec<Followed> {
        let site = NameList::default().intern("A").unwrap();
        let of = |&(b, e): &(f64, f64)| Followed { quarter: None, site, baseline: Some(b), endpoint: Some(e) };
        pairs.iter().map(of).collect()
    }

    #[test]
    fn three_episodes_by_hand() {
        // baselines 8 6 4 (mean 6, SD 2), endpoints 5 2 2 (mean 3, SD sqrt 3), changes -3 -4 -2 (mean -3, SD 1);
        // t(0.975; 2) = 4.302653, half-width 4.302653 / sqrt 3 = 2.484138; effect size 3 / 2
        let mut episodes = group(&[(8.0, 5.0), (6.0, 2.0), (4.0, 2.0)]);
        episodes.push(Followed { endpoint: None, ..episodes[0] });
        let refs: Vec<&Followed> = episodes.iter().collect();
        let change = Change::of(&refs, Direction::LowerIsBetter);
        assert_eq!((change.episodes, change.baseline_mean, change.baseline_sd), (3, Some(6.0), Some(2.0)));
        assert_eq!((change.endpoint_mean, change.change_sd, change.effect_size), (Some(3.0), Some(1.0), Some(1.5)));
        let mean = change.change.unwrap();
        assert_eq!(mean.value, -3.0);
        assert!((mean.interval.high - (-3.0 + 2.484_138)).abs() < 1e-6);
        let upward = Change::of(&refs, Direction::HigherIsBetter);
        assert_eq!(upward.effect_size, Some(-1.5));
    }

    #[test]
    fn one_episode_has_means_but_no_spread_and_equal_baselines_no_effect_size() {
        let one = group(&[(8.0, 5.0)]);
        let change = Change::of(&one.iter().collect::<Vec<_>>(), Direction::LowerIsBetter);
        assert_eq!((change.baseline_mean, change.change, change.change_sd), (Some(8.0), None, None));
        let equal = group(&[(8.0, 5.0), (8.0, 2.0)]);
        let change = Change::of(&equal.iter().collect::<Vec<_>>(), Direction::LowerIsBetter);
        assert!(change.change.is_some());
        assert_eq!(change.effect_size, None);
        assert_eq!(Change::of(&[], Direction::LowerIsBetter), Change::default());
    }
}
