//! What the figures of a condition must show.

use super::sampled::{back_pain, change_by_site, child_text, drawn, edited, edition, rates, texts};
use super::{accounting, completeness, distribution, incidence, weekly_course};
use crate::findings::bulletin::{Estimate, NaturalCourse, OutcomeFindings, Shown, WeekPoint};
use crate::findings::curve::{CurveOutcome, IncidencePoint};
use crate::findings::whole_tests::sample;
use crate::report::wording::count;
use resvg::usvg::roxmltree::Document;

#[test]
fn the_course_gives_n_for_each_week_and_a_dash_where_none_may_be_shown() {
    let bulletin = edited(|outcome| outcome.weeks.retain(|week| week.week <= 6 && week.week != 3));
    let figure = drawn(&bulletin, weekly_course::draw).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    let texts = texts(&document);
    let (_, outcome) = back_pain(&bulletin);
    let n = |week: u32| {
        let found = outcome.weeks.iter().find(|found| found.week == week).unwrap();
        count(u64::from(found.episodes))
    };
    assert!(texts.contains(&n(0).as_str()) && texts.contains(&n(2).as_str()), "{texts:?}");
    let (all_weeks, with_dash) = (7, texts.iter().filter(|text| **text == "–").count());
    assert_eq!(outcome.weeks.len() + with_dash, all_weeks);
    assert!(with_dash > 0);
}

#[test]
fn mean_and_individual_band_are_two_tints_with_labels_of_their_own() {
    let figure = drawn(sample(), weekly_course::draw).unwrap();
    assert_eq!(figure.svg.matches("<polygon").count(), 2);
    let document = Document::parse(&figure.svg).unwrap();
    let drawn = texts(&document).join(" ");
    for expected in ["upper edge of", "lower edge of", "fitted mean,", "observed median", "minimal important change"] {
        assert!(drawn.contains(expected), "{expected} in {drawn}");
    }
    let described = child_text(&document, "desc");
    assert!(described.contains("Fitted, week 0.0: mean ") && described.contains("% individual band "), "{described}");
}

#[test]
fn a_curve_without_plateau_and_half_time_marks_neither() {
    let bulletin = edited(|outcome| {
        if let CurveOutcome::Fitted(curve) = &mut outcome.curve {
            (curve.plateau, curve.half_time_days, curve.day_of_important_change) = (None, None, None);
        }
    });
    let figure = drawn(&bulletin, weekly_course::draw).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    assert!(!child_text(&document, "desc").contains("Marked"));
    assert!(!texts(&document).join(" ").contains("important change (") && figure.svg.contains("observed median"));
}

#[test]
fn a_long_course_has_numbers_that_do_not_touch_and_no_tint_between_distant_weeks() {
    let bulletin = edited(|outcome| {
        let like = outcome.weeks[0];
        let week = |week| WeekPoint { week, episodes: 301, ..like };
        outcome.weeks = [0, 12, 13, 52].map(week).to_vec();
        (outcome.curve, outcome.natural_course) = (CurveOutcome::TooFewReadings, None);
    });
    let figure = drawn(&bulletin, weekly_course::draw).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    // weeks 12 and 13 are too near each other to both have their number
    assert_eq!(texts(&document).iter().filter(|t| **t == "301").count(), 3);
    assert!(!texts(&document).contains(&"–"));
    assert_eq!(figure.svg.matches("<polygon").count(), 1, "one tint, over weeks 12 and 13");
}

#[test]
fn published_points_beyond_the_last_week_are_not_drawn_but_said() {
    let point = |day: f64, value: f64| (day, Estimate { value, low: value - 0.5, high: value + 0.5 });
    let draw = |points: Vec<(f64, Estimate)>| {
        let published = NaturalCourse { label: "published cohorts".into(), citation: "A trial".into(), points };
        let figure = drawn(&edited(|outcome| outcome.natural_course = Some(published)), weekly_course::draw);
        figure.unwrap().svg
    };
    let with = draw(vec![point(28.0, 4.0), point(7_000.0, 3.6)]);
    let without = draw(vec![point(28.0, 4.0)]);
    assert_eq!(with.matches("<circle").count(), without.matches("<circle").count());
    assert!(with.contains("week 1,000 3.6") && !without.contains("week 1,000"));
    assert!(with.contains("Published points: A trial."));
}

#[test]
fn the_incidence_states_both_shares_at_the_end_and_a_limit_that_was_not_reached() {
    let bulletin = edited(|outcome| {
        let found = &mut outcome.time_to_response[0];
        (found.median_day, found.median_low, found.median_high) = (Some(28.0), Some(24.0), None);
        found.incidence.last_mut().unwrap().response = Estimate { value: 0.64, low: 0.6, high: 0.68 };
        found.stopped_by.last_mut().unwrap().1 = 0.12;
    });
    let figure = drawn(&bulletin, incidence::draw).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    let texts = texts(&document);
    for expected in ["64\u{a0}%", "12\u{a0}%"] {
        assert!(texts.contains(&expected), "{expected} in {texts:?}");
    }
    assert!(texts.iter().any(|t| t.starts_with("median day 28 (24\u{a0}to\u{a0}not\u{a0}reached)")), "{texts:?}");
    let described = child_text(&document, "desc");
    assert!(described.contains(": responded 64\u{a0}% (95\u{a0}% CI 60 to 68)."), "{described}");
    let never = edited(|outcome| outcome.time_to_response[0].median_day = None);
    assert!(drawn(&never, incidence::draw).unwrap().svg.contains("median not reached"));
}

#[test]
fn the_days_of_an_incidence_are_told_once_and_at_most_eleven_of_them() {
    let bulletin = edited(|outcome| {
        let found = &mut outcome.time_to_response[0];
        let response = found.incidence[0].response;
        found.incidence = (0..=84).map(|day| IncidencePoint { day: f64::from(day), response }).collect();
        found.stopped_by = vec![(0.0, 0.0)];
    });
    let figure = drawn(&bulletin, incidence::draw).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    let said = child_text(&document, "desc");
    assert_eq!(said.matches("By day 84:").count(), 1);
    assert!(said.matches("responded").count() <= 11, "{said}");
}

#[test]
fn the_imputed_rate_stands_under_the_one_seen_and_only_where_there_is_one() {
    let draw = |imputed| {
        let edit = |outcome: &mut OutcomeFindings| outcome.responders.iter_mut().for_each(|row| row.imputed = imputed);
        drawn(&edited(edit), rates).unwrap().svg
    };
    let with = draw(Shown::Value(Estimate { value: 0.58, low: 0.52, high: 0.64 }));
    assert!(with.contains("missing imputed 58\u{a0}%") && with.contains("with the missing imputed 58\u{a0}% (95"));
    assert!(!draw(Shown::Missing).contains("imputed"));
}

#[test]
fn nothing_is_drawn_where_nothing_may_be_shown() {
    let bulletin = edited(|outcome| {
        outcome.weeks.clear();
        outcome.cumulative.clear();
        outcome.time_to_response.iter_mut().for_each(|found| found.incidence.truncate(1));
        outcome.responders.iter_mut().for_each(|row| row.rate = Shown::Withheld);
        outcome.change.iter_mut().for_each(|row| row.change = Shown::Withheld);
        outcome.completeness.iter_mut().for_each(|row| row.share = Shown::Withheld);
    });
    let draws = [weekly_course::draw, rates, incidence::draw, change_by_site, distribution::draw, completeness::draw];
    assert!(draws.into_iter().all(|draw| drawn(&bulletin, draw).is_none()));
    let mut no_files = sample().clone();
    no_files.quality.files.clear();
    accounting::draw(&edition(&no_files)).unwrap().png().unwrap();
}
