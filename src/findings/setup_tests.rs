//! What is found of the setups of the sample: the four planted faults, each with its parameter and place, and nothing else.

use super::setups::{Kind, SetupFinding, SetupFindings, Variation, Where};
use super::whole_tests::sample;
use crate::catalogue::Region;
use crate::catalogue::parameter::{About, Parameter};
use crate::catalogue::setup_standard::Grade;
use chrono::{Days, NaiveDate};

fn found() -> &'static SetupFindings {
    sample().setups.as_ref().unwrap()
}

fn of(kind: Kind) -> Vec<&'static SetupFinding> {
    found().findings.iter().filter(|finding| finding.kind == kind).collect()
}

fn place(site: &str, clinician: Option<&str>, table: Option<&str>) -> Where {
    Where { site: site.to_owned(), clinician: clinician.map(str::to_owned), table: table.map(str::to_owned) }
}

fn lumbar(parameter: Parameter) -> Option<About> {
    Some(About { parameter, region: Region::Lumbar })
}

#[test]
fn the_site_with_too_much_tension_is_found_first_with_how_much() {
    let first = &found().findings[0];
    assert_eq!((first.kind, first.grade), (Kind::Conformance, Some(Grade::Required)));
    assert_eq!((&first.place, first.about), (&place("Coldlarch", None, None), lumbar(Parameter::ReturnTension)));
    assert!(first.observed < 0.01 && first.reference > 0.99, "{first:?}");
    assert!(found().required_fall_short());
    // planted: about 52 lbf against about 40, one turn back against five or six
    let usual = first.usual.as_ref().unwrap();
    assert!((usual.observed - 52.0).abs() < 0.5 && (usual.reference - 41.0).abs() < 0.5, "{usual:?}");
    assert_eq!(usual.unit, "lbf");
    assert_eq!(of(Kind::Unlike), Vec::<&SetupFinding>::new(), "told with the standard");
}

#[test]
fn the_table_that_drifts_is_found_within_two_weeks_of_its_day() {
    let planted = NaiveDate::from_ymd_opt(2026, 2, 2).unwrap();
    let [drift] = of(Kind::Drift)[..] else { panic!("{:?}", of(Kind::Drift)) };
    assert_eq!((&drift.place, drift.about), (&place("Dunnock Hill", None, Some("DT2")), lumbar(Parameter::SplitGap)));
    let since = drift.since.unwrap();
    assert!((since.day - planted).num_days().abs() <= 14, "{since:?}");
    assert!(since.earliest <= planted && planted <= since.latest, "{since:?}");
    assert!((drift.observed - 0.09).abs() < 0.01 && drift.unit == "mm a week", "{drift:?}");
    assert!(drift.interval.0 < drift.observed && drift.observed < drift.interval.1);
    // it is told of the table alone, and the table wants looking at
    assert!(drift.also.iter().all(|also| *also == place("Dunnock Hill", None, None)), "{drift:?}");
    assert_eq!(of(Kind::Shift), Vec::<&SetupFinding>::new());
    let [opening] = of(Kind::Opening)[..] else { panic!("{:?}", of(Kind::Opening)) };
    assert_eq!(opening.place, drift.place);
    let standing_out: Vec<&Where> =
        found().tables.iter().filter(|table| table.stands_out).map(|table| &table.place).collect();
    assert_eq!(standing_out, [&drift.place]);
    let gap = found().of(lumbar(Parameter::SplitGap).unwrap()).unwrap();
    let chart = gap.charts.iter().find(|chart| chart.place == drift.place).unwrap();
    let last = chart.points.last().unwrap().day;
    assert!(chart.change.unwrap().to > chart.change.unwrap().before + 2.0);
    assert!(last > planted + Days::new(180));
}

#[test]
fn those_who_copy_and_the_one_who_rounds_are_found_by_name_and_nobody_else_is() {
    let copying: Vec<&Where> = of(Kind::CopiedForward).iter().map(|finding| &finding.place).collect();
    assert_eq!(copying.len(), 2);
    for clinician in ["FC2", "FC3"] {
        assert!(copying.contains(&&place("Fennick Bridge", Some(clinician), None)), "{copying:?}");
    }
    // planted: 85 % of their visits
    assert!(of(Kind::CopiedForward).iter().all(|finding| (finding.observed - 0.85).abs() < 0.05));
    let [digits] = of(Kind::Digits)[..] else { panic!("{:?}", of(Kind::Digits)) };
    assert_eq!((&digits.place, digits.digit), (&place("Dunnock Hill", Some("DC3"), None), Some(0)));
    assert_eq!(digits.about, None);
}

#[test]
fn nothing_is_found_beside_what_was_planted() {
    let planted = |finding: &&SetupFinding| match finding.kind {
        Kind::Conformance | Kind::Unlike => {
            finding.place == place("Coldlarch", None, None)
                && [Parameter::ReturnTension, Parameter::TensionTurns]
                    .contains(&finding.about.map_or(Parameter::Mode, |about| about.parameter))
        }
        Kind::Opening | Kind::Drift | Kind::CopiedForward | Kind::Digits => true,
        _ => false,
    };
    let others: Vec<&SetupFinding> = found().findings.iter().filter(|finding| !planted(finding)).collect();
    assert!(others.is_empty(), "{others:?}");
    assert!(found().tests > 1000, "{}", found().tests);
    assert!(found().findings.iter().all(|finding| finding.q <= 0.05 && finding.p <= finding.q));
}

#[test]
fn every_parameter_says_where_its_variation_sits_or_why_not() {
    let tension = found().of(lumbar(Parameter::ReturnTension).unwrap()).unwrap();
    let Variation::Levels(levels) = &tension.variation else { panic!("{:?}", tension.variation) };
    assert!(levels[0].level == "site" && levels[0].share.value > 0.8, "{levels:?}");
    for of in &found().parameters {
        match &of.variation {
            Variation::Untold(why) => assert!(!why.is_empty()),
            Variation::Levels(levels) => {
                let total: f64 = levels.iter().map(|level| level.share.value).sum();
                assert!((total - 1.0).abs() < 1e-9, "{:?}", of.about);
                assert!(levels.iter().all(|l| l.share.low <= l.share.value && l.share.value <= l.share.high));
            }
        }
        assert!(of.recorded <= of.visits && of.recorded > 0);
        assert_eq!(of.asked.len(), of.conformance.len());
    }
}
