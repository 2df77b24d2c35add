//! What the terminal says of the invented patients.

use super::*;
use crate::report::invented_worklist::worklist;

#[test]
fn a_patient_in_care_is_shown_with_chart_next_visit_changes_and_overdue() {
    insta::assert_snapshot!(text(&worklist().patients[0], 80));
}

#[test]
fn a_long_course_of_a_patient_without_a_clinician_keeps_within_a_narrow_terminal() {
    insta::assert_snapshot!(text(&worklist().patients[2], 48));
}

#[test]
fn no_line_is_wider_than_the_terminal_but_for_a_word_that_is() {
    for patient in worklist().patients {
        for width in [0, 40, 60, 80, 200] {
            for line in text(&patient, width).lines() {
                let too_wide = line.chars().count() > width.max(NARROWEST);
                assert!(!too_wide || line.trim().split(' ').any(|w| w.chars().count() > 20), "{width}: {line}");
            }
        }
    }
}

#[test]
fn a_patient_without_a_reading_or_a_channel_is_said_in_words() {
    let worklist = worklist();
    let unread = text(&worklist.patients[4], 80);
    assert!(unread.contains(words::NO_READING) && !unread.contains('┤'));
    assert!(unread.contains("- Pain has not been read in 25 days of care."));
    let bare = text(&worklist.patients[3], 80);
    assert!(bare.contains('●') && !bare.contains(words::CHANGES) && !bare.contains(words::NEXT_VISIT));
}

#[test]
fn good_news_is_on_the_better_side_and_control_characters_do_not_reach_the_terminal() {
    let worklist = worklist();
    let mut higher = worklist.patients[6].clone();
    assert!(text(&higher, 200).contains("or higher would be good news"));
    higher.patient = "a\u{1b}[2Jb".into();
    assert!(!text(&higher, 80).contains('\u{1b}'));
}

#[test]
fn a_scale_without_width_and_numbers_that_are_none_are_no_panic() {
    let mut patient = worklist().patients[0].clone();
    for outcome in &mut patient.outcomes {
        outcome.range = (0.0, 0.0);
        outcome.readings.iter_mut().for_each(|reading| reading.value = f64::NAN);
        outcome.to_come.iter_mut().for_each(|(_, band)| band.low = f64::NAN);
    }
    assert!(text(&patient, 80).contains("not recorded") || !text(&patient, 80).is_empty());
}
