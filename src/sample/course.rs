//! The latent course: how pain and disability of one episode truly run, before anybody asks.
//!
//! ```text
//! pain(t) = plateau + (baseline - plateau) 2^(-t / half_time) + spike 2^(-t / 3 days) + flares(t)
//! ```
//!
//! Baseline, plateau and half-time vary between patients and go together: who heals slowly stays
//! worse. About a third hardly move and a few get worse. Patients come in when it hurts: only those
//! whose pain of the day (usual pain + spike) is high enough enter, and the spike fades whatever is
//! done, which is regression to the mean.

use super::draw::{Draw, left_after_half_times};
use super::patient::{Onset, Patient};
use super::plan::{ConditionPlan, SitePlan};

/// What becomes of a patient.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// Gets better towards a plateau.
    Responder,
    /// Hardly moves.
    NonResponder,
    /// Gets worse.
    Worsening,
}

impl Kind {
    /// The word used in the truth.
    pub fn word(self) -> &'static str {
        match self {
            Self::Responder => "responder",
            Self::NonResponder => "non-responder",
            Self::Worsening => "worsening",
        }
    }
}

/// A passing worsening.
#[derive(Clone, Copy, Debug)]
struct Flare {
    day: f64,
    height: f64,
}

/// The true course of one episode.
#[derive(Clone, Debug)]
pub struct Course {
    /// What becomes of the patient.
    pub kind: Kind,
    /// Usual pain at the start, 0-10.
    pub baseline: f64,
    /// Pain towards which it goes, 0-10.
    pub plateau: f64,
    /// Days until half the way is gone.
    pub half_time: f64,
    /// Excess of the entry day, 0-10; fades with a half-time of 3 days.
    pub spike: f64,
    flares: Vec<Flare>,
    /// Disability at the start, 0-100.
    pub disability_baseline: f64,
    /// Disability towards which it goes, 0-100.
    pub disability_plateau: f64,
    disability_half_time: f64,
}

impl Course {
    /// Draws a course. The number of draws does not depend on the site, so that the same patient at
    /// another site differs only by that site's factors.
    pub fn draw(draw: &mut Draw, condition: &ConditionPlan, onset: Onset, patient: &Patient, site: &SitePlan) -> Self {
        let (baseline, spike) = entry(draw, condition.pain + site.severity);
        let slow = draw.normal(); // shared by plateau and half-time: the slow stay worse
        let kind = kind(draw, onset, patient);
        let share = match kind {
            Kind::Responder => {
                let burdens = 0.10 * f64::from(u8::from(patient.compensation))
                    + 0.06 * f64::from(u8::from(patient.prior_surgery));
                let share =
                    condition.plateau_share * onset_plateau(onset) + burdens + 0.09 * slow + 0.11 * draw.normal();
                share.clamp(0.0, 0.85)
            }
            Kind::NonResponder => 0.90 + 0.06 * slow.clamp(-1.5, 1.5) + 0.02 * draw.normal(),
            Kind::Worsening => 1.22 + 0.06 * slow.abs() + 0.02 * draw.normal(),
        };
        let share = if kind == Kind::Worsening { share } else { share * site.plateau_factor };
        let stretch = left_after_half_times(-(0.45 * slow + 0.45 * draw.normal()));
        let half_time =
            (condition.half_time_days * onset_half_time(onset) * stretch * site.half_time_factor).clamp(2.5, 60.0);
        let disability_baseline = (7.0 + 5.6 * baseline + 9.0 * draw.normal()).clamp(6.0, 86.0);
        let disability_share = (share + 0.05 + 0.10 * draw.normal()).clamp(0.0, 1.35);
        let disability_stretch = 1.25 * left_after_half_times(-0.25 * draw.normal());
        let flares = (0..draw.whole(0, 2))
            .map(|_| Flare { day: draw.between(4.0, 80.0), height: draw.between(1.0, 3.2) })
            .collect();
        Self {
            kind,
            baseline,
            plateau: (baseline * share).min(9.8),
            half_time,
            spike,
            flares,
            disability_baseline,
            disability_plateau: (disability_baseline * disability_share).min(96.0),
            disability_half_time: half_time * disability_stretch,
        }
    }

    /// True pain on a day since the first treated visit, 0-10, not rounded. Before it: the usual pain.
    pub fn pain(&self, day: f64) -> f64 {
        let way = self.baseline - self.plateau;
        let after = day.max(0.0);
        let usual = self.plateau
            + way * left_after_half_times(after / self.half_time)
            + self.spike * left_after_half_times(after / 3.0);
        (usual + self.flare(day)).clamp(0.0, 10.0)
    }

    /// True disability on a day, 0-100; flares weigh less on it.
    pub fn disability(&self, day: f64) -> f64 {
        let way = self.disability_baseline - self.disability_plateau;
        let usual = self.disability_plateau + way * left_after_half_times(day.max(0.0) / self.disability_half_time);
        (usual + 3.0 * self.flare(day)).clamp(0.0, 100.0)
    }

    fn flare(&self, day: f64) -> f64 {
        let on = |flare: &&Flare| day >= flare.day && day < flare.day + 30.0;
        self.flares.iter().filter(on).map(|f| f.height * left_after_half_times((day - f.day) / 4.0)).sum()
    }
}

/// Usual pain and the excess of the day, of somebody whose pain of the day made them come.
fn entry(draw: &mut Draw, mean: f64) -> (f64, f64) {
    let (mut usual, mut spike) = (mean, 0.0);
    for _ in 0..20 {
        usual = draw.normal_within(mean, 1.5, 1.5, 9.4);
        spike = 1.2 * draw.normal();
        let enough = if usual + spike >= 4.5 {
            1.0
        } else if usual + spike >= 3.0 {
            0.25
        } else {
            0.0
        };
        if draw.chance(enough) {
            break;
        }
    }
    (usual, spike)
}

fn kind(draw: &mut Draw, onset: Onset, patient: &Patient) -> Kind {
    let stuck = match onset {
        Onset::Acute => 0.27,
        Onset::Subacute => 0.36,
        Onset::Persistent => 0.50,
    } + 0.08 * f64::from(u8::from(patient.compensation));
    match draw.weighted([0.05, stuck, 0.95 - stuck].into_iter()) {
        0 => Kind::Worsening,
        1 => Kind::NonResponder,
        _ => Kind::Responder,
    }
}

fn onset_plateau(onset: Onset) -> f64 {
    match onset {
        Onset::Acute => 0.75,
        Onset::Subacute => 0.95,
        Onset::Persistent => 1.2,
    }
}

fn onset_half_time(onset: Onset) -> f64 {
    match onset {
        Onset::Acute => 0.75,
        Onset::Subacute => 1.0,
        Onset::Persistent => 1.35,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::plan::Plan;

    fn courses(site: usize) -> Vec<Course> {
        let plan = Plan::shipped().unwrap();
        (0..400)
            .map(|n| {
                let mut draw = Draw::keyed(11, &["course", &n.to_string()]);
                let patient = Patient::draw(&mut draw, site);
                Course::draw(&mut draw, &plan.conditions[n % 5], Onset::Subacute, &patient, &plan.sites[site])
            })
            .collect()
    }

    fn mean(of: impl Iterator<Item = f64>) -> f64 {
        let all: Vec<f64> = of.collect();
        all.iter().sum::<f64>() / all.len() as f64
    }

    #[test]
    fn pain_stays_between_0_and_10_and_disability_between_0_and_100() {
        for course in courses(0) {
            for day in -14..120 {
                assert!((0.0..=10.0).contains(&course.pain(f64::from(day))));
                assert!((0.0..=100.0).contains(&course.disability(f64::from(day))));
            }
        }
    }

    #[test]
    fn pain_at_entry_stands_above_usual_pain_which_is_regression_to_the_mean() {
        let all = courses(0);
        let excess = mean(all.iter().map(|c| c.pain(0.0) - c.baseline));
        assert!((0.1..1.0).contains(&excess), "{excess}");
    }

    #[test]
    fn the_slow_stay_worse() {
        let healing: Vec<_> = courses(0).into_iter().filter(|c| c.kind == Kind::Responder).collect();
        let middle = mean(healing.iter().map(|c| c.half_time));
        let share = |slow: bool| {
            mean(healing.iter().filter(|c| (c.half_time > middle) == slow).map(|c| c.plateau / c.baseline))
        };
        assert!(share(true) > share(false) + 0.05);
    }

    #[test]
    fn the_better_site_is_better_for_the_very_same_patients() {
        let (usual, better) = (courses(0), courses(1));
        let at = |all: &[Course], day: f64| mean(all.iter().map(|c| c.pain(day)));
        assert!((at(&usual, 0.0) - at(&better, 0.0)).abs() < 1e-9, "equal at entry");
        assert!(at(&usual, 42.0) - at(&better, 42.0) > 0.5);
    }

    #[test]
    fn some_do_not_move_and_a_few_get_worse() {
        let all = courses(0);
        let share = |kind| all.iter().filter(|c| c.kind == kind).count() as f64 / all.len() as f64;
        assert!((0.28..0.46).contains(&share(Kind::NonResponder)));
        assert!((0.01..0.10).contains(&share(Kind::Worsening)));
    }
}
