//! What a name may not hold: what steers a terminal, called control characters here, and at its start what a spreadsheet
//! computes.

use crate::error::steers_terminal;

/// Whether a text holds what steers a terminal.
pub fn has_control(text: &str) -> bool {
    // nearly every name is printable ASCII
    !text.bytes().all(|byte| (0x20..0x7f).contains(&byte)) && text.contains(steers_terminal)
}

/// Whether a spreadsheet would take a cell with this text for a formula: it begins with `=` `+` `-` `@`, their full-width
/// forms, or what steers a terminal.
pub fn begins_like_a_formula(text: &str) -> bool {
    let signs = ['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'];
    text.starts_with(|first| signs.contains(&first) || steers_terminal(first))
}

/// A text of several lines on one, with a space for each line end.
pub fn on_one_line(text: &str) -> String {
    let parts: Vec<&str> = text.split(['\n', '\r']).map(str::trim).filter(|part| !part.is_empty()).collect();
    parts.join(" ")
}

/// The name of a column, as a header's cell says it.
pub fn column_text(cell: &str) -> String {
    on_one_line(cell.trim().trim_start_matches('\u{feff}'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_terminal_obeys_is_a_control_character_and_letters_are_not() {
        for text in [
            "\u{1b}[2J",
            "a\nb",
            "a\tb",
            "\u{7f}",
            "\u{9b}31m",
            "a\u{202e}b",
            "a\u{2028}b",
            "\0",
            "a\u{61c}",
            "\u{200e}a",
            "a\u{200f}b",
        ] {
            assert!(has_control(text), "{text:?}");
        }
        for text in ["", "Alderwick", "Größe 3 µ", "Ελένη", "日本", "a\u{a0}b", "-0.5"] {
            assert!(!has_control(text), "{text:?}");
        }
    }

    #[test]
    fn a_formula_is_known_by_its_first_character() {
        for text in ["=1+1", "+1", "-2", "@x", "\tx", "\r=1", "＝1", "\u{1}"] {
            assert!(begins_like_a_formula(text), "{text:?}");
        }
        for text in ["", "a=1", "'=1", " =1", "K-12"] {
            assert!(!begins_like_a_formula(text), "{text:?}");
        }
    }

    #[test]
    fn a_column_named_over_several_lines_has_a_name_of_one() {
        assert_eq!(column_text("\u{feff} peak\r\n  lbf "), "peak lbf");
        assert_eq!(column_text("peak lbf"), "peak lbf");
    }
}
