//! Words inside the figures, and their text alternatives.

use super::imputation;
use super::{count, decimal, percent, percent_with_interval, range, signed};
use crate::report::figures::{ChangeBy, CompletenessBySite, DistributionOfChange, Responders, RowAccounts, ScoreAxis};

/// Under the responders.
pub const RESPONDERS_AXIS: &str = "share that responded";
/// Over the denominators of the responders.
pub const OF_THOSE_WITH_ENDPOINT: &str = "responders of those with an outcome";
/// Under the completeness.
pub const COMPLETENESS_AXIS: &str = "share of the episodes that were due";
/// Over the denominators of the completeness.
pub const BOTH_OF_DUE: &str = "both, of due";
/// Over the open dots.
pub const BASELINE_DOT: &str = "baseline";
/// Over the filled dots.
pub const ENDPOINT_DOT: &str = "baseline and endpoint";
/// Over the changes.
pub const CHANGE: &str = "change";
/// In place of a row whose numbers are withheld.
pub const WITHHELD_ROW: &str = "– withheld";
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
        format!("← better · mean change, {}", axis.change_title)
    } else {
        format!("mean change, {} · better →", axis.change_title)
    }
}

/// Under the distribution of change.
pub fn improvement_axis(axis: &ScoreAxis) -> String {
    format!("improved by at least so much: {}", axis.change_title)
}

/// What stands at the ends of the bracket; the first row says what they are.
pub fn worst_and_best(worst: f64, best: f64, is_first: bool) -> (String, String) {
    let (worst, best) = (percent(worst), percent(best));
    if is_first { (format!("worst case {worst}"), format!("best case {best}")) } else { (worst, best) }
}

/// Title of the responders.
pub fn responders_title(rate: f64, reached: &str, worst: f64, best: f64) -> String {
    format!(
        "{} of those with both readings {reached}; of all between {} and {}",
        percent(rate),
        percent(worst),
        percent(best)
    )
}

/// Subtitle of the responders and of the distribution.
pub fn of_measure(condition: &str, measure: &str, period: &str) -> String {
    format!("{condition}, {measure}; due episodes, {period}")
}

/// Title of the change by site or quarter: the extremes.
pub fn change_by_title(most: (&str, f64), least: (&str, f64), places: usize) -> String {
    format!(
        "Mean change runs from {} ({}) to {} ({})",
        signed(most.1, places),
        most.0,
        signed(least.1, places),
        least.0
    )
}

/// Title when only one site or quarter can be shown.
pub fn change_by_title_of_one(label: &str, change: f64, places: usize) -> String {
    format!("{label}: mean change {}", signed(change, places))
}

/// Subtitle of the change by site or quarter.
pub fn change_by_subtitle(condition: &str, measure: &str) -> String {
    format!("{condition}, {measure}: due episodes with baseline and endpoint; not adjusted for case mix")
}

/// At the line of the whole group.
pub fn group_line(change: f64, places: usize) -> String {
    format!("whole group {}", signed(change, places))
}

/// Title of the distribution of change. `typical`: what half of the patients reach.
pub fn distribution_title(typical: f64, unit: &str, places: usize) -> String {
    if typical > 0.0 {
        format!("Half of those with both readings improved by {} {unit} or more", decimal(typical, places))
    } else {
        "Half of those with both readings did not improve".to_string()
    }
}

/// At the threshold that half of the patients reach.
pub fn half_reach(typical: f64, places: usize) -> String {
    format!("half reach {}", decimal(typical, places))
}

/// At the line of those with both readings.
pub fn both_readings_line(episodes: Option<u64>) -> String {
    episodes.map_or("episodes with both readings".to_string(), |n| format!("{} episodes with both readings", count(n)))
}

/// At the line of the worst case.
pub const WORST_CASE_LINE: &str = "all, the missing counted as not improved";

/// Title of the completeness by site.
pub fn completeness_title(best: (&str, f64), worst: (&str, f64)) -> String {
    format!(
        "{} has both readings for {} of its episodes, {} for {}",
        best.0,
        percent(best.1),
        worst.0,
        percent(worst.1)
    )
}

/// Title when only one site can be shown.
pub fn completeness_title_of_one(site: (&str, f64)) -> String {
    format!("{} has both readings for {} of its episodes", site.0, percent(site.1))
}

/// The source line.
pub fn source(group: &str, sites: u64, cited: Option<&str>) -> String {
    let own = format!("Source: exports of {group}, {}.", super::counted(sites, "site", "sites"));
    cited.map_or(own.clone(), |citation| format!("{own} Published points: {}.", citation.trim_end_matches('.')))
}

/// How to read the responders.
pub const READ_RESPONDERS: &str = "Dot and bar: rate among those with an outcome and its 95\u{a0}% interval. Bracket: \
     from every missing outcome counted as a failure to every one counted as a success.";
/// How to read the change by site or quarter.
pub const READ_CHANGE_BY: &str = "Dot and line: mean change with its 95\u{a0}% interval.";
/// How to read the distribution of change.
pub const READ_DISTRIBUTION: &str = "Choose a threshold below; the height of the line is the share that \
     improved by that much or more.";
/// How to read the completeness.
pub const READ_COMPLETENESS: &str = "The longer the ochre line, the more episodes have a baseline and no endpoint.";
/// How to read the accounts.
pub const READ_ACCOUNTS: &str = "Bars show the rows of each file.";

/// Text alternative of the responders.
pub fn describe_responders(data: &Responders) -> String {
    let rows = data.definitions.iter().map(|d| {
        format!(
            "{}: {}, {} with an outcome; worst case {}, best case {}{}.",
            d.label,
            percent_with_interval(d.rate.0, d.rate.1, d.rate.2),
            d.denominator,
            percent(d.worst_case),
            percent(d.best_case),
            d.imputed.map(imputation::described).unwrap_or_default()
        )
    });
    rows.collect::<Vec<_>>().join(" ")
}

/// Text alternative of the change by site or quarter.
pub fn describe_change_by(data: &ChangeBy) -> String {
    let rows = data.rows.iter().map(|row| match row.shown {
        Some(shown) => format!(
            "{}: {} ({}), n {}.",
            row.label,
            signed(shown.mean, data.axis.decimals),
            range(shown.low, shown.high, data.axis.decimals),
            count(shown.episodes)
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
        None => format!("{}: withheld.", site.site),
    });
    rows.collect::<Vec<_>>().join(" ")
}

/// Text alternative of the row accounts.
pub fn describe_accounts(data: &RowAccounts) -> String {
    let rows = data.files.iter().map(|f| {
        format!("{}: {} kept, {} duplicate, {} rejected.", f.file, count(f.kept), count(f.duplicate), count(f.rejected))
    });
    rows.collect::<Vec<_>>().join(" ")
}

/// `n of N` beside a row.
pub fn of(part: u64, whole: u64) -> String {
    format!("{} of {}", count(part), count(whole))
}
