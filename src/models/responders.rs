//! Responders by one definition, with every due episode accounted for.
//!
//! due = denominator + baseline too low. **Denominator**: the due episodes that could respond, as far as is known. A
//! baseline too low (on a scale where high is good: too high) to meet the definition even at the best score takes an
//! episode out; it is counted beside. An episode **without a baseline stays in**: nothing shows that it could not
//! respond, and leaving it out would reward losing baselines. It has no outcome, so the rate among those with an outcome
//! does not see it, but worst and best case do.
//!
//! A definition by the endpoint alone (an acceptable state) asks nothing of the baseline: its denominator is every due
//! episode, and an endpoint without a baseline is an outcome.
//!
//! Worst case: every episode without an outcome did not respond, responders / denominator. Best case: every one did.

use super::followed::Followed;
use crate::catalogue::Definition;
use mendcurve_stats::Level;
use mendcurve_stats::interval::{Interval, wilson};

/// Counts of due episodes by one definition.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct Responders {
    /// Due episodes that could respond, or whose baseline is missing.
    pub denominator: u32,
    /// Of these, with what the definition needs to be decided.
    pub with_outcome: u32,
    /// Of these, responders.
    pub responders: u32,
    /// Due episodes whose baseline leaves no room to respond; not in the denominator.
    pub baseline_too_low: u32,
    /// Due episodes without a baseline; in the denominator.
    pub baseline_missing: u32,
}

impl std::ops::AddAssign for Responders {
    fn add_assign(&mut self, other: Self) {
        self.denominator += other.denominator;
        self.with_outcome += other.with_outcome;
        self.responders += other.responders;
        self.baseline_too_low += other.baseline_too_low;
        self.baseline_missing += other.baseline_missing;
    }
}

impl Responders {
    pub fn of(episodes: &[&Followed], definition: &Definition) -> Self {
        let mut counts = Self::default();
        for episode in episodes {
            counts.add(episode, definition);
        }
        counts
    }

    /// Counts one more episode.
    pub fn add(&mut self, episode: &Followed, definition: &Definition) {
        self.baseline_missing += u32::from(episode.baseline.is_none());
        if definition.needs_baseline() && episode.baseline.is_some_and(|score| !definition.reachable(score)) {
            self.baseline_too_low += 1;
            return;
        }
        let outcome = outcome(episode, definition);
        self.denominator += 1;
        self.with_outcome += u32::from(outcome.is_some());
        self.responders += u32::from(outcome == Some(true));
    }

    /// The same episodes this many times.
    #[must_use]
    pub fn times(self, n: u32) -> Self {
        Self {
            denominator: self.denominator * n,
            with_outcome: self.with_outcome * n,
            responders: self.responders * n,
            baseline_too_low: self.baseline_too_low * n,
            baseline_missing: self.baseline_missing * n,
        }
    }

    /// responders / with_outcome with its 95 % Wilson interval; `None` without outcomes.
    pub fn rate(self) -> Option<(f64, Interval)> {
        let interval = wilson(self.responders.into(), self.with_outcome.into(), Level::NINETY_FIVE).ok()?;
        Some((f64::from(self.responders) / f64::from(self.with_outcome), interval))
    }

    /// The rate if no episode without an outcome responded; `None` without episodes.
    pub fn worst_case(self) -> Option<f64> {
        (self.denominator > 0).then(|| f64::from(self.responders) / f64::from(self.denominator))
    }

    /// The rate if every episode without an outcome responded; `None` without episodes.
    pub fn best_case(self) -> Option<f64> {
        let missing = self.denominator - self.with_outcome;
        (self.denominator > 0).then(|| f64::from(self.responders + missing) / f64::from(self.denominator))
    }
}

/// Whether an episode responded; `None` when that cannot be known.
fn outcome(episode: &Followed, definition: &Definition) -> Option<bool> {
    let endpoint = episode.endpoint?;
    match episode.baseline {
        Some(baseline) => Some(definition.reached(baseline, endpoint)),
        // the criteria look at the endpoint only, so any baseline will do
        None if !definition.needs_baseline() => Some(definition.reached(endpoint, endpoint)),
        None => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;
    use crate::rows::names::NameList;

    fn episodes(scores: &[(Option<f64>, Option<f64>)]) -> Vec<Followed> {
        let site = NameList::default().intern("A").unwrap();
        scores.iter().map(|&(baseline, endpoint)| Followed { quarter: None, site, baseline, endpoint }).collect()
    }

    fn definition(overrides: &str, key: &str) -> Definition {
        let table: toml::Table = toml::from_str(overrides).unwrap();
        let measures = Measures::embedded().unwrap().with_overrides(&table).unwrap();
        let measure = measures.get(measures.find("pain_nrs").unwrap());
        measure.definitions(false).into_iter().find(|definition| definition.key == key).unwrap()
    }

    #[test]
    fn each_due_episode_is_in_the_denominator_or_counted_as_too_low() {
        let all = episodes(&[
            (Some(8.0), Some(5.0)), // 3 points and 37.5 %: responds
            (Some(8.0), Some(6.0)), // 2 points, but 25 %
            (Some(3.0), Some(1.0)), // 2 points and 67 %
            (Some(6.0), None),      // lost
            (None, Some(0.0)),      // no baseline: cannot be known
            (Some(1.0), Some(0.0)), // cannot improve by 2 points
        ]);
        let refs: Vec<&Followed> = all.iter().collect();
        let counts = Responders::of(&refs, &definition("", "minimal_important"));
        let expected =
            Responders { denominator: 5, with_outcome: 3, responders: 2, baseline_too_low: 1, baseline_missing: 1 };
        assert_eq!(counts, expected);
        let (rate, interval) = counts.rate().unwrap();
        assert!((rate - 2.0 / 3.0).abs() < 1e-15 && interval.contains(rate));
        assert_eq!((counts.worst_case(), counts.best_case()), (Some(2.0 / 5.0), Some(4.0 / 5.0)));
        let none = Responders::of(&[], &definition("", "minimal_important"));
        assert_eq!((none.rate(), none.worst_case(), none.best_case()), (None, None, None));
    }

    #[test]
    fn a_state_at_the_endpoint_asks_nothing_of_the_baseline() {
        let acceptable = definition("[pain_nrs.acceptable_state]\nat_most = 1", "acceptable_state");
        let all = episodes(&[
            (Some(1.0), Some(1.0)), // already there: counts
            (Some(7.0), Some(2.0)),
            (None, Some(0.0)),
            (Some(5.0), None),
        ]);
        let counts = Responders::of(&all.iter().collect::<Vec<_>>(), &acceptable);
        let expected =
            Responders { denominator: 4, with_outcome: 3, responders: 2, baseline_too_low: 0, baseline_missing: 1 };
        assert_eq!(counts, expected);
        assert_eq!(counts.worst_case(), Some(0.5));
    }
}
