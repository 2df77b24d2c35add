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
        let file: File = toml::from_str(SHIPPED).map_err(|error| unreadable("", &error))?;
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
            entry.map_err(|error| unreadable(key, &error))?.check(key, &tiers)
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

/// The library names the field it stopped at only in print, as a line "in `response.absolute`",
/// and a field it does not know only in its message.
fn unreadable(key: &str, error: &toml::de::Error) -> CatalogueError {
    let (printed, message) = (error.to_string(), error.message().replace("expected f64", "expected a number"));
    let path = printed.lines().find_map(|line| line.strip_prefix("in `")?.strip_suffix('`'));
    let unknown = message.strip_prefix("unknown field `").and_then(|rest| rest.split('`').next()).map(str::to_owned);
    match path.map(|path| path.split_once('.').unwrap_or((path, ""))) {
        Some((field, "")) => CatalogueError::field(REGISTRY, key, field, message),
        Some((field, inner)) => CatalogueError::field(REGISTRY, key, field, format!("{inner}: {message}")),
        None => CatalogueError { field: unknown, ..CatalogueError::entry(REGISTRY, key, message) },
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
    use crate::catalogue::sourced::{Mark, Source};

    fn shipped() -> Measures {
        Measures::embedded().unwrap()
    }

    fn of<'a>(measures: &'a Measures, key: &str) -> &'a Measure {
        measures.get(measures.find(key).unwrap())
    }

    #[test]
    fn the_shipped_measures_are_these_each_once() {
        let keys: Vec<_> = shipped().iter().map(|(_, measure)| measure.key.clone()).collect();
        let expected = [
            "pain_nrs",
            "pain_vas",
            "pain_verbal",
            "odi",
            "ndi",
            "rmdq",
            "qbpds",
            "psfs",
            "promis_pi",
            "promis_pf",
            "global_change",
        ];
        assert_eq!(keys, expected);
    }

    #[test]
    fn every_shipped_value_has_a_source_and_says_when_it_is_from_memory() {
        fn check(value: &toml::Value, seen: &mut usize) {
            match value {
                toml::Value::Array(values) => values.iter().for_each(|value| check(value, seen)),
                toml::Value::Table(table) => {
                    if let Some(mark) = table.get("mark").and_then(toml::Value::as_str) {
                        let source = table["source"].as_str().unwrap();
                        assert_eq!(source.contains("from memory, check before relying on it"), mark == "M", "{source}");
                        *seen += 1;
                    }
                    table.values().for_each(|value| check(value, seen));
                }
                _ => {}
            }
        }
        let mut seen = 0;
        check(&toml::Value::Table(SHIPPED.parse().unwrap()), &mut seen);
        assert!(seen > 40, "{seen}");
        // a value without a source of its own would be marked as the group's
        assert!(!format!("{:?}", shipped()).contains("mark: Group"));
    }

    #[test]
    fn default_thresholds_of_ostelo_2008() {
        // Spine 33:90-4: VAS 15, NRS 2, RMDQ 5, ODI 10, QBPDS 20, each with 30 %
        for (key, least) in [("pain_vas", 15.0), ("pain_nrs", 2.0), ("rmdq", 5.0), ("odi", 10.0), ("qbpds", 20.0)] {
            let response = of(&shipped(), key).response.clone();
            assert_eq!(response.absolute.as_ref().map(|sourced| sourced.value), Some(least), "{key}");
            assert_eq!(response.percent.as_ref().map(|sourced| sourced.value), Some(30.0), "{key}");
        }
    }

    #[test]
    fn a_group_sets_an_acceptable_state_and_all_else_stays() {
        let table = "[pain_nrs]\nacceptable_state = { at_most = 1, source = 'a trial', mark = 'V' }".parse().unwrap();
        let set = shipped().with_overrides(&table).unwrap();
        let definition = of(&set, "pain_nrs").definitions(false).pop().unwrap();
        assert_eq!(
            (definition.key.as_str(), definition.label.as_str()),
            ("acceptable_state", "last score at most 1 point")
        );
        assert!(definition.reached(6.0, 1.0) && !definition.reached(6.0, 1.5) && definition.reachable(1.0));
        let back = Measure { acceptable_state: None, ..of(&set, "pain_nrs").clone() };
        assert_eq!(&back, of(&shipped(), "pain_nrs"));
    }

    #[test]
    fn a_group_adds_a_measure_after_the_shipped_ones() {
        let table = "[headache]\ntitle = 'Headache score'\ndomain = 'pain'\nlow = 0\nhigh = 100\n\
                     direction = 'higher is worse'\nunit = 'points'\ndecimals = 1";
        let set = shipped().with_overrides(&table.parse().unwrap()).unwrap();
        assert_eq!(set.find("headache"), Some(MeasureId(11)));
        assert_eq!(set.find("odi"), shipped().find("odi"));
        let headache = of(&set, "headache");
        assert_eq!(headache.scale_names().collect::<Vec<_>>(), ["0-100"]);
        assert_eq!(headache.short_title, "Headache score");
        let keys: Vec<_> = headache.definitions(false).into_iter().map(|definition| definition.key).collect();
        assert_eq!(keys, ["thirty_percent", "fifty_percent"]);
    }

    #[test]
    fn an_overridden_value_does_not_keep_the_published_source() {
        let table =
            "[pain_nrs]\nresponse = { absolute = 3 }\nhigh = 11\nbands = { steps = [{ label = 'any', up_to = 11 }] }";
        let set = shipped().with_overrides(&table.parse().unwrap()).unwrap();
        let nrs = of(&set, "pain_nrs");
        assert_eq!(nrs.source, Source::written(None, Mark::Group));
        let absolute = nrs.response.absolute.as_ref().unwrap();
        assert_eq!((absolute.value, absolute.source.mark), (3.0, Mark::Group));
        assert_eq!(nrs.response.percent, None);
    }

    #[test]
    fn a_position_of_another_registry_gives_the_first_measure() {
        let shipped = shipped();
        assert_eq!(shipped.get(MeasureId(u16::MAX)).key, "pain_nrs");
        assert_eq!(shipped.find("nothing"), None);
        assert!(shipped.iter().all(|(id, measure)| shipped.get(id).key == measure.key));
    }
}
