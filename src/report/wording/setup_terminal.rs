//! What `mendcurve setups` prints.

use super::setup_findings::{look_at, sentence};
use super::setup_parameters::{asked, heading};
use super::setups::{looked_at, nothing_found};
use super::{percent, setup_parameters::visits_counted};
use crate::catalogue::setup_standard::Grade;
use crate::findings::setups::SetupFindings;

/// Columns of a line.
const WIDTH: usize = 100;

/// Findings as numbered sentences, a line for each required item, and what was looked at.
pub fn terminal(setups: &SetupFindings) -> String {
    let mut page = String::new();
    if setups.findings.is_empty() {
        wrap(&mut page, "", "", &nothing_found(setups));
    }
    let digits = setups.findings.len().to_string().len();
    for (position, found) in setups.findings.iter().enumerate() {
        let first = format!("{:>digits$}. ", position + 1);
        let rest = " ".repeat(first.len());
        wrap(&mut page, &first, &rest, &sentence(found, setups));
        wrap(&mut page, &rest, &rest, &look_at(found, setups));
    }
    let required: Vec<String> = setups
        .parameters
        .iter()
        .flat_map(|of| {
            of.asked.iter().zip(&of.conformance).filter(|(item, _)| item.grade == Grade::Required).map(
                move |(item, met)| {
                    format!(
                        "{}: {} of {} as the standard asks, {}",
                        heading(of.about),
                        percent(met.group),
                        visits_counted(met.visits),
                        asked(of.about, item, &of.unit, of.decimals)
                    )
                },
            )
        })
        .collect();
    if !required.is_empty() {
        page.push('\n');
        wrap(&mut page, "", "", "Required by the standard:");
        for line in required {
            wrap(&mut page, "- ", "  ", &line);
        }
    }
    page.push('\n');
    for paragraph in looked_at(setups) {
        wrap(&mut page, "", "", &paragraph);
    }
    page
}

/// Writes a text in lines of limited width, broken between words. What is no letter must not reach the terminal.
fn wrap(page: &mut String, first: &str, rest: &str, text: &str) {
    let mut line = first.to_owned();
    let mut is_empty = true;
    let plain: String = text
        .chars()
        .map(|c| {
            if c == '\u{a0}' {
                ' '
            } else if c.is_control() {
                '\u{fffd}'
            } else {
                c
            }
        })
        .collect();
    for word in plain.split(' ').filter(|word| !word.is_empty()) {
        if !is_empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            page.push_str(&line);
            page.push('\n');
            line = rest.to_owned();
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line.push_str(word);
        is_empty = false;
    }
    page.push_str(&line);
    page.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::invented_setups;

    #[test]
    fn findings_are_numbered_and_no_line_is_too_long() {
        let text = terminal(&invented_setups::setups());
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
        assert!(text.starts_with(" 1. Dunnock Hill, table DT2") || text.starts_with(" 1. Coldlarch"), "{text}");
        assert!(text.contains("Required by the standard:\n- Return tension, low back: "), "{text}");
        assert!(text.contains("Benjamini-Hochberg"));
        assert!(!text.contains('\u{a0}'));
    }

    #[test]
    fn nothing_found_is_not_called_well() {
        let mut setups = invented_setups::setups();
        setups.findings.clear();
        setups.parameters.clear();
        let text = terminal(&setups);
        assert!(
            text.starts_with("Nothing was found that chance does not explain") && text.contains("not the same as all")
        );
        assert!(!text.contains("Required by the standard"));
    }

    #[test]
    fn a_control_character_of_a_code_does_not_reach_the_terminal() {
        let mut setups = invented_setups::setups();
        if let Some(found) = setups.findings.first_mut() {
            found.place.site = "Cold\u{1b}[31mlarch".into();
        }
        assert!(!terminal(&setups).contains('\u{1b}'));
    }
}
