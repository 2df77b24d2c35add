//! Invented findings on setups of the Harrow Vale group, for tests of pages, figures and sheets. No number here is anybody's.

use crate::catalogue::Region;
use crate::catalogue::parameter::Parameter;
use crate::catalogue::setup_standard::Grade;
use crate::findings::bulletin::Estimate;
use crate::findings::setups::*;
use crate::findings::sites::Call;
use chrono::{NaiveDate, TimeDelta};

const SITES: [&str; 6] = ["Alderwick", "Brindleford", "Coldlarch", "Dunnock Hill", "Eastlow", "Fennick Bridge"];
const VISITS: [u32; 6] = [2410, 1830, 1240, 1620, 980, 760];
const PRACTICE: &str = "common practice, no published source";

/// The invented findings.
pub fn setups() -> SetupFindings {
    SetupFindings {
        standard_file: Some("setup-standard.toml".into()),
        visits: 9640,
        undated: 760,
        span: Some((date(2025, 7, 1), date(2026, 9, 28))),
        tests: 412,
        findings: findings(),
        parameters: vec![
            return_tension(),
            split_gap(),
            belt_landmark(),
            upper_restraint(),
            pull_share(),
            plain(Parameter::Ramp, Region::Lumbar, "s", 0, 10.0, 2.0),
            plain(Parameter::Angle, Region::Cervical, "deg", 0, 20.0, 4.0),
            position(),
        ],
        rules: rules(),
        tables: tables(),
    }
}

fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

fn lumbar(parameter: Parameter) -> About {
    About { parameter, region: Region::Lumbar }
}

fn site(site: &str) -> Where {
    Where { site: site.into(), clinician: None, table: None }
}

fn clinician(site: &str, code: &str) -> Where {
    Where { site: site.into(), clinician: Some(code.into()), table: None }
}

fn table(site: &str, code: &str) -> Where {
    Where { site: site.into(), clinician: None, table: Some(code.into()) }
}

/// One of every kind, and a few more.
fn findings() -> Vec<SetupFinding> {
    let february = Since { day: date(2026, 2, 2), earliest: date(2026, 1, 12), latest: date(2026, 3, 2) };
    let plain = SetupFinding {
        kind: Kind::Unlike,
        place: site("Coldlarch"),
        about: Some(lumbar(Parameter::ReturnTension)),
        measure: None,
        is_against_least: false,
        usual: None,
        rule: None,
        grade: None,
        since: None,
        few_on_one_side: false,
        observed: 52.0,
        reference: 40.0,
        interval: (37.1, 43.2),
        interval_is_of_reference: true,
        unit: "lbf".into(),
        decimals: 0,
        digit: None,
        visits: 1240,
        patients: 131,
        p: 2e-9,
        q: 8e-7,
        also: vec![table("Coldlarch", "CT1"), clinician("Coldlarch", "CC2")],
    };
    let share = |kind, place, observed, reference, interval| SetupFinding {
        kind,
        place,
        observed,
        reference,
        interval,
        interval_is_of_reference: false,
        unit: "share".into(),
        also: Vec::new(),
        ..plain.clone()
    };
    vec![
        SetupFinding {
            grade: Some(Grade::Required),
            ..share(Kind::Conformance, site("Coldlarch"), 0.11, 0.93, (0.07, 0.16))
        },
        plain.clone(),
        SetupFinding {
            kind: Kind::Drift,
            place: table("Dunnock Hill", "DT2"),
            about: Some(lumbar(Parameter::SplitGap)),
            since: Some(february),
            observed: 0.11,
            reference: 6.4,
            interval: (0.08, 0.14),
            interval_is_of_reference: false,
            unit: "mm a week".into(),
            decimals: 2,
            visits: 640,
            patients: 88,
            also: Vec::new(),
            ..plain.clone()
        },
        SetupFinding {
            kind: Kind::Opening,
            place: table("Dunnock Hill", "DT2"),
            about: Some(lumbar(Parameter::SplitGap)),
            observed: 8.6,
            reference: 6.3,
            interval: (8.2, 9.0),
            interval_is_of_reference: false,
            unit: "mm".into(),
            decimals: 1,
            visits: 640,
            patients: 88,
            also: Vec::new(),
            ..plain.clone()
        },
        SetupFinding {
            about: None,
            visits: 310,
            patients: 41,
            q: 0.0004,
            ..share(Kind::CopiedForward, clinician("Fennick Bridge", "FC2"), 0.91, 0.42, (0.86, 0.95))
        },
        SetupFinding {
            about: None,
            visits: 270,
            patients: 37,
            q: 0.002,
            ..share(Kind::CopiedForward, clinician("Fennick Bridge", "FC3"), 0.83, 0.44, (0.77, 0.88))
        },
        SetupFinding {
            about: Some(lumbar(Parameter::SplitGap)),
            digit: Some(5),
            visits: 420,
            patients: 52,
            q: 0.003,
            ..share(Kind::Digits, clinician("Dunnock Hill", "DC3"), 0.46, 0.1, (0.41, 0.51))
        },
        SetupFinding {
            kind: Kind::Shift,
            place: clinician("Alderwick", "AC4"),
            about: Some(lumbar(Parameter::BeltLandmark)),
            since: Some(Since { day: date(2026, 5, 4), earliest: date(2026, 4, 27), latest: date(2026, 5, 18) }),
            observed: 0.71,
            reference: 0.95,
            interval: (0.64, 0.78),
            interval_is_of_reference: false,
            unit: "share".into(),
            visits: 390,
            patients: 44,
            q: 0.011,
            also: Vec::new(),
            ..plain.clone()
        },
        SetupFinding {
            about: Some(lumbar(Parameter::PullShare)),
            visits: 980,
            patients: 102,
            q: 0.02,
            interval_is_of_reference: true,
            ..share(Kind::Spread, site("Eastlow"), 0.08, 0.01, (0.0, 0.03))
        },
        SetupFinding {
            about: None,
            rule: Some("session_length".into()),
            visits: 1830,
            patients: 190,
            q: 0.031,
            ..share(Kind::NotPossible, site("Brindleford"), 0.06, 0.004, (0.04, 0.08))
        },
    ]
}

/// A number that comes out the same each time and looks uneven, -1 to 1.
fn uneven(i: usize) -> f64 {
    (7.3 * i as f64).sin() * 0.7 + (2.1 * i as f64 + 0.4).sin() * 0.3
}

fn strips(middle: impl Fn(usize) -> f64, spread: f64) -> Vec<Strip> {
    let quantiles = |middle: f64, spread: f64| [-1.6, -1.25, -0.65, 0.0, 0.6, 1.2, 1.7].map(|z| middle + z * spread);
    let whole = Strip { site: None, visits: 8840, quantiles: Some(quantiles(middle(0), 1.4 * spread)) };
    let sites = SITES.iter().zip(VISITS).enumerate().map(|(i, (site, visits))| Strip {
        site: Some((*site).to_owned()),
        visits,
        quantiles: (i != 1).then(|| quantiles(middle(i), spread * (1.0 + 0.2 * uneven(i)))),
    });
    std::iter::once(whole).chain(sites).collect()
}

fn levels(shares: [f64; 4]) -> Variation {
    let names = ["site", "clinician", "patient", "visit"];
    let groups = [6, 21, 742, 8840];
    Variation::Levels(
        names
            .iter()
            .zip(groups)
            .zip(shares)
            .map(|((level, groups), share)| LevelVariation {
                level,
                groups,
                variance: 30.0 * share,
                share: Estimate { value: share, low: 0.7 * share, high: (1.3 * share + 0.03).min(1.0) },
                visits: 8840,
            })
            .collect(),
    )
}

fn conformance(group: f64, low_site: usize, low: f64) -> Conformance {
    let mut lines = Vec::new();
    for (i, (name, visits)) in SITES.iter().zip(VISITS).enumerate() {
        let share = if i == low_site { low } else { (group + 0.03 * uneven(i)).min(0.99) };
        let line = |place, visits: u32, share: f64, q: f64| ConformanceLine {
            place,
            visits,
            share: Some(share),
            interval: Some(((share - 0.04).max(0.0), (share + 0.04).min(1.0))),
            q: Some(q),
            call: if i == low_site { Call::Below } else { Call::Within },
        };
        lines.push(line(site(name), visits, share, if i == low_site { 8e-7 } else { 0.4 }));
        let initial = name.chars().next().unwrap();
        for k in 1..=3_u32 {
            let share = (share + 0.04 * uneven(7 * i + k as usize)).clamp(0.0, 1.0);
            lines.push(line(
                clinician(name, &format!("{initial}C{k}")),
                visits / 10 * (6 - k) / 2,
                share,
                if i == low_site { 0.003 } else { 0.2 },
            ));
        }
        lines.push(ConformanceLine {
            share: None,
            interval: None,
            q: None,
            call: Call::TooFew,
            ..line(table(name, &format!("{initial}T9")), 20, 0.5, 1.0)
        });
    }
    let funnel = (1..=40)
        .map(|step| {
            let visits = 2410.0 / 40.0 * f64::from(step);
            let se = (group * (1.0 - group) / visits).sqrt();
            let limits = |z: f64| ((group - z * se).max(0.0), (group + z * se).min(1.0));
            (visits, limits(1.96), limits(3.09))
        })
        .collect();
    Conformance { group, visits: 8840, lines, funnel }
}

fn chart(place: Where, is_share: bool, centre: f64, reach: f64, seed: usize) -> TimeChart {
    let points = (0..64)
        .filter(|week| week % 13 != 7)
        .map(|week| {
            let value = centre + 0.45 * reach * uneven(week + 31 * seed);
            let cap = |value: f64| if is_share { value.clamp(0.0, 1.0) } else { value };
            TimePoint {
                day: date(2025, 7, 7) + TimeDelta::weeks(week as i64),
                value: cap(value),
                limits: (cap(centre - reach), cap(centre + reach)),
                signals: week == 40 + seed,
            }
        })
        .collect();
    TimeChart { place, is_share, points, centre, widened: is_share, change: None }
}

fn charts(is_share: bool, middle: impl Fn(usize) -> f64, reach: f64) -> Vec<TimeChart> {
    SITES
        .iter()
        .enumerate()
        .filter(|(i, _)| *i != 5)
        .map(|(i, name)| chart(site(name), is_share, middle(i), reach, i))
        .collect()
}

fn asked(target: AskedTarget, grade: Grade) -> Asked {
    Asked { position: None, target, grade, source: PRACTICE.into(), note: String::new() }
}

fn numeric(
    about: About,
    unit: &str,
    decimals: usize,
    middle: impl Fn(usize) -> f64 + Copy,
    spread: f64,
) -> ParameterFindings {
    ParameterFindings {
        about,
        unit: unit.into(),
        decimals,
        visits: 9120,
        recorded: 8840,
        patients: 742,
        asked: Vec::new(),
        strips: strips(middle, spread),
        words: Vec::new(),
        variation: levels([0.12, 0.08, 0.5, 0.3]),
        conformance: Vec::new(),
        charts: charts(false, middle, 1.2 * spread),
        within: Some(Within { steps: 7910, changed: 0.31, how_far: Some((0.4 * spread, 1.5 * spread)) }),
    }
}

fn return_tension() -> ParameterFindings {
    let middle = |i: usize| if i == 2 { 52.0 } else { 40.0 + 0.6 * uneven(i) };
    ParameterFindings {
        asked: vec![Asked {
            note: "fully tensioned about 50 to 55 lbf; 5 or 6 turns back from full give about 40 lbf".into(),
            ..asked(AskedTarget::Number { aim: 40.0, low: 35.0, high: 45.0 }, Grade::Required)
        }],
        variation: levels([0.58, 0.07, 0.11, 0.24]),
        conformance: vec![conformance(0.83, 2, 0.11)],
        ..numeric(lumbar(Parameter::ReturnTension), "lbf", 0, middle, 2.2)
    }
}

fn split_gap() -> ParameterFindings {
    let middle = |i: usize| if i == 3 { 7.2 } else { 6.4 + 0.15 * uneven(i) };
    let mut of = numeric(lumbar(Parameter::SplitGap), "mm", 1, middle, 0.8);
    of.asked = vec![asked(AskedTarget::Number { aim: 6.4, low: 4.8, high: 7.9 }, Grade::Advised)];
    of.conformance = vec![conformance(0.88, 3, 0.71)];
    of.variation = Variation::Levels(vec![
        LevelVariation { level: "table", ..level(0.41) },
        LevelVariation { level: "visit", groups: 8840, ..level(0.59) },
    ]);
    let mut drifting = chart(table("Dunnock Hill", "DT2"), false, 7.3, 1.6, 3);
    let start = date(2026, 2, 2);
    for point in &mut drifting.points {
        let weeks = (point.day - start).num_days() as f64 / 7.0;
        point.value = 6.4 + 0.11 * weeks.max(0.0) + 0.3 * uneven(point.day.to_string().len() + weeks.abs() as usize);
        point.signals = weeks > 22.0;
    }
    drifting.change = Some(Changed {
        since: Since { day: start, earliest: date(2026, 1, 12), latest: date(2026, 3, 2) },
        before: 6.4,
        from: 6.4,
        to: 6.4 + 0.11 * 33.0,
    });
    of.charts.push(drifting);
    of
}

fn level(share: f64) -> LevelVariation {
    LevelVariation {
        level: "table",
        groups: 11,
        variance: share,
        share: Estimate { value: share, low: share - 0.16, high: share + 0.16 },
        visits: 8840,
    }
}

fn words(words: &[&'static str], shares: impl Fn(usize) -> Vec<f64>) -> Vec<WordShares> {
    let row = |site: Option<&str>, visits, i| WordShares {
        site: site.map(str::to_owned),
        visits,
        shares: (site != Some("Eastlow")).then(|| words.iter().copied().zip(shares(i)).collect()),
    };
    std::iter::once(row(None, 8840, 1))
        .chain(SITES.iter().zip(VISITS).enumerate().map(|(i, (name, visits))| row(Some(name), visits, i)))
        .collect()
}

fn in_words(about: About) -> ParameterFindings {
    ParameterFindings {
        strips: Vec::new(),
        charts: Vec::new(),
        unit: String::new(),
        decimals: 0,
        within: Some(Within { steps: 7910, changed: 0.06, how_far: None }),
        ..numeric(about, "", 0, |_| 0.0, 1.0)
    }
}

fn belt_landmark() -> ParameterFindings {
    let share = |i: usize| 0.93 + 0.04 * uneven(i);
    let mut of = in_words(lumbar(Parameter::BeltLandmark));
    of.asked = vec![asked(AskedTarget::YesNo(true), Grade::Required)];
    of.words = words(&["no", "yes"], move |i| vec![1.0 - share(i), share(i)]);
    of.conformance = vec![conformance(0.93, 99, 0.0)];
    of.charts = charts(true, share, 0.08);
    let mut changed = chart(clinician("Alderwick", "AC4"), true, 0.88, 0.2, 1);
    changed.change = Some(Changed {
        since: Since { day: date(2026, 5, 4), earliest: date(2026, 4, 27), latest: date(2026, 5, 18) },
        before: 0.95,
        from: 0.71,
        to: 0.71,
    });
    of.charts.push(changed);
    of.variation = Variation::Untold("over 90 % of visits are recorded alike");
    of
}

fn upper_restraint() -> ParameterFindings {
    let mut of = in_words(lumbar(Parameter::UpperRestraint));
    of.asked = vec![asked(AskedTarget::Word("chest harness"), Grade::Advised)];
    of.words = words(&["handholds", "chest harness", "axillary posts", "none"], |i| {
        let harness = 0.62 + 0.2 * uneven(i);
        vec![0.6 * (1.0 - harness), harness, 0.35 * (1.0 - harness), 0.05 * (1.0 - harness)]
    });
    of.conformance = vec![conformance(0.62, 99, 0.0)];
    of
}

fn pull_share() -> ParameterFindings {
    let mut of = numeric(lumbar(Parameter::PullShare), "%BW", 0, |i| 38.0 + 2.0 * uneven(i), 6.0);
    of.asked = [("prone", 35.0), ("supine", 40.0)]
        .into_iter()
        .map(|(position, aim)| Asked {
            position: Some(position),
            ..asked(AskedTarget::Number { aim, low: 25.0, high: aim + 10.0 }, Grade::Advised)
        })
        .collect();
    of.conformance = vec![conformance(0.81, 99, 0.0), conformance(0.86, 99, 0.0)];
    of
}

fn plain(
    parameter: Parameter,
    region: Region,
    unit: &str,
    decimals: usize,
    middle: f64,
    spread: f64,
) -> ParameterFindings {
    numeric(About { parameter, region }, unit, decimals, |i| middle + 0.3 * spread * uneven(i), spread)
}

fn position() -> ParameterFindings {
    let mut of = in_words(lumbar(Parameter::Position));
    of.words = words(&["prone", "supine"], |i| vec![0.3 + 0.2 * uneven(i), 0.7 - 0.2 * uneven(i)]);
    of
}

fn rules() -> Vec<RuleFindings> {
    let rule =
        |key: &str, title: &str, explanation: &str, is_on, visits, broken, shares: [Option<f64>; 6]| RuleFindings {
            key: key.into(),
            title: title.into(),
            explanation: explanation.into(),
            source: PRACTICE.into(),
            is_on,
            visits,
            broken,
            sites: SITES.iter().map(|site| (*site).to_owned()).zip(shares).collect(),
        };
    vec![
        rule(
            "session_length",
            "The session is as long as its cycles",
            "cycles times hold, rest and ramps should come to the length of the session within two minutes",
            true,
            8120,
            Some(168),
            [Some(0.004), Some(0.06), Some(0.0), Some(0.003), None, Some(0.008)],
        ),
        rule(
            "turns_and_tension",
            "Turns back and return tension agree",
            "each turn back from full takes about 2 lbf off 50 to 55 lbf",
            true,
            5210,
            None,
            [Some(0.0), None, Some(0.0), Some(0.0), None, None],
        ),
        rule(
            "force_limit",
            "The pull is within what the machine can give",
            "a pull above the limit of the machine was not given; mostly a unit",
            false,
            0,
            None,
            [None; 6],
        ),
    ]
}

fn tables() -> Vec<TableOpening> {
    let opening = |site: &str, code: &str, visits, recorded: f64, value: f64, siblings, q: Option<f64>| TableOpening {
        place: table(site, code),
        visits,
        recorded,
        at_equal_tension: Estimate { value, low: value - 0.4, high: value + 0.4 },
        siblings,
        q,
        stands_out: q.is_some_and(|q| q < 0.05),
    };
    vec![
        opening("Alderwick", "AT1", 1290, 6.3, 6.4, Some(6.2), Some(0.6)),
        opening("Alderwick", "AT2", 1120, 6.2, 6.2, Some(6.4), Some(0.6)),
        opening("Brindleford", "BT1", 1830, 6.5, 6.4, None, None),
        opening("Coldlarch", "CT1", 1240, 4.1, 6.6, None, None),
        opening("Dunnock Hill", "DT1", 980, 6.3, 6.3, Some(8.6), Some(0.21)),
        opening("Dunnock Hill", "DT2", 640, 8.5, 8.6, Some(6.3), Some(0.0004)),
        opening("Eastlow", "ET1", 980, 6.1, 6.3, None, None),
    ]
}
