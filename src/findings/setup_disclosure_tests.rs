//! Few patients behind a number of setups: the number is not shown, whatever is asked of it.

use super::find_setups::{SetupSources, setup_findings};
use super::setups::{Kind, SetupFinding, SetupFindings};
use super::withhold::Rule;
use crate::catalogue::parameter::{About, Parameter};
use crate::catalogue::{Conditions, Measures, Region};
use crate::episodes::period::default_period;
use crate::group::settings::{Audience, EpisodeRules, OnTrackRules};
use crate::group::setup_standard::default_standard;
use crate::models::fitted_course::Records;
use crate::models::setups::made::{Made, made};
use crate::readings::attach::Readings;
use crate::readings::windows::Courses;
use crate::units::{Millimetres, Newtons};

fn found(made: &Made, audience: Audience) -> SetupFindings {
    let (measures, conditions) = (Measures::embedded().unwrap(), Conditions::embedded().unwrap());
    let (readings, courses) = (Readings::default(), Courses::default());
    let records = Records {
        measures: &measures,
        conditions: &conditions,
        names: &made.names,
        episodes: &made.episodes,
        readings: &readings,
        courses: &courses,
        windows: EpisodeRules::default(),
        on_track: OnTrackRules::default(),
        period: default_period(&made.episodes),
    };
    let standard = default_standard().unwrap();
    let sources = SetupSources { records, visits: &made.visits, standard: &standard, standard_file: None };
    setup_findings(&sources, Rule::of(audience), &[]).0
}

/// Patients of site 0 who miss the item at one visit: 3; of site 1: none; of site 2: 8. One clinician has 12 patients.
fn few() -> Made {
    made(3, 36, 21, |_, at, row| {
        let missing = [3, 0, 8][at.site];
        row.setup.level_pull = Some(!(at.patient < missing && at.visit == 0));
        row.setup.return_tension = Newtons::new(180.0 + at.patient as f64);
        row.dose.peak_force = Newtons::new(300.0);
        // at site 0 two visits of two patients break a rule
        row.setup.split_gap = Millimetres::new(if at.site == 0 && at.patient < 2 && at.visit == 1 { 0.0 } else { 6.0 });
    })
}

#[test]
fn a_share_that_few_patients_make_is_withheld_and_none_or_many_are_shown() {
    let (inside, outside) = (found(&few(), Audience::Internal), found(&few(), Audience::Release));
    let shares = |found: &SetupFindings| -> Vec<Option<f64>> {
        let level = found.of(About { parameter: Parameter::LevelPull, region: Region::Lumbar }).unwrap();
        let sites = level.conformance[0].lines.iter();
        sites
            .filter(|line| line.place.clinician.is_none() && line.place.table.is_none())
            .map(|line| line.share)
            .collect()
    };
    // beside one that is withheld, to whole percent
    let of_288 = |missing: f64| Some((100.0 * (1.0 - missing / 288.0)).round() / 100.0);
    assert_eq!(shares(&inside), [None, of_288(0.0), of_288(8.0)]);
    assert_eq!(shares(&outside), [None, of_288(0.0), None]);
    let level = inside.of(About { parameter: Parameter::LevelPull, region: Region::Lumbar }).unwrap();
    assert_eq!(level.conformance[0].group, 0.99, "853 of 864");
    let words: Vec<bool> = level.words.iter().map(|line| line.shares.is_some()).collect();
    assert_eq!(words, [true, false, true, true], "the group first");
    // counts beside them are whole tens, so that no difference of two tells
    assert!(level.conformance[0].lines.iter().all(|line| line.visits % 10 == 0));
    assert!(level.words.iter().all(|line| line.visits % 10 == 0));
}

#[test]
fn a_rule_that_few_visits_break_tells_no_number() {
    let found = found(&few(), Audience::Internal);
    let rule = found.rules.iter().find(|rule| rule.key == "split_stays_closed").unwrap();
    assert_eq!(rule.broken, None);
    let sites: Vec<Option<f64>> = rule.sites.iter().map(|(_, share)| *share).collect();
    assert_eq!(sites, [None, Some(0.0), Some(0.0)]);
    let unbroken = found.rules.iter().find(|rule| rule.key == "split_opens_far").unwrap();
    assert_eq!(unbroken.broken, Some(0));
}

#[test]
fn quantiles_and_charts_need_twenty_patients_and_findings_more_than_a_few() {
    let few = made(2, 12, 22, |chance, at, row| {
        row.setup.return_tension = Newtons::new(180.0 + 60.0 * at.site as f64 + chance.normal());
    });
    let found = found(&few, Audience::Release);
    let tension = found.of(About { parameter: Parameter::ReturnTension, region: Region::Lumbar }).unwrap();
    assert!(tension.strips.iter().skip(1).all(|strip| strip.quantiles.is_none()));
    assert!(tension.strips[0].quantiles.is_some(), "24 patients of the group");
    assert_eq!(tension.charts, []);
    assert!(found.findings.iter().all(|finding| finding.patients > 10), "{:?}", found.findings);
}

#[test]
fn a_finding_does_not_tell_the_share_that_few_patients_make() {
    // all but a few patients of site 1 miss the item at every visit
    let missing_but = |few: usize| {
        made(3, 36, 23, move |_, at, row| {
            row.setup.level_pull = Some(at.site != 1 || at.patient < few);
        })
    };
    let of = |few: usize, audience: Audience| {
        let found = found(&missing_but(few), audience);
        let at_site = |finding: &&SetupFinding| finding.kind == Kind::Conformance && finding.place.clinician.is_none();
        found.findings.iter().find(at_site).unwrap().clone()
    };
    for (few, audience) in [(1, Audience::Internal), (4, Audience::Internal), (10, Audience::Release)] {
        let found = of(few, audience);
        assert!(found.few_on_one_side, "{found:?}");
        assert_eq!((found.observed, found.interval, found.p, found.q), (0.0, (0.0, 0.0), 0.0, 0.0));
        assert_eq!((found.reference, found.visits, found.patients), (1.0, 288, 36));
    }
    for (few, audience, share) in
        [(0, Audience::Internal, 0.0), (5, Audience::Internal, 0.14), (11, Audience::Release, 0.31)]
    {
        let found = of(few, audience);
        assert_eq!((found.few_on_one_side, found.observed), (false, share));
        assert!(found.q > 0.0 && found.interval.1 > found.interval.0);
    }
}
