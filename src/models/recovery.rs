//! The first recovery curve: an exponential approach to a plateau, through the weekly means.
//!
//! mean(t) = plateau + (start - plateau) exp(-t ln 2 / half-time), least squares, each week weighted by its episodes.
//! It is an interim curve until the mixed models: the weeks share their episodes but are fitted as if they did not, and
//! who is lost on the way is not allowed for. Its intervals are rough, and the report says so.

use super::weekly_course::Week;
use crate::catalogue::measure::{Direction, Measure};
use mendcurve_stats::evidence::Evidence;
use mendcurve_stats::exponential::{Doubt, ExponentialFit, ExponentialOutcome, StartValue, fit_exponential};
use mendcurve_stats::interval::Estimate;
use mendcurve_stats::{InputError, Level};

/// The name of the model in the sheets.
pub const MODEL: &str = "weekly means, least squares";
/// Fewest episodes of a week that is fitted.
pub const FEWEST_EPISODES: u32 = 10;

/// What came of fitting the curve.
#[derive(Clone, PartialEq, Debug)]
pub enum Recovery {
    /// A curve.
    Fitted(Box<RecoveryCurve>),
    /// The weekly means do not determine one; why, in words.
    NotIdentifiable(String),
    /// There are too few weeks with enough episodes.
    TooFewWeeks,
}

/// A fitted curve. Scores in the measure's own unit, times in days since the first treated visit.
#[derive(Clone, PartialEq, Debug)]
pub struct RecoveryCurve {
    /// Mean at day 0.
    pub start: Estimate,
    /// Level approached.
    pub plateau: Estimate,
    /// Days in which half of what is left of the way is done.
    pub half_time_days: Estimate,
    /// Day on which the mean has improved by the minimal important change; absent when the plateau is not that good.
    pub day_of_important_change: Option<Estimate>,
    /// The fitted mean, day by day to the last week fitted.
    pub points: Vec<(f64, Estimate)>,
    /// How the fit ended, in one line.
    pub evidence: String,
}

/// The weeks a curve is fitted to.
pub fn fitted_weeks(weeks: &[Week]) -> Vec<Week> {
    weeks.iter().filter(|week| week.episodes >= FEWEST_EPISODES).copied().collect()
}

/// Fits the curve through weeks chosen by [`fitted_weeks`]. `important_change` is an improvement in the measure's own unit.
pub fn recovery(weeks: &[Week], measure: &Measure, important_change: Option<f64>) -> Recovery {
    let times: Vec<f64> = weeks.iter().map(|week| week.day).collect();
    let means: Vec<f64> = weeks.iter().map(|week| week.mean.value).collect();
    let weights: Vec<f64> = weeks.iter().map(|week| f64::from(week.episodes)).collect();
    match fit_exponential(&times, &means, Some(&weights), StartValue::Free) {
        Ok(ExponentialOutcome::TooFewPoints { .. }) => Recovery::TooFewWeeks,
        Ok(ExponentialOutcome::NotIdentifiable { why, .. }) => Recovery::NotIdentifiable(in_words(why).to_owned()),
        Ok(ExponentialOutcome::Fitted(fit)) if !measure.contains(fit.plateau) => {
            Recovery::NotIdentifiable("the level approached would lie outside the scale".to_owned())
        }
        Ok(ExponentialOutcome::Fitted(fit)) => {
            let last_day = times.iter().copied().fold(0.0, f64::max);
            match curve(&fit, measure, important_change, last_day) {
                Ok(curve) => Recovery::Fitted(Box::new(curve)),
                Err(error) => Recovery::NotIdentifiable(error.to_string()),
            }
        }
        Err(error) => Recovery::NotIdentifiable(error.to_string()),
    }
}

fn curve(
    fit: &ExponentialFit,
    measure: &Measure,
    important_change: Option<f64>,
    last_day: f64,
) -> Result<RecoveryCurve, InputError> {
    let level = Level::NINETY_FIVE;
    let day_of_important_change = match important_change {
        Some(amount) => match measure.direction {
            Direction::LowerIsBetter => fit.time_of_fall(amount, level)?,
            Direction::HigherIsBetter => fit.time_of_rise(amount, level)?,
        },
        None => None,
    };
    let mut points = Vec::new();
    for day in 0..=last_day.round() as u32 {
        points.push((f64::from(day), fit.mean_at(f64::from(day), level)?.mean));
    }
    Ok(RecoveryCurve {
        start: fit.start_estimate(level)?,
        plateau: fit.plateau_estimate(level)?,
        half_time_days: fit.half_time(level)?,
        day_of_important_change,
        points,
        evidence: one_line(&fit.evidence),
    })
}

fn in_words(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::NoChange => "the mean does not change",
        Doubt::PlateauAtOnce => {
            "the plateau is reached by the first week after the baseline, so that any faster rate fits as well"
        }
        Doubt::StraightLine => "no plateau is in sight: a straight line fits as well",
        Doubt::RateUnknown => "the weekly means do not tell a fast approach from a slow one",
        Doubt::NotConverged => "no minimum of the sum of squares could be shown",
    }
}

fn one_line(evidence: &Evidence) -> String {
    format!(
        "{} iterations, relative gradient {:.1e}, condition number {:.1}, a minimum was shown",
        evidence.iterations, evidence.gradient, evidence.condition_number
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;
    use mendcurve_stats::interval::Interval;

    fn percent() -> Measure {
        let measures = Measures::embedded().unwrap();
        measures.get(measures.find("odi").unwrap()).clone()
    }

    fn week(week: u32, episodes: u32, mean: f64) -> Week {
        let mean = Estimate { value: mean, standard_error: 1.0, interval: Interval { low: mean, high: mean } };
        Week { week, day: 7.0 * f64::from(week), episodes, mean, band: (0.0, 0.0), median: 0.0 }
    }

    #[test]
    fn means_on_a_curve_give_back_its_start_plateau_and_half_time() {
        // start 60, plateau 20, half-time 14 days: 60 -> 40 after two weeks, 30 after four
        let at = |w: u32| 20.0 + 40.0 * 0.5_f64.powf(f64::from(w) / 2.0);
        let nudge = [0.02, -0.03, 0.01, 0.02, -0.02, 0.01, 0.0, 0.0, -0.01];
        let weeks: Vec<Week> = (0..9).map(|w| week(w, 50, at(w) + nudge[w as usize])).collect();
        let Recovery::Fitted(curve) = recovery(&fitted_weeks(&weeks), &percent(), Some(10.0)) else {
            panic!("fits");
        };
        assert!((curve.start.value - 60.0).abs() < 0.1 && (curve.plateau.value - 20.0).abs() < 0.1);
        assert!((curve.half_time_days.value - 14.0).abs() < 0.1, "{}", curve.half_time_days.value);
        // 10 of 40: exp(-t ln2 / 14) = 3/4, t = 14 log2(4/3) = 5.81
        assert!((curve.day_of_important_change.unwrap().value - 5.81).abs() < 0.1);
        assert_eq!((curve.points.len(), curve.points[56].0), (57, 56.0));
        assert!(curve.evidence.contains("a minimum was shown"));
    }

    #[test]
    fn weeks_with_under_ten_episodes_are_not_fitted() {
        let weeks = [week(0, 50, 60.0), week(1, 9, 5.0), week(2, 10, 40.0), week(4, 50, 30.0)];
        assert_eq!(fitted_weeks(&weeks).iter().map(|w| w.week).collect::<Vec<_>>(), [0, 2, 4]);
        assert_eq!(recovery(&fitted_weeks(&weeks), &percent(), None), Recovery::TooFewWeeks);
        assert_eq!(recovery(&[], &percent(), None), Recovery::TooFewWeeks);
    }

    #[test]
    fn a_plateau_reached_at_once_is_not_given_a_rate() {
        // the subacute course of Wallwork 2024 (weeks 0, 6, 26, 52; points V2 in secondary pages): no rate can be known
        let weeks = [week(0, 50, 63.0), week(6, 50, 29.0), week(26, 50, 29.0), week(52, 50, 31.0)];
        assert!(matches!(recovery(&weeks, &percent(), None), Recovery::NotIdentifiable(_)));
    }

    #[test]
    fn a_plateau_outside_the_scale_is_refused() {
        let at = |w: u32| -30.0 + 90.0 * 0.5_f64.powf(f64::from(w) / 8.0);
        let nudge = [0.02, -0.03, 0.01, 0.02, -0.02, 0.01, 0.0, 0.0, -0.01];
        let weeks: Vec<Week> = (0..9).map(|w| week(w, 50, at(w) + nudge[w as usize])).collect();
        let Recovery::NotIdentifiable(why) = recovery(&weeks, &percent(), None) else { panic!("refused") };
        assert!(why.contains("outside the scale"), "{why}");
    }
}
