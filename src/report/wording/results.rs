//! Sentences about results, on the first page and on those of the conditions.

use super::{
    count, decimal, episodes_behind, percent, percent_with_interval, range, signed_with_interval, with_interval,
};
use crate::findings::bulletin::{Estimate, Period};
use crate::rows::when::Quarter;

/// `third quarter of 2026`.
pub fn quarter(quarter: Quarter) -> String {
    let ordinal = match quarter.number() {
        1 => "first",
        2 => "second",
        3 => "third",
        _ => "fourth",
    };
    format!("{ordinal} quarter of {}", quarter.year())
}

/// `Q3 2026`.
pub fn quarter_short(quarter: Quarter) -> String {
    format!("Q{} {}", quarter.number(), quarter.year())
}

/// A period in running text.
pub fn period(period: &Period) -> String {
    match period {
        Period::All => "all quarters".to_string(),
        Period::Quarter(q) => quarter(*q),
    }
}

/// The period under the title.
pub fn masthead(reported: Option<Quarter>, first_and_last: Option<(Quarter, Quarter)>) -> String {
    let Some(reported) = reported else {
        return "All episodes; the exports know no quarters".to_string();
    };
    let months = match reported.number() {
        1 => "January to March",
        2 => "April to June",
        3 => "July to September",
        _ => "October to December",
    };
    let over = match first_and_last {
        Some((first, last)) if first < last => {
            format!("; all quarters run from {} to {}", quarter_short(first), quarter_short(last))
        }
        _ => String::new(),
    };
    format!("{}, {months}{over}", capital(&quarter(reported)))
}

/// A first letter made large.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// A text as a sentence of its own.
pub fn sentence(text: &str) -> String {
    let text = capital(text.trim());
    if text.is_empty() || text.ends_with(['.', '!', '?']) { text } else { format!("{text}.") }
}

/// A title inside a sentence: a first capital is lowered unless the word is an abbreviation or a name in two words,
/// and a range such as 0-10 is not broken.
pub fn within(title: &str) -> String {
    let title = &title.replace("0-", "0\u{2011}");
    let mut letters = title.chars();
    let (first, second) = (letters.next(), letters.next());
    match (first, second) {
        (Some(first), Some(second)) if first.is_uppercase() && second.is_lowercase() && !is_named_index(title) => {
            first.to_lowercase().chain(title.chars().skip(1)).collect()
        }
        _ => title.to_string(),
    }
}

fn is_named_index(title: &str) -> bool {
    title.split(' ').nth(1).is_some_and(|word| word.starts_with(char::is_uppercase))
}

/// The unit of a difference.
pub fn unit_of_change(unit: &str) -> &str {
    if unit == "%" { "percentage points" } else { unit }
}

/// A definition of a response, in words.
pub fn definition(key: &str, label: &str) -> String {
    match key {
        "minimal_important" => format!("Minimal important change: {label}"),
        "acceptable_state" => format!("Acceptable state: {label}"),
        _ => capital(label),
    }
    .replace(" %", "\u{a0}%")
}

/// What reaching a definition is called in a sentence.
pub fn reached(key: &str, label: &str) -> String {
    match key {
        "minimal_important" => "reached the minimal important change".to_string(),
        "acceptable_state" => "reached an acceptable state".to_string(),
        _ => format!("improved enough ({label})"),
    }
}

/// Leading sentence on the responders of a condition.
pub fn responder_lead(condition: &str, measure: &str, reached: &str, rate: &Estimate) -> String {
    format!(
        "{condition}: {} of episodes with both readings {reached} in {}.",
        percent_with_interval(rate.value, rate.low, rate.high),
        within(measure)
    )
}

/// Beside it: the denominators and what the missing could do.
pub fn responder_note(period: &str, outcome: &str, denominator: &str, worst: f64, best: f64) -> String {
    format!(
        "{}. {outcome} of {denominator} episodes that could respond have both readings. With the others all counted as \
         failures the rate is {}, all as successes {}.",
        capital(period),
        percent(worst),
        percent(best)
    )
}

/// Leading sentence on completeness.
pub fn completeness_lead(condition: &str, with_endpoint: u64, due: u64) -> String {
    format!(
        "{condition}: {} due episodes have both a baseline and an endpoint; nothing is known of how the others fared.",
        super::n_of(with_endpoint, due)
    )
}

/// Leading sentence on this quarter against the one before.
pub fn against_previous_lead(
    condition: &str,
    measure: &str,
    this: &Estimate,
    before: &Estimate,
    difference: &Estimate,
    lower_is_better: bool,
    places: usize,
) -> String {
    format!(
        "{condition}: mean change in {} was {} this quarter and {} the quarter before, {}.",
        within(measure),
        super::signed(this.value, places),
        super::signed(before.value, places),
        verdict(difference, lower_is_better)
    )
}

/// Beside it.
pub fn against_previous_note(difference: &Estimate, places: usize) -> String {
    format!(
        "Difference of the two mean changes: {}, Welch. Not adjusted for who was treated.",
        signed_with_interval(difference.value, difference.low, difference.high, places)
    )
}

fn verdict(difference: &Estimate, lower_is_better: bool) -> &'static str {
    if difference.low <= 0.0 && difference.high >= 0.0 {
        return "a difference that chance alone can explain";
    }
    if (difference.value < 0.0) == lower_is_better {
        "more improvement than chance alone would explain; these figures cannot say why"
    } else {
        "less improvement than chance alone would explain; these figures cannot say why"
    }
}

/// A condition's line on the first page: the change.
pub fn change_line(measure: &str, change: &Estimate, unit: &str, places: usize) -> String {
    format!(
        "Mean change in {}: {} {}.",
        within(measure),
        signed_with_interval(change.value, change.low, change.high, places),
        unit_of_change(unit)
    )
}

/// A condition's line on the first page: the responders.
pub fn responder_line(reached: &str, rate: &Estimate, worst: f64, best: f64) -> String {
    format!(
        "Of those with both readings {} {reached}; of all that could respond between {} and {}.",
        percent_with_interval(rate.value, rate.low, rate.high),
        percent(worst),
        percent(best)
    )
}

/// When nothing can be shown of a condition.
pub const NOTHING_TO_SHOW: &str = "Too few episodes with both readings for a result to be shown.";

/// Link to a condition's page.
pub fn more_on(condition: &str) -> String {
    format!("All results for {}", within(condition))
}

/// Who the patients of a condition are.
pub fn started_and_due(started: Option<u64>, due: Option<u64>) -> String {
    match (started, due) {
        (Some(started), Some(due)) => format!(
            "{} started; {} are due, that is, their endpoint window has closed. All results are of due episodes.",
            super::counted(started, "episode", "episodes"),
            count(due)
        ),
        _ => "Fewer episodes than may be shown.".to_string(),
    }
}

/// Over which period a section speaks.
pub fn over(period_in_words: &str) -> String {
    format!("{}.", capital(period_in_words))
}

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
/// Beside every curve.
pub const ONE_SD: &str = "An improvement of about one standard deviation within six weeks is what untreated and \
     usual-care cohorts show. A curve like this one is no sign that traction did it.";
/// Where no published course fits.
pub const NO_NATURAL_COURSE: &str = "No course of comparable patients is published for this condition and measure, so \
     none is drawn.";
/// Beside sites.
pub const SITES_CAVEAT: &str = "Sites differ in whom they treat. These figures are not adjusted for that: they show \
     where to look, and are no ranking.";
/// Under the first figure of distribution.
pub const DISTRIBUTION_INTRO: &str = "Any single threshold is a choice. The lines below give the share for every \
     threshold at once.";

/// Published points in words, with the caveat on their clock.
pub fn natural_course(label: &str, points: &[(f64, Estimate)], places: usize) -> String {
    let points: Vec<String> = points
        .iter()
        .map(|(week, mean)| {
            let when = if *week == 0.0 { "at entry".to_string() } else { format!("at {} weeks", decimal(*week, 0)) };
            format!("{} ({}) {when}", decimal(mean.value, places), range(mean.low, mean.high, places))
        })
        .collect();
    format!(
        "{}: {}. Those weeks count from entry into a study, ours from the first treated visit, and entering a study is \
         not starting traction. The points are not joined: nothing was published between them.",
        capital(label),
        points.join(", ")
    )
}

/// The fitted curve in words.
pub fn curve(start: &Estimate, plateau: &Estimate, half_time_days: &Estimate, places: usize) -> String {
    format!(
        "The fitted mean starts at {} and approaches {}; it is half of the way there after {} days.",
        with_interval(start.value, start.low, start.high, places),
        with_interval(plateau.value, plateau.low, plateau.high, places),
        with_interval(half_time_days.value, half_time_days.low, half_time_days.high, 0)
    )
}

/// When the mean has moved by the minimal important change.
pub fn day_of_important_change(day: &Estimate) -> String {
    format!(
        "The mean has moved by the minimal important change by day {}.",
        with_interval(day.value, day.low, day.high, 0)
    )
}

/// Beside the curve: what stands behind it.
pub fn curve_note(episodes: Option<u64>, readings: u64, evidence: &str) -> String {
    format!(
        "{}, {} readings. Mean = plateau + (start − plateau) × exp(−t ln 2 / half-time), by least squares on \
         the means of weeks with enough episodes, each weighted by them. The intervals are rough: the weeks share their \
         episodes, and who is lost on the way is not allowed for. {}",
        episodes_behind(episodes),
        count(readings),
        sentence(evidence)
    )
}

/// A curve that the data do not identify.
pub fn not_identifiable(why: &str) -> String {
    format!("No curve is given, since these readings do not identify one. {}", sentence(why))
}

/// Too few weeks for a curve.
pub const TOO_FEW_WEEKS: &str = "No curve is given: too few weeks have enough readings.";
/// A scale of words.
pub const ORDINAL: &str = "This scale is only ordered, so it is never averaged.";

/// `x (a to b)` in a cell: broken before the bracket if at all.
pub fn estimate_cell(value: &str, low: &str, high: &str) -> String {
    format!("{value} ({low}\u{a0}to\u{a0}{high})")
}

/// `a % to b %` in a cell.
pub fn between(worst: f64, best: f64) -> String {
    format!("{}\u{a0}to\u{a0}{}", percent(worst), percent(best))
}

/// Beside a sentence on an outcome.
pub fn of_outcome(measure: &str, period: &str) -> String {
    format!("{}, {period}.", capital(measure))
}

/// Beside a condition's line: how many stand behind it.
pub fn both_readings(period: &str, episodes: Option<u64>) -> String {
    match episodes {
        Some(n) => {
            format!("{}: {} with baseline and endpoint.", capital(period), super::counted(n, "episode", "episodes"))
        }
        None => format!("{}.", capital(period)),
    }
}

/// Heading of a row about a condition.
pub fn condition_and_measure(condition: &str, measure: &str) -> String {
    format!("{condition}: {}", within(measure))
}

/// Heading of a row about a measure.
pub fn measure_and_unit(measure: &str, unit: &str) -> String {
    if unit.is_empty() { measure.to_string() } else { format!("{measure}, {unit}") }
}

/// A difference of two rates, in percentage points.
pub fn points(difference: &Estimate) -> String {
    let figure = |share: f64| super::signed(100.0 * share, 0);
    estimate_cell(&figure(difference.value), &figure(difference.low), &figure(difference.high))
}

/// Caption of the comparison of two quarters.
pub fn against_caption(this: Quarter) -> String {
    format!("{} against {}", quarter_short(this), quarter_short(this.previous()))
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
/// Caption of the onset mix.
pub const ONSET_CAPTION: &str = "Time from onset to the first treated visit, episodes started";
/// Heading of its first column.
pub const ONSET_CORNER: &str = "onset";
/// Its row.
pub const EPISODES: &str = "episodes";
/// In place of a sheet of nothing but dashes.
pub fn all_withheld(caption: &str) -> String {
    format!("{caption}: too few episodes for any number to be shown.")
}

/// Where there is no episode to speak of.
pub const NONE: &str = "none";
/// Caption of the sheet of ordered scales.
pub fn ordinal_caption(period: &str) -> String {
    format!("Scales of ordered words, {period}")
}
/// What its columns are.
pub const ORDINAL_NOTE: &str = "Medians as ranks: 0 is the lowest word. Better, the same, worse: the word at the endpoint \
     against that at baseline.";

/// Who got better on a scale of words, in a cell.
pub fn better_same_worse(better: u64, same: u64, worse: u64) -> String {
    format!("{}\u{a0}better, {}\u{a0}the same, {}\u{a0}worse", count(better), count(same), count(worse))
}
/// Over which period a condition's page speaks.
pub const PERIOD_OF_PAGE: &str = "This page is about all quarters together, unless it names one.";
/// Without quarters.
pub const NO_QUARTERS: &str = "The exports know no quarters, so none can be compared.";
/// Beside the comparison of two quarters.
pub const AGAINST_NOTE: &str = "This quarter − quarter before, in the unit of the measure and in percentage points. \
     Welch's interval for means, Newcombe's for rates. An interval that holds 0 is compatible with no difference.";
/// Before the completeness.
pub const COMPLETENESS_INTRO: &str = "Patients who do badly may stay away, and so may those who are well again. The last \
     column shows how far the missing could move the response rate, were they all failures or all successes.";
/// Beside the completeness.
pub const COMPLETENESS_NOTE: &str = "Due: the endpoint window has closed. Responded: by the first definition on the \
     condition's page, of all that could respond.";

/// What the figures can say. `endpoint_days`: the endpoint window.
pub fn can_say(endpoint_days: (i32, i32)) -> Vec<String> {
    vec![
        format!(
            "How patients who were treated changed from their first treated visit to days {} to {}, with an interval and \
             with the share that was measured.",
            endpoint_days.0, endpoint_days.1
        ),
        "How many reached each definition of a response, and how far those without readings could move that."
            .to_string(),
        "Whether this quarter differs from the one before by more than chance.".to_string(),
        "Which sites measure their patients and which lose sight of them.".to_string(),
    ]
}

/// What they cannot say.
pub fn cannot_say(endpoint_days: (i32, i32)) -> Vec<String> {
    vec![
        "That traction brought the change about, or what would have happened without it.".to_string(),
        "That one site treats better than another: whom they treat is not allowed for here.".to_string(),
        "How those without an endpoint fared.".to_string(),
        format!("What comes after day {}.", endpoint_days.1),
        "What one patient may expect.".to_string(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, low: f64, high: f64) -> Estimate {
        Estimate { value, low, high }
    }

    #[test]
    fn a_difference_whose_interval_holds_zero_is_put_down_to_chance() {
        assert!(verdict(&estimate(-1.0, -3.0, 1.0), true).contains("chance alone can explain"));
        assert!(verdict(&estimate(-2.0, -3.0, -1.0), true).starts_with("more improvement"));
        assert!(verdict(&estimate(-2.0, -3.0, -1.0), false).starts_with("less improvement"));
    }

    #[test]
    fn titles_fit_into_sentences() {
        assert_eq!(within("Lumbar spinal stenosis"), "lumbar spinal stenosis");
        assert_eq!(within("Oswestry Disability Index"), "Oswestry Disability Index");
        assert_eq!(within("ODI"), "ODI");
        assert_eq!(within("Pain 0-10, back"), "pain 0\u{2011}10, back");
        assert_eq!(sentence("the rate is flat"), "The rate is flat.");
    }

    #[test]
    fn quarters_are_named() {
        let q = Quarter::new(2026, 3).unwrap();
        assert_eq!(quarter(q), "third quarter of 2026");
        assert_eq!(masthead(Some(q), None), "Third quarter of 2026, July to September");
        assert!(masthead(None, None).contains("no quarters"));
    }
}
