//! The registry of measures: shipped as `measures.toml`, overridden or extended by a group.
//!
//! An override names fields of one measure. A field it names replaces the shipped one whole, with
//! its source; all others stay. Numbers without a source then count as set by the group.

use std::iter::once;

use serde::Deserialize;

use super::error::CatalogueError;
pub use super::measure::{Measure, Scale};
use super::measure_file::Entry;
pub use super::response::Definition;
use super::sourced::Sourced;

const REGISTRY: &str = "measures";
const SHIPPED: &str = include_str!("measures.toml");
/// Fields that `source` speaks for.
const SPOKEN_FOR: [&str; 3] = ["low", "high", "direction"];

/// A measure, by its position in the registry.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct MeasureId(pub u16);

/// All measures of a run. There is at least one.
#[derive(Clone, PartialEq, Debug)]
pub struct Measures {
    first: Measure,
    others: Vec<Measure>,
    written: Vec<(String, toml::Table)>,
    tiers: Vec<Sourced>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    tiers: Vec<Sourced>,
    measure: Vec<toml::Table>,
}

impl Measures {
    /// The measures that are shipped.
    ///
    /// # Errors
    /// Only when the shipped file is wrong, which a test rules out.
    pub fn embedded() -> Result<Self, CatalogueError> {
        let unreadable = |error: toml::de::Error| CatalogueError::entry(REGISTRY, "", error.message());
        let file: File = toml::from_str(SHIPPED).map_err(unreadable)?;
        let mut written = Vec::with_capacity(file.measure.len());
        for mut table in file.measure {
            match table.remove("key") {
                Some(toml::Value::String(key)) => written.push((key, table)),
                _ => return Err(CatalogueError::entry(REGISTRY, "", "a measure without a key")),
            }
        }
        Self::of(written, file.tiers)
    }

    /// These measures with the table `[measures]` of `group.toml` applied: known keys are overridden,
    /// new ones follow the known ones in the order of the table. Positions of known measures stay.
    ///
    /// # Errors
    /// The first entry that does not make a measure, with its key and field.
    pub fn with_overrides(&self, table: &toml::Table) -> Result<Self, CatalogueError> {
        let mut written = self.written.clone();
        for (key, value) in table {
            let toml::Value::Table(fields) = value else {
                return Err(CatalogueError::entry(REGISTRY, key, "must be a table of fields"));
            };
            match written.iter_mut().find(|(known, _)| known == key) {
                Some((_, shipped)) => override_fields(shipped, fields),
                None if is_key(key) => written.push((key.clone(), fields.clone())),
                None => {
                    let what = "a key is made of small letters, digits and underscores, and begins with a letter";
                    return Err(CatalogueError::entry(REGISTRY, key, what));
                }
            }
        }
        Self::of(written, self.tiers.clone())
    }

    fn of(written: Vec<(String, toml::Table)>, tiers: Vec<Sourced>) -> Result<Self, CatalogueError> {
        let read = |(key, table): &(String, toml::Table)| {
            let entry: Result<Entry, _> = toml::Value::Table(table.clone()).try_into();
            entry.map_err(|error| CatalogueError::entry(REGISTRY, key, error.message()))?.check(key, &tiers)
        };
        let mut all = written.iter().map(read);
        let first = all.next().unwrap_or_else(|| Err(CatalogueError::entry(REGISTRY, "", "no measures")))?;
        let others: Vec<_> = all.collect::<Result<_, _>>()?;
        match u16::try_from(others.len()) {
            Ok(_) => Ok(Self { first, others, written, tiers }),
            Err(_) => Err(CatalogueError::entry(REGISTRY, "", "too many measures")),
        }
    }

    /// The measure of a key.
    pub fn find(&self, key: &str) -> Option<MeasureId> {
        self.iter().find(|(_, measure)| measure.key == key).map(|(id, _)| id)
    }

    /// The measure of a position. For a position of another, longer registry it is the first.
    pub fn get(&self, id: MeasureId) -> &Measure {
        match id.0.checked_sub(1) {
            None => &self.first,
            Some(other) => self.others.get(usize::from(other)).unwrap_or(&self.first),
        }
    }

    /// All measures, in the order of the registry.
    pub fn iter(&self) -> impl Iterator<Item = (MeasureId, &Measure)> {
        (0..=u16::MAX).map(MeasureId).zip(once(&self.first).chain(&self.others))
    }
}

fn override_fields(shipped: &mut toml::Table, fields: &toml::Table) {
    if SPOKEN_FOR.iter().any(|field| fields.contains_key(*field)) {
        shipped.remove("source");
        shipped.remove("mark");
    }
    shipped.extend(fields.iter().map(|(field, value)| (field.clone(), value.clone())));
}

fn is_key(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_lowercase())
        && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_registry_can_be_read() {
        assert_eq!(Measures::embedded().map(|measures| measures.iter().count()), Ok(11));
    }
}
