//! The dose of one visit, from what the machine was told.
//!
//! Profile of the pull over time, P = peak pull (N), L = low pull (N, 0 when not recorded for a static
//! pull), r = ramp (s), h = hold (s), q = rest (s):
//! - intermittent, one cycle: up from L to P in r, P for h, down to L in r, L for q. Its length is
//!   2 r + h + q, its force-time integral r (P + L) + h P + q L (two trapezoids, two rectangles);
//!   the hold does not include the ramps. A ramp that was not recorded counts as 0 s.
//! - static, a session of T seconds: up from 0 in r, P until T - r, down to 0 in r: P (T - r).
//!
//! Number of cycles n: as recorded, else the whole cycles that fit into the session.
//! Time under pull: n (2 r + h) of a course of cycles, T of a static session.
//! Whatever a quantity needs and the visit does not have leaves it unknown; nothing is assumed.

use crate::rows::row::{Dose, Mode};
use crate::units::body_weight_n;

/// Peak pull in percent of body weight: 100 P / (m g).
pub fn percent_of_body_weight(dose: &Dose) -> Option<f64> {
    let weight = body_weight_n(dose.body_mass?);
    (weight > 0.0).then_some(100.0 * dose.peak_force?.get() / weight)
}

pub fn time_under_pull_s(dose: &Dose) -> Option<f64> {
    match dose.mode? {
        Mode::Static => session_s(dose),
        Mode::Intermittent => Some(cycles(dose)? * (2.0 * ramp_s(dose) + dose.hold?.get())),
    }
}

/// Force-time integral, N s.
pub fn force_time_n_s(dose: &Dose) -> Option<f64> {
    let peak = dose.peak_force?.get();
    let ramp = ramp_s(dose);
    match dose.mode? {
        Mode::Static => {
            let session = session_s(dose)?;
            (session >= 2.0 * ramp).then_some(peak * (session - ramp))
        }
        Mode::Intermittent => {
            let low = dose.low_force?.get();
            let cycle = ramp * (peak + low) + dose.hold?.get() * peak + dose.rest?.get() * low;
            Some(cycles(dose)? * cycle)
        }
    }
}

fn ramp_s(dose: &Dose) -> f64 {
    dose.ramp.map_or(0.0, |ramp| ramp.get())
}

fn session_s(dose: &Dose) -> Option<f64> {
    dose.session.map(|minutes| minutes.get() * 60.0)
}

fn cycles(dose: &Dose) -> Option<f64> {
    if let Some(cycles) = dose.cycles {
        return Some(f64::from(cycles));
    }
    let length = 2.0 * ramp_s(dose) + dose.hold?.get() + dose.rest?.get();
    (length > 0.0).then_some(())?;
    Some((session_s(dose)? / length).floor())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Kilograms, Minutes, Newtons, Seconds};

    fn intermittent() -> Dose {
        Dose {
            mode: Some(Mode::Intermittent),
            cycles: Some(10),
            peak_force: Newtons::new(300.0),
            low_force: Newtons::new(100.0),
            hold: Seconds::new(60.0),
            rest: Seconds::new(20.0),
            ramp: Seconds::new(5.0),
            session: Minutes::new(15.0),
            body_mass: Kilograms::new(80.0),
        }
    }

    #[test]
    fn a_cycle_is_two_ramps_a_hold_and_a_rest() {
        // by hand: ramps 2 x 5 s x 200 N = 2,000; hold 60 x 300 = 18,000; rest 20 x 100 = 2,000; ten cycles
        assert_eq!(force_time_n_s(&intermittent()), Some(220_000.0));
        assert_eq!(time_under_pull_s(&intermittent()), Some(700.0));
    }

    #[test]
    fn without_a_count_the_whole_cycles_of_the_session_count() {
        // 15 min = 900 s hold ten cycles of 90 s; 14 min hold nine
        let dose = Dose { cycles: None, ..intermittent() };
        assert_eq!(time_under_pull_s(&dose), Some(700.0));
        let shorter = Dose { session: Minutes::new(14.0), ..dose };
        assert_eq!(time_under_pull_s(&shorter), Some(630.0));
        let endless = Dose { hold: Seconds::new(0.0), rest: Seconds::new(0.0), ramp: None, ..dose };
        assert_eq!(time_under_pull_s(&endless), None);
    }

    #[test]
    fn a_static_pull_is_one_trapezoid() {
        // 10 min with ramps of 30 s at 200 N: 200 x (600 - 30)
        let dose = Dose {
            mode: Some(Mode::Static),
            peak_force: Newtons::new(200.0),
            ramp: Seconds::new(30.0),
            session: Minutes::new(10.0),
            ..Dose::default()
        };
        assert_eq!(force_time_n_s(&dose), Some(114_000.0));
        assert_eq!(time_under_pull_s(&dose), Some(600.0));
        let too_short = Dose { session: Minutes::new(0.5), ..dose };
        assert_eq!(force_time_n_s(&too_short), None);
    }

    #[test]
    fn percent_of_body_weight_uses_standard_gravity() {
        // 80 kg weigh 784.532 N; 300 N are 38.2393... %
        let percent = percent_of_body_weight(&intermittent()).unwrap();
        assert!((percent - 100.0 * 300.0 / 784.532).abs() < 1e-9, "{percent}");
    }

    #[test]
    fn what_is_not_recorded_leaves_the_dose_unknown() {
        for dose in [
            Dose { mode: None, ..intermittent() },
            Dose { peak_force: None, ..intermittent() },
            Dose { low_force: None, ..intermittent() },
            Dose { hold: None, ..intermittent() },
            Dose { cycles: None, session: None, ..intermittent() },
        ] {
            assert_eq!(force_time_n_s(&dose), None, "{dose:?}");
        }
        assert_eq!(percent_of_body_weight(&Dose { body_mass: None, ..intermittent() }), None);
    }
}
