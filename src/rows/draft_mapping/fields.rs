//! Which column fills which field: by the words of its header, checked against its cells.

use super::aliases::{Aliases, likeness};
use super::column::Column;
use super::shape::Shape;
use crate::catalogue::{CodeMatch, Conditions};
use crate::group::field::{Field, Kind};
use crate::rows::when::Quarter;

/// How sure a guess is, in words.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Confidence {
    /// Only its cells, or a name that is merely near.
    Guess,
    /// A near name with fitting cells, or a known one without cells to check it by.
    Likely,
    /// A known name with fitting cells.
    Certain,
}

impl Confidence {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Confidence::Guess => "guess",
            Confidence::Likely => "likely",
            Confidence::Certain => "certain",
        }
    }

    /// From the likeness of the name; `checked` when there were cells to check it by.
    pub fn of(likeness: f64, checked: bool) -> Self {
        match (likeness, checked) {
            (like, true) if like >= 0.99 => Confidence::Certain,
            (like, true) if like >= 0.9 => Confidence::Likely,
            (like, false) if like >= 0.99 => Confidence::Likely,
            _ => Confidence::Guess,
        }
    }
}

/// A field that a column may fill.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct FieldGuess {
    pub column: usize,
    pub field: Field,
    pub likeness: f64,
    pub confidence: Confidence,
}

/// What cells are checked against.
pub(super) struct Known<'k> {
    pub aliases: &'k Aliases,
    pub conditions: &'k Conditions,
    /// (spelling, `yes` or `no`).
    pub yes_and_no: &'k [(String, String)],
}

/// Every field that a column may fill, by its name and by its cells.
pub(super) fn guesses(column: usize, of: &Column, known: &Known<'_>) -> Vec<FieldGuess> {
    let mut all: Vec<FieldGuess> = Vec::new();
    for entry in &known.aliases.field {
        let Some(field) = Field::named(&entry.name) else { continue };
        let mut like = likeness(&of.words, &entry.words);
        if let Some(dimension) = field.kind().dimension() {
            like = like.max(likeness(&of.unit(dimension).1, &entry.words));
        }
        // a name of one's own for the identifier of a person must be exact: 'patient phone' is no key
        if like > 0.0 && (field != Field::Patient || like >= 0.99) && fits(field, of, like, known) {
            let checked = of.shape.filled > 0 && speaks_for_itself(field, &of.shape, known);
            let confidence = Confidence::of(like, checked);
            all.push(FieldGuess { column, field, likeness: like, confidence });
        }
    }
    let by_cells = |field: Field| FieldGuess { column, field, likeness: 0.0, confidence: Confidence::Guess };
    if all.is_empty() {
        all.extend(field_of_cells(&of.shape, known).map(by_cells));
    }
    all
}

/// Takes the best guesses so that each field and each column is used at most once.
pub(super) fn assign(mut guesses: Vec<FieldGuess>) -> Vec<FieldGuess> {
    guesses.sort_by(|a, b| b.likeness.total_cmp(&a.likeness).then(a.column.cmp(&b.column)).then(a.field.cmp(&b.field)));
    let mut taken: Vec<FieldGuess> = Vec::new();
    for guess in guesses {
        if taken.iter().all(|other| other.column != guess.column && other.field != guess.field) {
            taken.push(guess);
        }
    }
    taken.sort_by_key(|guess| guess.column);
    taken
}

/// Whether the cells can be those of the field; an empty column can be any.
fn fits(field: Field, column: &Column, likeness: f64, known: &Known<'_>) -> bool {
    let shape = &column.shape;
    if shape.filled == 0 {
        return true;
    }
    let exact = likeness >= 0.99;
    match field.kind() {
        Kind::Name => shape.dates.is_none() && !shape.is_free_text(),
        Kind::Date => shape.dates.is_some(),
        Kind::Days => shape.is_whole() && shape.dates.is_none(),
        Kind::Quarter => most(shape, |cell| Quarter::parse(cell).is_some()),
        Kind::Count => shape.is_whole() && shape.lies_within(0.0, 65_535.0),
        Kind::Number => shape.is_number(),
        Kind::Force | Kind::Length | Kind::Mass | Kind::Time | Kind::Angle => {
            shape.is_quantity() && shape.dates.is_none()
        }
        Kind::YesNo => {
            most(shape, |cell| is_yes_or_no(cell, known))
                || (exact && shape.distinct.len() <= 3 && !shape.is_free_text())
        }
        Kind::Word(_) => {
            let few = shape.distinct.len() <= 12 && shape.distinct.iter().all(|(cell, _)| cell.chars().count() <= 24);
            few && (exact || most(shape, |cell| known.aliases.canonical(field.name(), cell).is_some()))
        }
        Kind::ConditionLabel => shape.is_text() && !shape.is_free_text() && !are_codes(shape, known),
        Kind::Codes => are_codes(shape, known),
    }
}

/// Whether the words in the cells are those of the field; `1` and `2` under `sex` could be anything.
fn speaks_for_itself(field: Field, shape: &Shape, known: &Known<'_>) -> bool {
    match field.kind() {
        Kind::Word(_) => most(shape, |cell| known.aliases.canonical(field.name(), cell).is_some()),
        Kind::YesNo => most(shape, |cell| is_yes_or_no(cell, known)),
        _ => true,
    }
}

/// A field whose cells speak for themselves.
fn field_of_cells(shape: &Shape, known: &Known<'_>) -> Option<Field> {
    if shape.filled == 0 {
        return None;
    }
    if are_codes(shape, known) {
        return Some(Field::Icd10);
    }
    if most(shape, |cell| Quarter::parse(cell).is_some()) {
        return Some(Field::Quarter);
    }
    // one letter is no evidence
    let speaks = |field: Field| {
        shape.distinct.len() > 1
            && most(shape, |cell| cell.chars().count() > 2 && known.aliases.canonical(field.name(), cell).is_some())
    };
    [Field::Region, Field::Position, Field::Mode, Field::UpperRestraint, Field::EndedHow]
        .into_iter()
        .find(|f| speaks(*f))
}

fn is_yes_or_no(cell: &str, known: &Known<'_>) -> bool {
    let cell = cell.to_lowercase();
    known.yes_and_no.iter().any(|(word, _)| *word == cell)
}

/// Cells of codes: `M54.16`, `M5416, M62830`. Without its dot a code looks like a patient's key, so then one
/// code of the cell must be of the registry.
fn are_codes(shape: &Shape, known: &Known<'_>) -> bool {
    most(shape, |cell| {
        let parts = || cell.split([';', ',', '|', ' ', '/']).filter(|part| !part.is_empty());
        let one_known = parts().any(|part| known.conditions.by_code(part, None) != CodeMatch::Unknown);
        parts().next().is_some() && parts().all(is_code) && (one_known || parts().all(|part| part.contains('.')))
    })
}

/// A letter, a digit, a letter or digit, then after an optional dot up to four more (ICD-10-CM).
fn is_code(text: &str) -> bool {
    let (category, rest) = match text.split_once('.') {
        Some((category, rest)) if !rest.is_empty() => (category, rest),
        Some(_) => return false,
        None => text.split_at_checked(3).unwrap_or((text, "")),
    };
    matches!(category.as_bytes(), [b'A'..=b'Z', b'0'..=b'9', b'A'..=b'Z' | b'0'..=b'9'])
        && rest.len() <= 4
        && rest.bytes().all(|byte| byte.is_ascii_alphanumeric())
}

fn most(shape: &Shape, holds: impl Fn(&str) -> bool) -> bool {
    let held: usize = shape.distinct.iter().filter(|(cell, _)| holds(cell)).map(|(_, count)| count).sum();
    shape.filled > 0 && held as f64 >= 0.9 * shape.filled as f64
}
