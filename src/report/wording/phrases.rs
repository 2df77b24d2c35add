//! Words that stand inside sentences: periods, titles, what a response is called.

use crate::findings::bulletin::Period;
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

#[cfg(test)]
mod tests {
    use super::*;

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
