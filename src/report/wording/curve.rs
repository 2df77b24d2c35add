//! The recovery curve in words.

use super::numbers::{count, counted, decimal, episodes_behind, percent, with_interval};
use super::phrases::sentence;
use crate::findings::curve::{Choice, Curve, CurveModel};

/// Title of a course with its curve.
pub fn title(measure: &str, curve: &Curve, places: usize) -> String {
    let from = decimal(curve.baseline.value, places);
    match (&curve.plateau, &curve.half_time_days, curve.points.last()) {
        (Some(plateau), Some(half_time), _) => format!(
            "{measure}: from {from} towards {}, half of the way in {} days",
            decimal(plateau.value, places),
            decimal(half_time.value, 0)
        ),
        (_, _, Some(last)) => {
            format!("{measure}: from {from} to {} on day {}", decimal(last.mean.value, places), decimal(last.day, 0))
        }
        _ => format!("{measure}: {from} at the start"),
    }
}

/// The fitted curve in words.
pub fn curve(curve: &Curve, places: usize) -> String {
    let start = with_interval(curve.baseline.value, curve.baseline.low, curve.baseline.high, places);
    let mut text = match (&curve.plateau, &curve.half_time_days, curve.points.last()) {
        (Some(plateau), Some(half_time), _) => format!(
            "The fitted mean starts at {start} and approaches {}; half of the way takes {} days.",
            with_interval(plateau.value, plateau.low, plateau.high, places),
            with_interval(half_time.value, half_time.low, half_time.high, 0)
        ),
        (_, _, Some(last)) => format!(
            "The fitted mean starts at {start} and stands at {} on day {}.",
            with_interval(last.mean.value, last.mean.low, last.mean.high, places),
            decimal(last.day, 0)
        ),
        _ => format!("The fitted mean starts at {start}."),
    };
    match (&curve.day_of_important_change, curve.important_change) {
        (Some(day), Some(amount)) => {
            let amount = decimal(amount, places);
            let day = with_interval(day.value, day.low, day.high, 0);
            text.push_str(&format!(" The mean has improved by {amount}, the minimal important change, by day {day}."));
        }
        (None, Some(amount)) => {
            let amount = decimal(amount, places);
            text.push_str(&format!(" The mean does not improve by {amount}, the minimal important change."));
        }
        (_, None) => {}
    }
    text
}

/// Beside the curve: what stands behind it.
pub fn note(episodes: Option<u64>, readings: u64, curve: &Curve) -> String {
    let model = match curve.model {
        CurveModel::Exponential => {
            "Score = plateau + (baseline − plateau) × exp(−t ln 2 / half-time); baseline, plateau and log half-time vary \
             between patients and are fitted together (nonlinear mixed model)."
        }
        CurveModel::Spline => {
            "A natural spline in log(1 + day) whose coefficients vary between patients (linear mixed model)."
        }
    };
    let drawn = curve.drawn_from.map_or(String::new(), |all| {
        format!(" Fitted to these of {} episodes: to patients drawn by their key.", count(all.into()))
    });
    format!("{}, {} readings.{drawn} {model} {}", episodes_behind(episodes), count(readings), sentence(&curve.evidence))
}

/// Why this model: the held-out comparison.
pub fn choice(model: CurveModel, choice: &Choice) -> String {
    let (winner, other) = match model {
        CurveModel::Exponential => ("the exponential approach to a plateau", "the spline"),
        CurveModel::Spline => ("the spline", "the exponential approach to a plateau"),
    };
    format!(
        "Of two models, {winner} foresaw the readings of patients it had not seen better than {other}: by {} (standard error {}) \
         in log density a patient, five folds, {}.",
        decimal(choice.margin, 2),
        decimal(choice.margin_error, 2),
        counted(u64::from(choice.patients), "patient", "patients")
    )
}

/// What the ends of the scale hold.
pub fn at_the_ends(curve: &Curve) -> String {
    format!(
        "{} of the readings lie at the best end of the scale and {} at the worst, where the model, which knows no ends, fits \
         least well.",
        percent(curve.at_best_end),
        percent(curve.at_worst_end)
    )
}

/// Too few patients for a curve.
pub const TOO_FEW_READINGS: &str = "No curve is given: too few patients have enough readings.";

/// When the other model could not be fitted.
pub const ONLY_ONE_MODEL: &str =
    "Only one of the two models could be fitted to these readings, so there was nothing to choose.";

/// Under each course: the figure travels without its page.
pub const UNCONTROLLED_IN_BRIEF: &str = "Uncontrolled: treatment cannot be told from natural course and regression to \
     the mean.";

/// Beside every curve.
pub const UNCONTROLLED: &str = "An uncontrolled series cannot separate treatment from natural course and from regression to \
     the mean: people come when they are at their worst, and many would be better later without treatment.";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::curve::CurveOutcome;
    use crate::report::invented;

    fn fitted() -> Curve {
        let bulletin = invented::bulletin();
        let CurveOutcome::Fitted(curve) = bulletin.conditions[0].outcomes[0].curve.clone() else { panic!("no curve") };
        *curve
    }

    #[test]
    fn a_curve_is_told_with_its_intervals_and_the_day_of_important_change() {
        let text = curve(&fitted(), 1);
        assert!(text.contains("starts at 6.4 (95\u{a0}% CI 6.2 to 6.6) and approaches 3.3"), "{text}");
        assert!(
            text.contains("improved by 2.0, the minimal important change, by day 21 (95\u{a0}% CI 17 to 25)"),
            "{text}"
        );
    }

    #[test]
    fn the_note_says_of_how_many_episodes_a_curve_was_fitted_to_some() {
        let all = note(Some(620), 4_000, &fitted());
        assert!(!all.contains("drawn by their key"), "{all}");
        let drawn = note(Some(620), 4_000, &Curve { drawn_from: Some(22_074), ..fitted() });
        let expected = format!("Fitted to these of {} episodes: to patients drawn by their key.", count(22_074));
        assert!(drawn.contains(&expected), "{drawn}");
    }

    #[test]
    fn a_spline_has_neither_plateau_nor_half_time() {
        let spline = Curve {
            model: CurveModel::Spline,
            plateau: None,
            half_time_days: None,
            day_of_important_change: None,
            ..fitted()
        };
        let text = curve(&spline, 1);
        assert!(text.contains("stands at") && text.contains("on day 84"), "{text}");
        assert!(text.ends_with("does not improve by 2.0, the minimal important change."), "{text}");
        assert!(!title("Pain", &spline, 1).contains("towards"));
    }

    #[test]
    fn the_choice_names_winner_margin_and_patients() {
        let held_out = Choice { margin: 0.214, margin_error: 0.06, patients: 410 };
        let text = choice(CurveModel::Spline, &held_out);
        assert!(text.contains("the spline foresaw"), "{text}");
        assert!(text.contains("by 0.21 (standard error 0.06)") && text.contains("410"), "{text}");
    }
}
