//! The rules behind the findings, as the methods page prints them.

use crate::catalogue::measure::{Direction, Measure};
use crate::catalogue::measurement_error::MeasurementError;
use crate::catalogue::sourced::Source;
use crate::findings::bulletin::Bulletin;
use crate::group::settings::Group;
use crate::report::wording::{methods, phrases};

/// The rules behind the findings, for the methods page.
#[derive(Clone, PartialEq, Debug)]
pub struct Rules {
    /// A longer gap between treated visits, in days, starts a new episode.
    pub gap_days: i32,
    /// First and last day of the baseline window, counted from the first treated visit.
    pub baseline_days: (i32, i32),
    /// First and last day of the endpoint window.
    pub endpoint_days: (i32, i32),
    /// Share of rejected rows, 0 to 1, above which a run ends with a warning.
    pub reject_limit: f64,
    /// Ranges and thresholds of the measures in use, with their sources.
    pub thresholds: Vec<Threshold>,
}

/// A value of the registry with its source.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Threshold {
    /// The measure.
    pub measure: String,
    /// What the value is, with the value.
    pub value: String,
    /// Where it comes from.
    pub source: String,
    /// How the source was read: V, V2, M, C, D or G.
    pub mark: String,
}

impl Rules {
    /// The rules of a group; of its measures those that the bulletin reports.
    pub fn of(group: &Group, bulletin: &Bulletin) -> Self {
        let reported: Vec<&str> =
            bulletin.conditions.iter().flat_map(|c| &c.outcomes).map(|outcome| outcome.key.as_str()).collect();
        let in_use = |measure: &Measure| reported.iter().any(|outcome| is_of(outcome, &measure.key));
        let measures = group.measures.iter().map(|(_, measure)| measure).filter(|measure| in_use(measure));
        Self {
            gap_days: group.episodes.gap_days,
            baseline_days: group.episodes.baseline_days,
            endpoint_days: group.episodes.endpoint_days,
            reject_limit: group.reject_limit,
            thresholds: measures.flat_map(thresholds).collect(),
        }
    }
}

/// Whether an outcome such as `pain_nrs_back` is one of the measure `pain_nrs`.
fn is_of(outcome: &str, measure: &str) -> bool {
    outcome.strip_prefix(measure).is_some_and(|rest| rest.is_empty() || rest.starts_with('_'))
}

fn thresholds(measure: &Measure) -> Vec<Threshold> {
    let row = |value: String, sources: &[&Source]| Threshold {
        measure: measure.title.clone(),
        value,
        source: each_once(sources.iter().map(|source| source.text.as_str())),
        mark: each_once(sources.iter().map(|source| source.mark.key())),
    };
    let is_lower_better = measure.direction == Direction::LowerIsBetter;
    let mut rows =
        vec![row(methods::range(measure.low, measure.high, &measure.unit, is_lower_better), &[&measure.source])];
    let plain = measure.definitions(false);
    let radicular = measure.definitions(true).into_iter().filter(|d| !plain.contains(d));
    let all = plain.iter().cloned().map(|d| (d, false)).chain(radicular.map(|d| (d, true)));
    for (definition, is_radicular) in all {
        let words = phrases::definition(&definition.key, &definition.label);
        let words = if is_radicular { methods::with_radiculopathy(&words) } else { words };
        rows.push(row(words, &definition.criteria.iter().map(|(_, source)| source).collect::<Vec<_>>()));
    }
    if let Some(error) = &measure.measurement_error {
        let sources = match error {
            MeasurementError::Sem(sem) => vec![&sem.source],
            MeasurementError::SdAndReliability { sd, reliability } => vec![&sd.source, &reliability.source],
        };
        rows.push(row(methods::reliable_change(error.reliable_change_limit(), error.sem(), &measure.unit), &sources));
    }
    rows
}

/// Texts joined by semicolons, each said once.
fn each_once<'t>(texts: impl Iterator<Item = &'t str>) -> String {
    let mut said: Vec<&str> = Vec::new();
    for text in texts {
        if !said.contains(&text) {
            said.push(text);
        }
    }
    said.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;

    #[test]
    fn an_outcome_belongs_to_its_measure_and_to_no_other() {
        assert!(is_of("pain_nrs_back", "pain_nrs") && is_of("odi", "odi"));
        assert!(!is_of("odin", "odi"));
    }

    #[test]
    fn every_measure_states_its_range_and_every_value_its_source() {
        for (_, measure) in Measures::embedded().unwrap().iter() {
            let rows = thresholds(measure);
            assert!(rows.first().is_some_and(|row| row.value.contains("is better")), "{}", measure.key);
            assert!(rows.iter().all(|row| !row.source.is_empty() && !row.mark.is_empty()), "{}", measure.key);
        }
    }

    #[test]
    fn the_reliable_change_of_pain_is_2_83_and_not_the_published_mdc_of_2() {
        let measures = Measures::embedded().unwrap();
        let pain = measures.get(measures.find("pain_nrs").unwrap());
        assert!(thresholds(pain).iter().any(|row| row.value.contains("2.83")));
    }
}
