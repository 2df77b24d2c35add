//! Titles, headings and column names.

/// Name of the first page in links.
pub const SUMMARY: &str = "Summary";
/// Name and title of the page on the data.
pub const DATA_QUALITY: &str = "Data quality";
/// Name and title of the page on methods.
pub const METHODS: &str = "Methods";
/// Title of the first page.
pub const INDEX_TITLE: &str = "Outcomes of motorised spinal traction";
/// Opening of the first page.
pub const IN_BRIEF: &str = "In brief";
/// Opening of a condition's page.
pub const WHO: &str = "Who these patients are";
/// Conditions on the first page.
pub const CONDITIONS: &str = "Condition by condition";
/// This quarter against the one before, and against the same a year ago.
pub const AGAINST_PREVIOUS: &str = "This quarter against earlier ones";
/// Link from a finding to what shows it.
pub const SHOWN_BY: &str = "See it.";
/// How many were measured.
pub const COMPLETENESS: &str = "How many were measured";
/// What may be said.
pub const LIMITS: &str = "What these figures can and cannot say";
/// What may be said.
pub const CAN: &str = "They can say";
/// What may not be said.
pub const CANNOT: &str = "They cannot say";

/// Baseline, endpoint, change.
pub const CHANGE: &str = "Baseline, endpoint and change";
/// Responders.
pub const RESPONDERS: &str = "Who responded";
/// Course by week.
pub const COURSE: &str = "Course by week";
/// Distribution of change.
pub const DISTRIBUTION: &str = "How far patients came";
/// By site.
pub const SITES: &str = "By site";
/// By quarter.
pub const QUARTERS: &str = "By quarter";

/// Rows of every file.
pub const RECONCILIATION: &str = "Every row accounted for";
/// Rejected rows.
pub const REJECTIONS: &str = "Why rows were rejected";
/// Blanked cells.
pub const BLANKED: &str = "Cells that could not be understood";
/// Rows that disagree.
pub const DUPLICATES: &str = "Rows that repeat a visit with other values";
/// Columns.
pub const COLUMNS: &str = "Columns that were not used";
/// Dates.
pub const DATES: &str = "Dates";
/// Readings by site.
pub const READINGS_BY_SITE: &str = "Readings by site";
/// Episodes.
pub const EPISODES: &str = "Episodes";

/// Columns of the sheet of change.
pub const CHANGE_COLUMNS: [&str; 5] =
    ["episodes with both", "baseline mean (SD)", "endpoint mean (SD)", "change (95\u{a0}%\u{a0}CI)", "effect size"];
/// Columns of the sheet of ordered scales.
pub const ORDINAL_COLUMNS: [&str; 6] =
    ["episodes with both", "median at baseline", "median at endpoint", "better", "the same", "worse"];
/// Columns of the sheet of responders.
pub const RESPONDER_COLUMNS: [&str; 8] = [
    "could respond",
    "with an outcome",
    "responded",
    "rate (95\u{a0}%\u{a0}CI)",
    "worst case",
    "best case",
    "baseline too low",
    "no baseline",
];
/// Columns of the sheets by site and by quarter.
pub const BY_COLUMNS: [&str; 5] =
    ["due", "with both readings", "change (95\u{a0}%\u{a0}CI)", "responded (95\u{a0}%\u{a0}CI)", "worst to best case"];
/// Columns of the comparison of two quarters.
pub const AGAINST_COLUMNS: [&str; 6] = [
    "change, this quarter",
    "change, quarter before",
    "difference (95\u{a0}%\u{a0}CI)",
    "responded, this quarter",
    "responded, quarter before",
    "difference (95\u{a0}%\u{a0}CI)",
];
/// Columns of the comparison with the same quarter a year ago.
pub const AGAINST_YEAR_COLUMNS: [&str; 6] = [
    "change, this quarter",
    "change, a year ago",
    "difference (95\u{a0}%\u{a0}CI)",
    "responded, this quarter",
    "responded, a year ago",
    "difference (95\u{a0}%\u{a0}CI)",
];
/// Columns of the sheet of completeness.
pub const COMPLETENESS_COLUMNS: [&str; 4] =
    ["due", "with baseline", "with baseline and endpoint", "responded, worst to best case"];
/// Columns of the onset mix.
pub const ONSET_COLUMNS: [&str; 4] =
    ["acute, under 6 weeks", "subacute, 6 to 12", "persistent, over 12", "not recorded"];
/// Columns of the accounts.
pub const ACCOUNT_COLUMNS: [&str; 7] =
    ["lines", "read", "kept", "duplicate", "rejected", "of these left out by a filter", "cells blanked"];
/// Columns of a list of reasons: the file is the row's heading.
pub const REASON_COLUMNS: [&str; 4] = ["column", "reason", "how often", "first on line"];
/// Columns of the list of thresholds: the measure is the row's heading.
pub const THRESHOLD_COLUMNS: [&str; 3] = ["value", "source", "mark"];
