//! An invented worklist of the Harrow Vale group, for tests. No number in it is a result.

use crate::catalogue::Region;
use crate::findings::bulletin::Estimate;
use crate::findings::curve::CurveModel;
use crate::findings::worklist::*;
use chrono::NaiveDate;

/// Departures from the smooth course, in the order of the readings.
const WOBBLE: [f64; 6] = [0.0, 0.6, -0.4, 0.3, -0.7, 0.2];

/// An outcome with the course of an invented patient.
struct Score {
    key: &'static str,
    title: &'static str,
    unit: &'static str,
    decimals: usize,
    range: (f64, f64),
    lower_is_better: bool,
    from: f64,
    towards: f64,
    expected_towards: f64,
    half_band: f64,
}

const PAIN: Score = Score {
    key: "pain_nrs_leg",
    title: "Pain 0-10, leg",
    unit: "points",
    decimals: 1,
    range: (0.0, 10.0),
    lower_is_better: true,
    from: 7.0,
    towards: 3.0,
    expected_towards: 3.2,
    half_band: 1.8,
};
const DISABILITY: Score = Score {
    key: "odi",
    title: "Oswestry Disability Index",
    unit: "%",
    range: (0.0, 100.0),
    from: 46.0,
    towards: 24.0,
    expected_towards: 26.0,
    half_band: 13.0,
    ..PAIN
};
/// Higher is better.
const FUNCTION: Score = Score {
    key: "patient_specific_function",
    title: "Function in own activities, 0-10",
    lower_is_better: false,
    from: 3.0,
    towards: 7.4,
    expected_towards: 6.2,
    half_band: 1.5,
    ..PAIN
};

fn course(from: f64, towards: f64, day: f64) -> f64 {
    towards + (from - towards) * 0.5_f64.powf(day.max(0.0) / 14.0)
}

fn outcome(score: &Score, days: &[i32], status: Status, reason: &str) -> OutcomeOnTrack {
    let within = |x: f64| x.clamp(score.range.0, score.range.1);
    let half_band = score.half_band;
    let band = |day: f64| {
        let value = course(score.from, score.expected_towards, day);
        Estimate { value, low: within(value - half_band), high: within(value + half_band) }
    };
    let readings: Vec<ReadingPoint> = days
        .iter()
        .enumerate()
        .map(|(i, &day)| ReadingPoint {
            day,
            value: within(
                course(score.from, score.towards, f64::from(day)) + WOBBLE[i % WOBBLE.len()] * half_band / 2.0,
            ),
            expected: (i > 0).then(|| band(f64::from(day))),
        })
        .collect();
    let last = readings[readings.len() - 1];
    let endpoint = f64::from(last.day + 14).max(56.0);
    let to_come = (0..=6)
        .map(|i| f64::from(last.day) + f64::from(i) / 6.0 * (endpoint - f64::from(last.day)))
        .map(|day| (day, band(day)));
    let (next_day, side) = (f64::from(last.day) + 4.0, if score.lower_is_better { -1.0 } else { 1.0 });
    let expected = band(next_day);
    OutcomeOnTrack {
        key: score.key.into(),
        title: score.title.into(),
        unit: score.unit.into(),
        decimals: score.decimals,
        range: score.range,
        lower_is_better: score.lower_is_better,
        status,
        reason: reason.into(),
        day: last.day,
        last_value: last.value,
        expected: last.expected,
        percentile: Some(37.0),
        chance_of_response: Some(0.58),
        endpoint_day: Some(endpoint),
        to_come: to_come.collect(),
        next: Some(NextReading {
            day: next_day,
            expected,
            good_news: within(expected.value + 0.65 * side * half_band),
            bad_news: within(expected.value - 0.65 * side * half_band),
        }),
        model: Some(CurveModel::Exponential),
        readings,
    }
}

/// Pull that is raised every so often, an angle changed once, and a session length that never changes.
fn channels(last_day: i32, step: i32) -> Vec<Channel> {
    let days: Vec<i32> = (0..=last_day).step_by(3).chain((last_day % 3 != 0).then_some(last_day)).collect();
    let channel = |label, unit, decimals, value: &dyn Fn(i32) -> f64| {
        let points: Vec<(i32, f64)> = days.iter().map(|&day| (day, value(day))).collect();
        let changes = points.windows(2).filter(|w| w[0].1 != w[1].1).map(|w| (w[1].0, w[0].1, w[1].1)).collect();
        Channel { label, unit, decimals, points, changes }
    };
    vec![
        channel("peak pull", "N", 0, &|day| 200.0 + 20.0 * f64::from((day / step).min(6))),
        channel("pull, share of body weight", "%", 0, &|day| 26.0 + 2.6 * f64::from((day / step).min(6))),
        channel("angle of pull", "degrees", 0, &|day| if day > last_day / 2 { 15.0 } else { 10.0 }),
        channel("session", "min", 0, &|_| 20.0),
    ]
}

fn patient(key: &str, clinician: Option<&str>, outcomes: Vec<OutcomeOnTrack>) -> PatientOnTrack {
    let last = outcomes.iter().map(|o| o.day).max().unwrap_or(4);
    let leading = outcomes.first();
    PatientOnTrack {
        site: "Alderwick".into(),
        clinician: clinician.map(String::from),
        patient: key.into(),
        episode: 1,
        condition: "lumbar_disc_radicular".into(),
        condition_title: "Lumbar disc disorder or sciatica with leg pain".into(),
        region: Region::Lumbar,
        caution: false,
        first_visit: NaiveDate::from_ymd_opt(2026, 9, 3),
        last_visit_day: last,
        visits: (last / 3 + 1) as u32,
        planned_visits: Some(18),
        in_care: true,
        status: leading.map_or(Status::TooFewReadings, |o| o.status),
        reason: leading.map_or("no reading yet that a prediction could start from".into(), |o| {
            format!("{}: {}", o.title, o.reason)
        }),
        overdue: Vec::new(),
        channels: channels(last, 9),
        outcomes,
    }
}

const WEEKLY: [i32; 6] = [-2, 7, 14, 21, 28, 35];

/// The invented worklist: every status, and everything that is awkward.
pub fn worklist() -> Worklist {
    let worse = Score { towards: 9.2, ..PAIN };
    let slow = Score { towards: 6.0, ..PAIN };
    let fast = Score { towards: 1.0, ..PAIN };
    let worsening = "9.0 on day 35, 7.0 at baseline: worse by 2.0, more than measurement error explains (1.8)";
    let behind = "6.2 on day 35, expected 3.9 (2.1 to 5.7); of 100 patients who began alike, 9 would score worse; chance of an important \
                  change by day 56: 31 %";
    let ahead = "2.2 on day 35, expected 3.9 (2.1 to 5.7); of 100 patients who began alike, 88 would score worse; chance of an important \
                 change by day 56: 91 %";
    let fine = "29.2 on day 35, expected 29.5 (16.5 to 42.5); of 100 patients who began alike, 47 would score worse; chance of an \
                important change by day 56: 62 %";

    let mut first = patient(
        "HV-0412",
        Some("A3"),
        vec![
            outcome(&worse, &WEEKLY, Status::Worsening, worsening),
            outcome(&DISABILITY, &WEEKLY, Status::AsExpected, fine),
        ],
    );
    (first.episode, first.caution) = (2, true);
    first.overdue = vec!["disability was last read 21 days of care ago".into()];
    let mut earlier = patient("HV-0412", Some("A3"), vec![outcome(&fast, &WEEKLY, Status::Ahead, ahead)]);
    (earlier.in_care, earlier.first_visit) = (false, NaiveDate::from_ymd_opt(2025, 11, 20));

    let second = patient("hv-0412", Some("a3"), vec![outcome(&slow, &WEEKLY, Status::Behind, behind)]);
    let mut long = patient(
        "HV-1001",
        None,
        vec![outcome(&DISABILITY, &(0..60).map(|i| 5 * i).collect::<Vec<_>>(), Status::Behind, fine)],
    );
    (long.channels, long.planned_visits, long.site) = (channels(295, 30), None, "Fennick Bridge".into());
    let mut alone = outcome(&PAIN, &[0], Status::TooFewReadings, "7.0 on day 0; no reading after the baseline yet");
    (alone.expected, alone.percentile, alone.chance_of_response, alone.endpoint_day) = (None, None, None, None);
    (alone.next, alone.model, alone.to_come) = (None, None, Vec::new());
    let mut bare = patient("../../etc/passwd", Some("B/2 <Brindleford>"), vec![alone]);
    (bare.first_visit, bare.planned_visits, bare.channels) = (None, None, Vec::new());
    let mut unread = patient("Ünal & <b>Öz</b>", None, Vec::new());
    unread.overdue = ["pain", "disability"].map(|what| format!("{what} has not been read in 25 days of care")).into();
    let higher = patient(
        "con",
        Some("A3"),
        vec![outcome(
            &FUNCTION,
            &WEEKLY,
            Status::Ahead,
            "7.4 on day 35, expected 5.6 (4.1 to 7.1); of 100 patients who began alike, 91 would score worse",
        )],
    );
    let plain =
        patient("x".repeat(400).as_str(), Some("C1"), vec![outcome(&DISABILITY, &WEEKLY, Status::AsExpected, fine)]);
    Worklist {
        group: "Harrow Vale group".into(),
        up_to: NaiveDate::from_ymd_opt(2026, 10, 12),
        rules: vec![
            "Worsening: worse than the reading before by more than the measure's own error explains, or beyond 97.5 % of \
             what was predicted for this patient."
                .into(),
            "Behind: in the lowest fifth of patients with the same baseline, and the chance of a minimal important change is \
             under one half."
                .into(),
            "Ahead: in the best fifth of patients with the same baseline.".into(),
        ],
        patients: vec![first, second, long, bare, unread, plain, higher, earlier],
    }
}
