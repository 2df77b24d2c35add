//! Direct identifiers: what the cells of a column look like.
//!
//! Each cell is looked at once and only counts are kept, with a bounded set of hashes where it matters
//! how many different texts there are; no cell is stored. Thresholds are design choices: one certain
//! shape (an e-mail address, say) is enough in a short column and two in any; shapes that ordinary
//! columns also have (two capitalised words) must fill the column and change from row to row.

use super::identifiers::{CellRole, IdentifierKind, plain, words};
use std::collections::HashSet;
use std::hash::{DefaultHasher, Hash, Hasher};

/// Different texts that are told apart; more count as many.
const DISTINCT_CAP: usize = 1_024;
/// A certain shape in one of so many cells is enough.
const CELLS_FOR_ONE_HIT: u64 = 200;
/// Fewer different names or addresses are the labels of something else.
const FEWEST_PEOPLE: usize = 6;
/// Rows that one person has at most on average: a course of care is shorter.
const ROWS_PER_PERSON: u64 = 30;
/// Fewer long texts may be labels.
const FEWEST_TEXTS: u64 = 5;
/// A free text is longer, in bytes.
const LABEL_LENGTH: usize = 40;
/// Longer words in lower case are no `von` or `de`.
const LONGEST_PARTICLE: usize = 3;
/// Fewer dates do not show whether people were born on them.
const FEWEST_BIRTHS: u64 = 20;
/// Visits are not spread over so many years.
const FEWEST_BIRTH_YEARS: u32 = 15;
/// Visits before this year are in no export.
const FIRST_VISIT_YEAR: u32 = 1985;

/// Looks at the cells of one column.
#[derive(Clone, Default, Debug)]
pub struct ValueScreen {
    cells: u64,
    emails: u64,
    urls: u64,
    social_security: u64,
    ip_addresses: u64,
    phones: u64,
    local_phones: u64,
    dates: u64,
    old_dates: u64,
    /// One bit a year from 1900.
    years: u128,
    names: Seen,
    addresses: Seen,
    texts: Seen,
}

/// How often a shape was met, and in how many different texts.
#[derive(Clone, Default, Debug)]
struct Seen {
    hits: u64,
    distinct: HashSet<u64>,
}

impl Seen {
    fn note(&mut self, cell: &[u8]) {
        self.hits += 1;
        if self.distinct.len() < DISTINCT_CAP {
            let mut hasher = DefaultHasher::new();
            cell.hash(&mut hasher);
            self.distinct.insert(hasher.finish());
        }
    }

    /// Whether a text comes back at most so often on average.
    fn varies(&self, hits_per_text: u64) -> bool {
        let distinct = self.distinct.len();
        distinct >= DISTINCT_CAP || distinct as u64 * hits_per_text >= self.hits
    }

    /// Whether most of the cells have the shape, and there are as many as there would be people.
    fn are_people(&self, cells: u64) -> bool {
        self.hits * 2 > cells && self.distinct.len() >= FEWEST_PEOPLE && self.varies(ROWS_PER_PERSON)
    }
}

impl ValueScreen {
    /// Looks at one cell, without spaces around it. Empty cells count for nothing.
    pub fn observe(&mut self, cell: &[u8]) {
        if cell.is_empty() {
            return;
        }
        self.cells += 1;
        let digits = cell.iter().filter(|b| b.is_ascii_digit()).count();
        let has_letters = cell.iter().any(|b| b.is_ascii_alphabetic() || !b.is_ascii());
        if has_letters {
            self.emails += u64::from(has_email(cell));
            self.urls += u64::from(has_url(cell));
            self.observe_words(cell, digits);
        } else if digits >= 4 {
            self.social_security += u64::from(is_social_security(cell));
            self.ip_addresses += u64::from(is_ip_address(cell));
            match phone(cell) {
                Some(Phone::Certain) => self.phones += 1,
                Some(Phone::Local) => self.local_phones += 1,
                None => {}
            }
        }
        if digits >= 5
            && let Some(year) = date_year(cell)
        {
            self.dates += 1;
            self.old_dates += u64::from(year < FIRST_VISIT_YEAR);
            self.years |= year.checked_sub(1900).and_then(|bit| 1u128.checked_shl(bit)).unwrap_or(0);
        }
    }

    fn observe_words(&mut self, cell: &[u8], digits: usize) {
        // names and addresses have two words or more
        if !cell.iter().any(|b| matches!(b, b' ' | b',')) {
            return;
        }
        let Ok(text) = std::str::from_utf8(cell) else { return };
        if cell.len() > LABEL_LENGTH && is_free_text(text) {
            self.texts.note(cell);
        } else if digits == 0 && is_name(text) {
            self.names.note(cell);
        } else if digits > 0 && is_address(text) {
            self.addresses.note(cell);
        }
    }

    /// The kind of direct identifier that the cells look like.
    pub fn finding(&self) -> Option<IdentifierKind> {
        let certain = |hits: u64| hits >= 2 || (hits == 1 && self.cells < CELLS_FOR_ONE_HIT);
        let share = |hits: u64, per_cent: u64| hits * 100 > self.cells * per_cent;
        let births = self.dates >= FEWEST_BIRTHS
            && share(self.dates, 80)
            && self.old_dates * 4 >= self.dates
            && self.years.count_ones() >= FEWEST_BIRTH_YEARS;
        let texts = self.texts.hits >= FEWEST_TEXTS && share(self.texts.hits, 10) && self.texts.varies(2);
        [
            (certain(self.emails), IdentifierKind::Email),
            (certain(self.social_security), IdentifierKind::SocialSecurity),
            (certain(self.urls), IdentifierKind::Url),
            (certain(self.ip_addresses), IdentifierKind::IpAddress),
            (certain(self.phones), IdentifierKind::Phone),
            (self.local_phones >= 3 && share(self.local_phones, 20), IdentifierKind::Phone),
            (births, IdentifierKind::BirthDate),
            (self.names.are_people(self.cells), IdentifierKind::Name),
            (self.addresses.are_people(self.cells), IdentifierKind::Address),
            (texts, IdentifierKind::FreeText),
        ]
        .into_iter()
        .find_map(|(found, kind)| found.then_some(kind))
    }
}

/// `local@domain.top` anywhere in the cell.
pub(super) fn has_email(cell: &[u8]) -> bool {
    let is_local = |b: &u8| b.is_ascii_alphanumeric() || b"._%+-".contains(b);
    let is_domain = |b: &u8| b.is_ascii_alphanumeric() || b".-".contains(b);
    let mut local_ends_well = false;
    for (at, byte) in cell.iter().enumerate() {
        if *byte == b'@' && local_ends_well {
            let domain = cell.get(at + 1..).unwrap_or_default();
            let length = domain.iter().take_while(|b| is_domain(b)).count();
            let mut labels = domain.get(..length).unwrap_or_default().split(|b| *b == b'.').filter(|l| !l.is_empty());
            let top = labels.next_back().unwrap_or_default();
            if labels.next().is_some() && top.len() >= 2 && top.iter().all(u8::is_ascii_alphabetic) {
                return true;
            }
        }
        local_ends_well = is_local(byte);
    }
    false
}

pub(super) fn has_url(cell: &[u8]) -> bool {
    let named = cell.windows(3).any(|w| w == b"://");
    named || cell.get(..4).is_some_and(|start| start.eq_ignore_ascii_case(b"www."))
}

/// Three, two and four digits with dashes.
pub(super) fn is_social_security(cell: &[u8]) -> bool {
    cell.len() == 11
        && cell.iter().enumerate().all(|(i, b)| if matches!(i, 3 | 6) { *b == b'-' } else { b.is_ascii_digit() })
}

/// Four numbers of at most 255 with points.
fn is_ip_address(cell: &[u8]) -> bool {
    let parts = cell.split(|b| *b == b'.');
    let byte = |part: &[u8]| std::str::from_utf8(part).is_ok_and(|p| p.len() <= 3 && p.parse::<u8>().is_ok());
    cell.len() <= 15 && parts.clone().count() == 4 && parts.clone().all(byte) && !cell.contains(&b'+')
}

/// How sure a telephone number is.
#[derive(PartialEq, Debug)]
enum Phone {
    /// International (`+44 ...`), or a North American number of ten digits.
    Certain,
    /// A leading 0 and groups of digits, as a number without its country is written.
    Local,
}

/// Whether a name is a telephone number beyond doubt.
pub(super) fn phone_is_certain(name: &[u8]) -> bool {
    phone(name) == Some(Phone::Certain)
}

/// Whether a name is written as a telephone number without its country.
pub(super) fn phone_is_local(name: &[u8]) -> bool {
    phone(name) == Some(Phone::Local)
}

fn phone(cell: &[u8]) -> Option<Phone> {
    let body = cell.strip_prefix(b"+").unwrap_or(cell);
    if !body.iter().all(|b| b.is_ascii_digit() || b" -.()/".contains(b)) {
        return None;
    }
    let groups: Vec<&[u8]> = body.split(|b| !b.is_ascii_digit()).filter(|group| !group.is_empty()).collect();
    let lengths: Vec<usize> = groups.iter().map(|group| group.len()).collect();
    let digits: usize = lengths.iter().sum();
    let first = groups.first().and_then(|group| group.first());
    if body.len() < cell.len() {
        return ((8..=15).contains(&digits) && first != Some(&b'0')).then_some(Phone::Certain);
    }
    // area and exchange of the North American plan begin with 2 to 9; a date or a key 001-002-0003 does not
    if let [.., area, exchange, _] = groups.as_slice()
        && matches!(lengths.as_slice(), [3, 3, 4] | [1, 3, 3, 4])
        && [area, exchange].iter().all(|group| group.first().is_some_and(|d| *d >= b'2'))
        && (groups.len() == 3 || first == Some(&b'1'))
    {
        return Some(Phone::Certain);
    }
    let separators = |wanted: u8| body.iter().filter(|b| **b == wanted).count();
    let plausible = first == Some(&b'0')
        && (9..=14).contains(&digits)
        && lengths.len() >= 2
        && lengths.first().is_some_and(|length| *length >= 2);
    let pairs = separators(b'.') == 0 || lengths == [2; 5];
    (plausible && separators(b'-') <= 1 && pairs).then_some(Phone::Local)
}

/// The year of a full date: year first or last, months as numbers or words, a time behind it or not.
fn date_year(cell: &[u8]) -> Option<u32> {
    let mut groups = cell.split(|b| !b.is_ascii_alphanumeric()).filter(|group| !group.is_empty());
    let (first, second, third) = (groups.next()?, groups.next()?, groups.next()?);
    let third = third.split(|b| *b == b'T').next()?;
    let is_part = |part: &[u8]| part.len() <= 2 && part.iter().all(u8::is_ascii_digit);
    let is_month = |part: &[u8]| is_part(part) || (part.len() >= 3 && part.iter().all(u8::is_ascii_alphabetic));
    let year = |part: &[u8]| -> Option<u32> {
        (part.len() == 4).then(|| std::str::from_utf8(part).ok()?.parse().ok()).flatten().filter(|y| *y >= 1900)
    };
    match (year(first), year(third)) {
        (Some(year), None) if is_month(second) && is_part(third) => Some(year),
        (None, Some(year)) if is_part(first) && is_month(second) || is_month(first) && is_part(second) => Some(year),
        _ => None,
    }
}

/// Two to four capitalised words or initials, in either order, and none of them an ordinary word.
fn is_name(text: &str) -> bool {
    if text.matches(',').count() > 1 || text.len() > LABEL_LENGTH + 20 {
        return false;
    }
    let is_letter = |c: char| c.is_alphabetic() || matches!(c, '-' | '\'' | '’' | '.');
    let (mut parts, mut long) = (0, 0);
    for word in text.split([' ', ',']).filter(|word| !word.is_empty()) {
        let stem = word.trim_end_matches('.');
        if !stem.chars().all(is_letter) {
            return false;
        }
        let is_capitalised = stem.chars().next().is_some_and(char::is_uppercase);
        if !is_capitalised && stem.len() > LONGEST_PARTICLE {
            return false;
        }
        let plain_word = plain(stem);
        if is(CellRole::Particle, &plain_word) {
            continue;
        }
        let is_ordinary = |piece: &str| is(CellRole::Ordinary, piece) || is(CellRole::OrdinaryEnding, piece);
        if !is_capitalised || plain_word.split('-').any(is_ordinary) {
            return false;
        }
        parts += 1;
        long += u32::from(stem.chars().count() >= 3);
    }
    (2..=4).contains(&parts) && long >= 1
}

/// A street and a number.
pub(super) fn is_address(text: &str) -> bool {
    text.split([' ', ',']).any(|word| {
        let plain_word = plain(word.trim_end_matches('.'));
        is(CellRole::Street, &plain_word) || is(CellRole::StreetEnding, &plain_word)
    })
}

/// Long, with several spaces and ordinary lower-case words: a list of codes has none.
fn is_free_text(text: &str) -> bool {
    let sentence_words = text.split(' ').filter(|w| w.len() >= 2 && w.chars().all(char::is_lowercase)).count();
    sentence_words >= 3 && text.matches(' ').count() >= 4
}

/// Whether a word has a role; no word has one if the data were wrong.
fn is(role: CellRole, word: &str) -> bool {
    words().is_some_and(|words| words.is(role, word))
}

#[cfg(test)]
mod tests;
