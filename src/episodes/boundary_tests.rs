//! Each rule of `boundaries` and `describe` on a timeline made by hand, and laws on random ones.

use super::boundaries::cut;
use super::due::SiteEnds;
use super::episode::{Episode, Episodes, is_treated};
use super::timeline::*;
use crate::catalogue::ConditionId;
use crate::group::settings::EpisodeRules;
use crate::rows::row::{Age, EndedHow, Facts, Onset, Row, Sex};
use crate::rows::when::{Quarter, When};
use proptest::prelude::*;

/// First day, last day and visits of each episode.
fn spans(episodes: &Episodes) -> Vec<(i32, i32, u32)> {
    episodes.list.iter().map(|e| (e.first.day(), e.last.day(), e.visits)).collect()
}

fn only(episodes: &Episodes) -> &Episode {
    assert_eq!(episodes.list.len(), 1);
    &episodes.list[0]
}

#[test]
fn a_gap_of_60_days_goes_on_and_one_of_61_starts_anew() {
    assert_eq!(spans(&cut_rows(vec![visit(0), visit(60)])), [(0, 60, 2)]);
    assert_eq!(spans(&cut_rows(vec![visit(0), visit(61)])), [(0, 0, 1), (61, 61, 1)]);
}

#[test]
fn the_gap_is_the_one_of_the_settings() {
    let rules = EpisodeRules { gap_days: 7, ..EpisodeRules::default() };
    let visits = visits_of(vec![visit(0), visit(7), visit(15)]);
    assert_eq!(spans(&cut(&visits, &regions(), &rules)), [(0, 7, 2), (15, 15, 1)]);
}

#[test]
fn two_visits_on_one_day_are_two_visits_of_one_episode() {
    let episodes = cut_rows(vec![visit(0).line(3), visit(0), visit(4)]);
    assert_eq!(spans(&episodes), [(0, 4, 3)]);
    assert_eq!(only(&episodes).second_visit_day, Some(0));
    assert_eq!(only(&cut_rows(vec![visit(3)])).second_visit_day, None);
}

#[test]
fn lumbar_and_cervical_care_run_side_by_side_and_are_flagged() {
    let episodes = cut_rows(vec![visit(0), visit(5).region(CERVICAL), visit(10), visit(15).region(CERVICAL)]);
    assert_eq!(spans(&episodes), [(0, 10, 2), (5, 15, 2)]);
    assert_eq!(episodes.list.iter().map(|e| e.region).collect::<Vec<_>>(), [LUMBAR, CERVICAL]);
    assert!(episodes.list.iter().all(|e| e.overlaps));
    assert_eq!(episodes.visit_rows, [0, 2, 1, 3]);
    assert_eq!(episodes.episode_of_row, [Some(0), Some(1), Some(0), Some(1)]);

    let apart = cut_rows(vec![visit(0), visit(4), visit(5).region(CERVICAL)]);
    assert!(apart.list.iter().all(|e| !e.overlaps));
    let same_day = cut_rows(vec![visit(0), visit(4), visit(4).region(CERVICAL)]);
    assert!(same_day.list.iter().all(|e| e.overlaps));
}

#[test]
fn a_long_episode_overlaps_each_short_one_inside_it() {
    let mut rows: Vec<Row> = (0..5).map(|i| visit(50 * i)).collect();
    rows.extend([visit(10).region(CERVICAL), visit(100).region(CERVICAL), visit(300).region(CERVICAL)]);
    let overlaps: Vec<bool> = cut_rows(rows).list.iter().map(|e| e.overlaps).collect();
    assert_eq!(overlaps, [true, true, true, false]);
}

#[test]
fn a_row_without_a_region_takes_that_of_its_condition_its_codes_or_the_row_before() {
    let bare = |day| visit(day).region(None);
    let by_condition = cut_rows(vec![bare(0).for_condition(2)]);
    assert_eq!(only(&by_condition).region, CERVICAL);
    let by_codes = cut_rows(vec![Row { icd10: Some(name(1)), ..bare(0) }]);
    assert_eq!(only(&by_codes).region, CERVICAL);
    let set_up_goes_first = cut_rows(vec![visit(0).for_condition(2)]);
    assert_eq!(only(&set_up_goes_first).region, LUMBAR);
    let inherited = cut_rows(vec![visit(0), visit(1).region(CERVICAL), bare(2)]);
    assert_eq!(spans(&inherited), [(0, 0, 1), (1, 2, 2)]);
    let from_later = cut_rows(vec![bare(0), visit(3)]);
    assert_eq!(spans(&from_later), [(0, 3, 2)]);
    let unknown = cut_rows(vec![bare(0), visit(1), visit(2).region(CERVICAL)]);
    assert_eq!(unknown.list.iter().map(|e| e.region).collect::<Vec<_>>(), [None, LUMBAR, CERVICAL]);
    let from_intake = cut_rows(vec![bare(0).for_condition(0).readings_only(), bare(1)]);
    assert_eq!((only(&from_intake).region, only(&from_intake).condition), (LUMBAR, Some(ConditionId(0))));
}

#[test]
fn a_label_of_the_export_decides_over_gap_and_region() {
    let long_gap = cut_rows(vec![visit(0).label(7), visit(200).label(7).region(CERVICAL)]);
    assert_eq!(spans(&long_gap), [(0, 200, 2)]);
    let two_labels = cut_rows(vec![visit(0).label(7), visit(3).label(8), visit(6).label(7)]);
    assert_eq!(spans(&two_labels), [(0, 6, 2), (3, 3, 1)]);
    assert!(two_labels.list.iter().all(|e| e.overlaps));
}

#[test]
fn a_label_used_again_at_another_site_long_after_is_another_episode() {
    assert_eq!(spans(&cut_rows(vec![visit(0).label(7), visit(60).label(7).at(2)])), [(0, 60, 2)]);
    assert_eq!(spans(&cut_rows(vec![visit(0).label(7), visit(61).label(7).at(2)])), [(0, 0, 1), (61, 61, 1)]);
}

#[test]
fn unlabelled_visits_join_a_labelled_episode_by_gap_and_region() {
    let episodes = cut_rows(vec![visit(0), visit(3).label(7), visit(6), visit(9).region(CERVICAL), visit(80)]);
    assert_eq!(spans(&episodes), [(0, 6, 3), (9, 9, 1), (80, 80, 1)]);
}

#[test]
fn a_transfer_keeps_the_site_of_most_visits_and_at_a_tie_the_earlier() {
    let moved = cut_rows(vec![visit(0).at(2), visit(3).at(1), visit(6).at(1)]);
    assert_eq!((only(&moved).site, only(&moved).transferred), (name(1), true));
    let tie = cut_rows(vec![visit(0).at(2), visit(3).at(1)]);
    assert_eq!((only(&tie).site, only(&tie).transferred), (name(2), true));
    assert!(!only(&cut_rows(vec![visit(0), visit(3)])).transferred);
}

#[test]
fn the_condition_of_most_visits_wins_and_at_a_tie_the_earlier() {
    let most = cut_rows(vec![visit(0).for_condition(0), visit(1).for_condition(1), visit(2).for_condition(1)]);
    assert_eq!((only(&most).condition, only(&most).condition_changed), (Some(ConditionId(1)), true));
    let tie = cut_rows(vec![visit(0).for_condition(1), visit(1).for_condition(0)]);
    assert_eq!(only(&tie).condition, Some(ConditionId(1)));
    assert!(!only(&cut_rows(vec![visit(0).for_condition(1), visit(1)])).condition_changed);
}

#[test]
fn a_condition_of_another_region_has_no_say_and_is_counted() {
    let episodes = cut_rows(vec![visit(0).for_condition(2), visit(1).for_condition(2), visit(2).for_condition(0)]);
    assert_eq!((only(&episodes).condition, only(&episodes).condition_changed), (Some(ConditionId(0)), false));
    assert_eq!(episodes.counts.visits_with_condition_of_another_region, 2);
}

#[test]
fn missed_visits_join_the_episode_around_them_and_never_open_one() {
    let episodes = cut_rows(vec![visit(0), visit(3).missed(), visit(6), visit(20).missed()]);
    assert_eq!(spans(&episodes), [(0, 6, 2)]);
    assert_eq!(only(&episodes).missed_visits, 2);
    assert_eq!(episodes.episode_of_row, [Some(0); 4]);
    assert_eq!(episodes.visit_rows, [0, 2]);

    let no_shows = cut_rows(vec![visit(0).missed(), visit(7).missed()]);
    assert!(no_shows.list.is_empty());
    assert_eq!(no_shows.counts.missed_visits_without_episode, 2);
    assert_eq!(no_shows.patients.len(), 1);
}

#[test]
fn a_missed_visit_does_not_bridge_a_gap_and_goes_to_the_nearer_episode_of_its_region() {
    let episodes = cut_rows(vec![visit(0), visit(35).missed(), visit(61)]);
    assert_eq!(spans(&episodes), [(0, 0, 1), (61, 61, 1)]);
    assert_eq!(episodes.episode_of_row, [Some(0), Some(1), Some(1)]);
    let tie = cut_rows(vec![visit(0), visit(50).missed(), visit(100)]);
    assert_eq!(tie.episode_of_row[1], Some(0));
    let too_far = cut_rows(vec![visit(0), visit(61).missed()]);
    assert_eq!(too_far.episode_of_row, [Some(0), None]);
    let other_region = cut_rows(vec![visit(0), visit(1).region(CERVICAL).missed()]);
    assert_eq!(other_region.episode_of_row, [Some(0), None]);
    let labelled = cut_rows(vec![visit(0).label(7), visit(1).label(8), visit(90).label(8).missed()]);
    assert_eq!(labelled.episode_of_row, [Some(0), Some(1), Some(1)]);
}

#[test]
fn rows_with_readings_only_are_no_visits() {
    let episodes = cut_rows(vec![visit(-3).readings_only(), visit(0), visit(90).readings_only(), visit(100)]);
    assert_eq!(spans(&episodes), [(0, 0, 1), (100, 100, 1)]);
    assert_eq!(episodes.episode_of_row, [None, Some(0), None, Some(1)]);
}

#[test]
fn facts_are_the_first_known_and_the_end_the_last_known() {
    let facts = |onset, years, ended_how| Facts { onset, age: Age::new(years), ended_how, ..Facts::default() };
    let episodes = cut_rows(vec![
        visit(-2).readings_only().facts(Facts { compensation: Some(true), age: Age::new(30.0), ..Facts::default() }),
        visit(0).facts(facts(None, f64::NAN, Some(EndedHow::Ongoing))),
        visit(3).facts(facts(Some(Onset::Acute), 50.0, None)),
        visit(6).facts(facts(Some(Onset::Persistent), 51.0, Some(EndedHow::Completed))),
    ]);
    let episode = only(&episodes);
    assert_eq!((episode.onset, episode.age), (Some(Onset::Acute), Age::new(50.0)));
    assert_eq!(episode.ended_how, Some(EndedHow::Completed));
    assert_eq!(episode.compensation, Some(true));
}

#[test]
fn a_row_beside_the_visits_counts_from_the_baseline_window_to_the_last_visit() {
    let known = Facts { prior_surgery: Some(true), ended_how: Some(EndedHow::Lost), ..Facts::default() };
    let at = |day| {
        let episodes = cut_rows(vec![visit(0), visit(10), visit(day).readings_only().facts(known)]);
        (only(&episodes).prior_surgery, only(&episodes).ended_how)
    };
    assert_eq!(at(-15), (None, None));
    assert_eq!(at(-14), (Some(true), Some(EndedHow::Lost)));
    assert_eq!(at(10), (Some(true), Some(EndedHow::Lost)));
    assert_eq!(at(70), (None, Some(EndedHow::Lost)));
    assert_eq!(at(71), (None, None));
}

#[test]
fn conflicting_sex_is_counted_once_a_patient_and_the_first_is_kept() {
    let sex = |sex| Facts { sex: Some(sex), ..Facts::default() };
    let episodes = cut_rows(vec![
        visit(0).facts(sex(Sex::Female)),
        visit(1).facts(sex(Sex::Male)),
        visit(2).facts(sex(Sex::Male)),
        visit(200),
        visit(0).of(2).facts(sex(Sex::Male)),
    ]);
    assert_eq!(episodes.counts.patients_with_conflicting_sex, 1);
    assert_eq!(
        episodes.list.iter().map(|e| e.sex).collect::<Vec<_>>(),
        [Some(Sex::Female), Some(Sex::Female), Some(Sex::Male)]
    );
}

#[test]
fn a_patient_at_two_sites_on_one_day_is_counted_once() {
    let episodes = cut_rows(vec![
        visit(0).at(1),
        visit(0).at(2),
        visit(5).at(1),
        visit(5).at(2),
        visit(0).of(2).at(1),
        visit(0).of(2).at(2).missed(),
    ]);
    assert_eq!(episodes.counts.patients_at_two_sites_on_one_day, 1);
}

#[test]
fn calendar_and_offset_rows_of_one_patient_never_mix() {
    let episodes = cut_rows(vec![visit(0).offset(None), visit(2), visit(3).offset(None), visit(5)]);
    assert_eq!(spans(&episodes), [(2, 5, 2), (0, 3, 2)]);
    assert!(episodes.list.iter().all(|e| e.first.same_clock(e.last) && !e.overlaps));
    assert_eq!(episodes.patients.len(), 1);
    assert_eq!(episodes.patients[0].episodes, 0..2);
    assert_eq!(episodes.counts.patients_on_two_clocks, 1);
}

#[test]
fn an_episode_is_due_from_the_day_its_endpoint_window_closes() {
    let day = |text: &str| When::calendar(text.parse().unwrap()).day();
    let start = day("2026-04-01");
    let last_row_on = |last: i32| cut_rows(vec![visit(start), visit(last).of(2).readings_only()]).list[0].clone();
    assert!(!last_row_on(start + 83).is_due);
    assert!(last_row_on(start + 84).is_due);
    assert_eq!(last_row_on(start).due, Quarter::new(2026, 2)); // 1 April + 84 days = 24 June
    assert_eq!(cut_rows(vec![visit(day("2026-04-08"))]).list[0].due, Quarter::new(2026, 3)); // 1 July
    let elsewhere = cut_rows(vec![visit(start), visit(start + 300).of(2).at(2)]);
    assert!(!elsewhere.list[0].is_due, "records of another site say nothing");
}

#[test]
fn care_goes_on_while_the_last_visit_is_near_the_end_of_the_sites_records() {
    let in_care = |rows: Vec<Row>, of: &dyn Fn(&Episode) -> Episode| {
        let ends = SiteEnds::of(&rows);
        let episode = cut_rows(rows).list[0].clone();
        ends.in_care(&of(&episode), 28)
    };
    let same = |episode: &Episode| episode.clone();
    let until = |last: i32| vec![visit(100), visit(last).of(2)];
    assert!(in_care(until(128), &same) && !in_care(until(129), &same));
    let ended = |episode: &Episode| Episode { ended_how: Some(EndedHow::Completed), ..episode.clone() };
    assert!(!in_care(until(100), &ended));
    let ongoing = |episode: &Episode| Episode { ended_how: Some(EndedHow::Ongoing), ..episode.clone() };
    assert!(in_care(until(100), &ongoing));
    let quarter = Quarter::new(2026, 2);
    assert!(in_care(vec![visit(0).offset(quarter)], &same));
    assert!(!in_care(vec![visit(0).offset(quarter), visit(0).of(2).offset(Quarter::new(2026, 3))], &same));
    assert!(!in_care(vec![visit(0).offset(None)], &same), "nothing says when that was");
}

#[test]
fn an_episode_on_offsets_is_due_once_the_site_reaches_the_next_quarter() {
    let quarter = |n| Quarter::new(2026, n);
    let with = |other| cut_rows(vec![visit(0).offset(quarter(1)), visit(0).of(2).offset(other)]).list[0].clone();
    assert_eq!((with(quarter(1)).due, with(quarter(1)).is_due), (quarter(2), false));
    assert!(with(quarter(2)).is_due);
    assert!(!with(None).is_due);
    let without = cut_rows(vec![visit(0).offset(None)]);
    assert_eq!((only(&without).due, only(&without).is_due), (None, true));

    let rules = EpisodeRules { endpoint_days: (28, 91), ..EpisodeRules::default() };
    let visits = visits_of(vec![visit(0).offset(quarter(1))]);
    assert_eq!(only(&cut(&visits, &regions(), &rules)).due, quarter(3)); // 31 March + 91 days can be 1 July
}

#[test]
fn days_at_the_ends_of_the_range_do_not_overflow() {
    let episodes = cut_rows(vec![visit(i32::MIN), visit(0).missed(), visit(i32::MAX)]);
    assert_eq!(spans(&episodes), [(i32::MIN, i32::MIN, 1), (i32::MAX, i32::MAX, 1)]);
}

#[test]
fn a_million_episodes_of_one_visit_keep_their_counts() {
    // Half of them one patient's: a step that grew with the square of a patient's episodes would not come to an end.
    let one_patient = (0..500_000).map(|i| visit(i * 61));
    let many_patients = (0..500_000u32).map(|i| visit(0).of(i + 2));
    let episodes = cut_rows(one_patient.chain(many_patients).collect());
    assert_eq!(episodes.list.len(), 1_000_000);
    assert_eq!(episodes.patients.len(), 500_001);
    assert_eq!(episodes.visit_rows.len(), 1_000_000);
    assert!(episodes.list.iter().all(|e| e.visits == 1 && !e.overlaps));
    assert!(episodes.list.iter().zip(&episodes.visit_rows).all(|(e, &i)| episodes.visits_of(e) == [i]));
}

fn any_row() -> impl Strategy<Value = Row> {
    let region = prop::sample::select(vec![None, LUMBAR, LUMBAR, CERVICAL]);
    let attended = prop::sample::select(vec![None, None, Some(true), Some(false)]);
    let label = prop::option::weighted(0.2, 1u32..4);
    (1u32..5, -100i32..300, 1u32..4, region, attended, label, prop::option::of(0u16..4), any::<(bool, u8)>()).prop_map(
        |(patient, day, site, region, attended, label, condition, (is_offset, kind))| {
            let row = visit(day).of(patient).at(site).region(region);
            let row = Row { attended, condition: condition.map(ConditionId), episode: label.map(name), ..row };
            let row = if kind < 40 { row.readings_only() } else { row };
            if is_offset { row.offset(Quarter::new(2026, 1)) } else { row }
        },
    )
}

fn rows() -> impl Strategy<Value = Vec<Row>> {
    prop::collection::vec(any_row(), 0..80)
        .prop_map(|rows| (2u32..).zip(rows).map(|(line, row)| row.line(line)).collect())
}

proptest! {
    #[test]
    fn every_treated_visit_belongs_to_exactly_one_episode(rows in rows()) {
        let visits = visits_of(rows);
        let episodes = cut(&visits, &regions(), &EpisodeRules::default());
        let mut seen = vec![None; visits.rows.len()];
        for (id, episode) in (0u32..).zip(&episodes.list) {
            prop_assert_eq!(episodes.visits_of(episode).len(), episode.visits as usize);
            for &i in episodes.visits_of(episode) {
                prop_assert_eq!(seen[i as usize].replace(id), None);
                let day = visits.rows[i as usize].when.day();
                prop_assert!(episode.first.day() <= day && day <= episode.last.day());
                prop_assert_eq!(visits.rows[i as usize].patient, episode.patient);
                prop_assert!(visits.rows[i as usize].when.same_clock(episode.first));
            }
        }
        for (i, row) in visits.rows.iter().enumerate() {
            prop_assert_eq!(seen[i].is_some(), is_treated(row));
            if is_treated(row) {
                prop_assert_eq!(seen[i], episodes.episode_of_row[i]);
            }
            prop_assert!(row.is_visit || episodes.episode_of_row[i].is_none());
        }
    }

    #[test]
    fn the_order_of_the_input_does_not_matter(
        (rows, shuffled) in rows().prop_flat_map(|rows| (Just(rows.clone()), Just(rows).prop_shuffle()))
    ) {
        prop_assert_eq!(cut_rows(rows), cut_rows(shuffled));
    }

    #[test]
    fn without_labels_gaps_are_short_within_and_long_between_episodes_of_a_region(rows in rows()) {
        let rows = rows.into_iter().map(|row| Row { episode: None, ..row }).collect();
        let visits = visits_of(rows);
        let episodes = cut(&visits, &regions(), &EpisodeRules::default());
        for episode in &episodes.list {
            let days: Vec<i32> = episodes.visits_of(episode).iter().map(|&i| visits.rows[i as usize].when.day()).collect();
            prop_assert!(days.windows(2).all(|pair| (0..=60).contains(&(pair[1] - pair[0]))));
        }
        for (i, a) in episodes.list.iter().enumerate() {
            for b in &episodes.list[i + 1..] {
                let related = a.patient == b.patient && a.first.same_clock(b.first) && a.region == b.region;
                prop_assert!(!related || b.first.day() - a.last.day() > 60);
            }
        }
    }

    #[test]
    fn a_patient_is_cut_alone_as_among_others(rows in rows()) {
        let bare = |episode: &Episode| Episode { visit_rows: 0..0, due: None, is_due: false, ..episode.clone() };
        let together = cut_rows(rows.clone());
        let mut alone = Vec::new();
        for patient in 1..5 {
            let own = rows.iter().filter(|row| row.patient == name(patient)).copied().collect();
            alone.extend(cut_rows(own).list.iter().map(bare));
        }
        prop_assert_eq!(together.list.iter().map(bare).collect::<Vec<_>>(), alone);
    }
}
