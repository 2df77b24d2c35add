//! Direct identifiers: forms of a single name that are enough, whatever its neighbours look like.

use super::identifier_numbers::{Order, is_narrow_form};
use super::identifier_values::{has_email, has_url, is_address, is_social_security, phone_is_certain};
use super::identifiers::{CellRole, IdentifierKind, plain, words};

/// What a name stands for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum NameRole {
    Patient,
    /// The label of a course of care, or of a visit.
    Episode,
    /// Who treated.
    Clinician,
    Table,
    /// A clinic.
    Site,
}

/// Letters of the longest initials.
const MOST_INITIALS: usize = 4;
/// Letters or digits that may follow a birth date in a key.
const LONGEST_SUFFIX: usize = 3;

/// A run of letters, or of digits, in a name.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Piece {
    /// In lower case without accents; look-alikes folded.
    pub text: String,
    /// Whether it begins with a capital.
    pub is_capitalised: bool,
    /// Whether all its letters are capitals.
    pub is_upper: bool,
    /// Whether it is of digits.
    pub is_digits: bool,
    /// Whether nothing stands between it and the piece before.
    pub is_joined: bool,
}

/// Cuts a name where letters meet digits, at marks, and where a capital follows a small letter.
pub(super) fn pieces(name: &str) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    let (mut start, mut before, mut joined) = (None, ' ', false);
    for (at, letter) in name.char_indices().chain([(name.len(), ' ')]) {
        let is_mark = !letter.is_alphanumeric() && !is_inside_word(letter);
        let border =
            is_mark || letter.is_numeric() != before.is_numeric() || (letter.is_uppercase() && before.is_lowercase());
        if border && let Some(from) = start.take() {
            pieces.extend(piece(name.get(from..at).unwrap_or_default(), joined));
            joined = true;
        }
        if is_mark {
            joined = false;
        } else if start.is_none() {
            start = Some(at);
        }
        before = letter;
    }
    pieces
}

/// Apostrophes and accents stand inside a word.
fn is_inside_word(letter: char) -> bool {
    matches!(letter, '\'' | '’' | '\u{300}'..='\u{36f}')
}

fn piece(text: &str, is_joined: bool) -> Option<Piece> {
    let text = text.trim_matches(is_inside_word);
    let own = text.strip_suffix("'s").or(text.strip_suffix("’s")).unwrap_or(text);
    let first = own.chars().next()?;
    let mut letters: String = plain(own);
    letters.retain(char::is_alphanumeric);
    Some(Piece {
        is_capitalised: first.is_uppercase(),
        is_upper: own.chars().all(|c| !c.is_lowercase()),
        is_digits: first.is_numeric(),
        is_joined,
        text: letters,
    })
}

impl Piece {
    /// Whether it could be spoken, and so be a name: three letters or more with vowels among them.
    pub fn is_wordlike(&self) -> bool {
        !self.is_digits
            && vowels(&self.text) * 8 >= self.text.len()
            && self.text.len() >= 3
            && longest_run(&self.text) <= 5
    }

    /// Whether it is well formed, as most names are and few random letters.
    pub fn is_well_formed(&self) -> bool {
        self.is_wordlike() && vowels(&self.text) * 4 >= self.text.len() && longest_run(&self.text) <= 3
    }

    /// Whether it is a word of no person: of the body, of places and things, of the clinic.
    pub fn is_ordinary(&self) -> bool {
        self.has(CellRole::Ordinary) || self.has(CellRole::OrdinaryEnding) || self.has(CellRole::Key)
    }

    /// Whether it has a role.
    pub fn has(&self, role: CellRole) -> bool {
        words().is_some_and(|words| words.is(role, &self.text))
    }
}

fn is_vowel(letter: char) -> bool {
    matches!(letter, 'a' | 'e' | 'i' | 'o' | 'u' | 'y')
}

fn vowels(word: &str) -> usize {
    word.chars().filter(|c| is_vowel(*c)).count()
}

fn longest_run(word: &str) -> usize {
    word.split(is_vowel).map(str::len).max().unwrap_or(0)
}

/// The kind of direct identifier that a name is by its form alone.
pub(super) fn certain(name: &str, role: NameRole) -> Option<IdentifierKind> {
    let bytes = name.as_bytes();
    if has_email(bytes) {
        return Some(IdentifierKind::Email);
    }
    if has_url(bytes) {
        return Some(IdentifierKind::Url);
    }
    if is_social_security(bytes) {
        return Some(IdentifierKind::SocialSecurity);
    }
    if phone_is_certain(bytes) {
        return Some(IdentifierKind::Phone);
    }
    let compact: Vec<u8> =
        bytes.iter().filter(|b| !matches!(b, b' ' | b'-' | b'.')).map(u8::to_ascii_uppercase).collect();
    if is_narrow_form(&compact) {
        return Some(IdentifierKind::SocialSecurity);
    }
    if role == NameRole::Site {
        return None; // a practice may bear its owner's name
    }
    let pieces = pieces(name);
    let of_a_person = matches!(role, NameRole::Patient | NameRole::Episode);
    if holds_birth_date(&pieces) {
        return Some(IdentifierKind::BirthDate);
    }
    if has_title(&pieces) || is_pair_of_names(name, &pieces, role) {
        return Some(IdentifierKind::Name);
    }
    if of_a_person && is_numbered_record(&pieces) {
        return Some(IdentifierKind::RecordNumber);
    }
    if of_a_person && pieces.iter().any(|piece| piece.is_digits) && is_address(name) {
        return Some(IdentifierKind::Address);
    }
    let told = |piece: &&Piece| !piece.is_digits && piece.text.len() >= 2 && !piece.has(CellRole::Key);
    (role == NameRole::Patient && pieces.iter().filter(told).count() >= 4).then_some(IdentifierKind::FreeText)
}

/// Initials or nothing, a full date on which a patient may be born, and at most a short suffix.
fn holds_birth_date(pieces: &[Piece]) -> bool {
    let initials = pieces.iter().take_while(|piece| !piece.is_digits).map(|piece| piece.text.len()).sum::<usize>();
    let rest: Vec<&str> = pieces.iter().skip_while(|piece| !piece.is_digits).map(|piece| piece.text.as_str()).collect();
    let padded = |part: &str, width: usize| format!("{part:0>width$}");
    let (date, suffix) = match rest.as_slice() {
        [eight, suffix @ ..] if eight.len() == 8 => ((*eight).to_owned(), suffix),
        [year, month, day, suffix @ ..] if year.len() == 4 && month.len() <= 2 && day.len() <= 2 => {
            (format!("{year}{}{}", padded(month, 2), padded(day, 2)), suffix)
        }
        [one, two, year, suffix @ ..] if year.len() == 4 && one.len() <= 2 && two.len() <= 2 => {
            (format!("{}{}{year}", padded(one, 2), padded(two, 2)), suffix)
        }
        _ => return false,
    };
    initials <= MOST_INITIALS
        && suffix.iter().map(|part| part.len()).sum::<usize>() <= LONGEST_SUFFIX
        && Order::ALL.iter().any(|order| order.is_birth(date.as_bytes()))
}

/// A title and behind it a name or an initial.
fn has_title(pieces: &[Piece]) -> bool {
    pieces.windows(2).any(|pair| match pair {
        [title, name] if !name.is_digits && !name.is_joined && !name.is_ordinary() => {
            let is_name = name.is_wordlike() && (name.is_capitalised || !title.is_capitalised);
            (title.has(CellRole::Title) && (is_name || name.text.len() <= 2))
                || (title.has(CellRole::ShortTitle) && is_name)
        }
        _ => false,
    })
}

/// First name and family name, or an initial and a family name, in either order, whatever stands between.
fn is_pair_of_names(name: &str, pieces: &[Piece], role: NameRole) -> bool {
    let may_be = |piece: &Piece| !piece.is_digits && !piece.is_ordinary() && !piece.has(CellRole::Particle);
    let capitalised = |piece: &Piece| piece.is_capitalised && may_be(piece);
    let long = |piece: &Piece| piece.text.len() >= 3 && piece.is_wordlike();
    let separate = |second: &Piece| !second.is_joined || !second.is_upper;
    let written: Vec<&Piece> = pieces.iter().filter(|piece| !piece.has(CellRole::Particle)).collect();
    // two words with capitals, one of them spoken; a mark with a number beside it is a code
    let in_words = name.contains([' ', ',', '^']) || written.iter().all(|piece| long(piece) && !piece.is_digits);
    let pair = written.windows(2).any(|pair| match pair {
        [one, two] => capitalised(one) && capitalised(two) && separate(two) && (long(one) || long(two)),
        _ => false,
    });
    // anna.quill, a_quill
    let joined = matches!(role, NameRole::Patient | NameRole::Clinician | NameRole::Episode)
        && name.contains(['.', '_', '^'])
        && (2..=3).contains(&pieces.len())
        && pieces.iter().all(may_be)
        && pieces.iter().any(|piece| piece.text.len() >= 4 && piece.is_wordlike());
    (pair && in_words) || joined
}

/// `MRN 0041723`: a word for a record and a number.
fn is_numbered_record(pieces: &[Piece]) -> bool {
    let digits = pieces.iter().filter(|piece| piece.is_digits).map(|piece| piece.text.len()).sum::<usize>();
    digits >= 4 && pieces.iter().any(|piece| piece.has(CellRole::Record))
}
