//! How well the predictions did for patients whom the model had not seen.
//!
//! Every follow-up reading before the endpoint is taken as the latest one: what would have been said then is held against
//! what came. Numbered from 1, the first after the baseline. A patient counts for the chance of response and for `behind` when the
//! endpoint is known and a response could be reached; for the band, whenever there is an earlier reading.
//!
//! Those without an endpoint cannot be checked. They differ from the others, so the figures hold for patients who are seen
//! to the end.

use super::course_model::Posterior;
use super::on_track::{Known, Verdict, Yardstick};
use super::panel::Track;
use mendcurve_stats::Level;
use mendcurve_stats::interval::Estimate;
use mendcurve_stats::prediction::{Calibration, Rate, auc, brier, calibration, confusion};
use rayon::prelude::*;

/// Readings beyond this number are few and late; they are not tested one by one.
pub const LAST_VISIT: u32 = 12;
/// Fewest patients of a line, and for `behind` and `ahead` to be used at all.
pub const FEWEST: u32 = 30;
/// Largest difference of the band's coverage from 80 % at which the predictions are used.
pub const COVERAGE_OFF: f64 = 0.10;

/// A patient with the yardstick of a model that has not seen them, and how it ended.
#[derive(Clone, Copy, Debug)]
pub struct HeldOut<'a> {
    /// Their readings.
    pub track: Track<'a>,
    pub yardstick: Yardstick<'a>,
    /// Day of the endpoint reading and whether it was a response; absent when not known or out of reach.
    pub end: Option<(f64, bool)>,
}

/// What was said after one follow-up reading.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Said {
    visit_no: u32,
    inside: Option<bool>,
    predicted: Option<Predicted>,
}

#[derive(Clone, Copy, PartialEq, Debug)]
struct Predicted {
    chance: f64,
    behind: bool,
    responded: bool,
}

/// One follow-up number.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    /// Number of the follow-up reading.
    pub visit_no: u32,
    /// Patients with it and a known end.
    pub patients: u32,
    /// Area under the receiver operating characteristic.
    pub auc: Option<Estimate>,
    /// Mean squared difference of chance and response.
    pub brier: Option<f64>,
    /// Calibration intercept and slope.
    pub calibration: Option<(Estimate, Estimate)>,
    /// Share of the readings inside the 80 % band.
    pub coverage: Option<Rate>,
    /// Of those who did not respond, the share called behind.
    pub sensitivity: Option<Rate>,
    /// Of those who responded, the share not called behind.
    pub specificity: Option<Rate>,
    /// Of those called behind, the share that did not respond.
    pub ppv: Option<Rate>,
}

/// What came of a backtest.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct Tested {
    /// By follow-up number; those with fewer than [`FEWEST`] patients are left out.
    pub lines: Vec<Line>,
    /// Patients with a known end.
    pub patients: u32,
    /// Coverage of the 80 % band over all readings.
    pub coverage: Option<Rate>,
}

impl Tested {
    /// Why the predictions are not to be used, if so.
    pub fn doubt(&self) -> Option<Doubt> {
        match self.coverage {
            _ if self.patients < FEWEST => Some(Doubt::TooFewPatients(self.patients)),
            Some(coverage) if (coverage.share - 0.8).abs() <= COVERAGE_OFF => None,
            Some(coverage) => Some(Doubt::CoverageOff(coverage.share)),
            None => Some(Doubt::TooFewPatients(0)),
        }
    }
}

/// Why predictions are not to be used.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Doubt {
    /// Too few patients to try them on.
    TooFewPatients(u32),
    /// The 80 % band held this share.
    CoverageOff(f64),
}

/// Tests predictions on patients held out.
pub fn backtest(patients: &[HeldOut<'_>]) -> Tested {
    let said: Vec<Vec<Said>> = patients.par_iter().map(said_of).collect();
    let all: Vec<Said> = said.into_iter().flatten().collect();
    let lines = (1..=LAST_VISIT).filter_map(|visit_no| line(visit_no, &all)).collect();
    let known = patients.iter().filter(|patient| patient.end.is_some()).count();
    Tested { lines, patients: u32::try_from(known).unwrap_or(u32::MAX), coverage: share_inside(all.iter()) }
}

/// What would have been said after each follow-up reading.
fn said_of(patient: &HeldOut<'_>) -> Vec<Said> {
    let HeldOut { track, yardstick, end } = patient;
    if track.baseline().is_none() {
        return Vec::new();
    }
    let follow_ups = track.days.len().saturating_sub(1);
    let known: Vec<Option<Posterior>> = (1..=track.days.len()).map(|n| yardstick.known(track.first(n))).collect();
    // after the reading at this position
    let after = |position: usize| known.get(position).and_then(Option::as_ref);
    let said = |number: usize| {
        let so_far = track.first(number + 1);
        let visit_no = u32::try_from(number).unwrap_or(u32::MAX);
        let (start, earlier, now) = (after(0), after(number - 1), after(number));
        let inside = so_far.last().zip(earlier).and_then(|(reading, earlier)| yardstick.inside_band(earlier, reading));
        let latest = so_far.last().map_or(0.0, |(day, _)| day);
        let before_the_end = end.filter(|(end, _)| latest < *end && visit_no <= LAST_VISIT);
        let predicted = before_the_end.and_then(|(_, responded)| {
            let standing = yardstick.standing_given(so_far, Known { start, earlier, now });
            let behind = standing.verdict == Verdict::Behind;
            Some(Predicted { chance: standing.chance_of_response?, behind, responded })
        });
        Said { visit_no, inside, predicted }
    };
    (1..=follow_ups).map(said).collect()
}

fn line(visit_no: u32, all: &[Said]) -> Option<Line> {
    let here = || all.iter().filter(|said| said.visit_no == visit_no);
    let predicted: Vec<Predicted> = here().filter_map(|said| said.predicted).collect();
    let patients = u32::try_from(predicted.len()).ok().filter(|patients| *patients >= FEWEST)?;
    let chances: Vec<f64> = predicted.iter().map(|f| f.chance).collect();
    let responded: Vec<bool> = predicted.iter().map(|f| f.responded).collect();
    let failed: Vec<bool> = responded.iter().map(|responded| !responded).collect();
    let behind: Vec<bool> = predicted.iter().map(|f| f.behind).collect();
    let calls = confusion(&behind, &failed, Level::NINETY_FIVE).ok();
    Some(Line {
        visit_no,
        patients,
        auc: auc(&chances, &responded, Level::NINETY_FIVE).ok().and_then(|auc| auc.estimate),
        brier: brier(&chances, &responded).ok(),
        calibration: calibrated(&chances, &responded),
        coverage: share_inside(here()),
        sensitivity: calls.and_then(|calls| calls.sensitivity),
        specificity: calls.and_then(|calls| calls.specificity),
        ppv: calls.and_then(|calls| calls.positive_predictive_value),
    })
}

/// Intercept and slope; `None` where they are not finite numbers, as when chance and response go together perfectly.
fn calibrated(chances: &[f64], responded: &[bool]) -> Option<(Estimate, Estimate)> {
    match calibration(chances, responded, Level::NINETY_FIVE) {
        Ok(Calibration::Fitted(fit)) => Some((fit.intercept, fit.slope)),
        _ => None,
    }
}

fn share_inside<'s>(said: impl Iterator<Item = &'s Said>) -> Option<Rate> {
    let (mut inside, mut all) = (0, 0);
    for is_inside in said.filter_map(|said| said.inside) {
        all += 1;
        inside += u64::from(is_inside);
    }
    Rate::new(inside, all, Level::NINETY_FIVE).ok().flatten()
}

#[cfg(test)]
mod tests {
    use super::super::course_model::{CourseModel, Kind};
    use super::super::panel::Panel;
    use super::super::simulated::{patients, response, scale};
    use super::*;
    use crate::catalogue::Definition;
    use crate::group::settings::OnTrackRules;

    fn held_out<'a>(panel: &'a Panel, model: &'a CourseModel, response: &'a Definition) -> Vec<HeldOut<'a>> {
        let yardstick = Yardstick {
            model,
            scale: scale(),
            response: Some(response),
            reliable_change: None,
            endpoint_day: 56.0,
            rules: OnTrackRules::default(),
        };
        let end = |track: Track<'_>| {
            let (day, score) = track.last()?;
            let baseline = track.baseline().filter(|baseline| response.reachable(*baseline))?;
            (day == 56.0).then(|| (day, response.reached(baseline, score)))
        };
        panel.tracks().map(|track| HeldOut { track, yardstick, end: end(track) }).collect()
    }

    #[test]
    fn predictions_of_new_patients_hold_what_they_promise() {
        let (seen, new, response) = (patients(11, 300, true), patients(12, 400, true), response());
        let model = CourseModel::fit(Kind::Exponential, &seen.tracks().collect::<Vec<_>>()).unwrap();
        let tested = backtest(&held_out(&new, &model, &response));
        let coverage = tested.coverage.unwrap();
        assert!((coverage.share - 0.8).abs() < 0.05, "{coverage:?}");
        assert_eq!(tested.doubt(), None);
        let (first, later) = (&tested.lines[0], &tested.lines[5]);
        assert!(later.auc.unwrap().value > first.auc.unwrap().value, "more readings foretell more");
        assert!(later.auc.unwrap().value > 0.85 && later.brier.unwrap() < first.brier.unwrap());
        let (_, slope) = later.calibration.unwrap();
        assert!(slope.interval.contains(1.0), "{slope:?}");
        assert!(tested.lines.iter().all(|line| line.patients >= FEWEST));
    }

    #[test]
    fn a_model_of_other_patients_fails_its_test() {
        let response = response();
        // up and down between 9 and 1, which no patient of the model does
        let unsteady: Vec<(Vec<f64>, Vec<f64>)> = patients(13, 60, false)
            .tracks()
            .map(|track| {
                (track.days.to_vec(), (0..track.days.len()).map(|k| if k % 2 == 0 { 9.0 } else { 1.0 }).collect())
            })
            .collect();
        let model = CourseModel::fit(Kind::Spline, &patients(14, 200, false).tracks().collect::<Vec<_>>()).unwrap();
        let tested = backtest(&held_out(&Panel::made(&unsteady), &model, &response));
        assert!(matches!(tested.doubt(), Some(Doubt::CoverageOff(_))), "{:?}", tested.coverage);
        let few = Panel::made(&unsteady[..10]);
        assert!(matches!(backtest(&held_out(&few, &model, &response)).doubt(), Some(Doubt::TooFewPatients(_))));
    }
}
