//! Invented patients for tests of the models: pain 0 to 10 that falls towards a plateau, seen weekly, some lost on the way.

use super::panel::Panel;
use super::score_scale::ScoreScale;
use crate::catalogue::{Definition, Measures};
use mendcurve_stats::random::{standard_normal, stream, uniform};

/// The scale of pain 0 to 10 in whole numbers.
pub(crate) fn scale() -> ScoreScale {
    let measures = Measures::embedded().unwrap();
    ScoreScale::of(measures.get(measures.find("pain_nrs").unwrap()), &[1.0, 2.0, 7.0])
}

/// A minimal important change of pain 0 to 10: two points and 30 %.
pub(crate) fn response() -> Definition {
    let measures = Measures::embedded().unwrap();
    let measure = measures.get(measures.find("pain_nrs").unwrap());
    measure.definitions(false).into_iter().find(|definition| definition.key == "minimal_important").unwrap()
}

/// Up to nine weekly readings of so many patients; with `drop_out` those who fare badly are lost more often.
pub(crate) fn patients(seed: u64, patients: usize, drop_out: bool) -> Panel {
    let mut s = stream(seed, b"invented patients");
    let tracks: Vec<(Vec<f64>, Vec<f64>)> = (0..patients)
        .map(|_| {
            let baseline = 6.5 + 1.2 * standard_normal(&mut s);
            let plateau = 3.0 + 0.4 * (baseline - 6.5) + 1.3 * standard_normal(&mut s);
            let tau = (2.8 + 0.4 * standard_normal(&mut s)).exp();
            let (mut days, mut scores) = (Vec::new(), Vec::new());
            for week in 0..9 {
                let day = 7.0 * f64::from(week);
                let curve = plateau + (baseline - plateau) * (-day / tau).exp();
                let score = (curve + 0.8 * standard_normal(&mut s)).round().clamp(0.0, 10.0);
                days.push(day);
                scores.push(score);
                let leaves = 0.3 / (1.0 + (5.5 - score).exp());
                if drop_out && week > 0 && uniform(&mut s) < leaves {
                    break;
                }
            }
            (days, scores)
        })
        .collect();
    Panel::made(&tracks)
}
