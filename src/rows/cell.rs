//! One cell as its field's kind asks: a name, a date, a number in SI units, or a word of a closed list.

use super::codes::{codes_alone, codes_of, is_code};
use super::dates;
use super::match_columns::{FieldPlan, Plan};
use super::names::NameList;
use super::quantities;
use super::reason::Reason;
use super::row::NameId;
use super::when::{DAY_OFFSETS, Quarter};
use crate::export::records::Record;
use crate::group::plain_text::has_control;
use crate::units::Kilograms;
use chrono::NaiveDate;
use std::ops::RangeInclusive;

/// Longest name of a patient, site or other thing (bytes).
const LONGEST_NAME: usize = 200;

/// A cell that is neither empty nor missing, and how it is to be read.
#[derive(Clone, Copy, Debug)]
pub struct Cell<'a> {
    /// What is written.
    pub text: &'a [u8],
    /// Its field.
    pub field: &'a FieldPlan<'a>,
    /// Its file.
    pub plan: &'a Plan<'a>,
    /// The record in which it stands.
    pub record: &'a Record<'a>,
}

/// What each of these does not understand is the reason that the cell is blanked or the row rejected.
impl<'a> Cell<'a> {
    /// A name, new in the list or known; `None` past four thousand million names.
    pub fn name(&self, list: &mut NameList) -> Result<Option<NameId>, Reason> {
        let name = name_of(self.canonical_text())?;
        if has_control(name) { Err(Reason::ControlCharacter) } else { Ok(list.intern(name)) }
    }

    /// ICD-10-CM codes, which may stand one a line, without other words beside them, which may be anybody's.
    pub fn codes(&self, list: &mut NameList) -> Result<Option<NameId>, Reason> {
        let text = self.canonical_text();
        let alone;
        let codes = match codes_of(text).all(is_code) {
            true => text,
            false => {
                alone = codes_alone(text).ok_or(Reason::UnknownCode)?;
                &alone
            }
        };
        let codes = name_of(codes)?;
        if !has_control(codes) {
            return Ok(list.intern(codes));
        }
        let spaced = codes.replace(char::is_control, " ");
        if has_control(&spaced) { Err(Reason::ControlCharacter) } else { Ok(list.intern(&spaced)) }
    }

    /// A calendar date, not after `as_of`.
    pub fn date(&self, as_of: NaiveDate) -> Result<NaiveDate, Reason> {
        let date = self.plan.dates.read(self.text).ok_or(Reason::NotADate)?;
        if dates::too_early(date) {
            return Err(Reason::DateTooEarly);
        }
        if date > as_of {
            return Err(Reason::DateInFuture);
        }
        Ok(date)
    }

    /// A quarter.
    pub fn quarter(&self) -> Result<Quarter, Reason> {
        std::str::from_utf8(self.text).ok().and_then(Quarter::parse).ok_or(Reason::NotAQuarter)
    }

    /// A whole number of days.
    pub fn days(&self) -> Result<f64, Reason> {
        let days = self.number_or(Reason::NotDays)?;
        if days.fract() != 0.0 || !DAY_OFFSETS.contains(&days) { Err(Reason::NotDays) } else { Ok(days) }
    }

    /// A whole number, 0 to 65,535.
    pub fn count(&self) -> Result<u16, Reason> {
        let count = self.number_or(Reason::NotACount)?;
        if count.fract() != 0.0 || !(0.0..=65_535.0).contains(&count) {
            return Err(Reason::NotACount);
        }
        Ok(count as u16)
    }

    /// A plain number that must make a value of its own.
    pub fn number<T>(&self, value: impl FnOnce(f64) -> Option<T>) -> Result<T, Reason> {
        value(self.number_or(Reason::NotANumber)?).ok_or(Reason::OutsidePossible)
    }

    /// A force in N, which may be written in percent of body weight.
    pub fn force(&self, body_mass: Option<Kilograms>) -> Result<f64, Reason> {
        quantities::read(self.plan, self.field, self.text, self.record, body_mass)
    }

    /// Another quantity in its SI unit, within limits.
    pub fn quantity(&self, limits: RangeInclusive<f64>) -> Result<f64, Reason> {
        within(limits, quantities::read(self.plan, self.field, self.text, self.record, None)?)
    }

    /// Yes or no.
    pub fn yes_no(&self) -> Result<bool, Reason> {
        self.word(|word| match word {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        })
    }

    /// A word of a closed list.
    pub fn word<T>(&self, named: impl FnOnce(&str) -> Option<T>) -> Result<T, Reason> {
        self.canonical_word().and_then(named).ok_or(Reason::UnknownWord)
    }

    /// The canonical word, else what is written.
    pub fn canonical_text(&self) -> &'a [u8] {
        self.canonical_word().map_or(self.text, str::as_bytes)
    }

    /// The canonical word: exact first, then whatever the case.
    fn canonical_word(&self) -> Option<&'a str> {
        let words = self.field.words;
        if words.is_empty() {
            return None;
        }
        let found = match words.iter().find(|(word, _)| word.as_bytes() == self.text) {
            None if self.text.is_ascii() => {
                words.iter().find(|(word, _)| word.as_bytes().eq_ignore_ascii_case(self.text))
            }
            None => {
                let lower = std::str::from_utf8(self.text).ok()?.to_lowercase();
                words.iter().find(|(word, _)| *word == lower)
            }
            exact => exact,
        };
        found.map(|(_, canonical)| canonical.as_str())
    }

    /// A number, or a word that the mapping turns into one.
    fn number_or(&self, otherwise: Reason) -> Result<f64, Reason> {
        match self.canonical_word() {
            Some(word) => word.parse().map_err(|_| otherwise),
            None => self.plan.numbers.read(self.text).ok_or(otherwise),
        }
    }
}

/// A value that must lie within limits.
pub fn within(limits: RangeInclusive<f64>, value: f64) -> Result<f64, Reason> {
    if limits.contains(&value) { Ok(value) } else { Err(Reason::OutsidePossible) }
}

fn name_of(text: &[u8]) -> Result<&str, Reason> {
    if text.len() > LONGEST_NAME {
        return Err(Reason::NameTooLong);
    }
    std::str::from_utf8(text).map_err(|_| Reason::UnknownWord)
}
