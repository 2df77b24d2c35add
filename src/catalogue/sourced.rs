//! A number with the source it was taken from, and how well that source was checked.

use serde::Deserialize;

/// How a value came to be here.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Deserialize)]
pub enum Mark {
    /// Read in the source itself.
    #[serde(rename = "V")]
    Verified,
    /// Read in another text that cites the source.
    #[serde(rename = "V2")]
    SecondHand,
    /// From memory: check before relying on it.
    #[serde(rename = "M")]
    Memory,
    /// Computed from other values.
    #[serde(rename = "C")]
    Computed,
    /// A design choice of this program.
    #[serde(rename = "D")]
    Design,
    /// Set by the group in `group.toml`.
    #[default]
    #[serde(rename = "G")]
    Group,
}

impl Mark {
    /// Its sign in files: `V`, `V2`, `M`, `C`, `D`, `G`.
    pub fn key(self) -> &'static str {
        match self {
            Self::Verified => "V",
            Self::SecondHand => "V2",
            Self::Memory => "M",
            Self::Computed => "C",
            Self::Design => "D",
            Self::Group => "G",
        }
    }
}

/// The source of a value for which a group names none.
pub const SET_BY_GROUP: &str = "set by the group";

/// Where a value comes from.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Source {
    /// The publication, or the reason of a design choice.
    pub text: String,
    /// How well it was checked.
    pub mark: Mark,
}

impl Source {
    /// The source of a text and mark as written; without a text, the group.
    pub fn written(text: Option<String>, mark: Mark) -> Self {
        Self { text: text.unwrap_or_else(|| SET_BY_GROUP.to_owned()), mark }
    }
}

/// A number and its source. In TOML a bare number (set by the group) or
/// `{ value = 10, source = "Author year, Journal volume:page", mark = "V" }`.
#[derive(Clone, PartialEq, Debug, Deserialize)]
#[serde(from = "Written")]
pub struct Sourced {
    /// The number, in the unit of the field that holds it.
    pub value: f64,
    pub source: Source,
}

#[derive(Deserialize)]
#[serde(untagged, expecting = "expected a number, or { value = 10, source = \"...\", mark = \"...\" }")]
enum Written {
    Number(f64),
    Full(Full),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Full {
    value: f64,
    source: Option<String>,
    #[serde(default)]
    mark: Mark,
}

impl From<Written> for Sourced {
    fn from(written: Written) -> Self {
        match written {
            Written::Number(value) => Self { value, source: Source::written(None, Mark::Group) },
            Written::Full(Full { value, source, mark }) => Self { value, source: Source::written(source, mark) },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(toml: &str) -> Result<Sourced, toml::de::Error> {
        toml::from_str::<std::collections::BTreeMap<String, Sourced>>(toml).map(|mut map| map.remove("x").unwrap())
    }

    #[test]
    fn a_bare_number_counts_as_set_by_the_group() {
        let sourced = read("x = 3").unwrap();
        assert_eq!((sourced.value, sourced.source.mark), (3.0, Mark::Group));
        assert_eq!(sourced.source.text, SET_BY_GROUP);
    }

    #[test]
    fn a_full_value_keeps_its_source_and_mark_and_a_wrong_one_says_what_was_expected() {
        let sourced = read("x = { value = 2.5, source = \"Author 2001\", mark = \"V2\" }").unwrap();
        assert_eq!(sourced.source, Source { text: "Author 2001".into(), mark: Mark::SecondHand });
        assert!(read("x = { value = 2, mark = \"sure\" }").unwrap_err().to_string().contains("expected a number"));
        assert!(read("x = { vale = 2 }").is_err());
    }
}
