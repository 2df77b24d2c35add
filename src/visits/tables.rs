//! The `visits` dataset: one line a visit, attended or missed, in SI units.

use super::dose;
use super::visits::Visits;
use crate::catalogue::Region;
use crate::error::Problem;
use crate::export::place::Files;
use crate::rows::names::{NameList, Names};
use crate::rows::row::{NameId, Row};
use crate::rows::tables::{Field, frame, write_parquet};
use crate::rows::when::{Quarter, When};
use polars::prelude::DataFrame;
use std::borrow::Cow;
use std::path::Path;

/// Where the treated visits of a run belong, as the cutting into episodes found it.
#[derive(Clone, Copy, Debug)]
pub struct EpisodeOfRows<'a> {
    /// The episode of each of the run's rows, by position from 0.
    pub episode_of_row: &'a [Option<u32>],
    /// The day of the first treated visit of each episode, on its own clock.
    pub first_days: &'a [i32],
}

/// What the lines of the dataset are made from.
struct Lines<'a> {
    rows: &'a [Row],
    names: &'a Names,
    files: &'a Files,
    episodes: EpisodeOfRows<'a>,
    /// The rows that are visits.
    visits: Vec<u32>,
    /// The number of each visit in its episode, from 1; 0 for a missed one.
    numbers: Vec<u32>,
}

impl<'a> Lines<'a> {
    fn new(rows: &'a [Row], names: &'a Names, files: &'a Files, episodes: EpisodeOfRows<'a>) -> Self {
        let mut lines = Self { rows, names, files, episodes, visits: Vec::new(), numbers: Vec::new() };
        let mut so_far = vec![0u32; episodes.first_days.len()];
        for (at, row) in (0u32..).zip(rows).filter(|(_, row)| row.is_visit) {
            let count = episodes.of(at).and_then(|episode| so_far.get_mut(episode as usize));
            let number = match count {
                Some(count) if row.attended != Some(false) => {
                    *count += 1;
                    *count
                }
                _ => 0,
            };
            lines.visits.push(at);
            lines.numbers.push(number);
        }
        lines
    }

    fn row(&self, line: usize) -> Option<&'a Row> {
        self.rows.get(*self.visits.get(line)? as usize)
    }

    fn episode(&self, line: usize) -> Option<u32> {
        self.episodes.of(*self.visits.get(line)?)
    }

    /// Days since the first treated visit of the episode.
    fn day(&self, line: usize) -> Option<i64> {
        let first = *self.episodes.first_days.get(self.episode(line)? as usize)?;
        Some(i64::from(self.row(line)?.when.day()) - i64::from(first))
    }
}

impl EpisodeOfRows<'_> {
    fn of(&self, row: u32) -> Option<u32> {
        self.episode_of_row.get(row as usize).copied().flatten()
    }
}

/// The number of an episode in the datasets: its position in the run, counted from 1.
pub fn episode_number(position: u32) -> i64 {
    i64::from(position) + 1
}

/// A name of a list, borrowed.
pub fn name(list: &NameList, id: NameId) -> Option<Cow<'_, str>> {
    Some(list.get(id).into())
}

/// The day offset of a row without a calendar date.
pub fn day_offset(when: When) -> Option<i64> {
    match when {
        When::Offset { day, .. } => Some(day.into()),
        When::Calendar { .. } => None,
    }
}

/// Days since 1970-01-01 of a row with a calendar date.
pub fn calendar_day(when: When) -> Option<i32> {
    match when {
        When::Calendar { day } => Some(day),
        When::Offset { .. } => None,
    }
}

/// A quarter as `2026-Q3`.
pub fn quarter(quarter: Option<Quarter>) -> Option<Cow<'static, str>> {
    Some(quarter?.to_string().into())
}

/// A region as a word.
pub fn region(region: Option<Region>) -> Option<Cow<'static, str>> {
    Some(region?.key().into())
}

/// The columns. `visit_no` counts the treated visits of an episode from 1 and is absent for a missed visit and outside
/// an episode; `visit_no_recorded` is the export's own.
fn fields<'a>() -> Vec<Field<'a, Lines<'a>>> {
    type L<'a> = Lines<'a>;
    vec![
        Field::text("site", |l: &L, i| name(&l.names.sites, l.row(i)?.site)),
        Field::text("clinician", |l: &L, i| name(&l.names.clinicians, l.row(i)?.clinician?)),
        Field::text("table", |l: &L, i| name(&l.names.tables, l.row(i)?.table?)),
        Field::text("patient", |l: &L, i| name(&l.names.patients, l.row(i)?.patient)),
        Field::whole("episode", |l: &L, i| l.episode(i).map(episode_number)),
        Field::whole("visit_no", |l: &L, i| {
            l.numbers.get(i).filter(|number| **number > 0).map(|number| i64::from(*number))
        }),
        Field::whole("visit_no_recorded", |l: &L, i| l.row(i)?.visit_no.map(i64::from)),
        Field::date("date", |l: &L, i| calendar_day(l.row(i)?.when)),
        Field::text("quarter", |l: &L, i| quarter(l.row(i)?.when.quarter())),
        Field::whole("day_offset", |l: &L, i| day_offset(l.row(i)?.when)),
        Field::whole("day", |l: &L, i| l.day(i)),
        Field::text("region", |l: &L, i| region(l.row(i)?.setup.region)),
        Field::text("position", |l: &L, i| Some(l.row(i)?.setup.position?.word().into())),
        Field::number("angle_deg", |l: &L, i| l.row(i)?.setup.angle.map(|x| x.get())),
        Field::text("mode", |l: &L, i| Some(l.row(i)?.dose.mode?.word().into())),
        Field::number("peak_force_n", |l: &L, i| l.row(i)?.dose.peak_force.map(|x| x.get())),
        Field::number("low_force_n", |l: &L, i| l.row(i)?.dose.low_force.map(|x| x.get())),
        Field::number("hold_s", |l: &L, i| l.row(i)?.dose.hold.map(|x| x.get())),
        Field::number("rest_s", |l: &L, i| l.row(i)?.dose.rest.map(|x| x.get())),
        Field::number("ramp_s", |l: &L, i| l.row(i)?.dose.ramp.map(|x| x.get())),
        Field::whole("cycles", |l: &L, i| l.row(i)?.dose.cycles.map(i64::from)),
        Field::number("session_min", |l: &L, i| l.row(i)?.dose.session.map(|x| x.get())),
        Field::number("body_mass_kg", |l: &L, i| l.row(i)?.dose.body_mass.map(|x| x.get())),
        Field::number("return_tension_n", |l: &L, i| l.row(i)?.setup.return_tension.map(|x| x.get())),
        Field::number("tension_turns", |l: &L, i| l.row(i)?.setup.tension_turns.map(|x| x.get())),
        Field::number("split_gap_mm", |l: &L, i| l.row(i)?.setup.split_gap.map(|x| x.get())),
        Field::text("upper_restraint", |l: &L, i| Some(l.row(i)?.setup.upper_restraint?.word().into())),
        Field::flag("belt_landmark_ok", |l: &L, i| l.row(i)?.setup.belt_landmark_ok),
        Field::flag("belt_seated", |l: &L, i| l.row(i)?.setup.belt_seated),
        Field::flag("slack_cycle_done", |l: &L, i| l.row(i)?.setup.slack_cycle_done),
        Field::flag("level_pull", |l: &L, i| l.row(i)?.setup.level_pull),
        Field::flag("table_level", |l: &L, i| l.row(i)?.setup.table_level),
        Field::flag("adverse_event", |l: &L, i| l.row(i)?.setup.adverse_event),
        Field::flag("attended", |l: &L, i| l.row(i)?.attended),
        Field::number("percent_body_weight", |l: &L, i| dose::percent_of_body_weight(&l.row(i)?.dose)),
        Field::number("time_under_pull_s", |l: &L, i| dose::time_under_pull_s(&l.row(i)?.dose)),
        Field::number("force_time_n_s", |l: &L, i| dose::force_time_n_s(&l.row(i)?.dose)),
        Field::text("source_file", |l: &L, i| Some(l.files.path(l.row(i)?.place.file).into())),
        Field::whole("source_line", |l: &L, i| Some(l.row(i)?.place.line.into())),
    ]
}

/// The dataset in memory.
///
/// # Errors
/// None that a run can cause.
pub fn visits_frame(
    visits: &Visits,
    names: &Names,
    files: &Files,
    episodes: EpisodeOfRows<'_>,
) -> Result<DataFrame, Problem> {
    let lines = Lines::new(&visits.rows, names, files, episodes);
    frame(&lines, 0..lines.visits.len(), &fields())
}

/// Writes the dataset as `visits.parquet`, in the order of the run's rows.
///
/// # Errors
/// The file cannot be written.
pub fn write_visits(
    path: &Path,
    visits: &Visits,
    names: &Names,
    files: &Files,
    episodes: EpisodeOfRows<'_>,
) -> Result<(), Problem> {
    let lines = Lines::new(&visits.rows, names, files, episodes);
    write_parquet(path, &lines, lines.visits.len(), &fields())
}

/// The columns of the dataset without a line.
#[cfg(test)]
pub fn no_visits() -> Result<DataFrame, Problem> {
    let none = EpisodeOfRows { episode_of_row: &[], first_days: &[] };
    visits_frame(&Visits::default(), &Names::default(), &Files::default(), none)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::place::Place;
    use crate::rows::made::visit;
    use crate::rows::row::{Dose, Mode, Position, Setup, Turns, UpperRestraint};
    use crate::units::{Degrees, Kilograms, Millimetres, Minutes, Newtons, Seconds};

    fn names() -> Names {
        let mut names = Names::default();
        names.sites.intern("Alderwick");
        names.patients.intern("P1");
        names.clinicians.intern("C1");
        names.tables.intern("T1");
        names
    }

    fn files() -> Files {
        let mut files = Files::default();
        files.add("exports/a.csv".into(), "export 1".into());
        files
    }

    /// A visit with nothing but what every row has.
    fn bare(day: i32) -> Row {
        let row = visit(day);
        Row { place: Place { line: 7, ..row.place }, setup: Setup::default(), ..row }
    }

    fn dataset(rows: Vec<Row>, episode_of_row: &[Option<u32>], first_days: &[i32]) -> DataFrame {
        let visits = Visits { rows, ..Visits::default() };
        visits_frame(&visits, &names(), &files(), EpisodeOfRows { episode_of_row, first_days }).unwrap()
    }

    fn column(frame: &DataFrame, name: &str) -> Vec<String> {
        let column = frame.column(name).unwrap();
        (0..frame.height()).map(|i| column.get(i).unwrap().to_string().trim_matches('"').to_owned()).collect()
    }

    #[test]
    fn treated_visits_are_numbered_within_their_episode_and_days_count_from_its_first() {
        let missed = Row { attended: Some(false), ..bare(107) };
        let reading_only = Row { is_visit: false, ..bare(103) };
        let rows = vec![bare(100), bare(100), reading_only, missed, bare(114), bare(300)];
        let frame = dataset(rows, &[Some(0), Some(1), None, Some(0), Some(0), None], &[100, 100]);
        assert_eq!(column(&frame, "episode"), ["1", "2", "1", "1", "null"]);
        assert_eq!(column(&frame, "visit_no"), ["1", "1", "null", "2", "null"]);
        assert_eq!(column(&frame, "day"), ["0", "0", "7", "14", "null"]);
        assert_eq!(column(&frame, "attended"), ["null", "null", "false", "null", "null"]);
    }

    #[test]
    fn a_calendar_row_has_a_date_and_an_offset_row_its_offset_and_quarter() {
        let when = When::Offset { day: -3, quarter: Quarter::new(2026, 3) };
        let frame = dataset(vec![bare(20_453), Row { when, ..bare(0) }], &[None, None], &[]);
        assert_eq!(column(&frame, "date"), ["2025-12-31", "null"]);
        assert_eq!(column(&frame, "quarter"), ["2025-Q4", "2026-Q3"]);
        assert_eq!(column(&frame, "day_offset"), ["null", "-3"]);
    }

    /// Every quantity has a value of its own, so that two swapped columns would show.
    #[test]
    fn every_column_holds_its_own_field_of_the_row() {
        let names = names();
        let row = Row {
            clinician: names.clinicians.find("C1"),
            table: names.tables.find("T1"),
            visit_no: Some(9),
            attended: Some(true),
            dose: Dose {
                mode: Some(Mode::Intermittent),
                cycles: Some(11),
                peak_force: Newtons::new(201.5),
                low_force: Newtons::new(50.0),
                hold: Seconds::new(30.0),
                rest: Seconds::new(10.0),
                ramp: Seconds::new(5.0),
                session: Minutes::new(15.0),
                body_mass: Kilograms::new(80.0),
            },
            setup: Setup {
                region: Some(Region::Lumbar),
                position: Some(Position::Prone),
                angle: Degrees::new(-12.5),
                return_tension: Newtons::new(178.0),
                tension_turns: Turns::new(5.5),
                split_gap: Millimetres::new(6.35),
                upper_restraint: Some(UpperRestraint::AxillaryPosts),
                belt_landmark_ok: Some(true),
                belt_seated: Some(false),
                slack_cycle_done: None,
                level_pull: Some(false),
                table_level: Some(true),
                adverse_event: Some(false),
            },
            ..bare(0)
        };
        let frame = dataset(vec![row], &[Some(0)], &[0]);
        let expected = [
            ("site", "Alderwick"),
            ("clinician", "C1"),
            ("table", "T1"),
            ("patient", "P1"),
            ("episode", "1"),
            ("visit_no", "1"),
            ("visit_no_recorded", "9"),
            ("date", "1970-01-01"),
            ("quarter", "1970-Q1"),
            ("day_offset", "null"),
            ("day", "0"),
            ("region", "lumbar"),
            ("position", "prone"),
            ("angle_deg", "-12.5"),
            ("mode", "intermittent"),
            ("peak_force_n", "201.5"),
            ("low_force_n", "50.0"),
            ("hold_s", "30.0"),
            ("rest_s", "10.0"),
            ("ramp_s", "5.0"),
            ("cycles", "11"),
            ("session_min", "15.0"),
            ("body_mass_kg", "80.0"),
            ("return_tension_n", "178.0"),
            ("tension_turns", "5.5"),
            ("split_gap_mm", "6.35"),
            ("upper_restraint", "axillary posts"),
            ("belt_landmark_ok", "true"),
            ("belt_seated", "false"),
            ("slack_cycle_done", "null"),
            ("level_pull", "false"),
            ("table_level", "true"),
            ("adverse_event", "false"),
            ("attended", "true"),
        ];
        for (name, value) in expected {
            assert_eq!(column(&frame, name), [value], "{name}");
        }
        let number = |name: &str| frame.column(name).unwrap().f64().unwrap().get(0);
        assert_eq!(number("percent_body_weight"), dose::percent_of_body_weight(&row.dose));
        assert_eq!(number("time_under_pull_s"), dose::time_under_pull_s(&row.dose));
        assert_eq!(number("force_time_n_s"), dose::force_time_n_s(&row.dose));
        assert!(number("force_time_n_s").is_some());
        assert_eq!(
            (column(&frame, "source_file"), column(&frame, "source_line")),
            (vec!["exports/a.csv".into()], vec!["7".into()])
        );
        assert_eq!(frame.width(), expected.len() + 5);
    }
}
