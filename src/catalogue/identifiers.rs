//! Direct identifiers: the kinds there are, and what a column's header says about it.
//!
//! The kinds follow the Safe Harbor list, 45 CFR 164.514(b)(2)(i), and free text, which may hold any
//! of them. The words that give a kind away are data (`identifiers.toml`), in English, German, French,
//! Spanish and Dutch. What cells look like is `identifier_values.rs`, what a kept name looks like `identifier_names.rs`.

pub use super::identifier_forms::NameRole;
pub use super::identifier_names::suspicious;
pub use super::identifier_values::ValueScreen;
use serde::Deserialize;
use std::collections::{HashMap, HashSet};
use std::sync::LazyLock;

/// A kind of direct identifier.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum IdentifierKind {
    /// A person's name, or a part of one.
    Name,
    /// Where a person lives, more closely than a state.
    Address,
    Postcode,
    /// A full date of birth or death.
    BirthDate,
    Phone,
    Fax,
    Email,
    /// A social-security number, or the number another state gives a person.
    SocialSecurity,
    /// The number of a medical record.
    RecordNumber,
    /// The number by which a health plan knows a person.
    HealthPlan,
    /// The number of an account or a card.
    Account,
    /// The number of a licence, certificate or passport.
    Licence,
    /// A vehicle's number or plate.
    Vehicle,
    /// The serial number of a device a person has.
    Device,
    Url,
    IpAddress,
    /// A finger or voice print.
    Biometric,
    /// A photograph of a face.
    Photo,
    /// Text that may say anything.
    FreeText,
    /// Another number, sign or code of one person.
    Other,
}

impl IdentifierKind {
    /// Its name in messages, with the article.
    pub fn label(self) -> &'static str {
        match self {
            Self::Name => "a person's name",
            Self::Address => "an address",
            Self::Postcode => "a postcode",
            Self::BirthDate => "a date of birth or death",
            Self::Phone => "a telephone number",
            Self::Fax => "a fax number",
            Self::Email => "an e-mail address",
            Self::SocialSecurity => "a social-security number",
            Self::RecordNumber => "a medical record number",
            Self::HealthPlan => "a health plan number",
            Self::Account => "an account number",
            Self::Licence => "a licence number",
            Self::Vehicle => "a vehicle number",
            Self::Device => "a device number",
            Self::Url => "a web address",
            Self::IpAddress => "an internet address",
            Self::Biometric => "a biometric identifier",
            Self::Photo => "a photograph",
            Self::FreeText => "free text",
            Self::Other => "another identifier of a person",
        }
    }
}

/// The kind of direct identifier that a header announces. A header that is only a patient's key
/// (`Patient`, `patient id`) announces none, since every export needs one.
pub fn screen_header(header: &str) -> Option<IdentifierKind> {
    // Without its words the gate stays shut; a test makes sure that they are there.
    let Some(words) = words() else { return Some(IdentifierKind::Other) };
    let tokens = tokens(header);
    words.headers.iter().find(|row| row.matches(&tokens)).map(|row| row.kind)
}

/// The words of `identifiers.toml`, ready to compare.
pub(super) struct Words {
    headers: Vec<HeaderWords>,
    cells: HashMap<CellRole, HashSet<String>>,
}

/// Header words of one kind.
#[derive(Deserialize)]
struct HeaderWords {
    kind: IdentifierKind,
    words: Vec<String>,
    #[serde(default)]
    endings: Vec<String>,
    #[serde(default)]
    stems: Vec<String>,
    #[serde(default)]
    unless: Vec<String>,
}

#[derive(Deserialize)]
struct CellWords {
    role: CellRole,
    words: Vec<String>,
}

/// What a word in a cell says.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum CellRole {
    /// No part of a person's name.
    Ordinary,
    /// No part of a person's name when a word ends so.
    #[serde(rename = "ordinary ending")]
    OrdinaryEnding,
    /// May stand inside a person's name.
    Particle,
    Street,
    /// A street when a word ends so.
    #[serde(rename = "street ending")]
    StreetEnding,
    Title,
    /// A title that is also an abbreviation of other things.
    #[serde(rename = "short title")]
    ShortTitle,
    /// What stands before the number in an opaque key.
    Key,
    /// What stands before the number of a person's record.
    Record,
}

#[derive(Deserialize)]
struct File {
    header: Vec<HeaderWords>,
    cell: Vec<CellWords>,
}

const EMBEDDED: &str = include_str!("identifiers.toml");

static WORDS: LazyLock<Option<Words>> = LazyLock::new(|| {
    let mut file: File = toml::from_str(EMBEDDED).ok()?;
    for phrase in file.header.iter_mut().flat_map(|row| &mut row.words) {
        phrase.retain(|letter| letter != ' ');
    }
    let mut cells: HashMap<CellRole, HashSet<String>> = HashMap::new();
    for row in file.cell {
        cells.entry(row.role).or_default().extend(row.words);
    }
    Some(Words { headers: file.header, cells })
});

/// The words; `None` if the data were wrong, which a test rules out.
pub(super) fn words() -> Option<&'static Words> {
    WORDS.as_ref()
}

impl HeaderWords {
    fn matches(&self, tokens: &[String]) -> bool {
        let spelled = self.words.iter().any(|phrase| is_spelled(tokens, phrase));
        let ends = || tokens.iter().any(|token| self.endings.iter().any(|ending| token.ends_with(ending.as_str())));
        let stems = || {
            let whole = tokens.concat();
            self.stems.iter().any(|stem| whole.contains(stem.as_str()))
        };
        (spelled || ends() || stems()) && !tokens.iter().any(|token| self.unless.contains(token))
    }
}

impl Words {
    /// Whether a word, lower-cased and without accents, has a role.
    pub(super) fn is(&self, role: CellRole, word: &str) -> bool {
        self.cells.get(&role).is_some_and(|known| match role {
            CellRole::OrdinaryEnding | CellRole::StreetEnding => known.iter().any(|end| word.ends_with(end.as_str())),
            _ => known.contains(word),
        })
    }
}

/// Whether tokens that follow each other spell a phrase (which has no spaces here).
fn is_spelled(tokens: &[String], phrase: &str) -> bool {
    (0..tokens.len()).any(|start| {
        let mut rest = phrase;
        for token in tokens.iter().skip(start) {
            match rest.strip_prefix(token.as_str()) {
                Some("") => return true,
                Some(left) => rest = left,
                None => return false,
            }
        }
        false
    })
}

/// Splits a header where the case changes and at everything that is no letter; lower case, no accents.
fn tokens(header: &str) -> Vec<String> {
    let mut tokens = Vec::new();
    let mut token = String::new();
    let mut before = ' ';
    let mut letters = header.chars().filter(|c| !is_combining(*c)).peekable();
    while let Some(letter) = letters.next() {
        let starts_word = letter.is_uppercase()
            && (before.is_lowercase()
                || (before.is_uppercase() && letters.peek().is_some_and(|next| next.is_lowercase())));
        if (starts_word || !letter.is_alphabetic()) && !token.is_empty() {
            tokens.push(std::mem::take(&mut token));
        }
        if letter.is_alphabetic() {
            push_plain(&mut token, letter);
        }
        before = letter;
    }
    if !token.is_empty() {
        tokens.push(token);
    }
    tokens
}

/// An accent that follows its letter.
fn is_combining(letter: char) -> bool {
    ('\u{300}'..='\u{36f}').contains(&letter)
}

/// A word in lower case without accents; ä ö ü ß as ae oe ue ss.
pub(super) fn plain(word: &str) -> String {
    let mut out = String::with_capacity(word.len());
    for letter in word.chars().filter(|c| !is_combining(*c)) {
        push_plain(&mut out, letter);
    }
    out
}

/// Letters of other alphabets, and the Latin ones that they look like: Cyrillic, then Greek.
const LOOK_ALIKES: [(&str, &str); 2] = [
    ("АВЕКМНОРСТУХЅІЈавгеикмнопрстухѕіјһԁԛԝ", "ABEKMHOPCTYXSIJabreukmhonpctyxsijhdqw"),
    ("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧαβγεηικνορστυχω", "ABEZHIKMNOPTYXabyenikvopotuxw"),
];

/// The Latin letter that a look-alike or a full-width letter is read as.
fn folded(letter: char) -> char {
    match letter {
        'Ａ'..='Ｚ' | 'ａ'..='ｚ' => char::from_u32(u32::from(letter) - 0xfee0).unwrap_or(letter),
        'Ͱ'..='ԯ' => {
            let mut pairs = LOOK_ALIKES.iter().flat_map(|(foreign, latin)| foreign.chars().zip(latin.chars()));
            pairs.find_map(|(foreign, latin)| (foreign == letter).then_some(latin)).unwrap_or(letter)
        }
        _ => letter,
    }
}

fn push_plain(out: &mut String, letter: char) {
    for lower in folded(letter).to_lowercase() {
        match lower {
            'ä' | 'æ' => out.push_str("ae"),
            'ö' | 'œ' => out.push_str("oe"),
            'ü' => out.push_str("ue"),
            'ß' => out.push_str("ss"),
            'à' | 'á' | 'â' | 'ã' | 'å' => out.push('a'),
            'ç' => out.push('c'),
            'è' | 'é' | 'ê' | 'ë' => out.push('e'),
            'ì' | 'í' | 'î' | 'ï' => out.push('i'),
            'ñ' => out.push('n'),
            'ò' | 'ó' | 'ô' | 'õ' | 'ø' => out.push('o'),
            'ù' | 'ú' | 'û' => out.push('u'),
            'ý' | 'ÿ' => out.push('y'),
            other => out.push(other),
        }
    }
}

#[cfg(test)]
mod tests;
