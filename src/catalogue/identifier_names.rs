//! Direct identifiers: names that were kept (patients' keys, clinicians, tables, labels), held against each other.
//!
//! A file's keys have a form. Where most are numbers, hashes or letters with a serial, a key of another form is most
//! likely a name typed into the wrong column; where most are numbers of persons, the check digit or the spread of the
//! numbers tells. Each distinct name is looked at once, after a file was read. Thresholds are design choices; what
//! they catch and what they blame wrongly is counted in the tests.

use super::identifier_forms::{NameRole, Piece, certain, pieces};
use super::identifier_numbers::{NumberForm, Order, is_wide_form};
use super::identifier_values::phone_is_local;
use super::identifiers::{CellRole, IdentifierKind};
use rayon::prelude::*;
use std::collections::{HashMap, HashSet};

/// Fewer names show no form that they share.
const FEWEST: usize = 4;
/// Fewer names do not make one that is unlike the rest stand out.
const FEWEST_TO_STAND_OUT: usize = 20;
/// A word that so many names share is a prefix.
const SHARED_BY: u32 = 3;
/// Serial numbers leave on average fewer numbers out between two keys than this.
const SPARSE: u64 = 20;
/// Longer words are names when a person stands behind them.
const SHORTEST_WORD: usize = 4;
/// More digits than a clinician's code has.
const LICENCE_DIGITS: usize = 9;
/// More digits than a key needs by chance.
const MANY_DIGITS: usize = 6;

/// Names that look like direct identifiers: position in the list and kind, in order.
pub fn suspicious(names: &[&str], role: NameRole) -> Vec<(usize, IdentifierKind)> {
    if !matches!(role, NameRole::Patient | NameRole::Episode) {
        let of_name = |(at, name): (usize, &&str)| {
            let kind = certain(name, role).or_else(|| (role == NameRole::Clinician).then(|| of_clinician(name))?);
            Some((at, kind?))
        };
        return names.iter().enumerate().filter_map(of_name).collect();
    }
    let looks: Vec<Look> = names.par_iter().map(|name| Look::of(name)).collect();
    let list = List::of(names, &looks);
    let of_numbers = numbers(names, &looks);
    names
        .par_iter()
        .zip(&looks)
        .enumerate()
        .filter_map(|(at, (name, look))| {
            if list.is_opaque(look) {
                return None;
            }
            let by_form = || if look.is_code() { None } else { certain(name, role) };
            let kind = by_form().or_else(|| of_numbers.get(&at).copied()).or_else(|| list.of_person(name, look, role));
            Some((at, kind?))
        })
        .collect()
}

/// What a name looks like, in one pass over its bytes.
#[derive(Clone, Copy, Debug)]
struct Look {
    /// A number for the form: letters as letters, a run of digits as one, marks as they are.
    form: u64,
    length: u32,
    digits: u32,
    /// The longest run of letters.
    letters: u32,
    /// How often letters and digits follow each other.
    switches: u32,
    /// Runs of digits.
    numbers: u32,
    /// Letters at its start.
    initials: u32,
    is_hexadecimal: bool,
    /// Letters and digits, and the marks of encoded bytes.
    is_alphanumeric: bool,
    /// ASCII letters, digits, dashes, underscores and slashes.
    is_bare: bool,
}

impl Look {
    fn of(name: &str) -> Self {
        let mut look = Self {
            form: 0,
            length: name.len() as u32,
            digits: 0,
            letters: 0,
            switches: 0,
            numbers: 0,
            initials: 0,
            is_hexadecimal: true,
            is_alphanumeric: true,
            is_bare: true,
        };
        let (mut run, mut was_digit, mut before) = (0, None, b' ');
        for byte in name.bytes() {
            let (is_digit, is_letter) = (byte.is_ascii_digit(), byte.is_ascii_alphabetic() || byte >= 0x80);
            look.digits += u32::from(is_digit);
            run = if is_letter { run + 1 } else { 0 };
            look.letters = look.letters.max(run);
            look.initials += u32::from(is_letter && look.initials + 1 == run && look.digits == 0);
            if is_digit || is_letter {
                look.switches += u32::from(was_digit.is_some_and(|was| was != is_digit));
                was_digit = Some(is_digit);
            }
            look.is_hexadecimal &= byte.is_ascii_hexdigit() || byte == b'-';
            look.is_alphanumeric &= byte.is_ascii_alphanumeric() || b"-_+/=".contains(&byte);
            look.is_bare &= byte.is_ascii_alphanumeric() || b"-_/".contains(&byte);
            look.numbers += u32::from(is_digit && !before.is_ascii_digit());
            if !(is_digit && before.is_ascii_digit()) {
                look.add_to_form(if is_digit {
                    b'9'
                } else if is_letter {
                    b'A'
                } else {
                    byte
                });
            }
            before = byte;
        }
        if look.is_number() && name.len() > MANY_DIGITS {
            look.add_to_form(look.length as u8); // a number of ten digits among serials of five is another's
        }
        look
    }

    fn add_to_form(&mut self, class: u8) {
        self.form = (self.form.rotate_left(7) ^ u64::from(class)).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }

    fn is_number(&self) -> bool {
        self.digits == self.length && self.length > 0
    }

    /// Letters in short runs with few digits, or one number of up to seven: no form of a person's name or number.
    fn is_code(&self) -> bool {
        let has_few_digits = (self.digits as usize) < MANY_DIGITS || (self.digits < 8 && self.numbers == 1);
        self.is_bare && self.letters < 3 && has_few_digits
    }
}

/// A clinician's name, or the number of a licence.
fn of_clinician(name: &str) -> Option<IdentifierKind> {
    let pieces = pieces(name);
    if pieces.iter().any(|piece| piece.is_digits && piece.text.len() >= LICENCE_DIGITS) {
        return Some(IdentifierKind::Licence);
    }
    let is_name = |piece: &Piece| {
        let length = if piece.is_upper { SHORTEST_WORD } else { SHORTEST_WORD - 1 };
        piece.is_wordlike() && piece.text.len() >= length && !piece.is_ordinary()
    };
    pieces.iter().any(is_name).then_some(IdentifierKind::Name)
}

/// What most names of a list look like.
struct List {
    count: usize,
    /// Length and alphabet of keys drawn at random, where most are.
    random: Option<(u32, Alphabet)>,
    /// The form of most names, where there are names enough.
    form: Option<u64>,
    /// How many names have a form.
    forms: HashMap<u64, u32>,
    /// How many names have a word of four letters or more.
    words: HashMap<String, u32>,
    /// Whether names of letters alone are random letters.
    letters_are_random: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Alphabet {
    Hexadecimal,
    Alphanumeric,
}

impl Alphabet {
    fn holds(self, look: &Look) -> bool {
        match self {
            Self::Hexadecimal => look.is_hexadecimal,
            Self::Alphanumeric => look.is_alphanumeric,
        }
    }
}

/// Names drawn at random have one form here, whatever their letters and digits.
const OPAQUE: u64 = 1;

impl List {
    fn of(names: &[&str], looks: &[Look]) -> Self {
        let (forms, words) = (HashMap::new(), HashMap::new());
        let mut list =
            Self { count: names.len(), random: random(looks), form: None, forms, words, letters_are_random: false };
        let (mut letters, mut well_formed) = (0, 0);
        for (name, look) in names.iter().zip(looks) {
            *list.forms.entry(list.form_of(look)).or_default() += 1;
            if list.is_opaque(look) || (look.letters as usize) < SHORTEST_WORD {
                continue;
            }
            let pieces = pieces(name);
            if let [only] = pieces.as_slice() {
                letters += usize::from(!only.is_digits);
                well_formed += usize::from(only.is_well_formed());
            }
            for piece in pieces.into_iter().filter(|piece| !piece.is_digits && piece.text.len() >= SHORTEST_WORD) {
                *list.words.entry(piece.text).or_default() += 1;
            }
        }
        list.letters_are_random =
            letters >= FEWEST_TO_STAND_OUT && letters * 2 >= names.len() && well_formed * 10 < letters * 6;
        if names.len() >= FEWEST_TO_STAND_OUT {
            let most = list.forms.iter().find(|(_, count)| **count as usize * 10 >= names.len() * 9);
            list.form = most.map(|(form, _)| *form);
        }
        list
    }

    /// Whether a name is drawn at random like most, or so plainly drawn at random that it needs no neighbours.
    fn is_opaque(&self, look: &Look) -> bool {
        let like_most = self.random.is_some_and(|(length, alphabet)| look.length == length && alphabet.holds(look));
        like_most || (look.length >= 12 && look.is_hexadecimal && look.switches >= 3)
    }

    fn form_of(&self, look: &Look) -> u64 {
        if self.is_opaque(look) { OPAQUE } else { look.form }
    }

    /// The kind of a patient's key or a label that is none by its form alone.
    fn of_person(&self, name: &str, look: &Look, role: NameRole) -> Option<IdentifierKind> {
        if look.letters as usize >= SHORTEST_WORD - 1 && self.holds_name(&pieces(name), role) {
            return Some(IdentifierKind::Name);
        }
        if !self.stands_out(look) {
            return None;
        }
        match look.digits as usize {
            0 => (role == NameRole::Patient).then_some(IdentifierKind::Name),
            digits => (digits >= MANY_DIGITS).then_some(IdentifierKind::Other),
        }
    }

    /// Whether a word of the name is a person's: spoken, no word of the clinic, and no prefix of many names.
    fn holds_name(&self, pieces: &[Piece], role: NameRole) -> bool {
        let alone = pieces.len() == 1;
        let unlike = self.form.is_some();
        pieces.iter().any(|piece| {
            let length = if alone && !piece.is_upper { SHORTEST_WORD - 1 } else { SHORTEST_WORD };
            let shared = self.words.get(&piece.text).copied().unwrap_or(0);
            let is_prefix = shared >= SHARED_BY || (shared >= 2 && shared as usize * 2 >= self.count);
            piece.text.len() >= length
                && piece.is_wordlike()
                && !piece.has(CellRole::Key)
                && !(role == NameRole::Episode && piece.is_ordinary())
                && !is_prefix
                && !(alone && self.letters_are_random && !unlike)
        })
    }

    /// Whether most names share a form, and this one's is not theirs nor that of a second scheme.
    fn stands_out(&self, look: &Look) -> bool {
        let own = self.form_of(look);
        self.form.is_some_and(|form| form != own) && self.forms.get(&own).is_none_or(|count| *count < SHARED_BY)
    }
}

/// Length and alphabet of most names, if they look drawn at random.
fn random(looks: &[Look]) -> Option<(u32, Alphabet)> {
    let mut lengths: HashMap<u32, usize> = HashMap::new();
    looks.iter().for_each(|look| *lengths.entry(look.length).or_default() += 1);
    let (length, _) = lengths.into_iter().find(|(length, count)| *length >= 5 && count * 10 >= looks.len() * 8)?;
    let of_length = || looks.iter().filter(move |look| look.length == length);
    [Alphabet::Hexadecimal, Alphabet::Alphanumeric].into_iter().find_map(|alphabet| {
        let held = of_length().filter(|look| alphabet.holds(look)).count();
        let mixed = of_length().filter(|look| alphabet.holds(look) && look.switches >= 2).count();
        let patterns: HashSet<u64> = of_length().take(1_000).map(|look| look.form).collect();
        let enough = looks.len() >= FEWEST && held * 10 >= looks.len() * 8 && mixed * 2 >= held;
        let is_long = alphabet == Alphabet::Hexadecimal && length >= 8;
        (enough && patterns.len() * 3 >= looks.len().min(9) && (is_long || alphabet == Alphabet::Alphanumeric))
            .then_some((length, alphabet))
    })
}

/// Keys that are numbers of persons, as most of their like are.
fn numbers(names: &[&str], looks: &[Look]) -> HashMap<usize, IdentifierKind> {
    let mut found = HashMap::new();
    let mut by_length: HashMap<usize, Vec<usize>> = HashMap::new();
    let (mut wide, mut nine, mut local) = (Vec::new(), 0, Vec::new());
    for ((at, name), look) in names.iter().enumerate().zip(looks) {
        let bytes = name.as_bytes();
        if (look.digits as usize) < MANY_DIGITS || look.letters > 2 {
            continue;
        }
        if look.is_number() {
            by_length.entry(bytes.len()).or_default().push(at);
            continue;
        }
        if look.letters == 0 && phone_is_local(bytes) {
            local.push(at);
        }
        if look.length < 9 || look.length > 13 || look.letters == 0 {
            continue;
        }
        let compact: Vec<u8> = bytes.iter().filter(|b| !matches!(b, b' ' | b'-')).copied().collect();
        if compact.len() == 9 && compact.iter().any(u8::is_ascii_uppercase) {
            nine += 1;
            if is_wide_form(&compact) {
                wide.push(at);
            }
        }
    }
    let mut short: Vec<usize> = Vec::new();
    for (length, places) in by_length {
        let digits = || places.iter().filter_map(|at| names.get(*at)).map(|name| name.as_bytes());
        let form = NumberForm::ALL
            .into_iter()
            .find(|form| digits().filter(|digits| form.fits(digits)).count() * 100 >= places.len() * 95);
        let sparse = is_sparse(names, &places);
        let kind = match form {
            Some(NumberForm::HealthService | NumberForm::Citizen | NumberForm::BirthRegister) => {
                Some(IdentifierKind::SocialSecurity)
            }
            Some(NumberForm::Card) => Some(IdentifierKind::Account),
            Some(_) if sparse => Some(IdentifierKind::Phone),
            _ if length == 9 && sparse => Some(IdentifierKind::SocialSecurity),
            _ => None,
        };
        match kind {
            Some(kind) if places.len() >= FEWEST => found.extend(places.iter().map(|at| (*at, kind))),
            _ if (MANY_DIGITS..=8).contains(&length) => short.extend(places),
            _ => {}
        }
    }
    if short.len() >= FEWEST && is_sparse(names, &short) {
        found.extend(short.iter().map(|at| (*at, IdentifierKind::RecordNumber)));
    }
    if wide.len() >= FEWEST && wide.len() * 100 >= nine * 95 {
        found.extend(wide.iter().map(|at| (*at, IdentifierKind::SocialSecurity)));
    }
    if local.len() >= FEWEST && local.len() * 5 >= names.len() {
        found.extend(local.iter().map(|at| (*at, IdentifierKind::Phone)));
    }
    found.extend(short_dates(names, looks).into_iter().map(|at| (at, IdentifierKind::BirthDate)));
    found
}

/// Whether numbers lie far apart, so that they are not a serial of the export's own.
fn is_sparse(names: &[&str], places: &[usize]) -> bool {
    let values = || places.iter().filter_map(|at| names.get(*at)?.parse::<u64>().ok());
    match (values().min(), values().max()) {
        (Some(low), Some(high)) if places.len() >= 2 => (high - low) / SPARSE > places.len() as u64 - 1,
        _ => false,
    }
}

/// Keys of initials and a birth date with a year of two digits.
fn short_dates(names: &[&str], looks: &[Look]) -> Vec<usize> {
    let mut found: Vec<(usize, &str, [u8; 6])> = Vec::new();
    for ((at, name), look) in names.iter().enumerate().zip(looks) {
        let initials = look.initials as usize;
        if !(1..=4).contains(&initials) || (look.digits as usize) < 6 {
            continue;
        }
        let Some((prefix, rest)) = name.split_at_checked(initials) else { continue };
        let rest = rest.trim_start_matches(['-', '_', ' ', '.', '/']);
        let end = rest.bytes().take_while(u8::is_ascii_digit).count();
        if let (6, Some(Ok(six))) = (end, rest.as_bytes().get(..6).map(<[u8; 6]>::try_from))
            && rest.len() <= 9
        {
            found.push((at, prefix, six));
        }
    }
    let prefixes: HashSet<&str> = found.iter().map(|(_, prefix, _)| *prefix).collect();
    let are_births = Order::ALL.into_iter().any(|order| {
        let fitting = found.iter().filter(|(_, _, six)| order.fits_six(six)).count();
        let years: HashSet<_> = found.iter().filter_map(|(_, _, six)| order.year_of_six(six)).collect();
        fitting * 10 >= found.len() * 9
            && (years.len() >= 15 || (years.len() >= 4 && prefixes.len() * 3 >= found.len()))
    });
    if found.len() < FEWEST || !are_births {
        return Vec::new();
    }
    found.into_iter().map(|(at, _, _)| at).collect()
}

#[cfg(test)]
mod tests;
