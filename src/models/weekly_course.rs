//! The observed mean by week since the first treated visit.
//!
//! Week 0 holds the baselines and stands at day 0. Week w holds, of each episode, the reading nearest to day 7 w within
//! days 7 w - 3 to 7 w + 3 (the earlier at a tie), so that an episode seen twice a week counts once. The weeks do not hold
//! the same episodes: who is seen late may differ from who is not.

use mendcurve_stats::interval::{Estimate, Summary, mean_interval};
use mendcurve_stats::quantile::Sorted;
use mendcurve_stats::{InputError, Level};

/// Readings later than this many weeks are not shown by week.
pub const LAST_WEEK: u32 = 104;

/// The readings of one outcome over one episode.
#[derive(Clone, PartialEq, Debug)]
pub struct Trail {
    /// The baseline, when there is one.
    pub baseline: Option<f64>,
    /// Day since the first treated visit, and score; in any order.
    pub readings: Vec<(i32, f64)>,
}

impl Trail {
    /// The weeks that have a reading, each with the day and score of the one that stands for it.
    fn by_week(&self) -> Vec<(u32, (f64, f64))> {
        let mut found: Vec<(u32, (f64, f64))> = self.baseline.map(|score| (0, (0.0, score))).into_iter().collect();
        for (day, score) in self.readings.iter().map(|(day, score)| (f64::from(*day), *score)) {
            let week = ((day + 3.0) / 7.0).floor(); // every day lies within three days of exactly one week's
            if !(1.0..=f64::from(LAST_WEEK)).contains(&week) {
                continue;
            }
            let nearness = |day: f64| ((day - 7.0 * week).abs(), day);
            match found.iter_mut().find(|(of, _)| f64::from(*of) == week) {
                Some((_, best)) if nearness(day) < nearness(best.0) => *best = (day, score),
                Some(_) => {}
                None => found.push((week as u32, (day, score))),
            }
        }
        found
    }
}

/// One week with at least two episodes.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Week {
    /// Weeks since the first treated visit.
    pub week: u32,
    /// Mean day of its readings; 0 for week 0.
    pub day: f64,
    /// Episodes, one reading each.
    pub episodes: u32,
    /// Mean with its 95 % t interval.
    pub mean: Estimate,
    /// 10th and 90th percentile of the readings.
    pub band: (f64, f64),
    pub median: f64,
}

/// The weeks that hold more than `hide_up_to` episodes, and at least two, in order.
pub fn weekly_course(trails: &[Trail], hide_up_to: u32) -> Vec<Week> {
    let mut weeks: Vec<(Vec<f64>, Vec<f64>)> = vec![Default::default(); LAST_WEEK as usize + 1];
    for (week, (day, score)) in trails.iter().flat_map(Trail::by_week) {
        if let Some((days, scores)) = weeks.get_mut(week as usize) {
            days.push(day);
            scores.push(score);
        }
    }
    let shown = (0..).zip(&weeks).filter(|(_, (_, scores))| scores.len() > hide_up_to as usize);
    shown.filter_map(|(week, (days, scores))| summarise(week, days, scores).ok()).collect()
}

/// How many episodes stand behind at least one of the weeks.
pub fn episodes_behind(trails: &[Trail], weeks: &[Week]) -> u32 {
    let behind = trails
        .iter()
        .filter(|trail| trail.by_week().iter().any(|(of, _)| weeks.iter().any(|week| week.week == *of)))
        .count();
    u32::try_from(behind).unwrap_or(u32::MAX)
}

fn summarise(week: u32, days: &[f64], scores: &[f64]) -> Result<Week, InputError> {
    let t = mean_interval(Summary::of(scores)?, Level::NINETY_FIVE)?;
    let sorted = Sorted::new(scores)?;
    Ok(Week {
        week,
        day: Summary::of(days)?.mean(),
        episodes: u32::try_from(scores.len()).unwrap_or(u32::MAX),
        mean: Estimate { value: t.mean, standard_error: t.standard_error, interval: t.interval },
        band: (sorted.quantile(0.1)?, sorted.quantile(0.9)?),
        median: sorted.median(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trail(baseline: Option<f64>, readings: &[(i32, f64)]) -> Trail {
        Trail { baseline, readings: readings.to_vec() }
    }

    #[test]
    fn an_episode_counts_once_a_week_by_its_reading_nearest_to_the_middle() {
        let trails = [
            trail(Some(8.0), &[(4, 9.0), (5, 1.0), (6, 5.0), (8, 7.0)]), // 6 and 8 are as near: the earlier
            trail(Some(6.0), &[(10, 3.0), (11, 2.0)]),                   // 10 is week 1, 11 is week 2
        ];
        let weeks = weekly_course(&trails, 0);
        assert_eq!(weeks.iter().map(|w| (w.week, w.episodes)).collect::<Vec<_>>(), [(0, 2), (1, 2)]);
        assert_eq!((weeks[0].day, weeks[0].mean.value), (0.0, 7.0));
        assert_eq!((weeks[1].day, weeks[1].mean.value, weeks[1].median), (8.0, 4.0, 4.0));
        // type 7 between 3 and 5: 3 + 0.1 x 2
        assert!((weeks[1].band.0 - 3.2).abs() < 1e-12);
        // t(0.975; 1) = 12.706205, SE = sqrt 2 / sqrt 2 = 1
        assert!((weeks[1].mean.interval.high - 16.706_205).abs() < 1e-5);
        assert_eq!(episodes_behind(&trails, &weeks), 2);
    }

    #[test]
    fn weeks_with_no_more_episodes_than_may_be_hidden_are_dropped() {
        let trails: Vec<Trail> = (0..5).map(|i| trail(Some(5.0), &[(7 * (i % 2 + 1), 4.0)])).collect();
        let weeks = weekly_course(&trails, 2);
        assert_eq!(weeks.iter().map(|w| (w.week, w.episodes)).collect::<Vec<_>>(), [(0, 5), (1, 3)]);
        assert!(weekly_course(&[], 0).is_empty());
    }
}
