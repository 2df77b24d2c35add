//! Vocabularies: the export's own words for canonical ones.

use super::super::document::{Entry, Node, Table, refuse_formula};
use super::super::field::{Field, Kind};
use super::super::suggest::did_you_mean;
use crate::catalogue::{Conditions, Measure};
use crate::error::{Problem, Spot};
use std::path::Path;

const BUILT_IN: &str = include_str!("../words.toml");

/// A word of an export, the canonical word it stands for, and where the mapping says so.
struct Known {
    word: String,
    canonical: String,
    spot: Option<Spot>,
}

/// How cells and words are compared: trimmed, in lower case.
pub(super) fn folded(word: &str) -> String {
    word.trim().to_lowercase()
}

/// (their word, canonical word) of a field: the mapping's own under `[words.FIELD]` and under the
/// field's column, the canonical words, and the built-in spellings of yes and no.
pub(super) fn of_field(
    field: Field,
    beside_column: Option<&Node>,
    mapping: &Table,
    conditions: &Conditions,
) -> Result<Vec<(String, String)>, Problem> {
    let mut known: Vec<Known> = Vec::new();
    for section in [vocabulary(field, mapping)?, beside_column].into_iter().flatten() {
        for entry in &section.table("words")?.entries {
            let canonical = canonical(field, entry, conditions)?;
            for (word, spot) in words_of(entry)? {
                learn(&mut known, word, &canonical, spot)?;
            }
        }
    }
    let own: Vec<String> = match field.kind() {
        Kind::Word(words) => words.iter().map(|word| (*word).to_owned()).collect(),
        _ => Vec::new(),
    };
    for word in own {
        suppose(&mut known, &word, &word);
    }
    if field.kind() == Kind::YesNo {
        for (word, canonical) in yes_and_no()? {
            suppose(&mut known, &word, &canonical);
        }
    }
    Ok(known.into_iter().map(|known| (known.word, known.canonical)).collect())
}

/// (their word, number as written on the scale) of a score; a scale of words knows its own.
pub(super) fn of_score(words: Option<&Node>, measure: &Measure) -> Result<Vec<(String, f64)>, Problem> {
    let mut known: Vec<Known> = Vec::new();
    if let Some(node) = words {
        for entry in &node.table("words")?.entries {
            let number = number(entry)?;
            for (word, spot) in words_of(entry)? {
                learn(&mut known, word, &number.to_string(), spot)?;
            }
        }
    }
    for (step, word) in measure.words.iter().enumerate() {
        suppose(&mut known, word, &(measure.low + step as f64).to_string());
    }
    Ok(known.into_iter().filter_map(|known| Some((known.word, known.canonical.parse().ok()?))).collect())
}

/// Checks every `[words.FIELD]`, also of fields that the mapping does not fill.
pub(super) fn check_sections(mapping: &Table, conditions: &Conditions) -> Result<(), Problem> {
    let Some(node) = mapping.get("words") else { return Ok(()) };
    for entry in &node.table("[words]")?.entries {
        match Field::named(&entry.key) {
            Some(field) => drop(of_field(field, None, mapping, conditions)?),
            None => {
                let fields = Field::ALL.iter().map(|field| field.name());
                return Err(Problem::input(format!("[words] has a section for `{}`, which is no field", entry.key))
                    .at(entry.key_spot.clone())
                    .hint(did_you_mean(&entry.key, fields)));
            }
        }
    }
    Ok(())
}

fn vocabulary(field: Field, mapping: &Table) -> Result<Option<&Node>, Problem> {
    match mapping.get("words") {
        Some(node) => Ok(node.table("[words]")?.get(field.name())),
        None => Ok(None),
    }
}

/// The export's words of one canonical word: a list, or one word.
fn words_of(entry: &Entry) -> Result<Vec<(String, Spot)>, Problem> {
    let one = |node: &Node| Ok((folded(node.cell(&entry.key)?), node.spot.clone()));
    match &entry.node.value {
        super::super::document::Value::List(items) => items.iter().map(one).collect(),
        _ => Ok(vec![one(&entry.node)?]),
    }
}

fn learn(known: &mut Vec<Known>, word: String, canonical: &str, spot: Spot) -> Result<(), Problem> {
    match known.iter().find(|earlier| earlier.word == word) {
        Some(earlier) if earlier.canonical != canonical => {
            let before = earlier.spot.as_ref().map_or(String::new(), |spot| format!(" (at {spot})"));
            Err(Problem::input(format!(
                "`{word}` cannot mean `{canonical}`: it already means `{}`{before}",
                earlier.canonical
            ))
            .at(spot)
            .hint("give each word one meaning; capitals and surrounding spaces make no difference"))
        }
        Some(_) => Ok(()),
        None => {
            known.push(Known { word, canonical: canonical.to_owned(), spot: Some(spot) });
            Ok(())
        }
    }
}

/// Adds a built-in word unless the mapping gave it another meaning.
fn suppose(known: &mut Vec<Known>, word: &str, canonical: &str) {
    let word = folded(word);
    if known.iter().all(|earlier| earlier.word != word) {
        known.push(Known { word, canonical: canonical.to_owned(), spot: None });
    }
}

/// The canonical word a key of a vocabulary names.
fn canonical(field: Field, entry: &Entry, conditions: &Conditions) -> Result<String, Problem> {
    let allowed: Vec<String> = match field.kind() {
        Kind::Word(words) => words.iter().map(|word| (*word).to_owned()).collect(),
        Kind::YesNo => vec!["yes".to_owned(), "no".to_owned()],
        Kind::ConditionLabel => conditions.iter().map(|(_, condition)| condition.key.clone()).collect(),
        Kind::Days | Kind::Count | Kind::Number => return number(entry).map(|number| number.to_string()),
        // a site or a table may have another name in the report than in the export; a patient may not
        Kind::Name if field != Field::Patient => {
            refuse_formula(&entry.key, field.name(), &entry.key_spot)?;
            return Ok(entry.key.clone());
        }
        _ => {
            return Err(Problem::input(format!("`{field}` is not read by words"))
                .at(entry.key_spot.clone())
                .hint(format!("take the words of `{field}` out")));
        }
    };
    let by_label = field.kind() == Kind::ConditionLabel && conditions.by_label(&entry.key).is_some();
    match allowed.iter().find(|word| folded(word) == folded(&entry.key)) {
        Some(word) => Ok(word.clone()),
        None if by_label => Ok(entry.key.clone()),
        None => Err(Problem::input(format!("`{field}` has no word `{}`", entry.key)).at(entry.key_spot.clone()).hint(
            format!(
                "the word before the = is ours, those behind it are the export's; {}",
                did_you_mean(&entry.key, allowed.iter().map(String::as_str))
            ),
        )),
    }
}

fn number(entry: &Entry) -> Result<f64, Problem> {
    entry.key.trim().parse().ok().filter(|number: &f64| number.is_finite()).ok_or_else(|| {
        Problem::input(format!("`{}` is not a number", entry.key))
            .at(entry.key_spot.clone())
            .hint("before the = stands the number, in quotation marks; behind it the export's words for it")
    })
}

/// (spelling, `yes` or `no`) of the built-in spellings, in lower case.
pub(crate) fn yes_and_no() -> Result<Vec<(String, String)>, Problem> {
    let table = super::super::document::parse(Path::new("words.toml"), BUILT_IN)?;
    let mut pairs = Vec::new();
    for spelling in table.require("spelling", "words.toml")?.tables("spelling")? {
        let means = spelling.require("means", "[[spelling]]")?.text("means")?;
        for word in spelling.require("words", "[[spelling]]")?.cells("words")? {
            pairs.push((word, means.to_owned()));
        }
    }
    Ok(pairs)
}
