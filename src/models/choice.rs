//! Which of two models a condition's curve comes from: the one that foresees readings of patients it has not seen.
//!
//! The exponential approach to a plateau (three numbers a patient, each with a meaning) and the natural spline (no shape
//! assumed) are each fitted five times to four fifths of the patients, and the log density of the readings of the last
//! fifth is taken. The mean difference a patient, with its standard error, is the margin. A model that cannot be fitted, to
//! all or to any fold, is out; if both are, there is no curve.

use super::course_model::{CourseModel, Kind};
use super::folds::FOLDS;
use super::panel::{Panel, Track};
use super::unfit::Unfit;
use mendcurve_stats::sum;
use rayon::prelude::*;

/// A model chosen for a panel.
#[derive(Clone, Debug)]
pub struct Chosen {
    /// Fitted to all.
    pub model: CourseModel,
    /// Fitted without each fold; the same position as the fold.
    pub without_fold: Vec<CourseModel>,
    /// The margin over the other model; absent when the other could not be fitted.
    pub margin: Option<Margin>,
    /// Why the other model could not be fitted.
    pub other: Option<Unfit>,
}

/// How much better the chosen model foresaw readings.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Margin {
    /// Mean log density a patient less that of the other model.
    pub value: f64,
    pub standard_error: f64,
    pub patients: u32,
}

/// One model with its folds and the held-out log density of each track.
struct Candidate {
    model: CourseModel,
    without_fold: Vec<CourseModel>,
    held_out: Vec<f64>,
}

/// Chooses. `folds` has the fold of each track of the panel.
///
/// # Errors
/// Why neither model could be fitted: that of the exponential curve.
pub fn choose(panel: &Panel, folds: &[u8]) -> Result<Chosen, Unfit> {
    let (exponential, spline) =
        rayon::join(|| candidate(Kind::Exponential, panel, folds), || candidate(Kind::Spline, panel, folds));
    match (exponential, spline) {
        (Ok(exponential), Ok(spline)) => Ok(better(exponential, spline)),
        (Ok(only), Err(why)) | (Err(why), Ok(only)) => {
            Ok(Chosen { model: only.model, without_fold: only.without_fold, margin: None, other: Some(why) })
        }
        (Err(why), Err(_)) => Err(why),
    }
}

fn candidate(kind: Kind, panel: &Panel, folds: &[u8]) -> Result<Candidate, Unfit> {
    let tracks: Vec<Track<'_>> = panel.tracks().collect();
    let model = CourseModel::fit(kind, &tracks)?;
    let without = |fold: u8| {
        let seen: Vec<Track<'_>> =
            tracks.iter().zip(folds).filter(|(_, of)| **of != fold).map(|(track, _)| *track).collect();
        model.refit(&seen)
    };
    let without_fold = (0..FOLDS).into_par_iter().map(without).collect::<Result<Vec<_>, _>>()?;
    let density = |(track, fold): (&Track<'_>, &u8)| {
        let model = without_fold.get(usize::from(*fold)).ok_or(Unfit::NotConverged)?;
        model.log_density(track.days, track.scores).ok_or(Unfit::NotConverged)
    };
    let held_out = tracks.par_iter().zip(folds.par_iter()).map(density).collect::<Result<Vec<f64>, _>>()?;
    Ok(Candidate { model, without_fold, held_out })
}

fn better(exponential: Candidate, spline: Candidate) -> Chosen {
    let gain: Vec<f64> = exponential.held_out.iter().zip(&spline.held_out).map(|(e, s)| e - s).collect();
    let mean = sum::mean(&gain).unwrap_or(0.0);
    let chosen = if mean >= 0.0 { exponential } else { spline };
    let error = sum::sample_sd(&gain).map_or(0.0, |sd| sd / (gain.len() as f64).sqrt());
    let patients = u32::try_from(gain.len()).unwrap_or(u32::MAX);
    Chosen {
        model: chosen.model,
        without_fold: chosen.without_fold,
        margin: Some(Margin { value: mean.abs(), standard_error: error, patients }),
        other: None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::panel::Panel;
    use super::super::simulated::patients;
    use super::*;
    use mendcurve_stats::random::{standard_normal, stream};

    fn folds(panel: &Panel) -> Vec<u8> {
        (0..panel.len()).map(|patient| (patient % usize::from(FOLDS)) as u8).collect()
    }

    #[test]
    fn courses_towards_a_plateau_are_best_foreseen_by_the_curve_that_has_one() {
        // half-times that differ much between patients, seen closely: no common spline has such courses
        let mut s = stream(21, b"towards a plateau");
        let days = [0.0, 2.0, 4.0, 7.0, 10.0, 14.0, 21.0, 28.0, 42.0, 56.0, 84.0];
        let tracks: Vec<(Vec<f64>, Vec<f64>)> = (0..250)
            .map(|_| {
                let (baseline, plateau) = (8.0 + 0.5 * standard_normal(&mut s), 2.0 + 0.5 * standard_normal(&mut s));
                let tau = (2.0 + 0.8 * standard_normal(&mut s)).exp();
                let score =
                    |day: &f64| plateau + (baseline - plateau) * (-day / tau).exp() + 0.2 * standard_normal(&mut s);
                (days.to_vec(), days.iter().map(score).collect())
            })
            .collect();
        let panel = Panel::made(&tracks);
        let chosen = choose(&panel, &folds(&panel)).unwrap();
        assert_eq!((chosen.model.kind(), chosen.without_fold.len()), (Kind::Exponential, 5));
        let margin = chosen.margin.unwrap();
        assert!(margin.value > 2.0 * margin.standard_error && margin.patients == 250, "{margin:?}");
    }

    #[test]
    fn courses_that_turn_are_best_foreseen_by_the_spline() {
        // down for three weeks and up again
        let turning: Vec<(Vec<f64>, Vec<f64>)> = patients(22, 200, false)
            .tracks()
            .map(|track| {
                let scores =
                    track.points().map(|(day, score)| if day > 21.0 { score + 0.1 * (day - 21.0) } else { score });
                (track.days.to_vec(), scores.collect())
            })
            .collect();
        let panel = Panel::made(&turning);
        assert_eq!(choose(&panel, &folds(&panel)).unwrap().model.kind(), Kind::Spline);
    }

    #[test]
    fn few_patients_or_scores_that_never_change_have_a_stated_outcome() {
        let few = patients(23, 8, false);
        assert_eq!(choose(&few, &folds(&few)).unwrap_err(), Unfit::TooFew);
        let flat = Panel::made(&vec![(vec![0.0, 7.0, 21.0], vec![5.0, 5.0, 5.0]); 40]);
        assert!(matches!(choose(&flat, &folds(&flat)).unwrap_err(), Unfit::NotIdentifiable(_)));
        let no_follow_up = Panel::made(&vec![(vec![0.0], vec![5.0]); 40]);
        assert_eq!(choose(&no_follow_up, &folds(&no_follow_up)).unwrap_err(), Unfit::TooFew);
        assert_eq!(choose(&Panel::made(&[]), &[]).unwrap_err(), Unfit::TooFew);
    }
}
