//! Words inside the figures, and their text alternatives.

use super::{WITHHELD, count, decimal, percent, percent_with_interval, range, signed, with_interval};
use crate::report::figures::{
    ChangeBy, CompletenessBySite, DistributionOfChange, Responders, RowAccounts, ScoreAxis, WeeklyCourse,
};

/// Under the weeks.
pub const WEEKS_AXIS: &str = "weeks since first treated visit; n = patients with a reading in the week";
/// At the last observed week.
pub const OBSERVED_LABEL: &str = "observed mean, tinted: its 95\u{a0}% interval";
/// Under the responders.
pub const RESPONDERS_AXIS: &str = "share of patients who responded";
/// Under the completeness.
pub const COMPLETENESS_AXIS: &str = "share of the episodes that were due";
/// Over the denominators of the completeness.
pub const BOTH_OF_DUE: &str = "both, of due";
/// Over the open dots.
pub const BASELINE_DOT: &str = "baseline";
/// Over the filled dots.
pub const ENDPOINT_DOT: &str = "baseline and endpoint";
/// At zero improvement.
pub const NO_CHANGE: &str = "no change";
/// What can become of a row, in the order of the columns.
pub const ROW_FATES: [&str; 3] = ["kept", "duplicate", "rejected"];

/// Which way is better.
pub fn direction(lower_is_better: bool) -> &'static str {
    if lower_is_better { "lower is better" } else { "higher is better" }
}

/// Under a change, with an arrow to the better side.
pub fn change_axis(axis: &ScoreAxis) -> String {
    if axis.lower_is_better {
        format!("← better · mean change, {}", axis.title)
    } else {
        format!("mean change, {} · better →", axis.title)
    }
}

/// Under the distribution of change.
pub fn improvement_axis(axis: &ScoreAxis) -> String {
    format!("improved by at least so much, {}", axis.title)
}

/// What stands at the ends of the bracket; the first row says what they are.
pub fn worst_and_best(worst: f64, best: f64, is_first: bool) -> (String, String) {
    let (worst, best) = (percent(worst), percent(best));
    if is_first { (format!("worst case {worst}"), format!("best case {best}")) } else { (worst, best) }
}

/// Text alternative of the weekly course.
pub fn describe_weekly_course(data: &WeeklyCourse) -> String {
    let places = data.axis.decimals;
    let mut said = format!("{}, {}. ", data.axis.title, direction(data.axis.lower_is_better));
    for week in &data.weeks {
        said.push_str(&format!(
            "Week {}: {}, {} patients. ",
            week.week,
            with_interval(week.mean, week.low, week.high, places),
            count(week.patients)
        ));
    }
    if let Some(curve) = &data.curve {
        said.push_str(&format!("Fitted curve: {}; {}. ", curve.plateau_label, curve.half_time_label));
    }
    if let Some(cohort) = &data.natural_course {
        said.push_str(&format!("{}: ", cohort.label));
        let points = cohort.points.iter().map(|p| {
            format!("week {} {}", decimal(p.week, 0), with_interval(p.mean, p.low, p.high, places))
        });
        said.push_str(&points.collect::<Vec<_>>().join("; "));
        said.push('.');
    }
    said.trim_end().to_string()
}

/// Text alternative of the responders.
pub fn describe_responders(data: &Responders) -> String {
    let rows = data.definitions.iter().map(|d| {
        format!(
            "{}: {}, {}; worst case {}, best case {}.",
            d.label,
            percent_with_interval(d.rate.0, d.rate.1, d.rate.2),
            d.denominator,
            percent(d.worst_case),
            percent(d.best_case)
        )
    });
    rows.collect::<Vec<_>>().join(" ")
}

/// Text alternative of the change by site or quarter.
pub fn describe_change_by(data: &ChangeBy) -> String {
    let rows = data.rows.iter().map(|row| match row.shown {
        Some(shown) => format!(
            "{}: {} ({}), {} patients.",
            row.label,
            signed(shown.mean, data.axis.decimals),
            range(shown.low, shown.high, data.axis.decimals),
            count(shown.patients)
        ),
        None => format!("{}: withheld.", row.label),
    });
    format!("{}. {}. {}", change_axis(&data.axis), data.group_label, rows.collect::<Vec<_>>().join(" "))
}

/// Text alternative of the distribution of change.
pub fn describe_distribution(data: &DistributionOfChange) -> String {
    let places = data.axis.decimals;
    let about_twenty = data.points.len().div_ceil(20).max(1);
    let points = data.points.iter().step_by(about_twenty).map(|(improvement, share, worst)| {
        format!("{} or more: {}, worst case {}", decimal(*improvement, places), percent(*share), percent(*worst))
    });
    format!("{}. {}.", improvement_axis(&data.axis), points.collect::<Vec<_>>().join("; "))
}

/// Text alternative of the completeness by site.
pub fn describe_completeness(data: &CompletenessBySite) -> String {
    let rows = data.sites.iter().map(|site| match &site.shown {
        Some(shown) => format!(
            "{}: baseline {}, baseline and endpoint {}, {}.",
            site.site,
            percent(shown.with_baseline),
            percent(shown.with_endpoint),
            shown.denominator
        ),
        None => format!("{}: withheld ({WITHHELD}).", site.site),
    });
    rows.collect::<Vec<_>>().join(" ")
}

/// Text alternative of the row accounts.
pub fn describe_accounts(data: &RowAccounts) -> String {
    let rows = data.files.iter().map(|f| {
        format!(
            "{}: {} kept, {} duplicate, {} rejected.",
            f.file,
            count(f.kept),
            count(f.duplicate),
            count(f.rejected)
        )
    });
    rows.collect::<Vec<_>>().join(" ")
}
