//! Each rule of `attach` on a timeline made by hand, and laws on random ones.

use super::attach::{FOLLOW_UP_DAYS, Readings, attach};
use super::reading::Reading;
use super::score::Unscorable;
use crate::catalogue::{Measures, PainSite, Region};
use crate::episodes::boundaries::cut;
use crate::episodes::episode::Episodes;
use crate::episodes::timeline::*;
use crate::group::settings::EpisodeRules;
use crate::rows::row::Answers;
use crate::rows::row::{Row, Score};
use proptest::prelude::*;
use std::sync::LazyLock;

pub(crate) fn measures() -> &'static Measures {
    static MEASURES: LazyLock<Measures> = LazyLock::new(|| Measures::embedded().unwrap());
    &MEASURES
}

/// A score of a measure by its key.
pub(crate) fn score(key: &str, pain_site: PainSite, value: f64) -> Score {
    Score::new(measures().find(key).unwrap(), pain_site, Answers::Value(value))
}

pub(crate) fn read_with(entries: Vec<(Row, Vec<Score>)>, rules: &EpisodeRules) -> (Episodes, Readings) {
    let visits = visits_with_scores(entries);
    let episodes = cut(&visits, &regions(), rules);
    let readings = attach(&visits, &episodes, &regions(), measures(), rules);
    (episodes, readings)
}

pub(crate) fn read(entries: Vec<(Row, Vec<Score>)>) -> (Episodes, Readings) {
    read_with(entries, &EpisodeRules::default())
}

fn back(value: f64) -> Score {
    score("pain_nrs", PainSite::Back, value)
}

fn arm(value: f64) -> Score {
    score("pain_nrs", PainSite::Arm, value)
}

/// A measure of no region.
fn function(value: f64) -> Score {
    score("psfs", PainSite::Unspecified, value)
}

fn of(key: &str, value: f64) -> Score {
    score(key, PainSite::Unspecified, value)
}

/// Day of the row, episode and day in the episode of each reading.
fn places(readings: &Readings) -> Vec<(i32, Option<u32>, Option<i32>)> {
    readings.list.iter().map(|r| (r.when.day(), r.episode(), r.day())).collect()
}

#[test]
fn a_reading_goes_to_the_episode_of_its_own_region_wherever_it_stands() {
    let (episodes, readings) = read(vec![
        (visit(0), vec![back(5.0), arm(4.0), of("odi", 30.0), of("ndi", 20.0), function(3.0)]),
        (visit(0).region(CERVICAL).line(3), vec![function(6.0)]),
    ]);
    assert_eq!(episodes.list.iter().map(|e| e.region).collect::<Vec<_>>(), [LUMBAR, CERVICAL]);
    let values =
        |id| -> Vec<f64> { readings.list.iter().filter(|r| r.episode() == Some(id)).map(|r| r.value).collect() };
    assert_eq!(values(0), [5.0, 30.0, 3.0]);
    assert_eq!(values(1), [4.0, 20.0, 6.0]);
    assert_eq!(readings.counts.without_visit_near, 0);
}

#[test]
fn a_reading_of_a_region_without_care_has_no_visit() {
    let (_, readings) = read(vec![(visit(0), vec![arm(4.0)])]);
    assert_eq!(places(&readings), [(0, None, None)]);
    assert_eq!(readings.counts.without_visit_near, 1);
    let (_, elsewhere) = read(vec![(visit(0).region(Some(Region::Other)), vec![arm(4.0)])]);
    assert_eq!(places(&elsewhere), [(0, Some(0), Some(0))]);
}

#[test]
fn a_reading_is_near_from_the_baseline_window_to_400_days_after_the_last_visit() {
    let episode_at = |day| {
        read(vec![(visit(0), vec![]), (visit(10), vec![]), (visit(day).readings_only(), vec![back(5.0)])]).1.list[0]
            .episode()
    };
    assert_eq!((episode_at(-15), episode_at(-14)), (None, Some(0)));
    let last = 10 + FOLLOW_UP_DAYS as i32;
    assert_eq!((episode_at(last), episode_at(last + 1)), (Some(0), None));

    let long = EpisodeRules { endpoint_days: (28, 500), ..EpisodeRules::default() };
    let far = |day| {
        read_with(vec![(visit(0), vec![]), (visit(day).readings_only(), vec![back(5.0)])], &long).1.list[0].episode()
    };
    assert_eq!((far(500), far(501)), (Some(0), None));
}

#[test]
fn between_two_episodes_the_nearer_one_takes_the_reading_and_the_earlier_at_a_tie() {
    let episode_at = |day| {
        let entries = vec![(visit(0), vec![]), (visit(100), vec![]), (visit(day).readings_only(), vec![back(5.0)])];
        read(entries).1.list[0].episode()
    };
    // From day 86 on the baseline window of the second is open.
    assert_eq!((episode_at(85), episode_at(86), episode_at(99)), (Some(0), Some(1), Some(1)));
    let wide = EpisodeRules { baseline_days: (-90, 0), ..EpisodeRules::default() };
    let tie =
        read_with(vec![(visit(0), vec![]), (visit(100), vec![]), (visit(50).readings_only(), vec![back(5.0)])], &wide);
    assert_eq!(tie.1.list[0].episode(), Some(0));
}

#[test]
fn care_of_a_known_region_goes_before_care_of_none() {
    let entries = vec![
        (visit(0).region(None), vec![]),
        (visit(20), vec![]),
        (visit(20).region(CERVICAL).at(2), vec![]),
        (visit(6).readings_only(), vec![back(5.0)]),
    ];
    let (episodes, readings) = read(entries);
    assert_eq!(episodes.list[0].region, None);
    assert_eq!(readings.list[0].episode(), Some(1));
}

#[test]
fn a_measure_of_no_region_follows_its_row_else_the_only_care_near() {
    let beside = |row: Row| {
        let entries = vec![
            (visit(0), vec![]),
            (visit(30), vec![]),
            (visit(20).region(CERVICAL), vec![]),
            (visit(50).region(CERVICAL), vec![]),
            (row, vec![function(5.0)]),
        ];
        let (_, readings) = read(entries);
        (readings.list[0].episode(), readings.counts.between_regions)
    };
    assert_eq!(beside(visit(10).readings_only()), (Some(0), 0));
    assert_eq!(beside(visit(25).readings_only()), (None, 1));
    assert_eq!(beside(visit(25).readings_only().region(CERVICAL)), (Some(1), 0));
    assert_eq!(beside(visit(25).readings_only().for_condition(0)), (Some(0), 0));
    assert_eq!(beside(visit(60).readings_only()), (Some(1), 0));
}

#[test]
fn a_label_on_a_row_of_readings_names_the_episode() {
    let entries = vec![
        (visit(0).label(7), vec![]),
        (visit(20).label(8), vec![]),
        (visit(21).label(7).readings_only(), vec![back(5.0)]),
        (visit(100).label(7).readings_only().at(2), vec![back(4.0)]), // another site's 7
    ];
    assert_eq!(places(&read(entries).1), [(21, Some(0), Some(21)), (100, Some(1), Some(80))]);
}

#[test]
fn readings_on_another_clock_do_not_attach() {
    let (_, readings) = read(vec![(visit(0), vec![]), (visit(1).offset(None).readings_only(), vec![back(5.0)])]);
    assert_eq!(places(&readings), [(1, None, None)]);
}

#[test]
fn equal_readings_of_one_day_are_one() {
    let (_, readings) = read(vec![(visit(0), vec![back(5.0)]), (visit(0).readings_only().line(9), vec![back(5.0)])]);
    assert_eq!(readings.list.len(), 1);
    assert_eq!((readings.list[0].place.line, readings.list[0].disagrees), (2, false));
    assert_eq!((readings.counts.repeated, readings.counts.disagreeing), (1, 0));
}

#[test]
fn of_different_readings_of_one_day_the_one_on_a_visit_wins_then_the_later_place() {
    let (_, readings) = read(vec![(visit(0), vec![back(5.0)]), (visit(0).readings_only().line(9), vec![back(7.0)])]);
    let kept: &Reading = &readings.list[0];
    assert_eq!((readings.list.len(), kept.value), (1, 5.0));
    assert!(kept.disagrees);
    assert_eq!(readings.counts.disagreeing, 1);

    let (_, later) = read(vec![(visit(0).line(3), vec![back(7.0)]), (visit(0).line(4), vec![back(5.0)])]);
    assert_eq!((later.list[0].value, later.list[0].place.line, later.list[0].disagrees), (5.0, 4, true));

    let (_, three) = read(vec![
        (visit(0).line(3), vec![back(7.0)]),
        (visit(0).line(4), vec![back(5.0)]),
        (visit(0).line(5), vec![back(5.0)]),
    ]);
    assert_eq!((three.list[0].place.line, three.list[0].disagrees), (5, true));
    assert_eq!((three.counts.repeated, three.counts.disagreeing), (1, 1));
}

#[test]
fn a_score_that_cannot_be_scored_is_counted_by_file_measure_and_reason() {
    let items = Answers::Items { sum: 6.0, answered: 3, asked: 10 };
    let few = Score::new(measures().find("odi").unwrap(), PainSite::Unspecified, items);
    let (_, readings) = read(vec![
        (visit(0).line(5), vec![back(11.0), few]),
        (visit(3).line(4), vec![back(12.0)]),
        (visit(6).line(7), vec![back(10.0)]),
    ]);
    let counts: Vec<_> = readings.unscorable.iter().map(|u| (u.measure, u.reason, u.count, u.first_line)).collect();
    let (nrs, odi) = (back(0.0).measure, few.measure);
    assert_eq!(
        counts,
        [(nrs, Unscorable::OutOfRange, 2, 4), (odi, Unscorable::TooFewItems { answered: 3, needed: 8 }, 1, 5),]
    );
    assert_eq!((readings.list.len(), readings.counts.scores, readings.counts.unscorable), (1, 4, 3));
}

#[test]
fn a_visit_without_a_reading_of_the_patient_on_its_day_is_counted() {
    let (_, readings) = read(vec![
        (visit(0), vec![]),
        (visit(0).readings_only(), vec![back(5.0)]),
        (visit(3), vec![]),
        (visit(3).at(2), vec![]),
        (visit(4).missed(), vec![]),
        (visit(6), vec![back(99.0)]),
        (visit(9).of(2), vec![back(3.0)]),
    ]);
    assert_eq!(readings.counts.visits_without_reading, 3);
}

#[test]
fn a_patient_column_that_is_a_constant_does_not_take_hours() {
    // A step that looked at every episode for every row would look 40,000 million times.
    let visits = (0..200_000).map(|i| (visit(i / 100).label(i as u32 + 1), vec![]));
    let beside = (0..200_000).map(|i| (visit(i / 100).readings_only().line(i as u32 + 3), vec![arm(4.0)]));
    let (episodes, readings) = read(visits.chain(beside).collect());
    assert_eq!(episodes.list.len(), 200_000);
    assert_eq!(readings.counts.without_visit_near, 2_000); // one a day, the others repeat it
}

fn any_entry() -> impl Strategy<Value = (Row, Vec<Score>)> {
    let kinds =
        prop::sample::select(vec![back(3.0), back(4.0), arm(4.0), function(2.0), of("odi", 20.0), of("odi", 101.0)]);
    let region = prop::sample::select(vec![None, LUMBAR, CERVICAL]);
    let row = (1u32..4, 0i32..200, 1u32..3, region, prop::option::weighted(0.1, 1u32..3), 0u8..4);
    (row, prop::collection::vec(kinds, 0..3)).prop_map(|((patient, day, site, region, label, kind), scores)| {
        let row = visit(day).of(patient).at(site);
        let row = match kind {
            0 => row.readings_only(),
            1 => row.missed(),
            _ => row,
        };
        (Row { episode: label.map(name), ..row }.region(region), scores)
    })
}

fn entries() -> impl Strategy<Value = Vec<(Row, Vec<Score>)>> {
    prop::collection::vec(any_entry(), 0..60)
        .prop_map(|entries| (2u32..).zip(entries).map(|(line, (row, scores))| (row.line(line), scores)).collect())
}

proptest! {
    #[test]
    fn every_score_is_kept_or_counted(entries in entries()) {
        let total: usize = entries.iter().map(|(_, scores)| scores.len()).sum();
        let (episodes, readings) = read(entries);
        let counts = readings.counts;
        prop_assert_eq!(counts.scores, total as u64);
        prop_assert_eq!(counts.scores, readings.list.len() as u64 + counts.repeated + counts.disagreeing + counts.unscorable);
        prop_assert_eq!(counts.unscorable, readings.unscorable.iter().map(|u| u.count).sum::<u64>());
        let without = readings.list.iter().filter(|r| r.within.is_none()).count() as u64;
        prop_assert_eq!(without, counts.without_visit_near + counts.between_regions);
        for reading in &readings.list {
            if let Some(within) = reading.within {
                let episode = &episodes.list[within.episode() as usize];
                prop_assert_eq!(episode.patient, reading.patient);
                prop_assert_eq!(within.day, reading.when.day() - episode.first.day());
            }
        }
    }

    #[test]
    fn the_order_of_the_input_does_not_matter(
        (entries, shuffled) in entries().prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle()))
    ) {
        prop_assert_eq!(read(entries).1, read(shuffled).1);
    }
}
