//! What a predicted bell curve says of a recorded score, which has ends and steps.
//!
//! The mixed models know neither: they predict Y ~ N(mean, sd) on the whole line. A recorded score is Y rounded to the step
//! in which scores are written and held inside the scale. So, with half a step h:
//! - P(score = v) = P(v - h < Y <= v + h), with everything beyond the end of the scale added to the end;
//! - share worse than v = P(score worse) + P(score = v) / 2 (mid-p: those who score the same count half);
//! - the 80 % band leaves out 10 % at each side. Where the score at an end of the scale is itself that likely, nothing lies
//!   beyond it and it belongs to the band, so that up to 20 % are left out at the other side: as many as stand at the end.
//!   The band then holds 80 to 90 %, and grows without a jump.

use crate::catalogue::measure::{Direction, Measure};
use mendcurve_stats::distribution::{normal_cdf, normal_quantile};

/// Steps in which scores are written, largest first.
const STEPS: [f64; 6] = [10.0, 5.0, 2.0, 1.0, 0.5, 0.1];
/// A step holds when this share of the scores are multiples of it.
const MOST: f64 = 0.9;
/// What is left out of a band.
pub const LEFT_OUT: f64 = 0.2;

/// The ends, direction and step of a measure's scores.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ScoreScale {
    low: f64,
    high: f64,
    lower_is_better: bool,
    step: f64,
}

/// A bell curve for a score still to be recorded.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Bell {
    pub mean: f64,
    /// Standard deviation, positive.
    pub sd: f64,
}

impl Bell {
    /// P(Y <= value).
    fn below(self, value: f64) -> f64 {
        normal_cdf((value - self.mean) / self.sd)
    }
}

impl ScoreScale {
    /// The scale of a measure whose scores were written as these.
    pub fn of(measure: &Measure, scores: &[f64]) -> Self {
        let is_multiple = |score: f64, step: f64| {
            let steps = (score - measure.low) / step;
            (steps - steps.round()).abs() < 1e-6
        };
        let holds = |step: &f64| {
            let multiples = scores.iter().filter(|score| is_multiple(**score, *step)).count();
            !scores.is_empty() && multiples as f64 >= MOST * scores.len() as f64
        };
        Self {
            low: measure.low,
            high: measure.high,
            lower_is_better: measure.direction == Direction::LowerIsBetter,
            step: STEPS.into_iter().find(holds).unwrap_or(0.0),
        }
    }

    /// Inside the scale.
    pub fn held(self, value: f64) -> f64 {
        value.clamp(self.low, self.high)
    }

    /// As it would be written: rounded to the step and held inside the scale.
    pub fn written(self, value: f64) -> f64 {
        if self.step > 0.0 {
            self.held(self.low + ((value - self.low) / self.step).round() * self.step)
        } else {
            self.held(value)
        }
    }

    /// Moves a score for the worse by an amount, inside the scale.
    pub fn worse_by(self, value: f64, amount: f64) -> f64 {
        self.held(if self.lower_is_better { value + amount } else { value - amount })
    }

    pub fn width(self) -> f64 {
        self.high - self.low
    }

    /// Whether a score is at its best, or at its worst, end.
    pub fn at_ends(self, value: f64) -> (bool, bool) {
        let (low, high) = (value <= self.low, value >= self.high);
        if self.lower_is_better { (low, high) } else { (high, low) }
    }

    /// Lowest and highest score.
    pub fn ends(self) -> (f64, f64) {
        (self.low, self.high)
    }

    /// How much better the second score is than the first.
    pub fn improvement(self, from: f64, to: f64) -> f64 {
        if self.lower_is_better { from - to } else { to - from }
    }

    /// The band that holds 80 % of the scores; see the module's head.
    pub fn band(self, bell: Bell) -> (f64, f64) {
        let half = self.step / 2.0;
        let at = |p: f64| normal_quantile(p).map_or(bell.mean, |z| bell.mean + bell.sd * z);
        let (at_low, at_high) = (bell.below(self.low + half), 1.0 - bell.below(self.high - half));
        let tail = LEFT_OUT / 2.0;
        let band = match (at_low > tail, at_high > tail) {
            (true, false) => (self.low, at(1.0 - at_low.min(LEFT_OUT))),
            (false, true) => (at(at_high.min(LEFT_OUT)), self.high),
            (true, true) => (self.low, self.high),
            (false, false) => (at(tail), at(1.0 - tail)),
        };
        (self.held(band.0), self.held(band.1))
    }

    /// Share, 0 to 1, of scores worse than one; those equal count half.
    pub fn share_worse(self, bell: Bell, score: f64) -> f64 {
        let half = self.step / 2.0;
        let below = if score <= self.low { 0.0 } else { bell.below(score - half) };
        let up_to = if score >= self.high { 1.0 } else { bell.below(score + half) };
        let equal = (up_to - below).max(0.0);
        let worse = if self.lower_is_better { 1.0 - up_to } else { below };
        (worse + equal / 2.0).clamp(0.0, 1.0)
    }

    /// Chance, 0 to 1, of a score at least as good as one.
    pub fn chance_as_good(self, bell: Bell, score: f64) -> f64 {
        // the worst score that is still as good
        let steps = (score - self.low) / self.step;
        let nudge = 1e-6; // 3.5 written as 3.4999999
        if self.lower_is_better {
            let limit = if self.step > 0.0 { self.low + ((steps + nudge).floor() + 0.5) * self.step } else { score };
            if score >= self.high { 1.0 } else { bell.below(limit) }
        } else {
            let limit = if self.step > 0.0 { self.low + ((steps - nudge).ceil() - 0.5) * self.step } else { score };
            if score <= self.low { 1.0 } else { 1.0 - bell.below(limit) }
        }
    }

    /// The score of which a share of patients does worse; 0.8 bounds the best fifth. Inside the scale.
    pub fn score_beaten_by(self, bell: Bell, share_worse: f64) -> f64 {
        let p = if self.lower_is_better { 1.0 - share_worse } else { share_worse };
        self.held(normal_quantile(p).map_or(bell.mean, |z| bell.mean + bell.sd * z))
    }

    /// The worst score that still makes a definition true of a patient with this baseline, if any does. `reached` must be
    /// monotone: true of a score, it is true of every better one.
    pub fn threshold(self, reached: impl Fn(f64) -> bool) -> Option<f64> {
        let (best, worst) = if self.lower_is_better { (self.low, self.high) } else { (self.high, self.low) };
        if !reached(best) {
            return None;
        }
        if reached(worst) {
            return Some(worst);
        }
        let (mut yes, mut no) = (best, worst);
        for _ in 0..50 {
            let middle = 0.5 * (yes + no);
            if reached(middle) { yes = middle } else { no = middle }
        }
        Some(yes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;

    fn scale(key: &str, scores: &[f64]) -> ScoreScale {
        let measures = Measures::embedded().unwrap();
        ScoreScale::of(measures.get(measures.find(key).unwrap()), scores)
    }

    #[test]
    fn the_shares_of_all_whole_scores_add_up() {
        let pain = scale("pain_nrs", &[0.0, 3.0, 7.0]);
        let bell = Bell { mean: 1.3, sd: 2.0 };
        // P(score worse than v) + P(v) / 2, differenced over all v, is 1
        let mut worse = 0.0;
        for score in (0..=10).rev() {
            let share = pain.share_worse(bell, f64::from(score));
            let equal = 2.0 * (share - worse);
            assert!((0.0..=1.0).contains(&equal));
            worse += equal;
        }
        assert!((worse - 1.0).abs() < 1e-12);
        // by hand: P(score <= 2) = Phi((2.5 - 1.3) / 2) = Phi(0.6) = 0.725747 (Abramowitz & Stegun, table 26.1)
        assert!((pain.chance_as_good(bell, 2.0) - 0.725_747).abs() < 1e-6);
        assert!((pain.chance_as_good(bell, 2.7) - 0.725_747).abs() < 1e-6, "2.7 is not written, 2 is");
        assert_eq!(pain.chance_as_good(bell, 10.0), 1.0);
    }

    #[test]
    fn a_band_at_the_end_of_the_scale_leaves_out_more_at_the_other_side() {
        let pain = scale("pain_nrs", &[0.0, 3.0, 7.0]);
        let (low, high) = pain.band(Bell { mean: 5.0, sd: 1.0 });
        assert!((low - 3.718_448).abs() < 1e-6 && (high - 6.281_552).abs() < 1e-6); // 1.281552 SD
        let (low, high) = pain.band(Bell { mean: 1.0, sd: 1.0 });
        assert!(low == 0.0 && (high - 1.841_621).abs() < 1e-6); // 0.841621 SD
        let (low, high) = pain.band(Bell { mean: 5.0, sd: 50.0 });
        assert_eq!((low, high), (0.0, 10.0));
        // P(0) = Phi((0.5 - 1.6) / 1) = 0.136: as much is left out above, z(0.864) = 1.1 by symmetry
        let (low, high) = pain.band(Bell { mean: 1.6, sd: 1.0 });
        assert!(low == 0.0 && (high - 2.7).abs() < 1e-9, "{high}");
    }

    #[test]
    fn on_a_scale_where_high_is_good_everything_is_turned_round() {
        let function = scale("psfs", &[1.3, 2.7, 3.1]);
        let bell = Bell { mean: 5.0, sd: 1.0 };
        assert!((function.share_worse(bell, 6.0) - 0.841_345).abs() < 2e-3);
        assert!((function.chance_as_good(bell, 6.0) - (1.0 - 0.829_106)).abs() < 1e-2);
        assert!(function.score_beaten_by(bell, 0.8) > 5.8 && function.worse_by(9.0, 20.0) == 0.0);
        assert_eq!(function.improvement(3.0, 5.0), 2.0);
        assert_eq!(function.at_ends(10.0), (true, false));
    }

    #[test]
    fn the_threshold_of_a_definition_is_found() {
        let pain = scale("pain_nrs", &[1.0]);
        let threshold = pain.threshold(|score| 7.0 - score >= 2.1).unwrap();
        assert!((threshold - 4.9).abs() < 1e-9);
        assert_eq!(pain.threshold(|_| false), None);
        assert_eq!(pain.threshold(|_| true), Some(10.0));
    }

    #[test]
    fn steps_are_told_from_the_scores() {
        assert_eq!(scale("pain_nrs", &[1.0, 2.0, 2.5]).step, 0.5);
        assert_eq!(scale("odi", &[22.0, 24.0, 30.0]).step, 2.0);
        assert_eq!(scale("odi", &[22.0, 24.3, 31.7]).step, 0.1);
        assert_eq!(scale("odi", &[]).step, 0.0);
        assert_eq!(scale("pain_nrs", &[1.0]).written(2.4), 2.0);
    }
}
