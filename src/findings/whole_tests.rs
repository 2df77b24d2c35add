//! Whole groups, from exports to findings: two open trials against what was published, and the sample.

use super::account::data_quality;
use super::bulletin::{Bulletin, ConditionFindings, OutcomeFindings};
use super::circulating::fingerprint;
use super::compose::{bulletin, bulletin_by, setups_and_dose};
use super::dose::DoseFindings;
use super::find_setups::SetupSources;
use super::quality::DataQuality;
use super::rounding::Precision;
use super::setups::SetupFindings;
use super::shown::{Period, Shown};
use super::sites::{Call, SeenAndLost, SiteComparison};
use super::sources::Sources;
use super::withhold::Rule;
use crate::catalogue::measure::Domain;
use crate::catalogue::natural_course::Courses as NaturalCourses;
use crate::episodes::boundaries::cut;
use crate::episodes::episode::Episodes;
use crate::episodes::period::default_period;
use crate::episodes::regions::Regions;
use crate::group::settings::{Audience, Group};
use crate::group::{load, mapping::Layout};
use crate::models::fitted_course::{FittedCourses, Records};
use crate::models::imputed_outcomes::ImputedOutcomes;
use crate::models::sites::cases::Quantity;
use crate::readings::attach::{Readings, attach};
use crate::readings::windows::Courses;
use crate::rows::read_group::{Intake, read_group};
use crate::visits::duplicates::visits;
use crate::visits::visits::Visits;
use std::path::Path;
use std::sync::LazyLock;

/// The findings of a group folder of this repository.
pub(crate) fn run(folder: &str, audience: Audience) -> Bulletin {
    run_with(folder, audience, FittedCourses::fit)
}

/// The same with courses fitted otherwise: without any, nothing is predicted or imputed.
pub(crate) fn run_with(
    folder: impl AsRef<Path>,
    audience: Audience,
    fit: impl FnOnce(Records<'_>) -> FittedCourses,
) -> Bulletin {
    let [bulletin] = run_by(folder, audience, [Rule::of(audience)], fit);
    bulletin
}

/// The same by several rules of what is small.
pub(crate) fn run_by<const N: usize>(
    folder: impl AsRef<Path>,
    audience: Audience,
    rules: [Rule; N],
    fit: impl FnOnce(Records<'_>) -> FittedCourses,
) -> [Bulletin; N] {
    let read = Read::folder(folder);
    let records = read.records();
    let fitted = fit(records);
    let natural_courses = &NaturalCourses::embedded().unwrap();
    let imputed = ImputedOutcomes::of(&records, &fitted, super::NOT_RECORDED);
    let sources =
        Sources { group: &read.group.name, audience, natural_courses, records, fitted: &fitted, imputed: &imputed };
    rules.map(|rule| {
        let setups = setups_and_dose(&read.setups(), rule);
        bulletin_by(rule, sources, Some(setups), DataQuality::default())
    })
}

/// What circulates of a group folder, and the same by the same rule before it is rounded.
pub(crate) fn circulating_of(
    folder: impl AsRef<Path>,
    audience: Audience,
    fit: impl FnOnce(Records<'_>) -> FittedCourses,
) -> [Bulletin; 2] {
    let read = Read::folder(folder);
    let records = read.records();
    let fitted = fit(records);
    let natural_courses = &NaturalCourses::embedded().unwrap();
    let imputed = &ImputedOutcomes::of(&records, &fitted, super::NOT_RECORDED);
    let sources = Sources { group: &read.group.name, audience, natural_courses, records, fitted: &fitted, imputed };
    let found = || {
        let setups = setups_and_dose(&read.setups(), Rule::of(audience));
        (Some(setups), data_quality(&read.intake.files, &read.intake.ledger, &[]))
    };
    let (setups, quality) = found();
    let shown = bulletin(sources, setups, quality);
    let precision = Precision::of(audience, || fingerprint(&records));
    let (setups, quality) = found();
    [shown, bulletin_by(precision.rule(Rule::of(audience)), sources, setups, quality)]
}

/// What is found of setups and dose in a group folder; nothing else is worked out.
pub(crate) fn setups_of(folder: impl AsRef<Path>) -> (SetupFindings, DoseFindings) {
    setups_and_dose(&Read::folder(folder).setups(), Rule::of(Audience::Internal))
}

/// A group folder read and cut into episodes.
struct Read {
    group: Group,
    intake: Intake,
    visits: Visits,
    episodes: Episodes,
    readings: Readings,
    courses: Courses,
}

impl Read {
    fn folder(folder: impl AsRef<Path>) -> Self {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
        let group = load::load(&folder).unwrap_or_else(|problem| panic!("{problem}"));
        let mut intake = read_group(&group, &|_, _| ()).unwrap_or_else(|problem| panic!("{problem}"));
        let layouts = group.exports.iter().flat_map(|export| export.files.iter().map(|_| export.mapping.form.layout));
        let long: Vec<bool> = layouts.map(|layout| layout == Layout::ReadingRows).collect();
        let (rows, scores) = (std::mem::take(&mut intake.rows), std::mem::take(&mut intake.scores));
        let (visits, _) = visits(rows, scores, &intake.names, &long, &mut intake.ledger);
        let regions = Regions::of(&group.conditions, &intake.names.codes);
        let episodes = cut(&visits, &regions, &group.episodes);
        let readings = attach(&visits, &episodes, &regions, &group.measures, &group.episodes);
        let courses = Courses::of(&readings, &episodes, &group.episodes);
        Self { group, intake, visits, episodes, readings, courses }
    }

    fn records(&self) -> Records<'_> {
        Records {
            measures: &self.group.measures,
            conditions: &self.group.conditions,
            names: &self.intake.names,
            episodes: &self.episodes,
            readings: &self.readings,
            courses: &self.courses,
            windows: self.group.episodes,
            on_track: self.group.on_track,
            period: default_period(&self.episodes),
        }
    }

    fn setups(&self) -> SetupSources<'_> {
        SetupSources {
            records: self.records(),
            visits: &self.visits,
            standard: &self.group.setup_standard,
            standard_file: self.group.setup_standard_file.as_deref(),
        }
    }
}

/// The findings of the sample inside the group, worked out once for all tests.
pub(crate) fn sample() -> &'static Bulletin {
    static SAMPLE: LazyLock<Bulletin> = LazyLock::new(|| run("sample-data", Audience::Internal));
    &SAMPLE
}

fn condition<'a>(bulletin: &'a Bulletin, key: &str) -> &'a ConditionFindings {
    bulletin.conditions.iter().find(|condition| condition.key == key).unwrap()
}

fn outcome<'a>(condition: &'a ConditionFindings, key: &str) -> &'a OutcomeFindings {
    condition.outcomes.iter().find(|outcome| outcome.key == key).unwrap()
}

fn value<T: Copy + std::fmt::Debug>(shown: &Shown<T>) -> T {
    match shown {
        Shown::Value(value) => *value,
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_back_pain_trial_gives_the_published_means_and_responders() {
    // Ashar et al., JAMA Psychiatry 2022;79:13: pain 0 or 1 in 33/50, 10/51 and 5/50, those who did not complete counted
    // as not; mean pain after 1.18, 2.84, 3.13; mean disability after 10.14, 19.00, 20.68
    let bulletin = run("tests/whole/trials/back-pain-2022", Audience::Internal);
    let trial = condition(&bulletin, "chronic_back_pain");
    let (pain, disability) = (outcome(trial, "pain_nrs_back"), outcome(trial, "odi"));
    for (site, randomised, pain_free, pain_after, disability_after) in [
        ("reprocessing therapy", 50, 33, 1.18, 10.14),
        ("placebo", 51, 10, 2.84, 19.00),
        ("usual care", 50, 5, 3.13, 20.68),
    ] {
        let here = |period: &Period, of: &Option<String>| *period == Period::All && of.as_deref() == Some(site);
        let is_state = |row: &&super::bulletin::ResponderRow| row.definition == "acceptable_state";
        let row = pain.responders.iter().filter(is_state).find(|row| here(&row.period, &row.site)).unwrap();
        assert_eq!((value(&row.responders), value(&row.episodes)), (pain_free, randomised), "{site}");
        assert_eq!(value(&row.worst_case), f64::from(pain_free) / f64::from(randomised));
        for (outcome, published) in [(pain, pain_after), (disability, disability_after)] {
            let row = outcome.change.iter().find(|row| here(&row.period, &row.site)).unwrap();
            assert!((value(&row.endpoint_mean) - published).abs() < 0.005, "{site} {:?}", row.endpoint_mean);
        }
    }
}

#[test]
fn the_headache_trial_gives_the_published_scores_at_twelve_months() {
    // Vickers et al., BMJ 2004;328:744: at 12 months 16.2 (SD 13.7, n 161) against 22.3 (17.0, n 140)
    let bulletin = run("tests/whole/trials/headache-2004", Audience::Internal);
    for (key, n, mean, sd) in [("headache_acupuncture", 161, 16.2, 13.7), ("headache_usual_care", 140, 22.3, 17.0)] {
        let outcome = &condition(&bulletin, key).outcomes[0];
        let row = outcome.change.iter().find(|row| row.period == Period::All && row.site.is_none()).unwrap();
        assert_eq!(value(&row.episodes), n, "{key}");
        assert!((value(&row.endpoint_mean) - mean).abs() < 0.05, "{:?}", row.endpoint_mean);
        assert!((value(&row.endpoint_sd) - sd).abs() < 0.05, "{:?}", row.endpoint_sd);
    }
}

#[test]
fn the_sheets_of_the_sample_agree_with_each_other() {
    for audience in [Audience::Internal, Audience::Release] {
        let bulletin = run("sample-data", audience);
        assert!(bulletin.conditions.len() > 2 && bulletin.quarters.len() > 3);
        let mut compared = 0;
        for outcome in bulletin.conditions.iter().flat_map(|condition| &condition.outcomes) {
            for row in &outcome.completeness {
                let changes =
                    outcome.change.iter().filter(|change| change.period == row.period && change.site == row.site);
                changes.for_each(|change| assert_eq!(change.episodes, row.with_endpoint));
                let definitions = outcome.responders.iter().filter(|r| r.period == row.period && r.site == row.site);
                for of in definitions {
                    if let (Shown::Value(due), Shown::Value(n), Shown::Value(low)) =
                        (row.episodes, of.episodes, of.baseline_too_low)
                    {
                        assert_eq!(due, n + low);
                        compared += 1;
                    }
                    if let (Shown::Value(due), Shown::Value(with), Shown::Value(missing)) =
                        (row.episodes, row.with_baseline, of.baseline_missing)
                    {
                        assert_eq!(due, with + missing);
                    }
                    if let (Shown::Value(rate), Shown::Value(worst), Shown::Value(best)) =
                        (of.rate, of.worst_case, of.best_case)
                    {
                        assert!(worst <= rate.value && rate.value <= best && rate.low <= rate.value);
                    }
                }
            }
        }
        assert!(compared > 10, "{compared} for {audience:?}");
        assert_eq!(bulletin, run("sample-data", audience), "the same input gives the same findings");
    }
}

#[test]
fn the_sample_shows_its_headline_inside_the_group() {
    let bulletin = sample();
    let first = &bulletin.conditions[0];
    let outcome = &first.outcomes[0];
    let whole = |period: &Period, site: &Option<String>| *period == Period::All && site.is_none();
    let completeness = outcome.completeness.iter().find(|row| whole(&row.period, &row.site)).unwrap();
    assert!(value(&completeness.share) > 0.5);
    let responders = outcome.responders.iter().find(|row| whole(&row.period, &row.site)).unwrap();
    assert!(value(&responders.rate).value > 0.1);
    let sites = outcome.change.iter().filter(|row| row.period == Period::All && row.site.is_some());
    let shown = sites.filter(|row| row.change != Shown::Withheld).count();
    assert!(shown >= 4, "sites can be compared: {shown} shown");
    assert!(outcome.weeks.len() > 4 && outcome.cumulative.len() > 3 && outcome.against_previous.is_some());
}

#[test]
fn predictions_on_the_sample_hold_within_five_points_of_what_they_promise() {
    let mut tried = 0;
    for outcome in sample().conditions.iter().flat_map(|condition| &condition.outcomes) {
        let Some(backtest) = &outcome.backtest else { continue };
        let Some(coverage) = backtest.coverage.filter(|_| backtest.withheld.is_none()) else { continue };
        assert!((coverage.value - 0.8).abs() < 0.05, "{}: {coverage:?}", outcome.key);
        tried += 1;
    }
    assert!(tried >= 10, "{tried} outcomes have predictions");
}

#[test]
fn the_curve_of_the_sample_is_the_one_that_was_planted() {
    // the truth file has the pain that was planted, before rounding and the ends of the scale
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/truth/episodes.csv");
    let mut file = csv::Reader::from_path(folder).unwrap();
    let names = file.headers().unwrap().clone();
    let at = |name: &str| names.iter().position(|column| column == name).unwrap();
    let (condition_at, day_0, day_84) = (at("condition"), at("pain_day_0"), at("pain_day_84"));
    let planted: Vec<(f64, f64)> = file
        .records()
        .map(Result::unwrap)
        .filter(|record| &record[condition_at] == "low_back_pain")
        .map(|record| (record[day_0].parse().unwrap(), record[day_84].parse().unwrap()))
        .collect();
    let mean = |of: fn(&(f64, f64)) -> f64| planted.iter().map(of).sum::<f64>() / planted.len() as f64;
    let curve = outcome(condition(sample(), "low_back_pain"), "pain_nrs_back").curve.fitted().unwrap();
    let on = |day: f64| curve.points.iter().find(|point| point.day == day).unwrap().mean;
    assert!((on(0.0).value - mean(|planted| planted.0)).abs() < 0.3, "{:?} {}", on(0.0), mean(|planted| planted.0));
    assert!((on(84.0).value - mean(|planted| planted.1)).abs() < 0.4, "{:?} {}", on(84.0), mean(|planted| planted.1));
    assert!(curve.choice.is_some() && curve.day_of_important_change.is_some());
}

#[test]
fn the_site_that_loses_its_worst_patients_looks_better_than_it_is() {
    let back = outcome(condition(sample(), "low_back_pain"), "pain_nrs_back");
    let of = |site: Option<&str>| {
        let row = back.responders.iter().find(|row| {
            row.period == Period::All && row.site.as_deref() == site && row.definition == "minimal_important"
        });
        row.unwrap()
    };
    let all = of(None);
    assert!(value(&all.imputed).value < value(&all.rate).value, "{:?}", all.imputed);
    assert!(value(&all.worst_case) < value(&all.imputed).value && value(&all.imputed).value < value(&all.best_case));
    assert!(all.tipping.is_some());
}

#[test]
fn the_better_site_is_above_and_the_one_that_loses_its_worst_patients_is_exposed() {
    let sample = sample();
    let over_all = |quantity| {
        let mut found = sample.sites_compared.iter().filter(move |c| c.is_over_all() && c.quantity == quantity);
        found.find(|comparison| comparison.measure == "pain").unwrap()
    };
    let called = |comparison: &SiteComparison| -> Vec<(String, Call)> {
        let rows = comparison.rows.iter().filter(|row| row.period == Period::All && row.stands_out());
        rows.map(|row| (row.site.clone(), row.call)).collect()
    };
    let better = vec![("Brindleford".to_owned(), Call::Above)];
    assert_eq!(called(over_all(Quantity::Response)), better);
    assert_eq!(called(over_all(Quantity::Change)), better);
    // Eastlow's patients in pain stay away: fewer followed up, and a rate that falls further with the lost imputed
    assert_eq!(called(over_all(Quantity::FollowedUp)), [("Eastlow".to_owned(), Call::Below)]);
    let eastlow = sample.site_findings.iter().find(|site| site.site == "Eastlow").unwrap();
    let gap = |lost: &[SeenAndLost]| match lost.iter().find(|lost| lost.domain == Domain::Pain).unwrap().gap {
        Shown::Value(gap) => gap,
        _ => panic!("the gap is shown"),
    };
    assert!(gap(&eastlow.lost) > gap(&sample.lost) + 0.02, "{} {}", gap(&eastlow.lost), gap(&sample.lost));
}

#[test]
fn a_site_that_alone_uses_a_measure_is_not_called_on_it() {
    // in the sample only Dunnock Hill writes pain on the 100 mm line
    let comparisons = sample().sites_compared.iter().filter(|c| c.is_over_all() && c.measure == "pain");
    for row in comparisons.filter_map(|c| c.row(&Period::All, "Dunnock Hill")) {
        assert_eq!((row.call, row.q), (Call::TooFew, None));
    }
}
