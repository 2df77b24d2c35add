//! One outcome's readings over the episodes of a condition, side by side and in order of day.
//!
//! Day 0 is the first treated visit. Of the readings before it only the baseline counts, and it stands at day 0: patients
//! were then as they came, whether that was written down on the day or a week before.

use crate::episodes::episode::Episode;
use crate::readings::attach::Readings;
use crate::readings::reading::Outcome;
use crate::readings::windows::Courses;

/// Readings of many episodes, flat, so that nothing is allocated per episode.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct Panel {
    episodes: Vec<u32>,
    starts: Vec<usize>,
    has_baseline: Vec<bool>,
    days: Vec<f64>,
    scores: Vec<f64>,
}

/// The readings of one episode.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Track<'a> {
    /// The episode, by position in the run.
    pub episode: u32,
    /// Whether the first reading is its baseline.
    pub has_baseline: bool,
    /// Days since the first treated visit, in order, none negative.
    pub days: &'a [f64],
    /// Scores in the measure's own unit.
    pub scores: &'a [f64],
}

impl Panel {
    /// The readings of an outcome over some episodes; episodes without one are left out.
    pub fn of<'e>(
        episodes: impl Iterator<Item = (u32, &'e Episode)>,
        readings: &Readings,
        courses: &Courses,
        outcome: Outcome,
    ) -> Self {
        let mut panel = Self { starts: vec![0], ..Self::default() };
        for (id, _) in episodes {
            let Some(course) = courses.get(id, outcome) else { continue };
            let baseline = course.baseline;
            let range = course.readings.start as usize..course.readings.end as usize;
            let (before, mut first_is_baseline) = (panel.days.len(), false);
            for (position, reading) in (course.readings.start..).zip(readings.list.get(range).unwrap_or_default()) {
                let Some(day) = reading.day() else { continue };
                let is_baseline = baseline == Some(position);
                if day < 0 && !is_baseline {
                    continue;
                }
                first_is_baseline |= is_baseline && panel.days.len() == before;
                panel.days.push(f64::from(day.max(0)));
                panel.scores.push(reading.value);
            }
            if panel.days.len() > before {
                panel.episodes.push(id);
                panel.has_baseline.push(first_is_baseline);
                panel.starts.push(panel.days.len());
            }
        }
        panel
    }

    /// The readings of some of its episodes.
    pub fn only(&self, keep: impl Fn(u32) -> bool) -> Self {
        let mut panel = Self { starts: vec![0], ..Self::default() };
        for track in self.tracks().filter(|track| keep(track.episode)) {
            panel.episodes.push(track.episode);
            panel.has_baseline.push(track.has_baseline);
            panel.days.extend_from_slice(track.days);
            panel.scores.extend_from_slice(track.scores);
            panel.starts.push(panel.days.len());
        }
        panel
    }

    /// Episodes with a reading.
    pub fn len(&self) -> usize {
        self.episodes.len()
    }

    /// Whether no episode has a reading.
    pub fn is_empty(&self) -> bool {
        self.episodes.is_empty()
    }

    pub fn readings(&self) -> usize {
        self.days.len()
    }

    /// Every score.
    pub fn scores(&self) -> &[f64] {
        &self.scores
    }

    /// The last day of any reading.
    pub fn last_day(&self) -> f64 {
        self.days.iter().copied().fold(0.0, f64::max)
    }

    /// The readings of each episode, in the order of the run.
    pub fn tracks(&self) -> impl Iterator<Item = Track<'_>> + Clone {
        self.episodes.iter().zip(&self.has_baseline).zip(self.starts.windows(2)).map(
            |((&episode, &has_baseline), bounds)| {
                let range = bounds.first().copied().unwrap_or(0)..bounds.last().copied().unwrap_or(0);
                Track {
                    episode,
                    has_baseline,
                    days: self.days.get(range.clone()).unwrap_or_default(),
                    scores: self.scores.get(range).unwrap_or_default(),
                }
            },
        )
    }

    /// The readings of one episode.
    pub fn track(&self, episode: u32) -> Option<Track<'_>> {
        let position = self.episodes.binary_search(&episode).ok()?;
        let range = self.starts.get(position).copied()?..self.starts.get(position + 1).copied()?;
        Some(Track {
            episode,
            has_baseline: self.has_baseline.get(position).copied()?,
            days: self.days.get(range.clone())?,
            scores: self.scores.get(range)?,
        })
    }
}

impl<'a> Track<'a> {
    /// The first `n` readings, or all when there are fewer.
    pub fn first(self, n: usize) -> Self {
        Self {
            days: self.days.get(..n).unwrap_or(self.days),
            scores: self.scores.get(..n).unwrap_or(self.scores),
            ..self
        }
    }

    /// Each reading: day and score.
    pub fn points(self) -> impl Iterator<Item = (f64, f64)> + Clone + 'a {
        self.days.iter().copied().zip(self.scores.iter().copied())
    }

    pub fn last(self) -> Option<(f64, f64)> {
        self.days.last().copied().zip(self.scores.last().copied())
    }

    /// The score at the start of care.
    pub fn baseline(self) -> Option<f64> {
        self.scores.first().copied().filter(|_| self.has_baseline)
    }
}

#[cfg(test)]
impl Panel {
    /// A panel of episodes 0, 1, ..., each with its baseline first.
    pub(crate) fn made(tracks: &[(Vec<f64>, Vec<f64>)]) -> Self {
        let mut panel = Self { starts: vec![0], ..Self::default() };
        for (episode, (days, scores)) in (0..).zip(tracks) {
            panel.episodes.push(episode);
            panel.has_baseline.push(true);
            panel.days.extend(days);
            panel.scores.extend(scores);
            panel.starts.push(panel.days.len());
        }
        panel
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::PainSite;
    use crate::episodes::timeline::*;
    use crate::group::settings::EpisodeRules;

    #[test]
    fn only_the_baseline_stands_for_the_time_before_care() {
        let score = |value| vec![crate::readings::attach_tests::score("pain_nrs", PainSite::Back, value)];
        let (episodes, readings) = crate::readings::attach_tests::read(vec![
            (visit(88).readings_only(), score(9.0)),
            (visit(97).readings_only(), score(8.0)),
            (visit(100), Vec::new()),
            (visit(107), score(5.0)),
            (visit(114), score(4.0)),
        ]);
        let courses = Courses::of(&readings, &episodes, &EpisodeRules::default());
        let outcome = courses.list[0].outcome;
        let panel = Panel::of((0..).zip(&episodes.list), &readings, &courses, outcome);
        let track = panel.track(0).unwrap();
        assert_eq!((track.days, track.scores), (&[0.0, 7.0, 14.0][..], &[8.0, 5.0, 4.0][..]));
        assert_eq!((track.baseline(), track.first(2).last()), (Some(8.0), Some((7.0, 5.0))));
        assert_eq!((panel.len(), panel.readings(), panel.last_day()), (1, 3, 14.0));
        assert_eq!(panel.tracks().collect::<Vec<_>>(), [track]);
    }
}
