//! General words for fields, measures and cells, from `aliases.toml`, and how alike two names are.

use crate::error::Problem;
use serde::Deserialize;

const TABLE: &str = include_str!("../aliases.toml");

/// The alias table.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Aliases {
    pub missing: Vec<String>,
    pub fillers: Vec<String>,
    pub field: Vec<FieldAliases>,
    pub measure: Vec<KeyAliases>,
    pub pain_site: Vec<KeyAliases>,
    pub long: LongAliases,
    pub word: Vec<WordAliases>,
}

/// Names of a field.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FieldAliases {
    pub name: String,
    pub words: Vec<String>,
}

/// Names of a measure or of a site of pain.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct KeyAliases {
    pub key: String,
    pub words: Vec<String>,
}

/// Names of the columns of a long file, and of a unit column.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LongAliases {
    pub measure_column: Vec<String>,
    pub value_column: Vec<String>,
    pub unit_column: Vec<String>,
}

/// Words in cells for a canonical word.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WordAliases {
    pub field: String,
    pub canonical: String,
    pub words: Vec<String>,
}

impl Aliases {
    pub fn load() -> Result<Self, Problem> {
        toml::from_str(TABLE).map_err(|error| {
            Problem::failure(format!("aliases.toml: {}", error.message()))
                .hint("this is a fault of the program; report it")
        })
    }

    /// The canonical word of a cell in a field's vocabulary.
    pub fn canonical(&self, field: &str, cell: &str) -> Option<&str> {
        let cell = plain_words(cell).join(" ");
        self.word
            .iter()
            .filter(|word| word.field == field)
            .find(|word| word.words.contains(&cell))
            .map(|word| word.canonical.as_str())
    }

    /// Whether a cell is a usual spelling of missing.
    pub fn is_missing(&self, cell: &str) -> bool {
        self.missing.contains(&cell.to_lowercase())
    }
}

/// The words of a name in lower case: `PeakForce_kgf` is peak, force, kgf; accents are taken off.
pub(super) fn plain_words(name: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut word = String::new();
    let mut before = ' ';
    for letter in name.chars() {
        let hump = letter.is_uppercase() && before.is_lowercase();
        if (hump || !letter.is_alphanumeric()) && !word.is_empty() {
            words.push(std::mem::take(&mut word));
        }
        if letter.is_alphanumeric() {
            push_plain(letter, &mut word);
        }
        before = letter;
    }
    if !word.is_empty() {
        words.push(word);
    }
    words
}

fn push_plain(letter: char, word: &mut String) {
    for lower in letter.to_lowercase() {
        match lower {
            'ä' => word.push_str("ae"),
            'ö' => word.push_str("oe"),
            'ü' => word.push_str("ue"),
            'ß' => word.push_str("ss"),
            'à' | 'á' | 'â' | 'ã' | 'å' => word.push('a'),
            'è' | 'é' | 'ê' | 'ë' => word.push('e'),
            'ì' | 'í' | 'î' | 'ï' => word.push('i'),
            'ò' | 'ó' | 'ô' | 'õ' => word.push('o'),
            'ù' | 'ú' | 'û' => word.push('u'),
            'ç' => word.push('c'),
            'ñ' => word.push('n'),
            other => word.push(other),
        }
    }
}

/// How alike a name is to the nearest of some aliases: 1 for the same words, 0 for none.
pub(super) fn likeness(words: &[String], aliases: &[String]) -> f64 {
    let name = words.join(" ");
    aliases.iter().map(|alias| alike(words, &name, alias)).fold(0.0, f64::max)
}

fn alike(words: &[String], name: &str, alias: &str) -> f64 {
    if name == alias {
        return 1.0;
    }
    // the alias's words among others: 'max peak pull today' holds 'peak pull'
    if alias.len() >= 4 && alias.split(' ').all(|part| words.iter().any(|word| word == part)) {
        return if alias.contains(' ') { 0.94 } else { 0.9 };
    }
    let letters = |text: &str| text.bytes().filter(|byte| *byte != b' ').eq(alias.bytes().filter(|byte| *byte != b' '));
    if letters(name) {
        return 0.99;
    }
    // a slip of one letter in five at most, and none at the start: other names need no comparing
    let longer = name.len().max(alias.len());
    if alias.len() < 5 || 5 * name.len().abs_diff(alias.len()) > longer || name.bytes().next() != alias.bytes().next() {
        return 0.0;
    }
    // Jaro-Winkler alone finds 'promis dep' near 'promis pi': few letters may differ as well
    let near = strsim::jaro_winkler(name, alias);
    if near >= 0.93 && strsim::normalized_damerau_levenshtein(name, alias) >= 0.8 { near - 0.04 } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::group::field::{Field, Kind};

    #[test]
    fn a_name_falls_into_plain_words() {
        assert_eq!(plain_words("PeakForce_kgf"), ["peak", "force", "kgf"]);
        assert_eq!(plain_words(" Körpergröße (cm) "), ["koerpergroesse", "cm"]);
        assert_eq!(plain_words("Durée-séance"), ["duree", "seance"]);
        assert_eq!(plain_words("ODI"), ["odi"]);
    }

    #[test]
    fn the_same_words_are_surest_and_strangers_are_nothing() {
        let aliases = ["peak force".to_owned(), "pull".to_owned()];
        let like = |name: &str| likeness(&plain_words(name), &aliases);
        assert_eq!(like("Peak_Force"), 1.0);
        assert_eq!(like("peakforce"), 0.99);
        assert_eq!(like("Pull today"), 0.9);
        assert!((0.88..0.99).contains(&like("peak forse")));
        assert_eq!(like("Printed by"), 0.0);
        let promis = ["promis pi".to_owned()];
        assert_eq!(likeness(&plain_words("promis_dep"), &promis), 0.0);
    }

    #[test]
    fn every_alias_is_plain_and_belongs_to_something_that_exists() {
        let aliases = Aliases::load().unwrap();
        let measures = crate::catalogue::Measures::embedded().unwrap();
        for field in Field::ALL {
            assert!(aliases.field.iter().any(|entry| entry.name == field.name()), "{field} has no alias");
        }
        for entry in &aliases.field {
            assert!(Field::named(&entry.name).is_some(), "{}", entry.name);
            for word in &entry.words {
                assert_eq!(&plain_words(word).join(" "), word);
            }
        }
        for (_, measure) in measures.iter() {
            assert!(aliases.measure.iter().any(|entry| entry.key == measure.key), "{} has no alias", measure.key);
        }
        for entry in aliases.measure.iter().chain(&aliases.pain_site) {
            for word in &entry.words {
                assert_eq!(&plain_words(word).join(" "), word);
            }
        }
        for entry in &aliases.word {
            let Some(Kind::Word(allowed)) = Field::named(&entry.field).map(Field::kind) else {
                panic!("{}", entry.field)
            };
            assert!(allowed.contains(&entry.canonical.as_str()), "{}", entry.canonical);
        }
    }

    #[test]
    fn no_alias_names_two_fields() {
        let aliases = Aliases::load().unwrap();
        for (i, entry) in aliases.field.iter().enumerate() {
            for later in aliases.field.iter().skip(i + 1) {
                for word in &entry.words {
                    assert!(!later.words.contains(word), "{word}: {} and {}", entry.name, later.name);
                }
            }
        }
    }
}
