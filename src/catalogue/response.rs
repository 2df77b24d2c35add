//! When a patient counts as a responder: one definition, met or not by a first and a last score.

use super::measure::{Direction, Measure};
use super::sourced::{Source, Sourced};

/// One condition that a definition sets. All are met with equality.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Criterion {
    /// Improved by at least this much, in the unit of the measure.
    Change(f64),
    /// Improved by at least this percentage of the distance from the first score to the best possible one.
    /// For a scale on which 0 is best this is the percentage of the first score, as published.
    Percent(f64),
    /// The last score is at most this.
    AtMost(f64),
    /// The last score is at least this.
    AtLeast(f64),
}

/// A definition of a response. It is met when all its criteria are.
#[derive(Clone, PartialEq, Debug)]
pub struct Definition {
    /// Its key in sheets: `minimal_important`, `thirty_percent`, `fifty_percent`, `acceptable_state` or `surgical_...`.
    pub key: String,
    /// What it asks for, in words.
    pub label: String,
    /// What it asks for, with the source of each value.
    pub criteria: Vec<(Criterion, Source)>,
    direction: Direction,
    best: f64,
    slack: f64,
}

impl Definition {
    pub(super) fn new(measure: &Measure, key: &str, criteria: Vec<(Criterion, Source)>) -> Self {
        Self {
            key: key.to_owned(),
            label: label(measure, &criteria),
            criteria,
            direction: measure.direction,
            best: measure.best(),
            // 4.9 cm is 49.000000000000007 mm: a threshold met on paper must not be missed by rounding
            slack: 1e-9 * (measure.high - measure.low),
        }
    }

    /// Whether a patient who went from the one score to the other responded; never with a score that is not a number.
    pub fn reached(&self, baseline: f64, endpoint: f64) -> bool {
        let improvement = self.direction.improvement(baseline, endpoint);
        let distance = self.direction.improvement(baseline, self.best);
        self.criteria.iter().all(|&(criterion, _)| match criterion {
            Criterion::Change(least) => improvement >= least - self.slack,
            Criterion::Percent(percent) => {
                distance > self.slack && improvement >= percent / 100.0 * distance - self.slack
            }
            Criterion::AtMost(most) => endpoint <= most + self.slack,
            Criterion::AtLeast(least) => endpoint >= least - self.slack,
        })
    }

    /// Whether a patient with this first score could respond at all: by reaching the best possible score.
    pub fn reachable(&self, baseline: f64) -> bool {
        self.reached(baseline, self.best)
    }

    /// Whether everybody who meets it meets the other, too.
    pub fn asks_as_much_as(&self, other: &Self) -> bool {
        let covers = |asked: Criterion, theirs: Criterion| match (asked, theirs) {
            (Criterion::Change(own), Criterion::Change(other)) => own >= other,
            (Criterion::Percent(own), Criterion::Percent(other)) => own >= other,
            (Criterion::AtMost(own), Criterion::AtMost(other)) => own <= other,
            (Criterion::AtLeast(own), Criterion::AtLeast(other)) => own >= other,
            _ => false,
        };
        other.criteria.iter().all(|(theirs, _)| self.criteria.iter().any(|(own, _)| covers(*own, *theirs)))
    }

    /// Whether it looks at the first score; a definition by the last score alone does not.
    pub fn needs_baseline(&self) -> bool {
        self.criteria.iter().any(|(criterion, _)| matches!(criterion, Criterion::Change(_) | Criterion::Percent(_)))
    }
}

impl Criterion {
    pub(super) fn with_source(self, sourced: &Sourced) -> (Self, Source) {
        (self, sourced.source.clone())
    }
}

fn label(measure: &Measure, criteria: &[(Criterion, Source)]) -> String {
    let (better, from_zero) = match measure.direction {
        Direction::LowerIsBetter => ("lower", measure.low == 0.0),
        Direction::HigherIsBetter => ("higher", false),
    };
    let part = |criterion: &Criterion| match *criterion {
        Criterion::Change(value) => format!("at least {} {better}", amount(value, &measure.unit_of_change)),
        Criterion::Percent(value) if from_zero => format!("at least {value} % lower"),
        Criterion::Percent(value) => format!("at least {value} % of the way to the best score"),
        Criterion::AtMost(value) => format!("last score at most {}", amount(value, &measure.unit)),
        Criterion::AtLeast(value) => format!("last score at least {}", amount(value, &measure.unit)),
    };
    criteria.iter().map(|(criterion, _)| part(criterion)).collect::<Vec<_>>().join(" and ")
}

fn amount(value: f64, unit: &str) -> String {
    let unit = if value == 1.0 { unit.strip_suffix('s').unwrap_or(unit) } else { unit };
    format!("{value} {unit}").trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;

    fn definition(key: &str, radicular: bool, definition: &str) -> Definition {
        let measures = Measures::embedded().unwrap();
        let all = measures.get(measures.find(key).unwrap()).definitions(radicular);
        all.into_iter().find(|known| known.key == definition).unwrap()
    }

    #[test]
    fn a_fall_in_pain_must_be_both_2_points_and_30_percent() {
        let response = definition("pain_nrs", false, "minimal_important"); // Ostelo 2008, Spine 33:90-4
        assert!(response.reached(6.0, 4.0)); // 2 points, 33 %
        assert!(!response.reached(8.0, 6.0)); // 2 points, 25 %
        assert!(!response.reached(3.0, 2.0)); // 1 point, 33 %
        assert!(!response.reached(4.0, 7.0)); // worse
        assert!(!response.reached(f64::NAN, 0.0) && !response.reached(6.0, f64::NAN));
        assert_eq!(response.label, "at least 2 points lower and at least 30 % lower");
    }

    #[test]
    fn a_baseline_too_low_to_respond_is_not_reachable() {
        let response = definition("pain_nrs", false, "minimal_important");
        assert!(!response.reachable(1.0) && response.reachable(2.0));
        let thirty = definition("pain_nrs", false, "thirty_percent");
        assert!(!thirty.reachable(0.0) && !thirty.reached(0.0, 0.0) && thirty.reachable(1.0));
    }

    #[test]
    fn a_threshold_met_exactly_counts_even_after_a_change_of_unit() {
        let thirty = definition("pain_vas", false, "thirty_percent");
        assert!(thirty.reached(70.0, 4.9 * 10.0) && thirty.reached(7.0 * 10.0, 49.000_000_000_000_01));
        assert!(!thirty.reached(70.0, 49.01));
        assert!(definition("pain_vas", false, "fifty_percent").reached(70.0, 35.0));
    }

    #[test]
    fn the_neck_index_asks_for_more_with_radiculopathy() {
        // Young 2009, Spine J 9:802-8 (raw points of 50; from memory, check before relying on it)
        assert!(definition("ndi", false, "minimal_important").reached(20.0, 12.5));
        let radicular = definition("ndi", true, "minimal_important");
        assert!(!radicular.reached(20.0, 12.5) && radicular.reached(20.0, 10.0));
    }

    #[test]
    fn where_higher_is_better_a_rise_is_a_response() {
        let response = definition("psfs", false, "minimal_important"); // Cleland 2006, Spine 31:598-602: 2.0
        assert!(response.reached(3.0, 5.0) && !response.reached(5.0, 3.0));
        assert!(response.reachable(8.0) && !response.reachable(8.5));
        assert!(definition("psfs", false, "fifty_percent").reached(4.0, 7.0)); // half of the way from 4 to 10
    }

    #[test]
    fn a_percentage_of_a_scale_that_does_not_start_at_0_is_of_the_distance_to_the_best_score() {
        let table = "[ease]\ntitle = 'Ease'\ndomain = 'pain'\nlow = 1\nhigh = 7\ndirection = 'higher is worse'\nunit = 'points'";
        let measures = Measures::embedded().unwrap().with_overrides(&table.parse().unwrap()).unwrap();
        let fifty = measures.get(measures.find("ease").unwrap()).definitions(false).pop().unwrap();
        assert_eq!(fifty.key, "fifty_percent");
        assert!(fifty.reached(7.0, 4.0) && !fifty.reached(7.0, 4.1));
    }

    #[test]
    fn a_judgement_of_change_needs_no_first_score() {
        let much_better = definition("global_change", false, "acceptable_state");
        assert!(much_better.reached(f64::NAN, 2.0) && !much_better.reached(f64::NAN, 1.0));
        assert!(!much_better.needs_baseline() && definition("odi", false, "thirty_percent").needs_baseline());
    }

    #[test]
    fn thresholds_of_surgical_cohorts_appear_only_when_asked_for_and_labelled_so() {
        let measures = Measures::embedded().unwrap();
        let odi = |measures: &Measures| measures.get(measures.find("odi").unwrap()).definitions(false);
        assert!(!odi(&measures).iter().any(|known| known.key.starts_with("surgical")));
        let asked = measures.with_overrides(&"[odi]\nwith_surgical = true".parse().unwrap()).unwrap();
        let surgical: Vec<_> = odi(&asked).into_iter().filter(|known| known.key.starts_with("surgical_")).collect();
        assert_eq!(surgical.len(), 3);
        assert!(surgical.iter().all(|known| known.label.ends_with("(found in surgical cohorts)")));
        // Glassman 2008, J Bone Joint Surg Am 90:1839-47: substantial benefit 18.8
        let benefit = surgical.iter().find(|known| known.key == "surgical_substantial_benefit").unwrap();
        assert!(benefit.reached(50.0, 31.2) && !benefit.reached(50.0, 31.3));
    }
}
