//! Words that several figures share.

use super::{count, phrases};
use crate::findings::bulletin::{ConditionFindings, OutcomeFindings, Period};

/// Which way is better.
pub fn direction(lower_is_better: bool) -> &'static str {
    if lower_is_better { "lower is better" } else { "higher is better" }
}

/// Whom a figure of an outcome is about.
pub fn due_episodes(condition: &ConditionFindings, outcome: &OutcomeFindings, period: &Period) -> String {
    format!("{}, {}; due episodes, {}", condition.title, phrases::within(&outcome.title), phrases::period(period))
}

/// `n of N` beside a row.
pub fn of(part: u64, whole: u64) -> String {
    format!("{} of {}", count(part), count(whole))
}
