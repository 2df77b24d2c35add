//! Which patients a curve is fitted to, where there are more than it needs.
//!
//! A curve's standard errors fall with the square root of the number of patients, its cost grows with the number. Beyond
//! [`most_patients`] the errors are far below any difference that matters (figures in docs/decisions/recovery-curves.md), so the
//! models, their folds and their tests take that many patients, drawn by a keyed hash of the patient's key: the same whatever the
//! order of the files, and blind to how the patient fared. All episodes of a patient are in or out together. What is *counted*
//! (responders, changes, completeness, times to a response) is counted over everybody, and everybody is compared with the curve.

use super::panel::Panel;
use mendcurve_stats::random::{stream, uniform};
use std::collections::BTreeSet;

/// Most patients of an outcome that its curve is fitted to, in a run of many outcomes.
pub const MOST_PATIENTS: usize = 600;
/// Most patients fitted in a whole run, over its outcomes: with few of them each may have more.
const MOST_IN_A_RUN: usize = 14_400;
const SEED: u64 = 6;

/// Most patients an outcome in a run of so many outcomes.
pub fn most_patients(outcomes: usize) -> usize {
    MOST_PATIENTS.max(MOST_IN_A_RUN / outcomes.max(1))
}

/// A patient's lot, 0 to 1, by key: those below a share are about that share of all patients.
pub fn lot(key: &str) -> f64 {
    uniform(&mut stream(SEED, key.as_bytes()))
}

/// The readings of at most so many patients drawn; `None` where all are needed. `patient` gives an episode's patient by key.
pub fn drawn_up_to<'k>(most: usize, panel: &Panel, patient: impl Fn(u32) -> Option<&'k str>) -> Option<Panel> {
    if panel.len() <= most {
        return None;
    }
    let keys: BTreeSet<&str> = panel.tracks().filter_map(|track| patient(track.episode)).collect();
    if keys.len() <= most {
        return None;
    }
    let mut lots: Vec<(f64, &str)> = keys.into_iter().map(|key| (lot(key), key)).collect();
    lots.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(b.1)));
    let chosen: BTreeSet<&str> = lots.into_iter().take(most).map(|(_, key)| key).collect();
    Some(panel.only(|episode| patient(episode).is_some_and(|key| chosen.contains(key))))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Patients `p0`, `p1`, ... with two episodes each.
    fn key(names: &[String], episode: u32) -> Option<&str> {
        names.get(episode as usize / 2).map(String::as_str)
    }

    #[test]
    fn as_many_patients_as_asked_are_drawn_with_all_their_episodes() {
        let names: Vec<String> = (0..50).map(|number| format!("p{number}")).collect();
        let panel = Panel::made(&vec![(vec![0.0, 7.0], vec![6.0, 4.0]); 100]);
        let patients = |panel: &Panel| -> Vec<u32> { panel.tracks().map(|track| track.episode / 2).collect() };
        let ten = drawn_up_to(10, &panel, |episode| key(&names, episode)).unwrap();
        let chosen = patients(&ten);
        assert_eq!((ten.len(), ten.readings()), (20, 40));
        assert!(chosen.chunks(2).all(|pair| pair[0] == pair[1]), "{chosen:?}");
        let twenty = patients(&drawn_up_to(20, &panel, |episode| key(&names, episode)).unwrap());
        assert!(chosen.iter().all(|patient| twenty.contains(patient)), "a larger draw holds the smaller");
        assert!(chosen != (0..10).flat_map(|patient| [patient, patient]).collect::<Vec<_>>(), "not simply the first");
        assert!(drawn_up_to(50, &panel, |episode| key(&names, episode)).is_none());
    }
}
