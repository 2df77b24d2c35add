//! A finding of setups as a sentence: what, where, since when, how far, on how many visits; and what to look at.

use super::percent;
use super::setup_parameters::{amount, amounts, day, place, title, visits_of_patients, within};
use crate::catalogue::parameter::Parameter;
use crate::catalogue::setup_standard::Grade;
use crate::findings::setups::{Kind, RuleFindings, SetupFinding, SetupFindings, Since};

/// Where a share would tell of a few patients.
const WITHHELD_SHARE: &str = "a share that is withheld";
/// Why.
const WITHHELD_NOTE: &str = "Few patients stand on one side of the share, so it is withheld.";

/// What a finding is called in a list.
pub fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Conformance => "Standard met less often than elsewhere",
        Kind::Unlike => "Unlike the others",
        Kind::Spread => "Spread unlike the other sites",
        Kind::Shift => "Changed at once",
        Kind::Drift => "Drifts",
        Kind::CopiedForward => "Entries repeat those of the visit before",
        Kind::Digits => "Last digits are uneven",
        Kind::NotPossible => "Recorded numbers that cannot be",
        Kind::Opening => "A table opens unlike its siblings",
    }
}

/// The finding in a sentence or two. `setups` give the title of a rule that is broken and the decimals of a parameter.
pub fn sentence(found: &SetupFinding, setups: &SetupFindings) -> String {
    let behind = visits_of_patients(found.visits, found.patients);
    let place = place(&found.place);
    let about = found.about.map_or_else(|| "the setup".to_owned(), within);
    let (seen, held) = (observed(found), reference(found));
    match found.kind {
        Kind::Conformance => {
            let grade = match found.grade {
                Some(Grade::Required) => " The item is required.",
                Some(Grade::Advised) => " The item is advised.",
                None => "",
            };
            let held = match found.is_against_least {
                true => format!("at least {held} are needed at every site"),
                false => format!("{} on {held}", elsewhere(found)),
            };
            let usual = found.usual.as_ref().map_or(String::new(), |usual| {
                let amount = |value| amount(value, &usual.unit, usual.decimals);
                format!(
                    " On average it is {}, {} {}.",
                    amount(usual.observed),
                    elsewhere(found),
                    amount(usual.reference)
                )
            });
            format!("{place}: {about} meets the standard on {seen} of {behind}, {held}.{usual}{grade}")
        }
        Kind::Unlike if found.unit == "share" => {
            format!("{place}: {about} is recorded as so on {seen} of {behind}, {} on {held}.", elsewhere(found))
        }
        Kind::Unlike => {
            format!("{place}: {about} is {seen} on average, on {behind}; {} it is {held}.", elsewhere(found))
        }
        Kind::Spread => format!(
            "{place}: values of {about} are spread unlike those of the other sites, beyond one lying higher than the other, on \
             {behind}: the distance between the distributions is {} of the most it can be{}.",
            percent(found.observed),
            match found.interval_is_of_reference {
                true => format!("; chance gives up to {}", percent(found.interval.1)),
                false => ci(found),
            }
        ),
        Kind::Shift => format!(
            "{place}: {about} {} at once{}, from {held} to {seen}, on {behind}.",
            match found.few_on_one_side {
                true => "changed",
                false if found.observed >= found.reference => "rose",
                false => "fell",
            },
            since(found.since.as_ref(), "on")
        ),
        Kind::Drift => format!(
            "{place}: {about} {}{}, by {}, from {} before, on {behind}.",
            if found.observed >= 0.0 { "has been rising" } else { "has been falling" },
            since(found.since.as_ref(), "since"),
            slope(found),
            before(found, setups)
        ),
        Kind::CopiedForward => format!(
            "{place}: entries of the setup repeat those of the same patient's visit before, field for field, on {seen} of {behind}; \
             as others repeat them {held} would be expected."
        ),
        Kind::Digits => format!(
            "{place}: recorded values of {} end in {} on {seen} of {behind}; with other clinicians they do on {held}.",
            found.measure.as_deref().map_or_else(|| digits_of(found, about), super::phrases::within),
            found.digit.map_or_else(|| "the same digit".to_owned(), |digit| digit.to_string())
        ),
        Kind::NotPossible => {
            let rule = found.rule.as_deref().map_or("a rule of what is possible", |key| rule_title(key, &setups.rules));
            format!(
                "{place}: recorded numbers break the rule \u{201c}{rule}\u{201d} on {seen} of {behind}, {} on {held}.",
                elsewhere(found)
            )
        }
        Kind::Opening => {
            format!(
                "{place}: at equal return tension the split opens by {seen}, at its sibling tables by {held}, on {behind}."
            )
        }
    }
}

/// Whom a place is held against: a site the others, a clinician or table the rest of the site.
fn elsewhere(found: &SetupFinding) -> &'static str {
    match found.place.clinician.is_some() || found.place.table.is_some() {
        true => "elsewhere at the site",
        false => "at the other sites",
    }
}

/// Digits of a pull stand under its share of body weight, and are the pull's.
fn digits_of(found: &SetupFinding, about: String) -> String {
    match found.about.map(|about| about.parameter) {
        Some(Parameter::PullShare) => "the peak pull".to_owned(),
        _ => about,
    }
}

fn rule_title<'r>(key: &'r str, rules: &'r [RuleFindings]) -> &'r str {
    rules.iter().find(|rule| rule.key == key).map_or(key, |rule| rule.title.trim_end_matches('.'))
}

/// What is seen, with its interval where it lies around it.
fn observed(found: &SetupFinding) -> String {
    if found.few_on_one_side {
        return WITHHELD_SHARE.to_owned();
    }
    let seen = amount(found.observed, &found.unit, found.decimals);
    if found.interval_is_of_reference { seen } else { format!("{seen}{}", ci(found)) }
}

/// What it is held against, with what chance gives around it where that is known.
fn reference(found: &SetupFinding) -> String {
    let held = amount(found.reference, &found.unit, found.decimals);
    if !found.interval_is_of_reference {
        return held;
    }
    let gives = match found.kind {
        Kind::Unlike => "chance and what sites usually differ by give",
        _ => "chance gives",
    };
    format!("{held} ({gives} {})", limits(found))
}

/// The level before a drift, with the parameter's own decimals.
fn before(found: &SetupFinding, setups: &SetupFindings) -> String {
    let of = found.about.and_then(|about| setups.of(about));
    amount(found.reference, found.unit.trim_end_matches(" a week"), of.map_or(found.decimals, |of| of.decimals))
}

/// The slope of a drift, without its sign, with its interval.
fn slope(found: &SetupFinding) -> String {
    let (low, high) = found.interval;
    let turned = if found.observed < 0.0 { (-high, -low) } else { (low, high) };
    let slope = amount(found.observed.abs(), &found.unit, found.decimals);
    if found.interval_is_of_reference {
        slope
    } else {
        let limits = amounts(turned.0, turned.1, &found.unit, found.decimals);
        format!("{slope} (95\u{a0}% CI {})", limits.trim_end_matches(" a week").trim_end_matches(" percentage points"))
    }
}

fn ci(found: &SetupFinding) -> String {
    format!(" (95\u{a0}% CI {})", limits(found).trim_end_matches("\u{a0}%"))
}

fn limits(found: &SetupFinding) -> String {
    amounts(found.interval.0, found.interval.1, &found.unit, found.decimals)
}

/// ` since 2 February 2026 (between 12 January and 23 February 2026)`.
fn since(since: Option<&Since>, word: &str) -> String {
    match since {
        Some(since) if since.earliest == since.latest => format!(" {word} {}", day(since.day)),
        Some(since) => {
            let word = if word == "on" { "about" } else { "since about" };
            format!(" {word} {} (likely between {} and {})", day(since.day), day(since.earliest), day(since.latest))
        }
        None => String::new(),
    }
}

/// What to look at.
pub fn look_at(found: &SetupFinding, setups: &SetupFindings) -> String {
    let parameter = found.about.map(|about| about.parameter);
    match found.kind {
        Kind::CopiedForward => {
            let whose = match (&found.place.clinician, &found.place.table) {
                (Some(clinician), _) => format!("the entries of {clinician}"),
                (None, Some(table)) => format!("the entries made at {table}"),
                (None, None) => "the entries".to_owned(),
            };
            format!(
                "Ask how {whose} are made: read anew at each visit, or taken over from the last by the person or by the form. What is \
                 taken over says nothing about the visit."
            )
        }
        Kind::Digits => format!(
            "Ask what {} is read from and how it is written down: a coarse scale or rounding hides small changes. It says nothing about \
             the setup itself.",
            match (&found.measure, parameter) {
                (Some(measure), _) => super::phrases::within(measure),
                (None, Some(Parameter::PullShare)) => "the peak pull".to_owned(),
                (None, Some(parameter)) => super::phrases::within(title(parameter)),
                (None, None) => "the value".to_owned(),
            }
        ),
        Kind::NotPossible => {
            let rule = found.rule.as_deref().and_then(|key| setups.rules.iter().find(|rule| rule.key == key));
            let why = rule.map_or("", |rule| rule.explanation.trim());
            let text = "Look at the units in the mapping first, then at how these fields are filled in.";
            if why.is_empty() { text.to_owned() } else { format!("{text} {}", super::phrases::sentence(why)) }
        }
        Kind::Opening => "Have the table looked at: return spring, track of the sliding half and how the opening is measured. The \
             maker's instructions come first."
            .to_owned(),
        Kind::Shift | Kind::Drift if found.place.table.is_some() => format!(
            "Have the table looked at, and ask what was serviced, replaced or measured differently around that day. {}",
            parameter.map_or("", parameter_to_look_at)
        )
        .trim_end()
        .to_owned(),
        Kind::Shift | Kind::Drift => format!(
            "Ask what changed around that day: staff, training, table, form, or the way it is measured. {}",
            parameter.map_or("", parameter_to_look_at)
        )
        .trim_end()
        .to_owned(),
        Kind::Spread => format!(
            "Ask whether one habit is followed there or several, and whether the value is measured or taken as usual. {}",
            parameter.map_or("", parameter_to_look_at)
        )
        .trim_end()
        .to_owned(),
        Kind::Conformance | Kind::Unlike => parameter
            .map_or("Look at how it is done and recorded there.", parameter_to_look_at)
            .to_owned(),
    }
}

/// What to look at of a parameter (common practice, no published source).
fn parameter_to_look_at(parameter: Parameter) -> &'static str {
    match parameter {
        Parameter::ReturnTension | Parameter::TensionTurns => {
            "Look at the return spring: its reading, the turns back from full, and whether they are set to one written value on every table."
        }
        Parameter::SplitGap => {
            "Look at the opening at peak pull: one that opens too little may have too much return tension, one that opens too much too little."
        }
        Parameter::Angle => "Look at how the angle is set and read, and whether flexion is written as positive.",
        Parameter::Position => "Look at who decides on the position, and by what rule.",
        Parameter::UpperRestraint => {
            "Look at what holds the upper body there, and whether it is written in the group's words."
        }
        Parameter::BeltLandmark | Parameter::BeltSeated => {
            "Watch some setups: where the pelvic belt sits, and whether that is checked before it is recorded."
        }
        Parameter::SlackCycle => {
            "Watch some setups: whether one whole pull-and-rest cycle is run before the sliding half is freed."
        }
        Parameter::LevelPull => "Watch some setups: whether the table is raised so that the line of pull is level.",
        Parameter::TableLevel => "Look at whether the table stands level, and when that was last checked.",
        Parameter::Mode => "Look at who decides between static and intermittent pull, and by what rule.",
        Parameter::PullShare => {
            "Look at how the pull is worked out, and whether body weight is asked anew. This is no advice on dose."
        }
        Parameter::Hold | Parameter::Rest | Parameter::Ramp => {
            "Look at which program of the machine is used, and whether its times are written down as run."
        }
        Parameter::Session => "Look at whether the length is that of the pull alone, or of the whole visit.",
    }
}

/// Sentence and what to look at: a line of a sheet.
pub fn explanation(found: &SetupFinding, setups: &SetupFindings) -> String {
    format!("{} {}", sentence(found, setups), look_at(found, setups)).replace('\u{a0}', " ")
}

/// What stands beside a finding.
pub fn note(found: &SetupFinding) -> Vec<String> {
    let mut notes = vec![match found.few_on_one_side {
        true => format!("{}. {WITHHELD_NOTE}", kind(found.kind)),
        false => format!("{}; q\u{a0}{}.", kind(found.kind), super::sites::q_value(found.q)),
    }];
    if !found.also.is_empty() {
        let places: Vec<String> = found.also.iter().map(place).collect();
        notes.push(format!("The same shows at: {}.", places.join("; ")));
    }
    notes
}

/// How many findings a section has, in the table of contents.
pub fn how_many(findings: usize) -> String {
    super::counted(findings as u64, "finding", "findings")
}

#[cfg(test)]
#[path = "setup_findings_tests.rs"]
mod tests;
