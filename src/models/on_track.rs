//! Is this patient on track: the latest reading held against what was expected of it before it was seen.
//!
//! Two predictions are made for each reading, and both are conditional on the patient's readings so far (their own
//! baseline above all), by the posterior of the patient's coefficients:
//! - from **all earlier readings**: the mean and 80 % band beside the reading, and the bound beyond which a patient worsens;
//! - from **the readings at the start alone**: the course of patients like them. Its percentile is the share of such
//!   patients who would do worse on that day.
//!
//! In this order: `worsening` if the score is worse than the baseline by more than measurement error (Jacobson & Truax 1991,
//! J Consult Clin Psychol 59:12-19), or worse than 97.5 % of what the patient's own earlier readings predict; `behind`
//! below the 20th percentile of patients like them with a chance of response under one half; `ahead` above the 80th; else
//! as expected. The chance of response is that of a minimal important change on the endpoint day, from all readings.

use super::course_model::{CourseModel, Posterior};
use super::panel::Track;
use super::score_scale::{Bell, ScoreScale};
use crate::catalogue::Definition;
use crate::group::settings::OnTrackRules;

/// A score worse than this share of what the patient's own readings predict is worsening.
pub const OWN_BOUND: f64 = 0.975;

/// What patients of a condition are held against, on one outcome.
#[derive(Clone, Copy, Debug)]
pub struct Yardstick<'a> {
    pub model: &'a CourseModel,
    pub scale: ScoreScale,
    /// What counts as a response.
    pub response: Option<&'a Definition>,
    /// Change beyond measurement error, own unit.
    pub reliable_change: Option<f64>,
    /// Day on which endpoints are usually read.
    pub endpoint_day: f64,
    /// The group's cut-offs.
    pub rules: OnTrackRules,
}

/// A mean with its 80 % band, inside the scale.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Expected {
    pub mean: f64,
    /// Lower edge.
    pub low: f64,
    /// Upper edge.
    pub high: f64,
}

/// Why a patient is called what they are.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Verdict {
    /// Worse than the baseline by more than measurement error: by how much, and the limit.
    ReliablyWorse {
        /// Own unit.
        by: f64,
        /// Own unit.
        limit: f64,
    },
    /// Worse than the patient's own readings predict.
    BeyondOwnPrediction,
    /// Low among patients like them, and unlikely to respond.
    Behind,
    /// None of the others.
    AsExpected,
    /// High among patients like them.
    Ahead,
    /// No baseline yet, or no reading after it.
    TooFew,
}

/// Where a patient stands after their latest reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Standing {
    pub verdict: Verdict,
    /// What the earlier readings predicted of the latest.
    pub expected: Option<Expected>,
    /// Share of patients like them who would do worse, 0 to 100.
    pub percentile: Option<f64>,
    /// Chance of a response on `endpoint_day`, 0 to 1.
    pub chance_of_response: Option<f64>,
    /// The day the chance is for.
    pub endpoint_day: f64,
}

/// What is known of a patient's course at three times.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// After the first reading.
    pub start: Option<&'a Posterior>,
    /// After all but the latest.
    pub earlier: Option<&'a Posterior>,
    /// After all.
    pub now: Option<&'a Posterior>,
}

impl Yardstick<'_> {
    /// What is known of a patient's course after some readings.
    pub fn known(&self, given: Track<'_>) -> Option<Posterior> {
        self.model.posterior(given.days, given.scores)
    }

    /// Mean and band of a score on a day.
    pub fn expected(&self, known: &Posterior, day: f64) -> Option<Expected> {
        let bell = self.bell(known, day)?;
        let (low, high) = self.scale.band(bell);
        Some(Expected { mean: self.scale.held(bell.mean).clamp(low, high), low, high })
    }

    /// The bell curve of a score on a day.
    pub fn bell(&self, known: &Posterior, day: f64) -> Option<Bell> {
        self.model.predict(known, day)
    }

    /// Whether a reading lies in the band that the earlier ones predict.
    pub fn inside_band(&self, earlier: &Posterior, (day, score): (f64, f64)) -> Option<bool> {
        let band = self.expected(earlier, day)?;
        Some((band.low..=band.high).contains(&score))
    }

    /// The day for which the chance of response after some readings is given, and that chance: the endpoint day, or a week
    /// after the latest reading when that is later.
    fn chance_of_response(&self, so_far: Track<'_>, known: &Posterior) -> Option<(f64, f64)> {
        let (latest, _) = so_far.last()?;
        let day = self.endpoint_day.max(latest + 7.0);
        let (response, baseline) = (self.response?, so_far.baseline()?);
        let threshold = self.scale.threshold(|score| response.reached(baseline, score))?;
        Some((day, self.scale.chance_as_good(self.bell(known, day)?, threshold)))
    }

    /// Where a patient stands after the latest of these readings.
    pub fn standing(&self, so_far: Track<'_>) -> Standing {
        let after = |readings: usize| self.known(so_far.first(readings));
        let all = so_far.days.len();
        let (start, earlier, now) = (after(1), after(all.saturating_sub(1)), after(all));
        self.standing_given(so_far, Known { start: start.as_ref(), earlier: earlier.as_ref(), now: now.as_ref() })
    }

    /// The same, from what is known after the first reading, all but the latest, and all.
    pub fn standing_given(&self, so_far: Track<'_>, known: Known<'_>) -> Standing {
        let none = Standing {
            verdict: Verdict::TooFew,
            expected: None,
            percentile: None,
            chance_of_response: None,
            endpoint_day: self.endpoint_day,
        };
        let (Some(baseline), Some((day, score))) = (so_far.baseline(), so_far.last()) else { return none };
        let earlier = so_far.days.len() - 1;
        if earlier == 0 {
            let chance = known.now.and_then(|now| self.chance_of_response(so_far, now));
            return Standing { chance_of_response: chance.map(|(_, chance)| chance), ..none };
        }
        let own = known.earlier.and_then(|earlier| self.bell(earlier, day));
        let like_them = known.start.and_then(|start| self.bell(start, day));
        let percentile = like_them.map(|bell| 100.0 * self.scale.share_worse(bell, score));
        let chance = known.now.and_then(|now| self.chance_of_response(so_far, now));
        let beyond = own.is_some_and(|bell| self.scale.share_worse(bell, score) < 1.0 - OWN_BOUND);
        let worse_by = -self.scale.improvement(baseline, score);
        let verdict = match (self.reliable_change, percentile) {
            (Some(limit), _) if worse_by >= limit => Verdict::ReliablyWorse { by: worse_by, limit },
            _ if beyond => Verdict::BeyondOwnPrediction,
            (_, None) => Verdict::TooFew,
            (_, Some(percentile)) => self.among_others(percentile, chance.map(|(_, chance)| chance)),
        };
        Standing {
            verdict,
            expected: known.earlier.and_then(|earlier| self.expected(earlier, day)),
            percentile,
            chance_of_response: chance.map(|(_, chance)| chance),
            endpoint_day: chance.map_or(self.endpoint_day, |(day, _)| day),
        }
    }

    /// Where a percentile among patients like them and a chance of response put a patient. Without a chance (the baseline
    /// leaves no room for a response) the percentile alone does not make one behind.
    fn among_others(&self, percentile: f64, chance: Option<f64>) -> Verdict {
        let unlikely = chance.is_some_and(|chance| chance < self.rules.unlikely_below);
        if percentile < self.rules.behind_below && unlikely {
            Verdict::Behind
        } else if percentile > self.rules.ahead_above {
            Verdict::Ahead
        } else {
            Verdict::AsExpected
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::course_model::Kind;
    use super::super::panel::Panel;
    use super::super::simulated::{patients, response, scale};
    use super::*;

    fn standing(model: &CourseModel, scores: &[f64]) -> Standing {
        let response = response();
        let yardstick = Yardstick {
            model,
            scale: scale(),
            response: Some(&response),
            reliable_change: Some(2.83),
            endpoint_day: 56.0,
            rules: OnTrackRules::default(),
        };
        let days: Vec<f64> = (0..scores.len()).map(|week| 7.0 * week as f64).collect();
        let panel = Panel::made(&[(days, scores.to_vec())]);
        yardstick.standing(panel.track(0).unwrap())
    }

    fn model(kind: Kind) -> CourseModel {
        let panel = patients(3, 200, true);
        CourseModel::fit(kind, &panel.tracks().collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn each_course_gets_its_verdict_under_either_model() {
        // the mean course: 6.5, 5.3, 4.5, 4.0, 3.7, ... towards 3
        for kind in [Kind::Exponential, Kind::Spline] {
            let model = model(kind);
            let verdict = |scores: &[f64]| standing(&model, scores).verdict;
            assert_eq!(verdict(&[6.0]), Verdict::TooFew);
            assert_eq!(verdict(&[6.0, 5.0, 4.0, 4.0]), Verdict::AsExpected, "{kind:?}");
            assert_eq!(verdict(&[7.0, 7.0, 7.0, 7.0, 7.0]), Verdict::Behind, "{kind:?}");
            assert_eq!(verdict(&[7.0, 4.0, 2.0, 1.0]), Verdict::Ahead, "{kind:?}");
            assert_eq!(verdict(&[7.0, 3.0, 2.0, 2.0, 2.0, 8.0]), Verdict::BeyondOwnPrediction, "{kind:?}");
            assert!(matches!(verdict(&[6.0, 6.0, 9.0]), Verdict::ReliablyWorse { by, .. } if by == 3.0));
        }
    }

    #[test]
    fn a_good_course_makes_a_response_likely_and_a_bad_one_does_not() {
        let model = model(Kind::Exponential);
        let chance = |scores: &[f64]| standing(&model, scores).chance_of_response.unwrap();
        assert!(chance(&[7.0, 4.0, 2.0, 1.0]) > 0.97);
        assert!(chance(&[7.0, 7.0, 7.0, 7.0, 7.0]) < 0.2);
        let middling = standing(&model, &[7.0, 6.0, 5.0]);
        let expected = middling.expected.unwrap();
        assert!(expected.low < expected.mean && expected.mean < expected.high);
        assert!((0.2..0.9).contains(&middling.chance_of_response.unwrap()));
    }

    #[test]
    fn a_baseline_that_leaves_no_room_gives_no_chance_and_nobody_is_behind_for_it() {
        let low = standing(&model(Kind::Exponential), &[1.0, 2.0, 2.0]);
        assert_eq!(low.chance_of_response, None);
        assert_ne!(low.verdict, Verdict::Behind);
    }
}
