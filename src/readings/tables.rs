//! The `readings` dataset: one line a score of a patient on a day.

use super::attach::Readings;
use super::reading::{Outcome, Reading};
use super::score::{ImputationRule, if_prorated};
use super::windows::Courses;
use crate::catalogue::Measures;
use crate::episodes::tables::OutcomeColumns;
use crate::error::Problem;
use crate::export::place::Files;
use crate::rows::names::Names;
use crate::rows::tables::{Field, frame, write_parquet};
use crate::visits::tables::{calendar_day, day_offset, episode_number, name, quarter};
use polars::prelude::DataFrame;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// What the lines of the dataset are made from.
struct Lines<'a> {
    readings: &'a [Reading],
    measures: &'a Measures,
    names: &'a Names,
    files: &'a Files,
    keys: BTreeMap<Outcome, String>,
    /// Whether each reading is the baseline of its episode, and whether the endpoint.
    roles: Vec<(bool, bool)>,
}

impl<'a> Lines<'a> {
    fn new(
        readings: &'a Readings,
        courses: &Courses,
        measures: &'a Measures,
        names: &'a Names,
        files: &'a Files,
    ) -> Self {
        let readings = readings.list.as_slice();
        let mut keys = BTreeMap::new();
        for reading in readings {
            keys.entry(reading.outcome).or_insert_with(|| reading.outcome.key(measures));
        }
        let mut roles = vec![(false, false); readings.len()];
        for course in &courses.list {
            if let Some(role) = course.baseline.and_then(|at| roles.get_mut(at as usize)) {
                role.0 = true;
            }
            if let Some(role) = course.endpoint.and_then(|at| roles.get_mut(at as usize)) {
                role.1 = true;
            }
        }
        Self { readings, measures, names, files, keys, roles }
    }

    fn get(&self, line: usize) -> Option<&'a Reading> {
        self.readings.get(line)
    }
}

/// The columns. `measure` is the key of the outcome, the place of pain in it, as in the sheets; `value` is in the measure's
/// own unit; `value_if_prorated` stands where blanks counted as 'no', and is what the score would be by the mean of the items
/// answered; `disagrees` says that another line gave the same day another value, which is not used.
fn fields<'a>() -> Vec<Field<'a, Lines<'a>>> {
    type L<'a> = Lines<'a>;
    vec![
        Field::text("patient", |l: &L, i| name(&l.names.patients, l.get(i)?.patient)),
        Field::text("site", |l: &L, i| name(&l.names.sites, l.get(i)?.site)),
        Field::whole("episode", |l: &L, i| l.get(i)?.episode().map(episode_number)),
        Field::date("date", |l: &L, i| calendar_day(l.get(i)?.when)),
        Field::text("quarter", |l: &L, i| quarter(l.get(i)?.when.quarter())),
        Field::whole("day_offset", |l: &L, i| day_offset(l.get(i)?.when)),
        Field::whole("day", |l: &L, i| l.get(i)?.day().map(i64::from)),
        Field::text("measure", |l: &L, i| l.keys.get(&l.get(i)?.outcome).map(|key| Cow::Borrowed(key.as_str()))),
        Field::number("value", |l: &L, i| Some(l.get(i)?.value)),
        Field::number("burden", |l: &L, i| Some(l.get(i)?.burden.get())),
        Field::whole("items_answered", |l: &L, i| l.get(i)?.items_answered.map(i64::from)),
        Field::text("imputation_rule", |l: &L, i| Some(l.get(i)?.rule.key().into())),
        Field::number("value_if_prorated", |l: &L, i| {
            let reading = l.get(i).filter(|reading| reading.rule == ImputationRule::BlanksNotEndorsed)?;
            if_prorated(l.measures.get(reading.outcome.measure), reading.value, reading.items_answered?)
        }),
        Field::flag("is_baseline", |l: &L, i| Some(l.roles.get(i)?.0)),
        Field::flag("is_endpoint", |l: &L, i| Some(l.roles.get(i)?.1)),
        Field::flag("disagrees", |l: &L, i| Some(l.get(i)?.disagrees)),
        Field::text("source_file", |l: &L, i| Some(l.files.path(l.get(i)?.place.file).into())),
        Field::whole("source_line", |l: &L, i| Some(l.get(i)?.place.line.into())),
    ]
}

/// The dataset in memory.
///
/// # Errors
/// None that a run can cause.
pub fn readings_frame(
    readings: &Readings,
    courses: &Courses,
    measures: &Measures,
    names: &Names,
    files: &Files,
) -> Result<DataFrame, Problem> {
    let lines = Lines::new(readings, courses, measures, names, files);
    frame(&lines, 0..lines.readings.len(), &fields())
}

/// Writes the dataset as `readings.parquet`, in the order of the run's readings.
///
/// # Errors
/// The file cannot be written.
pub fn write_readings(
    path: &Path,
    readings: &Readings,
    courses: &Courses,
    measures: &Measures,
    names: &Names,
    files: &Files,
) -> Result<(), Problem> {
    let lines = Lines::new(readings, courses, measures, names, files);
    write_parquet(path, &lines, lines.readings.len(), &fields())
}

/// The baselines and endpoints for the `episodes` dataset, one entry an outcome that was read in any episode.
pub fn outcome_columns<'a>(
    readings: &'a Readings,
    courses: &'a Courses,
    measures: &Measures,
) -> Vec<OutcomeColumns<'a>> {
    let outcomes: BTreeSet<Outcome> = courses.list.iter().map(|course| course.outcome).collect();
    let value = |at: Option<u32>| readings.list.get(at? as usize).map(|reading| reading.value);
    let columns = |outcome: Outcome| OutcomeColumns {
        key: outcome.key(measures),
        baseline: Box::new(move |episode| value(courses.get(episode, outcome)?.baseline)),
        endpoint: Box::new(move |episode| value(courses.get(episode, outcome)?.endpoint)),
    };
    outcomes.into_iter().map(columns).collect()
}

/// The columns of the dataset without a line.
#[cfg(test)]
pub fn no_readings() -> Result<DataFrame, Problem> {
    let measures = Measures::embedded().map_err(|error| Problem::failure(error.to_string()))?;
    readings_frame(&Readings::default(), &Courses::default(), &measures, &Names::default(), &Files::default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::PainSite;
    use crate::episodes::episode::Episodes;
    use crate::episodes::tables::bare_episode;
    use crate::export::place::{FileId, Place};
    use crate::group::settings::EpisodeRules;
    use crate::readings::reading::InEpisode;
    use crate::rows::when::When;
    use crate::units::Burden;

    struct Run {
        readings: Readings,
        courses: Courses,
        measures: Measures,
        names: Names,
        files: Files,
    }

    /// One episode with pain in the back on days 0, 14 and 42 and one reading outside any episode.
    fn run() -> Run {
        let (mut names, mut files) = (Names::default(), Files::default());
        let site = names.sites.intern("Alderwick").unwrap();
        let patient = names.patients.intern("P1").unwrap();
        files.add("exports/a.csv".into(), "export 1".into());
        let measures = Measures::embedded().unwrap();
        let outcome = Outcome { measure: measures.find("pain_nrs").unwrap(), pain_site: PainSite::Back };
        let reading = |line: u32, day: Option<i32>, value: f64| Reading {
            patient,
            site,
            within: day.map(|day| InEpisode::new(0, day)),
            when: When::Calendar { day: 100 + day.unwrap_or(900) },
            outcome,
            value,
            burden: Burden::new(10.0 * value).unwrap(),
            items_answered: None,
            rule: ImputationRule::None,
            place: Place { file: FileId(0), line },
            disagrees: line == 3,
        };
        let list =
            vec![reading(2, Some(0), 7.0), reading(3, Some(14), 5.0), reading(4, Some(42), 2.5), reading(5, None, 3.0)];
        let readings = Readings { list, ..Readings::default() };
        let episode = bare_episode(patient, site, When::Calendar { day: 100 });
        let episodes = Episodes { list: vec![episode], ..Episodes::default() };
        let courses = Courses::of(&readings, &episodes, &EpisodeRules::default());
        Run { readings, courses, measures, names, files }
    }

    fn column(frame: &DataFrame, name: &str) -> Vec<String> {
        let column = frame.column(name).unwrap();
        (0..frame.height()).map(|i| column.get(i).unwrap().to_string().trim_matches('"').to_owned()).collect()
    }

    #[test]
    fn each_reading_is_a_line_that_says_whether_it_is_baseline_or_endpoint() {
        let Run { readings, courses, measures, names, files } = run();
        let frame = readings_frame(&readings, &courses, &measures, &names, &files).unwrap();
        assert_eq!(column(&frame, "measure"), ["pain_nrs_back"; 4]);
        assert_eq!(column(&frame, "episode"), ["1", "1", "1", "null"]);
        assert_eq!(column(&frame, "day"), ["0", "14", "42", "null"]);
        assert_eq!(column(&frame, "value"), ["7.0", "5.0", "2.5", "3.0"]);
        assert_eq!(column(&frame, "burden"), ["70.0", "50.0", "25.0", "30.0"]);
        assert_eq!(column(&frame, "is_baseline"), ["true", "false", "false", "false"]);
        assert_eq!(column(&frame, "is_endpoint"), ["false", "false", "true", "false"]);
        assert_eq!(column(&frame, "disagrees"), ["false", "true", "false", "false"]);
        assert_eq!(column(&frame, "imputation_rule"), ["none"; 4]);
        assert_eq!(column(&frame, "items_answered"), ["null"; 4]);
        assert_eq!(column(&frame, "date")[0], "1970-04-11");
        assert_eq!(
            (column(&frame, "patient"), column(&frame, "site")),
            (vec!["P1".into(); 4], vec!["Alderwick".into(); 4])
        );
        assert_eq!(
            (column(&frame, "source_file")[3].as_str(), column(&frame, "source_line")[3].as_str()),
            ("exports/a.csv", "5")
        );
    }

    #[test]
    fn blanks_that_counted_as_no_have_the_prorated_score_beside_them() {
        let Run { mut readings, courses, measures, names, files } = run();
        let of_items = |reading: &mut Reading, answered, rule| {
            reading.outcome = Outcome { measure: measures.find("rmdq").unwrap(), pain_site: PainSite::Unspecified };
            (reading.value, reading.items_answered, reading.rule) = (15.0, Some(answered), rule);
        };
        of_items(&mut readings.list[1], 20, ImputationRule::BlanksNotEndorsed);
        of_items(&mut readings.list[2], 24, ImputationRule::None);
        let frame = readings_frame(&readings, &courses, &measures, &names, &files).unwrap();
        assert_eq!(column(&frame, "value_if_prorated"), ["null", "18.0", "null", "null"]);
    }

    #[test]
    fn an_outcome_gives_the_episodes_their_baseline_and_endpoint() {
        let Run { readings, courses, measures, .. } = run();
        let columns = outcome_columns(&readings, &courses, &measures);
        let found: Vec<_> =
            columns.iter().map(|c| (c.key.as_str(), (c.baseline)(0), (c.endpoint)(0), (c.baseline)(1))).collect();
        assert_eq!(found, [("pain_nrs_back", Some(7.0), Some(2.5), None)]);
    }
}
