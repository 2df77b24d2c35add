//! An invented bulletin of the Harrow Vale group, for tests. No number in it is a result.

use crate::catalogue::Region;
use crate::findings::bulletin::*;
use crate::findings::curve::*;
use crate::findings::quality::{DataQuality, FileAccount, ReasonCount};
use crate::group::settings::Audience;
use crate::report::{Rules, Threshold};
use crate::rows::when::Quarter;

const SITES: [&str; 6] = ["Alderwick", "Brindleford", "Coldlarch", "Dunnock Hill", "Eastlow", "Fennick Bridge"];

/// A measure with the course of an invented condition.
struct Course {
    key: &'static str,
    title: &'static str,
    unit: &'static str,
    range: (f64, f64),
    label: &'static str,
    start: f64,
    plateau: f64,
    spread: f64,
}

const PAIN: Course = Course {
    key: "pain_nrs_back",
    title: "Pain 0-10, back",
    unit: "points",
    range: (0.0, 10.0),
    label: "at least 2 points lower and at least 30 % lower",
    start: 6.4,
    plateau: 3.3,
    spread: 2.1,
};
const DISABILITY: Course = Course {
    key: "odi",
    title: "Oswestry Disability Index",
    unit: "%",
    range: (0.0, 100.0),
    label: "at least 10 percentage points lower and at least 30 % lower",
    start: 44.0,
    plateau: 24.0,
    spread: 15.0,
};

/// The rules behind the invented bulletin.
pub fn rules() -> Rules {
    let threshold = |measure: &str, value: &str, source: &str, mark: &str| Threshold {
        measure: measure.into(),
        value: value.into(),
        source: source.into(),
        mark: mark.into(),
    };
    Rules {
        gap_days: 60,
        baseline_days: (-14, 0),
        endpoint_days: (28, 84),
        reject_limit: 0.05,
        thresholds: vec![
            threshold("Pain 0-10", "minimal important change 2 points", "Ostelo 2008, Spine 33:90-4", "V"),
            threshold(
                "Pain 0-10",
                "reliable change 2.83 points",
                "1.96 × √2 × SEM 1.02, Childs 2005, Spine 30:1331-4",
                "C",
            ),
            threshold(
                "Oswestry Disability Index",
                "minimal important change 10 percentage points",
                "Ostelo 2008, Spine 33:90-4",
                "V",
            ),
        ],
    }
}

/// The invented bulletin.
pub fn bulletin() -> Bulletin {
    let quarters: Vec<Quarter> = [(2025, 3), (2025, 4), (2026, 1), (2026, 2), (2026, 3)]
        .iter()
        .filter_map(|&(y, q)| Quarter::new(y, q))
        .collect();
    let full = |key: &str, title: &str, region, due: u32, outcomes| ConditionFindings {
        key: key.into(),
        title: title.into(),
        region,
        episodes_started: Shown::Value(due + due / 7),
        episodes_due: Shown::Value(due),
        onset_mix: [
            Shown::Value(due / 9),
            Shown::Value(due / 6),
            Shown::Value(due * 2 / 3),
            Shown::Value(due - due / 9 - due / 6 - due * 2 / 3),
        ],
        outcomes,
    };
    let fitted = |course: &Course| CurveOutcome::Fitted(Box::new(curve(course)));
    let low_back = vec![
        outcome(&PAIN, 412, &quarters, fitted(&PAIN), Some(natural_course())),
        outcome(&DISABILITY, 412, &quarters, fitted(&DISABILITY), None),
    ];
    let neck_pain = Course { key: "pain_nrs_arm", title: "Pain 0-10, arm", start: 5.9, plateau: 3.9, ..PAIN };
    let why =
        "the weekly means fall at once and then stay level, so any half-time under a week fits as well as any other";
    let neck = vec![outcome(&neck_pain, 131, &quarters, CurveOutcome::NotIdentifiable(why.into()), None)];
    let stenosis_pain = Course { key: "pain_nrs_leg", title: "Pain 0-10, leg", start: 6.0, plateau: 4.6, ..PAIN };
    let stenosis = vec![outcome(&stenosis_pain, 38, &quarters, CurveOutcome::TooFewReadings, None), in_words(38)];
    Bulletin {
        group: "Harrow Vale group".into(),
        period: quarters.last().copied(),
        sites_compared: super::invented_sites::compared(&SITES, &quarters),
        site_findings: super::invented_sites::findings(&SITES, &quarters),
        lost: vec![super::invented_sites::lost(1)],
        setups: Some(super::invented_setups::setups()),
        dose: Some(super::invented_dose::dose(&SITES)),
        quarters,
        sites: SITES.map(String::from).to_vec(),
        withhold_up_to: 4,
        audience: Audience::Internal,
        conditions: vec![
            full(
                "lumbar_disc_radicular",
                "Lumbar disc disorder or sciatica with leg pain",
                Region::Lumbar,
                412,
                low_back,
            ),
            full("cervical_radicular", "Neck pain with radiating arm symptoms", Region::Cervical, 131, neck),
            full("lumbar_stenosis", "Lumbar spinal stenosis", Region::Lumbar, 38, stenosis),
            ConditionFindings {
                key: "not_recorded".into(),
                title: "Condition not recorded".into(),
                region: Region::Other,
                episodes_started: Shown::Withheld,
                episodes_due: Shown::Withheld,
                onset_mix: [Shown::Withheld; 4],
                outcomes: Vec::new(),
            },
        ],
        quality: data_quality(),
    }
}

fn outcome(
    course: &Course,
    due: u32,
    quarters: &[Quarter],
    curve: CurveOutcome,
    natural_course: Option<NaturalCourse>,
) -> OutcomeFindings {
    let is_fitted = curve.fitted().is_some();
    let mut completeness = Vec::new();
    let mut change = Vec::new();
    let mut responders = Vec::new();
    let definitions = vec![
        ("minimal_important".to_string(), course.label.to_string()),
        ("thirty_percent".to_string(), "at least 30 % lower".to_string()),
        ("fifty_percent".to_string(), "at least 50 % lower".to_string()),
    ];
    let mut add = |period: Period, site: Option<&str>, due: u32, drift: f64, share: f64| {
        let (condition, measure, site) = ("c".to_string(), course.key.to_string(), site.map(String::from));
        let both = (f64::from(due) * share) as u32;
        let is_small = both < 5;
        completeness.push(CompletenessRow {
            period: period.clone(),
            site: site.clone(),
            condition: condition.clone(),
            measure: measure.clone(),
            episodes: may(due, is_small),
            with_baseline: may(due - due / 25, is_small),
            with_endpoint: may(both, is_small),
            share: may(f64::from(both) / f64::from(due.max(1)), is_small),
            baseline_share: may(f64::from(due - due / 25) / f64::from(due.max(1)), is_small),
        });
        let moved = (course.plateau - course.start) * (0.8 + drift);
        let half = 2.0 * course.spread / f64::from(both.max(1)).sqrt();
        change.push(ChangeRow {
            period: period.clone(),
            site: site.clone(),
            condition: condition.clone(),
            measure: measure.clone(),
            episodes: may(both, is_small),
            baseline_mean: may(course.start, is_small),
            baseline_sd: may(course.spread, is_small),
            endpoint_mean: may(course.start + moved, is_small),
            endpoint_sd: may(1.1 * course.spread, is_small),
            change: may(Estimate { value: moved, low: moved - half, high: moved + half }, is_small),
            change_sd: may(course.spread, is_small),
            effect_size: may(-moved / course.spread, is_small),
        });
        for (position, (definition, _)) in definitions.iter().enumerate() {
            let rate = 0.62 + drift - [0.0, -0.04, 0.22][position.min(2)];
            let half = 0.98 / f64::from(both.max(1)).sqrt();
            let eligible = due - due / 25 - due / 14;
            let with = (f64::from(eligible) * share) as u32;
            responders.push(ResponderRow {
                period: period.clone(),
                site: site.clone(),
                condition: condition.clone(),
                measure: measure.clone(),
                definition: definition.clone(),
                denominator: "due episodes with a baseline high enough to respond",
                episodes: may(eligible, is_small),
                with_outcome: may(with, is_small),
                responders: may((f64::from(with) * rate) as u32, is_small),
                baseline_too_low: may(due / 14, is_small || due / 14 < 5),
                baseline_missing: may(due / 25, is_small || due / 25 < 5),
                rate: may(
                    Estimate { value: rate, low: (rate - half).max(0.0), high: (rate + half).min(1.0) },
                    is_small,
                ),
                worst_case: may(rate * share, is_small),
                best_case: may(rate * share + 1.0 - share, is_small),
                imputed: match is_fitted {
                    true => may(Estimate { value: rate - 0.03, low: rate - 0.09, high: rate + 0.03 }, is_small),
                    false => Shown::Missing,
                },
                tipping: [Tipping::Worse(course.spread), Tipping::Never, Tipping::AlreadyBelow]
                    .get(position)
                    .copied()
                    .filter(|_| is_fitted && period == Period::All && site.is_none()),
            });
        }
    };
    add(Period::All, None, due, 0.0, 0.82);
    for (position, site) in SITES.into_iter().enumerate() {
        let (share, drift) =
            [(0.88, 0.0), (0.9, 0.04), (0.85, 0.17), (0.81, -0.05), (0.58, 0.02), (0.8, -0.1)][position];
        add(Period::All, Some(site), [110, 84, 68, 79, 66, 5][position] * due / 412, drift, share);
    }
    for (position, &quarter) in quarters.iter().enumerate() {
        add(
            Period::Quarter(quarter),
            None,
            due * (17 + position as u32) / 100,
            [-0.06, 0.0, 0.02, 0.01, 0.05][position],
            0.82,
        );
    }
    let fall = |t: f64| course.plateau + (course.start - course.plateau) * (-t / 4.2_f64).exp();
    let weeks = if due < 50 { 4 } else { 13 };
    let wobble = [0.3, -0.8, 0.9, -0.4, 0.6, -0.2, 0.8, -1.1, 0.2, 0.7, -0.6, 0.3, 0.9];
    OutcomeFindings {
        key: course.key.into(),
        title: course.title.into(),
        unit: course.unit.into(),
        decimals: 1,
        range: course.range,
        lower_is_better: true,
        ordinal: false,
        completeness,
        change,
        ordinal_change: Vec::new(),
        responders,
        definitions,
        weeks: (0..weeks)
            .map(|week| {
                let episodes = due - due * week / 20;
                let mean = fall(f64::from(week)) + 0.05 * course.spread * wobble[week as usize];
                let half = 2.0 * course.spread / f64::from(episodes).sqrt();
                WeekPoint {
                    week,
                    day: 7.0 * f64::from(week),
                    episodes,
                    mean: Estimate { value: mean, low: mean - half, high: mean + half },
                    band: Some((mean - 1.3 * course.spread, mean + 1.3 * course.spread)),
                    median: mean - 0.12 * course.spread * f64::from(week % 3),
                }
            })
            .collect(),
        curve_patients: Shown::Value(due),
        curve_readings: due * 7,
        curve,
        time_to_response: time_to_response(course, due),
        backtest: is_fitted.then(|| backtest(course, due)),
        natural_course,
        cumulative: (-8..=24)
            .map(|step| {
                let improvement = f64::from(step) * course.range.1 / 40.0;
                let middle = 0.8 * (course.start - course.plateau);
                let share = 1.0 / (1.0 + (1.7 * (improvement - middle) / course.spread).exp());
                (improvement, share, 0.82 * share)
            })
            .collect(),
        against_previous: Some(AgainstPrevious {
            change: Some(Difference {
                estimate: Estimate { value: -0.02 * course.start, low: -0.1 * course.start, high: 0.06 * course.start },
                p: Some(0.6),
                q: Some(0.9),
            }),
            rate: Some(Difference {
                estimate: Estimate { value: 0.04, low: -0.09, high: 0.17 },
                p: Some(0.5),
                q: Some(0.9),
            }),
        }),
        against_year_ago: None,
    }
}

/// An ordinal outcome of few patients: no means, no curve, and a category that is withheld.
fn in_words(due: u32) -> OutcomeFindings {
    let words = Course { key: "pain_verbal", title: "Pain in words", unit: "", range: (0.0, 4.0), ..PAIN };
    let nothing = CurveOutcome::NotIdentifiable("the words of the scale have an order but no distances".into());
    OutcomeFindings {
        decimals: 0,
        ordinal: true,
        change: Vec::new(),
        ordinal_change: vec![OrdinalRow {
            period: Period::All,
            site: None,
            condition: "c".into(),
            measure: words.key.into(),
            episodes: Shown::Value(30),
            baseline_median: Shown::Value(3.0),
            endpoint_median: Shown::Value(2.0),
            better: Shown::Value(19),
            same: Shown::Withheld,
            worse: Shown::Withheld,
        }],
        responders: Vec::new(),
        definitions: Vec::new(),
        weeks: Vec::new(),
        cumulative: Vec::new(),
        against_previous: None,
        against_year_ago: None,
        time_to_response: Vec::new(),
        backtest: None,
        ..outcome(&words, due, &[], nothing, None)
    }
}

fn may<T>(value: T, is_small: bool) -> Shown<T> {
    if is_small { Shown::Withheld } else { Shown::Value(value) }
}

fn curve(course: &Course) -> Curve {
    let around = |value: f64, half: f64| Estimate { value, low: value - half, high: value + half };
    let half = course.spread / 10.0;
    Curve {
        model: CurveModel::Exponential,
        parameters: vec![
            Parameter {
                name: "baseline",
                value: course.start,
                uncertainty: Some((half / 2.0, course.start - half, course.start + half)),
            },
            Parameter { name: "sd_residual", value: course.spread / 2.0, uncertainty: None },
        ],
        baseline: around(course.start, half),
        plateau: Some(around(course.plateau, half)),
        half_time_days: Some(around(20.4, 2.6)),
        important_change: Some(0.2 * course.range.1),
        day_of_important_change: Some(around(21.0, 4.0)),
        points: (0..=84)
            .map(|day| {
                let t = f64::from(day) / 7.0;
                let value = course.plateau + (course.start - course.plateau) * (-t / 4.2).exp();
                let band = ((value - 1.3 * course.spread).max(0.0), value + 1.3 * course.spread);
                CurvePoint { day: f64::from(day), mean: around(value, half), band }
            })
            .collect(),
        choice: Some(Choice { margin: 0.21, margin_error: 0.06, patients: 410 }),
        at_best_end: 0.12,
        at_worst_end: 0.02,
        drawn_from: None,
        ends: None,
        singular: None,
        evidence: "7 iterations; gradient norm 2e-9".into(),
    }
}

/// A first response and a sustained one.
fn time_to_response(course: &Course, due: u32) -> Vec<TimeToResponse> {
    let share = |day: f64, limit: f64| limit * (1.0 - (-day / 25.0).exp());
    let around = |value: f64, half: f64| Estimate { value, low: (value - half).max(0.0), high: value + half };
    let first = TimeToResponse {
        definition: "minimal_important".into(),
        label: course.label.into(),
        episodes: Shown::Value(due),
        events: Shown::Value(due * 6 / 10),
        stopped: Shown::Value(due / 8),
        median_day: Some(31.0),
        median_low: Some(28.0),
        median_high: None,
        p_logrank: Some(0.04),
        incidence: (0..=12)
            .map(|week| 7.0 * f64::from(week))
            .map(|day| IncidencePoint { day, response: around(share(day, 0.64), 0.06 * (day / 84.0).sqrt()) })
            .collect(),
        stopped_by: (0..=12).map(|week| 7.0 * f64::from(week)).map(|day| (day, share(day, 0.12))).collect(),
    };
    let sustained = TimeToResponse {
        definition: "sustained_minimal_important".into(),
        label: format!("{}, at two readings in a row", course.label),
        events: Shown::Value(due * 4 / 10),
        median_day: None,
        median_low: Some(63.0),
        p_logrank: None,
        ..first.clone()
    };
    vec![first, sustained]
}

/// Two ways to hold patients out, five follow-up readings each; disability is withheld.
fn backtest(course: &Course, due: u32) -> Backtest {
    let around = |value: f64, half: f64| Some(Estimate { value, low: value - half, high: value + half });
    let row = |scheme: &'static str, visit_no: u32| BacktestRow {
        scheme,
        visit_no,
        patients: due - due / 20 * visit_no,
        auc: around(0.66 + 0.04 * f64::from(visit_no), 0.05),
        brier: Some(0.21),
        calibration_slope: around(0.95, 0.2),
        calibration_intercept: around(0.03, 0.1),
        band_coverage: around(0.79, 0.03),
        sensitivity: around(0.5, 0.08),
        specificity: around(0.88, 0.05),
        ppv: around(0.7, 0.1),
    };
    let why = "`behind` and `ahead` are withheld for this measure, since its 80 % band held 66 % of the readings";
    let is_pain = course.key.starts_with("pain");
    Backtest {
        rows: ["five folds by patient", "later episodes"]
            .into_iter()
            .flat_map(|scheme| (1..=5).map(move |visit_no| row(scheme, visit_no)))
            .collect(),
        coverage: around(if is_pain { 0.79 } else { 0.66 }, 0.02),
        withheld: (!is_pain).then(|| why.into()),
    }
}

fn natural_course() -> NaturalCourse {
    let at = |week: f64, value: f64, low: f64, high: f64| (7.0 * week, Estimate { value, low, high });
    NaturalCourse {
        label: "published cohorts, persistent pain, weeks from study entry".into(),
        citation: "Wallwork 2024, CMAJ 196:E29-46".into(),
        points: vec![at(0.0, 5.6, 3.7, 7.4), at(6.0, 4.8, 3.2, 6.4), at(26.0, 4.3, 2.9, 5.7), at(52.0, 4.0, 2.7, 5.4)],
    }
}

fn data_quality() -> DataQuality {
    let file = |file: &str, kept: u64, duplicate: u64, rejected: u64, left_out: u64, blanked: u64| FileAccount {
        file: file.into(),
        lines: 1 + kept + duplicate + rejected,
        lines_of_head: 1,
        lines_blank: 0,
        lines_in_cells: 0,
        rows_not_listed: 0,
        rows_read: kept + duplicate + rejected,
        rows_kept: kept,
        rows_duplicate: duplicate,
        rows_rejected: rejected,
        rows_left_out: left_out,
        cells_blanked: blanked,
    };
    let reason = |file: &str, column: &str, reason: &str, count: u64, first_line: u64| ReasonCount {
        file: file.into(),
        column: column.into(),
        reason: reason.into(),
        count,
        first_line,
    };
    let files = vec![
        file("exports/alderwick-2025.csv", 2210, 12, 30, 0, 61),
        file("exports/alderwick-2026.csv", 1890, 8, 22, 0, 40),
        file("exports/brindleford.csv.gz", 1720, 40, 11, 0, 12),
        file("exports/coldlarch.txt", 1204, 0, 3, 0, 5),
        file("exports/dunnock-hill.csv", 1422, 3, 160, 151, 33),
        file("exports/eastlow.csv", 980, 1, 2, 0, 0),
        file("exports/fennick-bridge.csv", 752, 6, 6, 0, 18),
    ];
    DataQuality {
        total: FileAccount::total(&files),
        files,
        rejections: vec![
            reason("exports/alderwick-2025.csv", "Datum", "the date is not in the declared format", 17, 204),
            reason("exports/alderwick-2025.csv", "Zug", "the pull is negative or above body weight", 13, 881),
            reason("exports/dunnock-hill.csv", "is_patient", "left out by the filter on is_patient", 151, 2),
        ],
        blanked: vec![reason("exports/brindleford.csv.gz", "NRS", "the score is off its scale of 0 to 10", 12, 77)],
        disagreements: vec![reason(
            "exports/brindleford.csv.gz",
            "",
            "two rows of one visit with different values",
            9,
            310,
        )],
        dropped: vec![
            ("exports/alderwick-2025.csv".into(), "Name".into()),
            ("exports/alderwick-2025.csv".into(), "Bemerkung".into()),
        ],
        unmapped: vec![("exports/eastlow.csv".into(), "Room".into())],
        calendar_files: 6,
        offset_files: 1,
        episode_notes: vec![
            ("episodes with visits at two sites".into(), 11),
            ("episodes of two regions at one time".into(), 7),
            ("episodes still open: not due".into(), 96),
            ("due episodes without a baseline".into(), 23),
        ],
    }
}
