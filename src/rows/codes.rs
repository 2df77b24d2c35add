//! Labels and ICD-10-CM codes of conditions in cells.

use super::when::{Quarter, When};
use crate::catalogue::{CellCodes, ConditionId, Conditions};
use std::collections::HashMap;

/// What need not be worked out twice within a block.
#[derive(Default, Debug)]
pub struct Cache {
    labels: HashMap<Box<[u8]>, Option<ConditionId>>,
    codes: HashMap<(Box<str>, Option<Quarter>), CellCodes>,
}

impl Cache {
    /// The conditions of a codes cell on a day. Codes change with a quarter's first day, so the quarter is enough to remember them by.
    pub fn codes(&mut self, conditions: &Conditions, cell: &str, when: When) -> CellCodes {
        let quarter = when.quarter();
        if let Some(known) = self.codes.get(&(Box::from(cell), quarter)) {
            return *known;
        }
        let on = when.date().or(quarter.map(Quarter::first_day));
        let found = conditions.parse_cell(cell, on);
        self.codes.insert((cell.into(), quarter), found);
        found
    }

    /// The condition of a local label.
    pub fn label(&mut self, conditions: &Conditions, cell: &[u8]) -> Option<ConditionId> {
        if let Some(known) = self.labels.get(cell) {
            return *known;
        }
        let found = std::str::from_utf8(cell).ok().and_then(|text| conditions.by_label(text));
        self.labels.insert(cell.into(), found);
        found
    }
}

/// The parts of a codes cell.
pub(super) fn codes_of(cell: &[u8]) -> impl Iterator<Item = &[u8]> {
    cell.split(|b| b";,|/ \n".contains(b)).filter(|part| !part.is_empty())
}

/// A letter, a digit, a letter or digit, then after an optional dot up to four more (ICD-10-CM).
pub(super) fn is_code(part: &[u8]) -> bool {
    let is_alphanumeric = |part: &[u8]| part.iter().all(u8::is_ascii_alphanumeric);
    let [letter, digit, third, rest @ ..] = part else { return false };
    let rest = rest.strip_prefix(b".").unwrap_or(rest);
    letter.is_ascii_alphabetic()
        && digit.is_ascii_digit()
        && is_alphanumeric(&[*third])
        && is_alphanumeric(rest)
        && rest.len() <= 4
}

/// The codes of a cell that holds other words as well, which may be anybody's; `None` when it holds no code.
pub(super) fn codes_alone(cell: &[u8]) -> Option<Vec<u8>> {
    let codes: Vec<&[u8]> = codes_of(cell).filter(|part| is_code(part)).collect();
    (!codes.is_empty()).then(|| codes.join(&b' '))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_codes_cell_keeps_its_codes_alone() {
        let alone = |cell: &str| codes_alone(cell.as_bytes()).map(|codes| String::from_utf8(codes).unwrap());
        assert_eq!(alone("M54.16 Quillfeather, Anna; M51.26"), Some("M54.16 M51.26".into()));
        assert_eq!(alone("Quillfeather"), None);
        for code in ["M54.16", "M5416", "m54.5", "S33.5XXA", "J45"] {
            assert!(is_code(code.as_bytes()), "{code}");
        }
        for word in ["", "M5", "Anna", "C-0417", "A19580312", "M54.16789"] {
            assert!(!is_code(word.as_bytes()), "{word}");
        }
    }
}
