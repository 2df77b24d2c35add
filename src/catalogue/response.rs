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
