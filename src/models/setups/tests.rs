//! What is planted is found, with its size and day; what is not planted is not.

use super::changes::{Change, changes, series, stays_without, week_of};
use super::charts::charts;
use super::column::Column;
use super::conformance::{self, LEAST_SHARE_OF_REQUIRED, item_shares};
use super::made::{At, Chance, Made, made};
use super::openings::openings;
use super::possible::{marks, rule_shares};
use super::tested::{Question, Tested};
use super::variation::{Variation, variation};
use super::visits::{Level, SetupVisits};
use super::within::within;
use super::{copied, last_digits, possible, spread, unlike};
use crate::catalogue::parameter::{About, Nature, Parameter};
use crate::catalogue::setup_standard::{Grade, StandardItem};
use crate::catalogue::{Measures, Region};
use crate::episodes::timeline::visit;
use crate::group::setup_standard::default_standard;
use crate::rows::row::{Mode, Position, Row, Turns, UpperRestraint};
use crate::units::{Degrees, Millimetres, Newtons, Seconds};
use crate::visits::parameter_value::{can_open_the_split, value};
use mendcurve_stats::Level as Confidence;

const GAP: About = About { parameter: Parameter::SplitGap, region: Region::Lumbar };
const TENSION: About = About { parameter: Parameter::ReturnTension, region: Region::Lumbar };
const LEVEL_PULL: About = About { parameter: Parameter::LevelPull, region: Region::Lumbar };

fn confidence() -> Confidence {
    Confidence::new(0.95).unwrap()
}

fn item(parameter: Parameter) -> StandardItem {
    default_standard().unwrap().items.into_iter().find(|item| item.parameter == parameter).unwrap()
}

/// The answers below a p value that matter, by unit.
fn called(made: &Made, seen: &SetupVisits<'_>, tests: &[Tested], below: f64) -> Vec<String> {
    tests.iter().filter(|test| test.p < below && test.matters).map(|test| made.unit(seen, test.unit)).collect()
}

fn all_changes(made: &Made, seen: &SetupVisits<'_>, column: &Column<'_>, margin: f64) -> Vec<Change> {
    changes(seen, column, &series(column, Level::Site, &[]), Some(margin), &made.names)
}

fn gap(mm: f64) -> Option<Millimetres> {
    Millimetres::new(mm.max(0.0))
}

#[test]
fn a_site_that_misses_an_item_is_found_and_its_clinicians_are_not_blamed_for_it() {
    let made = made(4, 40, 1, |chance, at, row| {
        row.setup.level_pull = Some(!chance.with(if at.site == 2 { 0.4 } else { 0.04 }));
    });
    let seen = made.seen();
    let column = Column::of(&seen, LEVEL_PULL);
    let item = item(Parameter::LevelPull);
    assert_eq!(item.grade, Grade::Required);
    let shares = item_shares(&seen, &column, 0, &item);
    let tests = conformance::tests(&seen, &column, &shares, &item, confidence());
    assert_eq!(tests.len(), 4 + 12 + 8);
    assert_eq!(called(&made, &seen, &tests, 1e-6), ["Site 2"]);
    let found = tests.iter().find(|test| test.p < 1e-6).unwrap();
    assert!((found.observed - 0.6).abs() < 0.06 && found.reference > 0.9, "{found:?}");
    assert!(found.interval.0 < found.observed && found.observed < found.interval.1);
}

#[test]
fn a_required_item_that_all_sites_miss_is_found_at_all_of_them() {
    let made = made(3, 40, 2, |chance, _, row| row.setup.level_pull = Some(chance.with(0.5)));
    let seen = made.seen();
    let column = Column::of(&seen, LEVEL_PULL);
    let item = item(Parameter::LevelPull);
    let tests = conformance::tests(&seen, &column, &item_shares(&seen, &column, 0, &item), &item, confidence());
    assert_eq!(called(&made, &seen, &tests, 1e-6), ["Site 0", "Site 1", "Site 2"]);
    assert!(tests.iter().filter(|test| test.p < 1e-6).all(|test| test.reference == LEAST_SHARE_OF_REQUIRED));
    let advised = StandardItem { grade: Grade::Advised, ..item };
    let tests = conformance::tests(&seen, &column, &item_shares(&seen, &column, 0, &advised), &advised, confidence());
    assert_eq!(called(&made, &seen, &tests, 1e-3), Vec::<String>::new());
}

#[test]
fn visits_of_one_patient_that_say_the_same_count_as_little_as_they_tell() {
    let p_of_site_1 = |whole_patients: bool| {
        let made = made(4, 40, 3, |chance, at, row| {
            let fails = match whole_patients {
                true => at.patient < if at.site == 1 { 8 } else { 3 },
                false => chance.with(if at.site == 1 { 0.2 } else { 0.075 }),
            };
            row.setup.level_pull = Some(!fails);
        });
        let seen = made.seen();
        let column = Column::of(&seen, LEVEL_PULL);
        let shares = item_shares(&seen, &column, 0, &item(Parameter::LevelPull));
        let site = shares.missed.units.iter().find(|unit| made.unit(&seen, unit.unit) == "Site 1").unwrap();
        (site.design_effect, shares.missed.held(&seen, site).unwrap().p)
    };
    let ((whole, p_whole), (alone, p_alone)) = (p_of_site_1(true), p_of_site_1(false));
    assert!((whole - 8.0).abs() < 1e-9 && alone < 1.3, "{whole} {alone}");
    assert!(p_alone < 1e-4 && p_whole > 0.01, "{p_alone} {p_whole}");
}

/// Tensions with a spring of their own for each table, and one site far off.
fn tensions(chance: &mut Chance, at: At, row: &mut Row) {
    let own = [3.0, -4.0, 1.0, 5.0, -2.0, -3.0, 2.0, 0.0, 4.0, -1.0, 2.5, -2.5][2 * at.site + at.table];
    let off = if at.site == 4 { 50.0 } else { 0.0 };
    row.setup.return_tension = Newtons::new(180.0 + own + off + 3.0 * chance.normal());
}

#[test]
fn a_site_is_unlike_by_more_than_sites_differ_and_tables_by_more_than_tables_do() {
    let made = made(6, 40, 4, tensions);
    let seen = made.seen();
    let column = Column::of(&seen, TENSION);
    let sites = unlike::tests(&seen, &column, Level::Site, Some(20.0));
    assert_eq!(called(&made, &seen, &sites, 1e-3), ["Site 4"]);
    let site = sites.iter().find(|test| test.p < 1e-3).unwrap();
    assert!((site.observed - site.reference - 50.0).abs() < 4.0, "{site:?}");
    let tables = unlike::tests(&seen, &column, Level::Table, Some(5.0));
    assert_eq!(tables.len(), 12);
    assert!(tables.iter().all(|test| test.p > 0.01), "tables differ as tables do");
}

#[test]
fn few_patients_of_a_rare_yes_are_not_a_finding() {
    // one of twelve patients at c00 against none elsewhere: a t test would be sure of it
    let made = made(4, 36, 5, |_, at, row| {
        row.setup.level_pull = Some(!(at.site == 0 && at.patient == 0));
    });
    let seen = made.seen();
    let tests = unlike::tests(&seen, &Column::of(&seen, LEVEL_PULL), Level::Clinician, None);
    assert!(tests.iter().all(|test| test.p > 0.01), "{tests:?}");
}

#[test]
fn a_drift_of_one_table_is_dated_and_explains_its_site() {
    let onset = 20_200;
    let made = made(3, 120, 6, |chance, at, row| {
        let drifted = if (at.site, at.table) == (1, 0) { 0.01 * f64::from((at.day - onset).max(0)) } else { 0.0 };
        row.setup.split_gap = gap(6.35 + drifted + 0.3 * chance.normal());
    });
    let seen = made.seen();
    let column = Column::of(&seen, GAP);
    let found = all_changes(&made, &seen, &column, 1.0);
    let tests: Vec<Tested> = found.iter().map(|change| change.tested).collect();
    let table = tests.iter().find(|test| made.unit(&seen, test.unit) == "t10").unwrap();
    assert_eq!(table.question, Question::Drift);
    assert!(table.p < 1e-4 && table.matters, "{table:?}");
    assert!((table.observed - 0.07).abs() < 0.01, "mm a week: {table:?}");
    let (day, earliest, latest) = table.since.unwrap();
    assert!((day - onset).abs() <= 14 && earliest <= day && day <= latest, "{:?}", table.since);
    let others: Vec<String> = called(&made, &seen, &tests, 1e-3);
    assert!(others.iter().all(|unit| unit == "t10" || unit == "Site 1"), "{others:?}");
    let site = seen.units.site_of(table.unit);
    assert!(stays_without(&seen, &column, site, &[], &made.names));
    assert!(!stays_without(&seen, &column, site, &[table.unit], &made.names));
    let change = found.iter().find(|change| change.unit == table.unit).unwrap();
    let (before, from, to) = change.levels();
    assert!((before - 6.35).abs() < 0.1 && before == from && to - before > 1.3, "{before} {from} {to}");
    let of = |level| series(&column, level, &[]);
    let drawn = charts(column.about, &of(Level::Site), &of(Level::Table), &[change]);
    assert_eq!(drawn.len(), 4, "three sites and the table");
    assert!(drawn.iter().any(|chart| chart.change.is_some() && chart.signals.contains(&true)));
}

#[test]
fn a_shift_is_dated_by_the_week_it_begins() {
    let onset = 20_170;
    let made = made(3, 120, 7, |chance, at, row| {
        let shifted = if at.site == 0 && at.day >= onset { 8.0 } else { 0.0 };
        row.setup.return_tension = Newtons::new(180.0 + shifted + 4.0 * chance.normal());
    });
    let seen = made.seen();
    let column = Column::of(&seen, TENSION);
    let tests: Vec<Tested> = all_changes(&made, &seen, &column, 4.0).iter().map(|change| change.tested).collect();
    assert_eq!(called(&made, &seen, &tests, 1e-3), ["Site 0", "t00", "t01"]);
    let site = &tests[0];
    assert_eq!(site.question, Question::Shift);
    assert!((site.since.unwrap().0 - onset).abs() <= 7, "{site:?}");
    assert!((site.observed - site.reference - 8.0).abs() < 1.0);
}

#[test]
fn weeks_begin_on_mondays() {
    assert_eq!(week_of(4), 0); // 5 January 1970 was a Monday
    assert_eq!((week_of(10), week_of(11), week_of(3)), (0, 1, -1));
}

#[test]
fn one_who_repeats_the_entry_before_is_found_among_those_who_do_not() {
    let made = made(3, 40, 8, |chance, _, row| {
        row.setup.return_tension = Newtons::new((180.0 + 3.0 * chance.normal()).round());
        row.setup.split_gap = gap((63.0 + 3.0 * chance.normal()).round() / 10.0);
        row.setup.level_pull = Some(chance.with(0.95));
        row.setup.table_level = Some(chance.with(0.95));
        row.setup.tension_turns = Turns::new(5.5);
    });
    let mut copying = made;
    let copier = copying.names.clinicians.find("c10");
    for i in 1..copying.visits.rows.len() {
        let (before, row) = (copying.visits.rows[i - 1], &mut copying.visits.rows[i]);
        if row.clinician == copier && row.patient == before.patient && i % 8 < 6 {
            row.setup = before.setup;
        }
    }
    let seen = copying.seen();
    let tests = copied::tests(&seen);
    assert_eq!(tests.len(), 9);
    assert_eq!(called(&copying, &seen, &tests, 1e-6), ["c10"]);
    let found = tests.iter().find(|test| test.p < 1e-6).unwrap();
    assert!(found.observed > 0.6 && found.reference < 0.1, "{found:?}");
}

#[test]
fn one_who_rounds_is_found_and_a_machine_set_in_steps_is_not() {
    let lbf = 4.448_221_615_260_5;
    let made = made(3, 90, 9, |chance, at, row| {
        let pull = 90.0 + 15.0 * chance.normal();
        // site 0 sets its machine in steps of 5; c11 rounds to tens where its siblings write pounds
        let step = if at.site == 0 {
            5.0
        } else if (at.site, at.clinician) == (1, 1) {
            10.0
        } else {
            1.0
        };
        row.dose.peak_force = Newtons::new((pull / step).round() * step * lbf);
    });
    let seen = made.seen();
    let tests = last_digits::tests(&seen, &made.visits, &Measures::embedded().unwrap(), &made.names);
    let tests: Vec<Tested> = tests.into_iter().map(|digits| digits.tested).collect();
    assert_eq!(tests.len(), 9);
    assert_eq!(called(&made, &seen, &tests, 1e-3), ["c11"]);
    let found = tests.iter().find(|test| test.p < 1e-3).unwrap();
    assert_eq!(found.question, Question::Digits { digit: 0, unit: "lbf" });
    assert_eq!(found.observed, 1.0);
    assert!((found.reference - 0.1).abs() < 0.05, "{found:?}");
}

#[test]
fn the_step_of_a_record_is_found_again_from_its_newtons() {
    let lbf: Vec<f64> = (30..60).map(|pounds| f64::from(pounds) * 4.448_221_615_260_5).collect();
    assert_eq!(last_digits::step(Parameter::ReturnTension, &lbf), 4.448_221_615_260_5);
    let tenths: Vec<f64> = (30..60).map(|tenths| 5.0 + f64::from(tenths) / 10.0).collect();
    assert!((last_digits::step(Parameter::SplitGap, &tenths) - 0.1).abs() < 1e-12);
}

#[test]
fn tables_are_compared_at_equal_tension() {
    let made = made(4, 60, 10, |chance, at, row| {
        // t00 is stiff and so opens less, as it must; t21 opens 3 mm more than its sibling at the same tension
        let tension = 180.0 + if (at.site, at.table) == (0, 0) { 60.0 } else { 0.0 } + 8.0 * chance.normal();
        let own = if (at.site, at.table) == (2, 1) { 3.0 } else { 0.1 * at.site as f64 };
        row.setup.return_tension = Newtons::new(tension);
        row.dose.peak_force = Newtons::new(400.0);
        row.setup.split_gap = gap(6.35 + own - 0.03 * (tension - 180.0) + 0.3 * chance.normal());
    });
    let seen = made.seen();
    let (gaps, tensions) = (Column::of(&seen, GAP), Column::of(&seen, TENSION));
    let tables = openings(&seen, &gaps, &tensions);
    assert_eq!(tables.len(), 8);
    let of = |name: &str| tables.iter().find(|table| made.unit(&seen, table.table) == name).unwrap();
    assert!(of("t00").recorded_mm < of("t01").recorded_mm - 1.5);
    assert!((of("t00").at_equal_tension_mm - of("t01").at_equal_tension_mm).abs() < 0.4);
    let tests: Vec<Tested> = tables.iter().filter_map(|table| table.tested(gaps.about, 1.5)).collect();
    // with one sibling each, the two of a pair are equally far from each other; only the pair is called
    let called = called(&made, &seen, &tests, 0.2);
    assert!(called.iter().all(|table| table == "t20" || table == "t21"), "{called:?}");
}

#[test]
fn variation_is_put_where_it_was_planted() {
    let made = made(5, 60, 11, |chance, at, row| {
        let own = [30.0, -30.0][at.table] + at.site as f64;
        row.setup.return_tension = Newtons::new(180.0 + own + 10.0 * chance.normal());
    });
    let seen = made.seen();
    let Variation::Levels(levels, visits) = variation(&Column::of(&seen, TENSION), confidence()) else { panic!() };
    assert_eq!(visits, 5 * 60 * 8);
    let names: Vec<&str> = levels.iter().map(|level| level.level).collect();
    assert_eq!(names, ["site", "table", "patient", "visit"]);
    assert_eq!((levels[0].groups, levels[1].groups, levels[3].groups), (5, 10, 2400));
    let total: f64 = levels.iter().map(|level| level.share).sum();
    assert!((total - 1.0).abs() < 1e-9);
    assert!(levels[1].share > 0.8 && levels[0].share < 0.1, "{levels:?}");
    assert!((levels[3].variance - 100.0).abs() < 8.0, "{levels:?}");
    let interval = levels[1].interval.unwrap();
    assert!(interval.contains(levels[1].share) && interval.width() > 0.02);
    let words = About { parameter: Parameter::UpperRestraint, ..TENSION };
    assert!(matches!(variation(&Column::of(&seen, words), confidence()), Variation::Untold(_)));
}

#[test]
fn a_spread_wider_than_the_other_sites_is_found_whatever_their_levels() {
    let made = made(6, 60, 12, |chance, at, row| {
        let sd = if at.site == 3 { 9.0 } else { 2.0 + 0.1 * at.site as f64 };
        let level = 10.0 + 3.0 * at.site as f64;
        // one angle a patient: the same at each visit
        if at.visit == 0 {
            row.setup.angle = Degrees::new(level + sd * chance.normal());
        }
    });
    let mut made = made;
    for i in 1..made.visits.rows.len() {
        if made.visits.rows[i].setup.angle.is_none() {
            made.visits.rows[i].setup.angle = made.visits.rows[i - 1].setup.angle;
        }
    }
    let seen = made.seen();
    let angle = About { parameter: Parameter::Angle, region: Region::Lumbar };
    let tests = {
        let column = Column::of(&seen, angle);
        spread::tests(&seen, &column, &unlike::unit_means(&column, Level::Site), &made.names)
    };
    assert_eq!(tests.len(), 6);
    assert_eq!(called(&made, &seen, &tests, 0.01), ["Site 3"]);
}

#[test]
fn a_broken_rule_is_held_against_the_other_sites() {
    let made = made(4, 40, 13, |chance, at, row| {
        let breaks = chance.with(if at.site == 3 { 0.3 } else { 0.01 });
        row.setup.return_tension = Newtons::new(180.0);
        row.dose.peak_force = Newtons::new(if breaks { 120.0 } else { 300.0 });
        row.setup.split_gap = gap(6.0);
    });
    let seen = made.seen();
    let standard = default_standard().unwrap();
    let marks = marks(&seen, &made.episodes, &standard.rules);
    let shares = rule_shares(&seen, &marks);
    let of = shares.iter().find(|of| of.rule.key() == "split_opens_below_tension").unwrap();
    assert_eq!(of.broken.group.visits, 4 * 40 * 8);
    let tests = possible::tests(&seen, of, confidence());
    assert_eq!(called(&made, &seen, &tests, 1e-6), ["Site 3"]);
}

#[test]
fn a_column_leaves_out_what_says_nothing() {
    let made = made(2, 10, 14, |_, at, row| {
        row.setup.return_tension = Newtons::new(180.0);
        row.dose.peak_force = Newtons::new(if at.visit == 0 { 150.0 } else { 300.0 });
        row.setup.split_gap = gap(if at.visit == 0 { 0.0 } else { 6.0 });
        row.dose.mode = Some(if at.patient == 0 { Mode::Static } else { Mode::Intermittent });
        row.dose.hold = Seconds::new(if at.patient == 0 { 900.0 } else { 60.0 });
        row.setup.angle = Degrees::new(10.0 + at.visit as f64);
    });
    let seen = made.seen();
    let of = |parameter| Column::of(&seen, About { parameter, region: Region::Lumbar });
    let gaps = of(Parameter::SplitGap);
    assert_eq!((gaps.of, gaps.values.len(), gaps.patients()), (160, 140, 20));
    assert!(of(Parameter::Hold).values.iter().all(|(_, hold)| *hold == 60.0));
    // the first three visits stand for the course: 10, 11 and 12 degrees
    let angles = of(Parameter::Angle).usual(Level::Site);
    assert_eq!(angles.len(), 20);
    assert!(angles.iter().all(|one| (one.value - 11.0).abs() < 1e-12 && one.visits == 3));
    let steps = within(&of(Parameter::Angle)).unwrap();
    assert_eq!((steps.steps, steps.changed, steps.how_far), (140, 140, Some((1.0, 1.0))));
    assert_eq!(within(&gaps).map(|steps| (steps.steps, steps.changed)), Some((120, 0)));
    assert!(series(&gaps, Level::Site, &[]).iter().all(|series| series.visits == 70));
}

#[test]
fn words_stand_where_the_catalogue_has_them() {
    let place = |parameter: Parameter, word: &str| match parameter.nature() {
        Nature::Word(words) => words.iter().position(|of| *of == word).map(|at| at as f64),
        _ => None,
    };
    let mut row = visit(0);
    row.setup.position = Some(Position::Supine);
    row.setup.upper_restraint = Some(UpperRestraint::AxillaryPosts);
    row.dose.mode = Some(Mode::Intermittent);
    assert_eq!(value(&row, Parameter::Position), place(Parameter::Position, "supine"));
    assert_eq!(value(&row, Parameter::UpperRestraint), place(Parameter::UpperRestraint, "axillary posts"));
    assert_eq!(value(&row, Parameter::Mode), place(Parameter::Mode, "intermittent"));
}

#[test]
fn the_split_can_open_where_the_pull_is_above_the_tension_or_nobody_knows() {
    let mut row = visit(0);
    assert!(can_open_the_split(&row));
    row.setup.return_tension = Newtons::new(180.0);
    assert!(can_open_the_split(&row));
    for (pull, opens) in [(179.0, false), (180.0, false), (181.0, true)] {
        row.dose.peak_force = Newtons::new(pull);
        assert_eq!(can_open_the_split(&row), opens, "{pull}");
    }
}
