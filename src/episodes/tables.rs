//! The `episodes` dataset: one line a course of care.

use super::episode::Episode;
use crate::catalogue::Conditions;
use crate::error::Problem;
use crate::rows::names::Names;
use crate::rows::tables::{Field, frame, write_parquet};
use crate::visits::tables::{calendar_day, episode_number, name, quarter, region};
use polars::prelude::DataFrame;
use std::path::Path;

/// A score of an episode, given by its position from 0, in the measure's own unit.
pub type ScoreOf<'a> = Box<dyn Fn(u32) -> Option<f64> + Send + Sync + 'a>;

/// The columns `baseline_KEY` and `endpoint_KEY` of one outcome.
pub struct OutcomeColumns<'a> {
    /// The outcome's key.
    pub key: String,
    /// The score at the start of care.
    pub baseline: ScoreOf<'a>,
    /// The score at the endpoint.
    pub endpoint: ScoreOf<'a>,
}

/// What the lines of the dataset are made from.
struct Lines<'a> {
    episodes: &'a [Episode],
    names: &'a Names,
    conditions: &'a Conditions,
    outcomes: &'a [OutcomeColumns<'a>],
}

impl<'a> Lines<'a> {
    fn get(&self, line: usize) -> Option<&'a Episode> {
        self.episodes.get(line)
    }

    /// Whether the episode has a baseline, and whether it has a baseline with an endpoint, in any outcome.
    fn complete(&self, line: usize) -> (bool, bool) {
        let with_baseline = |outcome: &&OutcomeColumns<'_>| score(&outcome.baseline, line).is_some();
        let mut started = self.outcomes.iter().filter(with_baseline).peekable();
        let any = started.peek().is_some();
        (any, started.any(|outcome| score(&outcome.endpoint, line).is_some()))
    }
}

fn score(of: &ScoreOf<'_>, line: usize) -> Option<f64> {
    of(u32::try_from(line).ok()?)
}

/// The columns. `first_day` and `last_day` are on the rows' own clock: days since 1970-01-01 where there are dates,
/// else the export's offsets. `delivered_of_planned` is visits / planned_visits.
fn fields<'a>(outcomes: &'a [OutcomeColumns<'a>]) -> Vec<Field<'a, Lines<'a>>> {
    type L<'a> = Lines<'a>;
    let mut fields = vec![
        Field::whole("episode", |_: &L, i| u32::try_from(i).ok().map(episode_number)),
        Field::text("patient", |l: &L, i| name(&l.names.patients, l.get(i)?.patient)),
        Field::text("site", |l: &L, i| name(&l.names.sites, l.get(i)?.site)),
        Field::flag("transferred", |l: &L, i| Some(l.get(i)?.transferred)),
        Field::text("clinician", |l: &L, i| name(&l.names.clinicians, l.get(i)?.clinician?)),
        Field::text("condition", |l: &L, i| Some(l.conditions.get(l.get(i)?.condition?).key.as_str().into())),
        Field::flag("condition_changed", |l: &L, i| Some(l.get(i)?.condition_changed)),
        Field::text("region", |l: &L, i| region(l.get(i)?.region)),
        Field::text("icd10", |l: &L, i| name(&l.names.codes, l.get(i)?.icd10?)),
        Field::flag("caution", |l: &L, i| Some(l.get(i)?.caution)),
        Field::text("onset", |l: &L, i| Some(l.get(i)?.onset?.word().into())),
        Field::text("age_band", |l: &L, i| Some(l.get(i)?.age?.band().into())),
        Field::text("sex", |l: &L, i| Some(l.get(i)?.sex?.word().into())),
        Field::number("body_mass_index", |l: &L, i| l.get(i)?.body_mass_index.map(|x| x.kg_per_m2())),
        Field::flag("prior_surgery", |l: &L, i| l.get(i)?.prior_surgery),
        Field::flag("compensation", |l: &L, i| l.get(i)?.compensation),
        Field::date("first_date", |l: &L, i| calendar_day(l.get(i)?.first)),
        Field::date("last_date", |l: &L, i| calendar_day(l.get(i)?.last)),
        Field::whole("first_day", |l: &L, i| Some(l.get(i)?.first.day().into())),
        Field::whole("last_day", |l: &L, i| Some(l.get(i)?.last.day().into())),
        Field::text("start_quarter", |l: &L, i| quarter(l.get(i)?.first.quarter())),
        Field::text("due_quarter", |l: &L, i| quarter(l.get(i)?.due)),
        Field::flag("is_due", |l: &L, i| Some(l.get(i)?.is_due)),
        Field::whole("second_visit_day", |l: &L, i| l.get(i)?.second_visit_day.map(i64::from)),
        Field::whole("visits", |l: &L, i| Some(l.get(i)?.visits.into())),
        Field::whole("missed_visits", |l: &L, i| Some(l.get(i)?.missed_visits.into())),
        Field::whole("planned_visits", |l: &L, i| l.get(i)?.planned_visits.map(i64::from)),
        Field::number("delivered_of_planned", |l: &L, i| {
            let planned = l.get(i)?.planned_visits.filter(|planned| *planned > 0)?;
            Some(f64::from(l.get(i)?.visits) / f64::from(planned))
        }),
        Field::text("ended_how", |l: &L, i| Some(l.get(i)?.ended_how?.word().into())),
        Field::flag("overlaps", |l: &L, i| Some(l.get(i)?.overlaps)),
        Field::whole("visits_with_pull", |l: &L, i| Some(l.get(i)?.dose.visits_with_pull.into())),
        Field::number("mean_percent_body_weight", |l: &L, i| l.get(i)?.dose.mean_percent_body_weight),
        Field::number("time_under_pull_s", |l: &L, i| l.get(i)?.dose.time_under_pull_s),
        Field::number("force_time_n_s", |l: &L, i| l.get(i)?.dose.force_time_n_s),
        Field::number("visits_a_week", |l: &L, i| l.get(i)?.dose.visits_a_week),
        Field::number("progression_n_a_visit", |l: &L, i| l.get(i)?.dose.progression_n_a_visit),
        Field::flag("with_baseline", |l: &L, i| Some(l.complete(i).0)),
        Field::flag("with_endpoint", |l: &L, i| Some(l.complete(i).1)),
    ];
    for outcome in outcomes {
        fields.push(Field::number(format!("baseline_{}", outcome.key), move |_: &L, i| score(&outcome.baseline, i)));
        fields.push(Field::number(format!("endpoint_{}", outcome.key), move |_: &L, i| score(&outcome.endpoint, i)));
    }
    fields
}

/// The dataset in memory.
///
/// # Errors
/// Two outcomes have one key.
pub fn episodes_frame(
    episodes: &[Episode],
    outcomes: &[OutcomeColumns<'_>],
    names: &Names,
    conditions: &Conditions,
) -> Result<DataFrame, Problem> {
    frame(&Lines { episodes, names, conditions, outcomes }, 0..episodes.len(), &fields(outcomes))
}

/// Writes the dataset as `episodes.parquet`, in the order of the run's episodes.
///
/// # Errors
/// The file cannot be written.
pub fn write_episodes(
    path: &Path,
    episodes: &[Episode],
    outcomes: &[OutcomeColumns<'_>],
    names: &Names,
    conditions: &Conditions,
) -> Result<(), Problem> {
    write_parquet(path, &Lines { episodes, names, conditions, outcomes }, episodes.len(), &fields(outcomes))
}

/// The columns of the dataset without a line.
#[cfg(test)]
pub fn no_episodes() -> Result<DataFrame, Problem> {
    let conditions = Conditions::embedded().map_err(|error| Problem::failure(error.to_string()))?;
    episodes_frame(&[], &[], &Names::default(), &conditions)
}

/// An episode of one visit with nothing but what every episode has.
#[cfg(test)]
pub fn bare_episode(
    patient: crate::rows::row::NameId,
    site: crate::rows::row::NameId,
    when: crate::rows::when::When,
) -> Episode {
    Episode {
        patient,
        site,
        label: None,
        transferred: false,
        clinician: None,
        condition: None,
        condition_changed: false,
        region: None,
        icd10: None,
        caution: false,
        onset: None,
        age: None,
        sex: None,
        body_mass_index: None,
        prior_surgery: None,
        compensation: None,
        first: when,
        last: when,
        second_visit_day: None,
        visits: 1,
        missed_visits: 0,
        planned_visits: None,
        ended_how: None,
        due: None,
        is_due: false,
        overlaps: false,
        dose: super::episode::DoseTotals::default(),
        visit_rows: 0..1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episodes::episode::DoseTotals;
    use crate::rows::row::{Age, BodyMassIndex, EndedHow, Onset, Sex};
    use crate::rows::when::{Quarter, When};

    fn names() -> Names {
        let mut names = Names::default();
        names.patients.intern("P1");
        names.sites.intern("Alderwick");
        names.clinicians.intern("C1");
        names.codes.intern("M54.16");
        names
    }

    fn dataset(episodes: &[Episode], outcomes: &[OutcomeColumns<'_>]) -> DataFrame {
        episodes_frame(episodes, outcomes, &names(), &Conditions::embedded().unwrap()).unwrap()
    }

    fn column(frame: &DataFrame, name: &str) -> Vec<String> {
        let column = frame.column(name).unwrap();
        (0..frame.height()).map(|i| column.get(i).unwrap().to_string().trim_matches('"').to_owned()).collect()
    }

    fn bare(when: When) -> Episode {
        let names = names();
        bare_episode(names.patients.find("P1").unwrap(), names.sites.find("Alderwick").unwrap(), when)
    }

    /// Every field has a value of its own, so that two swapped columns would show.
    #[test]
    fn every_column_holds_its_own_field_of_the_episode() {
        let names = names();
        let conditions = Conditions::embedded().unwrap();
        let (condition, known) = conditions.iter().next().unwrap();
        let episode = Episode {
            transferred: true,
            clinician: names.clinicians.find("C1"),
            condition: Some(condition),
            region: Some(crate::catalogue::Region::Cervical),
            icd10: names.codes.find("M54.16"),
            caution: true,
            onset: Some(Onset::Subacute),
            age: Age::new(91.0),
            sex: Some(Sex::Female),
            body_mass_index: BodyMassIndex::new(27.3),
            prior_surgery: Some(true),
            compensation: Some(false),
            last: When::Calendar { day: 20_500 },
            second_visit_day: Some(3),
            visits: 8,
            missed_visits: 2,
            planned_visits: Some(10),
            ended_how: Some(EndedHow::StoppedEarly),
            due: Quarter::new(2026, 1),
            is_due: true,
            overlaps: true,
            dose: DoseTotals {
                visits_with_pull: 7,
                mean_percent_body_weight: Some(31.5),
                time_under_pull_s: Some(4800.0),
                force_time_n_s: Some(1.2e6),
                visits_a_week: Some(2.5),
                progression_n_a_visit: Some(-4.25),
            },
            ..bare(When::Calendar { day: 20_453 })
        };
        let outcomes =
            [OutcomeColumns { key: "odi".into(), baseline: Box::new(|_| Some(44.0)), endpoint: Box::new(|_| None) }];
        let frame = dataset(&[episode], &outcomes);
        let expected = [
            ("episode", "1"),
            ("patient", "P1"),
            ("site", "Alderwick"),
            ("transferred", "true"),
            ("clinician", "C1"),
            ("condition", known.key.as_str()),
            ("condition_changed", "false"),
            ("region", "cervical"),
            ("icd10", "M54.16"),
            ("caution", "true"),
            ("onset", "subacute"),
            ("age_band", "90+"),
            ("sex", "female"),
            ("body_mass_index", "27.3"),
            ("prior_surgery", "true"),
            ("compensation", "false"),
            ("first_date", "2025-12-31"),
            ("last_date", "2026-02-16"),
            ("first_day", "20453"),
            ("last_day", "20500"),
            ("start_quarter", "2025-Q4"),
            ("due_quarter", "2026-Q1"),
            ("is_due", "true"),
            ("second_visit_day", "3"),
            ("visits", "8"),
            ("missed_visits", "2"),
            ("planned_visits", "10"),
            ("delivered_of_planned", "0.8"),
            ("ended_how", "stopped early"),
            ("overlaps", "true"),
            ("visits_with_pull", "7"),
            ("mean_percent_body_weight", "31.5"),
            ("time_under_pull_s", "4800.0"),
            ("force_time_n_s", "1.2e6"),
            ("visits_a_week", "2.5"),
            ("progression_n_a_visit", "-4.25"),
            ("with_baseline", "true"),
            ("with_endpoint", "false"),
            ("baseline_odi", "44.0"),
            ("endpoint_odi", "null"),
        ];
        for (name, value) in expected {
            assert_eq!(column(&frame, name), [value], "{name}");
        }
        assert_eq!(frame.get_column_names(), expected.map(|(name, _)| name));
    }

    #[test]
    fn an_episode_is_complete_when_one_outcome_has_both_readings() {
        let outcome = |key: &str, baselines: [Option<f64>; 3], endpoints: [Option<f64>; 3]| OutcomeColumns {
            key: key.into(),
            baseline: Box::new(move |i| baselines[i as usize]),
            endpoint: Box::new(move |i| endpoints[i as usize]),
        };
        let outcomes = [
            outcome("a", [Some(1.0), None, None], [None, Some(1.0), Some(1.0)]),
            outcome("b", [None, Some(2.0), None], [Some(2.0), Some(2.0), None]),
        ];
        let episodes = [0, 1, 2].map(|day| bare(When::Offset { day, quarter: None }));
        let frame = dataset(&episodes, &outcomes);
        assert_eq!(column(&frame, "with_baseline"), ["true", "true", "false"]);
        assert_eq!(column(&frame, "with_endpoint"), ["false", "true", "false"]);
        assert_eq!(column(&frame, "first_date"), ["null"; 3]);
        assert_eq!(column(&frame, "first_day"), ["0", "1", "2"]);
    }
}
