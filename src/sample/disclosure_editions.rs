//! What two editions for release, one patient apart, tell of that patient.
//!
//! **The attacker** has both editions, knows that the one patient is all that differs, where and when they were treated, and how everything is
//! rounded. **The criterion**: of every count that both show, the patient may be in it or not; and the scores that fit both
//! editions' means lie at least two standard deviations apart, over all lines that the patient is in taken together. A score that is
//! told no more exactly than this is known from the sheet of anybody.

use super::{SampleOptions, write};
use crate::findings::bulletin::{Bulletin, ChangeRow, Estimate, Period, Shown};
use crate::findings::rounding::Precision;
use crate::findings::whole_tests::circulating_of;
use crate::group::settings::Audience;
use crate::models::fitted_course::FittedCourses;
use std::collections::BTreeMap;
use std::path::Path;

/// Counts that may stand behind one shown, whatever was drawn.
fn behind(shown: u32) -> std::ops::RangeInclusive<u32> {
    match shown {
        0 => 0..=0,
        15 => 11..=18,
        shown => shown - 3..=shown + 3,
    }
}

/// Every count of people by what it is of; those withheld as `None`.
fn counts(bulletin: &Bulletin) -> BTreeMap<String, Option<u32>> {
    let mut found = BTreeMap::new();
    let mut put = |name: String, count: &Shown<u32>| match count {
        Shown::Value(n) => {
            found.insert(name, Some(*n));
        }
        Shown::Withheld => {
            found.insert(name, None);
        }
        Shown::Missing => {}
    };
    for condition in &bulletin.conditions {
        let key = &condition.key;
        put(format!("{key} started"), &condition.episodes_started);
        put(format!("{key} due"), &condition.episodes_due);
        condition.onset_mix.iter().enumerate().for_each(|(class, n)| put(format!("{key} onset {class}"), n));
        for outcome in &condition.outcomes {
            let about = format!("{key} {}", outcome.key);
            for row in &outcome.completeness {
                let at = format!("{about} {:?} {:?}", row.period, row.site);
                put(format!("{at} episodes"), &row.episodes);
                put(format!("{at} baseline"), &row.with_baseline);
                put(format!("{at} endpoint"), &row.with_endpoint);
            }
            for row in &outcome.responders {
                let at = format!("{about} {:?} {:?} {}", row.period, row.site, row.definition);
                put(format!("{at} denominator"), &row.episodes);
                put(format!("{at} outcome"), &row.with_outcome);
                put(format!("{at} responders"), &row.responders);
                put(format!("{at} too low"), &row.baseline_too_low);
                put(format!("{at} no baseline"), &row.baseline_missing);
            }
            for found in &outcome.time_to_response {
                let at = format!("{about} {}", found.definition);
                put(format!("{at} could respond"), &found.episodes);
                put(format!("{at} responded"), &found.events);
                put(format!("{at} stopped"), &found.stopped);
            }
            for week in &outcome.weeks {
                put(format!("{about} week {}", week.week), &Shown::Value(week.episodes));
            }
        }
    }
    for site in &bulletin.site_findings {
        let of = |kind: &str| format!("{} {kind}", site.site);
        put(of("due"), &site.ended.due);
        put(of("completed"), &site.ended.completed);
        put(of("stopped"), &site.ended.stopped_early);
        put(of("lost"), &site.ended.lost);
        put(of("not recorded"), &site.ended.not_recorded);
    }
    found
}

/// The edition of a group folder, without the rows of one patient.
fn edition(folder: &Path, without: Option<&str>) -> Bulletin {
    let copy = tempfile::tempdir().unwrap();
    copy_without(folder, copy.path(), without);
    let [shown, _] = circulating_of(copy.path(), Audience::Release, FittedCourses::fit);
    shown
}

fn copy_without(from: &Path, to: &Path, key: Option<&str>) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy_without(&path, &target, key);
            continue;
        }
        let bytes = std::fs::read(&path).unwrap();
        let lines = bytes.split_inclusive(|byte| *byte == b'\n');
        let is_theirs = |line: &[u8]| key.is_some_and(|key| line.windows(key.len()).any(|part| part == key.as_bytes()));
        let is_packed = path.extension().is_some_and(|ending| ending == "gz");
        let kept = lines.filter(|line| is_packed || !is_theirs(line)).collect::<Vec<_>>().concat();
        std::fs::write(target, kept).unwrap();
    }
}

/// What the editions show of one mean: (mean, its grain, number).
type Told = (f64, f64, u32);

/// The values of the one patient that fit both editions' means, whatever the numbers behind are.
fn fitting(with: Told, without: Told) -> Option<(f64, f64)> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for n in behind(with.2).filter(|n| behind(without.2).contains(&(n - 1))) {
        let (n, slack) = (f64::from(n), 0.5 * (f64::from(n) * with.1 + (f64::from(n) - 1.0) * without.1));
        let value = n * with.0 - (n - 1.0) * without.0;
        (low, high) = (low.min(value - slack), high.max(value + slack));
    }
    (low <= high).then_some((low, high))
}

/// The finest step by the rule that numbers of a mean may have been rounded to, for any number behind it and an SD that is rounded itself.
fn grain(numbers: &[f64], sd: f64, n: u32) -> f64 {
    let divides = |step: &f64| numbers.iter().all(|number| (number / step - (number / step).round()).abs() < 1e-6);
    let steps = behind(n).flat_map(|n| [0.7, 0.85, 1.0, 1.15, 1.3].map(|times| times * sd / f64::from(n).sqrt()));
    let widths = steps.filter_map(|error| Some(Precision::Release(0).step(error)?.width()));
    widths.filter(divides).reduce(f64::min).unwrap_or(0.0)
}

fn value<T: Copy>(shown: &Shown<T>) -> Option<T> {
    match shown {
        Shown::Value(value) => Some(*value),
        Shown::Withheld | Shown::Missing => None,
    }
}

/// Means of a line of change by name, with their spreads.
fn means(row: &ChangeRow) -> Option<[(Told, f64); 3]> {
    let n = value(&row.episodes)?;
    let told = |mean: f64, sd: f64, numbers: &[f64]| ((mean, grain(numbers, sd, n), n), sd);
    let (start, start_sd) = (value(&row.baseline_mean)?, value(&row.baseline_sd)?);
    let (end, end_sd) = (value(&row.endpoint_mean)?, value(&row.endpoint_sd)?);
    let (change, change_sd): (Estimate, f64) = (value(&row.change)?, value(&row.change_sd)?);
    Some([
        told(start, start_sd, &[start]),
        told(end, end_sd, &[end]),
        told(change.value, change_sd, &[change.value, change.low, change.high]),
    ])
}

#[test]
fn two_editions_one_patient_apart_tell_next_to_nothing_of_that_patient() {
    let group = tempfile::tempdir().unwrap();
    write(group.path(), SampleOptions { seed: 11, patients: 500, faults: true }).unwrap();
    let whole = edition(group.path(), None);
    let before = counts(&whole);
    let export = std::fs::read_to_string(group.path().join("exports/alderwick.csv")).unwrap();
    let keys: Vec<String> =
        export.lines().skip(1).filter_map(|line| Some(line.split(',').next()?.to_owned())).collect();
    let mut patients: Vec<&String> = keys.iter().filter(|key| key.len() == 12).collect();
    patients.sort_unstable();
    patients.dedup();
    let (mut moved, mut narrowest) = (0, f64::INFINITY);
    for key in patients.iter().step_by(patients.len() / PATIENTS) {
        let without = edition(group.path(), Some(key));
        let after = counts(&without);
        for (name, with) in &before {
            let (Some(with), Some(Some(without))) = (with, after.get(name)) else { continue };
            moved += u32::from(with != without);
            for differs_by in [0, 1] {
                let fits = behind(*with).any(|n| n >= differs_by && behind(*without).contains(&(n - differs_by)));
                assert!(fits || *with == 0, "{name}: {with} and {without} are not {differs_by} apart");
            }
        }
        narrowest = narrowest.min(scores(&whole, &without));
    }
    assert!(moved > 20, "the borders of the fives move by themselves: {moved}");
    println!("narrowest range of scores that fits both editions: {narrowest:.1} standard deviations");
}

/// Patients left out in turn.
const PATIENTS: usize = 4;

/// How narrow, in standard deviations, the scores of the patient are told over the lines of the site's patients.
fn scores(whole: &Bulletin, without: &Bulletin) -> f64 {
    let mut narrowest = f64::INFINITY;
    for (condition, other) in whole.conditions.iter().flat_map(|condition| {
        let other = without.conditions.iter().find(|other| other.key == condition.key);
        other.map(|other| (condition, other))
    }) {
        for outcome in &condition.outcomes {
            let Some(twin) = other.outcomes.iter().find(|twin| twin.key == outcome.key) else { continue };
            // baseline, endpoint and change, each over all periods: of the group and of the site
            let mut ranges = [(f64::NEG_INFINITY, f64::INFINITY); 3];
            let mut spreads = [f64::INFINITY; 3];
            for row in outcome.change.iter().filter(|row| row.period == Period::All) {
                if row.site.as_deref().is_some_and(|site| site != "Alderwick") {
                    continue;
                }
                let same = |other: &&ChangeRow| other.period == row.period && other.site == row.site;
                let Some((with, out)) = means(row).zip(twin.change.iter().find(same).and_then(means)) else { continue };
                for (place, (with, out)) in with.into_iter().zip(out).enumerate() {
                    if let Some((low, high)) = fitting(with.0, out.0) {
                        ranges[place] = (ranges[place].0.max(low), ranges[place].1.min(high));
                        spreads[place] = spreads[place].min(with.1);
                    }
                }
            }
            for (place, ((low, high), sd)) in
                ranges.iter().zip(spreads).enumerate().filter(|(_, (range, _))| range.0.is_finite())
            {
                // lines that the patient is not in may contradict each other: then the attacker learns that
                let width = (high - low) / sd;
                if width > 0.0 {
                    assert!(width >= 2.0, "{} {} {place}: {low:.2} to {high:.2}, SD {sd}", condition.key, outcome.key);
                    narrowest = narrowest.min(width);
                }
            }
        }
    }
    narrowest
}
