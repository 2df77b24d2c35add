//! The page on setups, in words.

use super::setup_parameters::{amount, amounts, asked, day, region, title, visits_counted};
use super::{count, counted, decimal, percent, phrases};
use crate::catalogue::setup_standard::Grade;
use crate::findings::setups::{About, Asked, Conformance, LevelVariation, SetupFindings, Strip, Within, WordShares};

/// Title of the page, and its name in links.
pub const TITLE: &str = "Setups and dose";
/// Opening, for those who hear the page.
pub const OPENING: &str = "What was found";
/// What was looked at.
pub const LOOKED_AT: &str = "What was compared";
/// Table of contents.
pub const CONTENTS: &str = "On this page";
/// The tables' openings.
pub const TABLES: &str = "Table by table";
/// What changes within patients.
pub const VISIT_TO_VISIT: &str = "From one visit to the next";
/// The rules of what is possible.
pub const POSSIBLE: &str = "Possible or not";
/// Where the variation sits.
pub const VARIATION: &str = "Where the variation sits";
/// Conformance.
pub const CONFORMANCE: &str = "How often it meets the standard";
/// Over time.
pub const OVER_TIME: &str = "Week by week";
/// On a site's page.
pub const AT_SITE: &str = "Setup findings";
/// Link from a site's page and from the first page.
pub const MORE: &str = "See it on the page on setups.";
/// Link to the methods.
pub const HOW: &str = "How this is worked out";

/// Where nothing was found: what was looked at.
pub fn nothing_found(setups: &SetupFindings) -> String {
    format!(
        "Nothing was found that chance does not explain, in {} on {} and {} of setup and dose. That is not the same as all being well: \
         what is not recorded, or recorded the same wrong way everywhere, cannot be found here.",
        counted(u64::from(setups.tests), "test", "tests"),
        visits_counted(setups.visits),
        counted(setups.parameters.len() as u64, "parameter", "parameters")
    )
}

/// On a site's page, where nothing was found there.
pub fn nothing_at(site: &str, setups: &SetupFindings) -> String {
    format!(
        "Nothing was found at {site} that chance does not explain, in {} over all sites. That is not the same as all being well.",
        counted(u64::from(setups.tests), "test", "tests")
    )
}

/// On the first page: how many findings, and the first.
pub fn on_first_page(findings: usize, first: &str) -> String {
    match findings {
        1 => format!("Setups: one finding. {first}"),
        n => format!("Setups: {}, the first: {first}", counted(n as u64, "finding", "findings")),
    }
}

/// What was held against what.
pub fn looked_at(setups: &SetupFindings) -> Vec<String> {
    let standard = match &setups.standard_file {
        Some(file) => format!("Setups are compared with the group's written standard, {file}."),
        None => "The group has named no written standard. Setups are compared with the program's own values instead: common practice, no \
             published source. They are a place to start from, not a rule."
            .to_owned(),
    };
    let span = setups.span.map_or(String::new(), |(first, last)| format!(" from {} to {}", day(first), day(last)));
    let undated = match setups.undated {
        0 => String::new(),
        n => format!(" Of these, {} without a calendar day are left out of the time charts.", count(u64::from(n))),
    };
    let visits = format!(
        "{} treated visits{span} were looked at.{undated} Sites are also compared with each other, each clinician and table with the \
         rest of its site, and each with its own past.",
        count(u64::from(setups.visits))
    );
    let tests = format!(
        "All {} of this went through one Benjamini-Hochberg step at a false discovery rate of 5\u{a0}%: a finding is what remains. It says that \
         something differs, not why, and nothing about anybody's skill.",
        counted(u64::from(setups.tests), "p value", "p values")
    );
    vec![format!("{standard} {visits}"), tests]
}

/// What was left out because it names a clinician.
pub fn left_out(findings: u32, lines: u32) -> Option<String> {
    let parts: Vec<String> = [
        (findings, counted(u64::from(findings), "finding", "findings")),
        (lines, counted(u64::from(lines), "line or chart", "lines and charts")),
    ]
    .into_iter()
    .filter_map(|(n, words)| (n > 0).then_some(words))
    .collect();
    (!parts.is_empty()).then(|| {
        format!("This edition names no clinician: {} about single clinicians were left out.", parts.join(" and "))
    })
}

/// Heading of the parameters that no standard asks for.
pub const UNASKED_NOTE: &str = "No standard asks for this, and nothing was found.";

/// How many visits record a parameter.
pub fn recorded(recorded: u32, visits: u32, about: About) -> String {
    let share = if visits == 0 { 0.0 } else { f64::from(recorded) / f64::from(visits) };
    format!(
        "{} of {} of the {} record it ({}).",
        count(u64::from(recorded)),
        visits_counted(visits),
        region(about.region),
        percent(share)
    )
}

/// What the standard asks.
pub fn standard_asks(about: About, item: &Asked, unit: &str, decimals: usize) -> String {
    let grade = match item.grade {
        Grade::Required => "required",
        Grade::Advised => "advised",
    };
    format!("The standard asks {} ({grade}).", asked(about, item, unit, decimals))
}

/// Where an item comes from, with what to bear in mind.
pub fn source_of(item: &Asked) -> String {
    let note = if item.note.is_empty() { String::new() } else { format!(" {}", phrases::sentence(&item.note)) };
    format!("Source: {}.{note}", item.source.trim_end_matches('.'))
}

/// What the group does, where no standard asks: median and middle half.
pub fn group_numbers(strip: &Strip, unit: &str, decimals: usize) -> Option<String> {
    let [_, _, q25, q50, q75, _, _] = strip.quantiles?;
    Some(format!(
        "Over the whole group the median is {}, and the middle half of visits lies from {}.",
        amount(q50, unit, decimals),
        amounts(q25, q75, unit, decimals)
    ))
}

/// What the group does, in words.
pub fn group_words(shares: &WordShares) -> Option<String> {
    let mut shares = shares.shares.clone()?;
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    let parts: Vec<String> = shares.iter().map(|(word, share)| format!("{word} {}", percent(*share))).collect();
    Some(format!("Over the whole group: {}.", parts.join(", ")))
}

/// Where the variation sits, in a sentence.
pub fn variation(levels: &[LevelVariation]) -> String {
    let parts: Vec<String> = levels
        .iter()
        .map(|level| {
            format!(
                "{} {} ({})",
                super::setup_figures::level(level.level),
                percent(level.share.value),
                amounts(level.share.low, level.share.high, "share", 0)
            )
        })
        .collect();
    format!("Of the variance, with 95\u{a0}% intervals, there lie {}.", parts.join("; "))
}

/// Where the largest part of the variation sits, and what that means.
pub fn largest_part(level: &LevelVariation) -> String {
    format!(
        "The largest part lies {}: {} ({}) of the variance. {}",
        super::setup_figures::level(level.level),
        percent(level.share.value),
        amounts(level.share.low, level.share.high, "share", 0),
        variation_means(level.level)
    )
}

/// What the largest part of the variation means.
fn variation_means(level: &str) -> &'static str {
    match level {
        "site" => "Sites do it unlike each other: a matter of the standard and of teaching across sites.",
        "table" => "Tables of one site differ: a matter of the equipment and its upkeep.",
        "clinician" => "Clinicians of one site do it unlike each other: a matter of agreeing on one way.",
        "patient" => {
            "It differs from patient to patient and then stays: mostly chosen for the patient, or taken over from visit to visit."
        }
        _ => "It differs from visit to visit of the same patient: chosen anew, or not repeatable.",
    }
}

/// Why it cannot be told where no level is given.
pub const NO_LEVELS: &str = "no level has groups enough";
/// Why the variation cannot be told.
pub fn untold(why: &str) -> String {
    format!("Where the variation sits cannot be told: {}.", why.trim_end_matches('.'))
}

/// How often an item is met in the group.
pub fn met(conformance: &Conformance, asked: &Asked) -> String {
    let whom = asked.position.map_or(String::new(), |position| format!(" of patients lying {position}"));
    format!(
        "In the whole group {} of {}{whom} meet the standard.",
        percent(conformance.group),
        visits_counted(conformance.visits)
    )
}

/// Caption of the conformance's sheet.
pub fn conformance_caption(about: About, position: Option<&str>) -> String {
    let position = position.map_or(String::new(), |position| format!(", {position}"));
    format!("{}, {}{position}: visits that meet the standard", title(about.parameter), region(about.region))
}

/// Columns of the conformance's sheet.
pub const CONFORMANCE_COLUMNS: [&str; 4] = ["visits", "as asked (95\u{a0}%\u{a0}CI)", "q", "call"];
/// First column of a sheet by site.
pub const PLACE: &str = "site, clinician or table";
/// Beside the conformance's sheet.
pub const CONFORMANCE_NOTE: &str = "Sites, and those of their clinicians and tables that stand out. Visits to whole tens. The interval takes a \
     patient's visits as alike. q: p value against the others, after Benjamini-Hochberg over everything on this page; below means met less often.";

/// A share with its interval in a cell.
pub fn share_cell(share: f64, low: f64, high: f64) -> String {
    let figure = |share: f64| percent(share).replace("\u{a0}%", "");
    super::result_sheets::estimate_cell(&percent(share), &figure(low), &figure(high))
}

/// An opening with its interval in a cell.
pub fn opening_cell(value: f64, low: f64, high: f64) -> String {
    super::result_sheets::estimate_cell(&decimal(value, 1), &decimal(low, 1), &decimal(high, 1))
}

/// Beside the openings.
pub const TABLES_NOTE: &str = "Siblings: the other tables of the site; none where it has one table. q: after Benjamini-Hochberg over everything on \
     this page. A finding must also differ by more than half the standard's tolerance. Recent visits only: the last 91 days.";
/// Before the tables' openings.
pub const TABLES_INTRO: &str = "With more return tension the split opens less. So that tables can be compared, each one's opening is given as it \
     would be at the group's mean tension. A table that opens unlike its siblings is a matter for whoever looks after the equipment.";
/// Caption of the openings.
pub const TABLES_CAPTION: &str = "Opening of the split at peak pull, mm";
/// Columns of the openings.
pub const TABLES_COLUMNS: [&str; 5] =
    ["visits", "as recorded", "at equal tension (95\u{a0}%\u{a0}CI)", "its siblings", "q"];
/// First column of the openings.
pub const TABLE: &str = "table";

/// Before what changes within patients.
pub const WITHIN_INTRO: &str = "What a clinician sets for a patient tends to stay; what is measured should move a little. A value that never moves \
     may be a steady hand, or an entry taken over.";
/// Caption of what changes within patients.
pub const WITHIN_CAPTION: &str = "From one visit of a patient to the next";
/// Columns of what changes within patients.
pub const WITHIN_COLUMNS: [&str; 4] = ["steps", "with another value", "how far, median", "how far, 90\u{a0}% at most"];
/// Beside it.
pub const WITHIN_NOTE: &str = "A step: two visits in a row of one episode that both record the parameter. How far: of the steps with another value.";
/// First column.
pub const PARAMETER: &str = "parameter";

/// How far of a step.
pub fn how_far(within: &Within, unit: &str, decimals: usize) -> Option<(String, String)> {
    let (median, most) = within.how_far?;
    Some((amount(median, unit, decimals), amount(most, unit, decimals)))
}

/// Before the rules.
pub const RULES_INTRO: &str = "Each rule holds recorded numbers against each other. One that is broken is a matter of units, of typing or of the \
     wrong field far more often than of the setup.";
/// Caption of what the rules say.
pub const RULES_CAPTION: &str = "The rules";
/// First column of the rules.
pub const RULE: &str = "rule";
/// Columns of what the rules say.
pub const RULES_COLUMNS: [&str; 3] = ["in use", "why, and what to look at", "source"];
/// Caption of who breaks the rules.
pub const BROKEN_CAPTION: &str = "Visits that break a rule, of those that record what it needs";
/// First columns of who breaks the rules.
pub const BROKEN_COLUMNS: [&str; 2] = ["visits asked", "broken"];
/// A rule that is switched on.
pub const ON: &str = "yes";
/// A rule that is switched off.
pub const OFF: &str = "no";
