//! Captions, headings, cells and notes of the sheets of results.

use super::phrases::{quarter_short, within};
use super::{count, percent, signed};
use crate::findings::bulletin::Estimate;
use crate::rows::when::Quarter;

/// `x (a to b)` in a cell: broken before the bracket if at all.
pub fn estimate_cell(value: &str, low: &str, high: &str) -> String {
    format!("{value} ({low}\u{a0}to\u{a0}{high})")
}

/// `a % to b %` in a cell.
pub fn between(worst: f64, best: f64) -> String {
    format!("{}\u{a0}to\u{a0}{}", percent(worst), percent(best))
}

/// A difference of two rates, in percentage points.
pub fn points(difference: &Estimate) -> String {
    let figure = |share: f64| signed(100.0 * share, 0);
    estimate_cell(&figure(difference.value), &figure(difference.low), &figure(difference.high))
}

/// Who got better on a scale of words, in a cell.
pub fn better_same_worse(better: u64, same: u64, worse: u64) -> String {
    format!("{}\u{a0}better, {}\u{a0}the same, {}\u{a0}worse", count(better), count(same), count(worse))
}

/// In place of a sheet of nothing but dashes.
pub fn all_withheld(caption: &str) -> String {
    format!("{caption}: too few episodes for any number to be shown.")
}

/// Where there is no episode to speak of.
pub const NONE: &str = "none";

/// Heading of a row about a condition.
pub fn condition_and_measure(condition: &str, measure: &str) -> String {
    format!("{condition}: {}", within(measure))
}

/// Heading of a row about a measure.
pub fn measure_and_unit(measure: &str, unit: &str) -> String {
    if unit.is_empty() { measure.to_string() } else { format!("{measure}, {unit}") }
}

/// Caption of the comparison of two quarters.
pub fn against_caption(this: Quarter, earlier: Quarter) -> String {
    format!("{} against {}", quarter_short(this), quarter_short(earlier))
}

/// Caption of the completeness.
pub fn completeness_caption(period: &str) -> String {
    format!("Due episodes and their readings, {period}")
}

/// Caption of the change by measure.
pub fn measures_caption(period: &str) -> String {
    format!("Due episodes with baseline and endpoint, {period}")
}

/// Caption of the responders.
pub fn responders_caption(measure: &str, period: &str) -> String {
    format!("Responders, {}, {period}", within(measure))
}

/// Caption of a sheet by site.
pub fn by_site_caption(measure: &str) -> String {
    format!("{measure}, by site, all quarters")
}

/// Caption of a sheet by quarter.
pub fn by_quarter_caption(measure: &str) -> String {
    format!("{measure}, by quarter, whole group")
}

/// Caption of the sheet of ordered scales.
pub fn ordinal_caption(period: &str) -> String {
    format!("Scales of ordered words, {period}")
}

/// Caption of the onset mix.
pub const ONSET_CAPTION: &str = "Time from onset to the first treated visit, episodes started";
/// Heading of a column of conditions.
pub const CONDITION_AND_MEASURE: &str = "condition and measure";
/// Heading of a column of measures.
pub const MEASURE: &str = "measure";
/// Heading of a column of definitions.
pub const DEFINITION: &str = "definition";
/// Heading of a column of sites.
pub const SITE: &str = "site";
/// Heading of a column of quarters.
pub const QUARTER: &str = "quarter";
/// Row for the whole group over all quarters.
pub const WHOLE_GROUP: &str = "Whole group";
/// Heading of its first column.
pub const ONSET_CORNER: &str = "onset";
/// Its row.
pub const EPISODES: &str = "episodes";
/// What the effect size is.
pub const EFFECT_SIZE_NOTE: &str = "Change = endpoint − baseline. Effect size = mean improvement / SD of the baseline; \
     positive is better.";
/// What the columns of the responders are.
pub const RESPONDER_COLUMNS_NOTE: &str = "Could respond: due episodes, less those whose baseline is too low to respond; \
     those without a baseline are among them. With an outcome: having the readings that the definition needs. Rate: of \
     those with an outcome, Wilson interval. Worst and best case: all others counted as no response, or as one.";
/// What the columns by site and quarter are.
pub const BY_COLUMNS_NOTE: &str = "Responded: by the first definition above, of those with an outcome. Worst to best \
     case: of all that could respond. For a measure that looks back, 'both readings' is the endpoint alone.";
/// What its columns are.
pub const ORDINAL_NOTE: &str = "Medians as ranks: 0 is the lowest word. Better, the same, worse: the word at the endpoint \
     against that at baseline.";
/// Beside the comparison of two quarters.
pub const AGAINST_NOTE: &str = "This quarter − the earlier one, in the unit of the measure and in percentage points. \
     Welch's interval for means, Newcombe's for rates. An interval that holds 0 is compatible with no difference; of many intervals that leave it out, one in twenty does so by chance, and sentences allow for that.";
/// Beside the completeness.
pub const COMPLETENESS_NOTE: &str = "Due: the endpoint window has closed. Responded: by the first definition on the \
     condition's page, of all that could respond.";
