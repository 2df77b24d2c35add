//! Conditions, and the ICD-10-CM codes and local labels that lead to them.
//!
//! Old and new codes of one thing lead to one condition; a code is looked up by the day of the visit,
//! and one that was not valid then still leads to its condition but is counted. Codes of myelopathy
//! lead to a caution, not to a condition of their own.

use super::error::CatalogueError;
use super::region::Region;
use chrono::NaiveDate;
use serde::Deserialize;
use std::collections::HashMap;

/// A condition of the registry, by position.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct ConditionId(pub u16);

#[derive(Clone, PartialEq, Debug)]
pub struct Condition {
    /// Its key in sheets and file names.
    pub key: String,
    /// Its name for people.
    pub title: String,
    pub region: Region,
    /// Whether a nerve root is involved: some thresholds depend on it.
    pub radicular: bool,
    /// The lowest number wins when a row's codes lead to several conditions.
    pub priority: u16,
}

/// What one code leads to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum CodeMatch {
    /// A condition, with a code that is valid on the day.
    Condition(ConditionId),
    /// A condition, with a code that was not valid on the day.
    NotValidOn(ConditionId),
    Caution,
    /// Nothing known.
    Unknown,
}

/// What all codes of a cell lead to.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct CellCodes {
    /// The condition of lowest priority number; at a tie the first.
    pub condition: Option<ConditionId>,
    /// A code asks for caution.
    pub caution: bool,
    /// Codes that are not in the registry.
    pub unknown: u8,
    /// Codes that were not valid on the day.
    pub not_valid: u8,
}

#[derive(Clone, PartialEq, Debug)]
enum CodeEntry {
    Caution,
    Condition { id: ConditionId, from: Option<NaiveDate>, until: Option<NaiveDate> },
}

#[derive(Clone, PartialEq, Debug)]
pub struct Conditions {
    list: Vec<Condition>,
    codes: HashMap<String, CodeEntry>,
    labels: HashMap<String, ConditionId>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ConditionRow {
    title: Option<String>,
    region: Option<String>,
    radicular: Option<bool>,
    priority: Option<u16>,
    #[serde(default)]
    labels: Vec<String>,
    #[serde(default)]
    codes: Vec<CodeRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CodeRow {
    code: String,
    from: Option<toml::value::Datetime>,
    until: Option<toml::value::Datetime>,
    #[expect(dead_code, reason = "kept in the data for the reader; a test checks that every row has it")]
    source: Option<String>,
    #[expect(dead_code, reason = "as source")]
    mark: Option<String>,
}

const EMBEDDED: &str = include_str!("conditions.toml");

impl Conditions {
    /// The program's own conditions.
    ///
    /// # Errors
    /// The embedded data are wrong; a test makes sure that they are not.
    pub fn embedded() -> Result<Self, CatalogueError> {
        let wrong = |what: String| CatalogueError::entry("conditions", "", what);
        let mut table: toml::Table = toml::from_str(EMBEDDED).map_err(|e| wrong(e.to_string()))?;
        let cautions = table.remove("caution");
        let empty = Self { list: Vec::new(), codes: HashMap::new(), labels: HashMap::new() };
        let mut conditions = empty.with_overrides(&table)?;
        for row in cautions.as_ref().and_then(toml::Value::as_array).into_iter().flatten() {
            let code = row
                .get("code")
                .and_then(toml::Value::as_str)
                .ok_or_else(|| wrong("a caution without a code".into()))?;
            conditions.codes.insert(plain(code), CodeEntry::Caution);
        }
        Ok(conditions)
    }

    /// These conditions with a group's own added: `[conditions.KEY]` of `group.toml`. A known key is
    /// changed in what the table names; labels and codes are added to those known.
    ///
    /// # Errors
    /// An unknown word, a new condition without a title or region, a code or label of another condition.
    pub fn with_overrides(&self, table: &toml::Table) -> Result<Self, CatalogueError> {
        let mut out = self.clone();
        for (key, value) in table {
            let wrong = |what: String| CatalogueError::entry("conditions", key, what);
            let row: ConditionRow =
                value.clone().try_into().map_err(|e: toml::de::Error| wrong(e.message().to_owned()))?;
            let region = match &row.region {
                Some(word) => {
                    Some(Region::parse(word).ok_or_else(|| wrong("region is lumbar, cervical or other".into()))?)
                }
                None => None,
            };
            let id = match out.list.iter().position(|condition| condition.key == *key) {
                Some(at) => at,
                None => {
                    out.list.push(Condition {
                        key: key.clone(),
                        title: row.title.clone().ok_or_else(|| wrong("a new condition needs a title".into()))?,
                        region: region.ok_or_else(|| wrong("a new condition needs a region".into()))?,
                        radicular: false,
                        priority: 50,
                    });
                    out.list.len() - 1
                }
            };
            if let Some(condition) = out.list.get_mut(id) {
                condition.title = row.title.unwrap_or(std::mem::take(&mut condition.title));
                condition.region = region.unwrap_or(condition.region);
                condition.radicular = row.radicular.unwrap_or(condition.radicular);
                condition.priority = row.priority.unwrap_or(condition.priority);
            }
            let id = ConditionId(u16::try_from(id).map_err(|_| wrong("too many conditions".into()))?);
            for label in row.labels {
                if out.labels.insert(label.trim().to_lowercase(), id).is_some_and(|other| other != id) {
                    return Err(wrong(format!("the label '{label}' already belongs to another condition")));
                }
            }
            for code in row.codes {
                let entry = CodeEntry::Condition { id, from: day(code.from), until: day(code.until) };
                if out.codes.insert(plain(&code.code), entry).is_some() {
                    return Err(wrong(format!("the code {} is already known", code.code)));
                }
            }
        }
        Ok(out)
    }

    /// A condition; the first one for a number of another registry.
    pub fn get(&self, id: ConditionId) -> &Condition {
        static NOTHING: Condition = Condition {
            key: String::new(),
            title: String::new(),
            region: Region::Other,
            radicular: false,
            priority: 0,
        };
        self.list.get(usize::from(id.0)).unwrap_or(&NOTHING)
    }

    /// All conditions with their numbers.
    pub fn iter(&self) -> impl Iterator<Item = (ConditionId, &Condition)> {
        self.list.iter().enumerate().map(|(i, condition)| (ConditionId(i as u16), condition))
    }

    /// The condition of a key.
    pub fn find(&self, key: &str) -> Option<ConditionId> {
        self.iter().find(|(_, condition)| condition.key == key).map(|(id, _)| id)
    }

    /// The condition of a local label or of a title or key; case and spaces round it do not matter.
    pub fn by_label(&self, label: &str) -> Option<ConditionId> {
        let label = label.trim().to_lowercase();
        self.labels
            .get(&label)
            .copied()
            .or_else(|| self.iter().find(|(_, c)| c.key == label || c.title.to_lowercase() == label).map(|(id, _)| id))
    }

    /// What a code leads to on a day; without a day every known code is valid. Dot and case do not matter.
    pub fn by_code(&self, code: &str, on: Option<NaiveDate>) -> CodeMatch {
        match self.codes.get(&plain(code)) {
            None => CodeMatch::Unknown,
            Some(CodeEntry::Caution) => CodeMatch::Caution,
            Some(CodeEntry::Condition { id, from, until }) => {
                let valid =
                    on.is_none_or(|on| from.is_none_or(|from| on >= from) && until.is_none_or(|until| on < until));
                if valid { CodeMatch::Condition(*id) } else { CodeMatch::NotValidOn(*id) }
            }
        }
    }

    /// What the codes of a cell lead to; they may be separated by `;` `,` `|` `/` or spaces.
    pub fn parse_cell(&self, cell: &str, on: Option<NaiveDate>) -> CellCodes {
        let mut found = CellCodes::default();
        for code in cell.split([';', ',', '|', '/', ' ', '\n']).filter(|code| !code.is_empty()) {
            let id = match self.by_code(code, on) {
                CodeMatch::Condition(id) => id,
                CodeMatch::NotValidOn(id) => {
                    found.not_valid = found.not_valid.saturating_add(1);
                    id
                }
                CodeMatch::Caution => {
                    found.caution = true;
                    continue;
                }
                CodeMatch::Unknown => {
                    found.unknown = found.unknown.saturating_add(1);
                    continue;
                }
            };
            if found.condition.is_none_or(|known| self.get(id).priority < self.get(known).priority) {
                found.condition = Some(id);
            }
        }
        found
    }
}

/// A code as it is looked up: upper case, without its dot.
fn plain(code: &str) -> String {
    code.trim().chars().filter(|c| *c != '.').map(|c| c.to_ascii_uppercase()).collect()
}

fn day(date: Option<toml::value::Datetime>) -> Option<NaiveDate> {
    let date = date?.date?;
    NaiveDate::from_ymd_opt(i32::from(date.year), u32::from(date.month), u32::from(date.day))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(year: i32, month: u32, day: u32) -> Option<NaiveDate> {
        NaiveDate::from_ymd_opt(year, month, day)
    }

    fn key_of(code: &str, day: Option<NaiveDate>) -> (String, bool) {
        let conditions = Conditions::embedded().unwrap();
        match conditions.by_code(code, day) {
            CodeMatch::Condition(id) => (conditions.get(id).key.clone(), true),
            CodeMatch::NotValidOn(id) => (conditions.get(id).key.clone(), false),
            CodeMatch::Caution => ("caution".into(), true),
            CodeMatch::Unknown => ("unknown".into(), false),
        }
    }

    #[test]
    fn old_and_new_codes_lead_to_one_condition_by_the_day_of_the_visit() {
        // retired 1 Oct 2021, 1 Oct 2024 and 1 Oct 2017 (dates from memory, see conditions.toml)
        assert_eq!(key_of("M54.5", on(2021, 9, 30)), ("low_back_pain".into(), true));
        assert_eq!(key_of("M54.5", on(2021, 10, 1)), ("low_back_pain".into(), false));
        assert_eq!(key_of("M54.50", on(2021, 10, 1)), ("low_back_pain".into(), true));
        assert_eq!(key_of("M54.50", on(2021, 9, 30)), ("low_back_pain".into(), false));
        assert_eq!(key_of("M51.36", on(2024, 10, 1)), ("lumbar_disc_degeneration".into(), false));
        assert_eq!(key_of("M51.360", on(2024, 10, 1)), ("lumbar_disc_degeneration".into(), true));
        assert_eq!(key_of("M48.06", on(2017, 9, 30)), ("lumbar_stenosis".into(), true));
        assert_eq!(key_of("M48.062", on(2017, 10, 1)), ("lumbar_stenosis".into(), true));
        assert_eq!(key_of("M48.06", on(2017, 10, 1)), ("lumbar_stenosis".into(), false));
        assert_eq!(key_of("M54.5", None), ("low_back_pain".into(), true));
    }

    #[test]
    fn dot_and_case_do_not_matter_and_unknown_codes_are_unknown() {
        assert_eq!(key_of("m5116", None).0, "lumbar_disc_radicular");
        assert_eq!(key_of("M54.12", None).0, "cervical_radiculopathy");
        assert_eq!(key_of("J45", None).0, "unknown");
    }

    #[test]
    fn myelopathy_is_a_caution_and_never_a_condition() {
        let conditions = Conditions::embedded().unwrap();
        let cell = conditions.parse_cell("M50.00", None);
        assert_eq!((cell.condition, cell.caution), (None, true));
        let both = conditions.parse_cell("M50.00; M54.2", None);
        assert_eq!(both.condition, conditions.find("neck_pain"));
        assert!(both.caution);
    }

    #[test]
    fn the_specific_condition_of_a_cell_wins_whatever_the_order() {
        let conditions = Conditions::embedded().unwrap();
        let radicular = conditions.find("lumbar_disc_radicular");
        for cell in ["M54.50;M51.16", "M5116 M5450", "M54.50, M51.16", "M51.16|M54.50", "M54.50/M51.16/J45"] {
            assert_eq!(conditions.parse_cell(cell, on(2026, 1, 1)).condition, radicular, "{cell}");
        }
        assert_eq!(conditions.parse_cell("M54.50/M51.16/J45", None).unknown, 1);
        assert_eq!(conditions.parse_cell("", None), CellCodes::default());
    }

    #[test]
    fn every_code_row_has_a_source_and_rows_from_memory_say_so() {
        let table: toml::Table = toml::from_str(EMBEDDED).unwrap();
        let rows = table.values().flat_map(|v| {
            let list = v.as_array().or_else(|| v.get("codes").and_then(toml::Value::as_array));
            list.cloned().unwrap_or_default()
        });
        let mut n = 0;
        for row in rows {
            let source = row["source"].as_str().unwrap();
            let mark = row["mark"].as_str().unwrap();
            assert!(["V", "V2", "M", "C", "D"].contains(&mark), "{row}");
            assert_eq!(mark == "M", source.contains("from memory, check before relying on it"), "{row}");
            n += 1;
        }
        assert!(n > 70, "{n} rows");
    }

    #[test]
    fn a_group_adds_conditions_and_labels_of_its_own() {
        let own: toml::Table = toml::from_str(
            "[headache]\ntitle = 'Headache'\nregion = 'other'\nlabels = ['HA']\n[neck_pain]\nlabels = ['Nacken']",
        )
        .unwrap();
        let conditions = Conditions::embedded().unwrap().with_overrides(&own).unwrap();
        assert_eq!(conditions.by_label(" ha "), conditions.find("headache"));
        assert_eq!(conditions.by_label("NACKEN"), conditions.find("neck_pain"));
        assert_eq!(conditions.by_label("neck pain"), conditions.find("neck_pain"));
        for (bad, says) in [
            ("[x]\nregion = 'lumbar'", "title"),
            ("[x]\ntitle = 'X'", "region"),
            ("[x]\ntitle = 'X'\nregion = 'hip'", "region"),
            ("[x]\ntitle = 'X'\nregion = 'other'\nlabels = ['Neck pain']", "label"),
            ("[x]\ntitle = 'X'\nregion = 'other'\ncolour = 'red'", "colour"),
        ] {
            let table: toml::Table = toml::from_str(bad).unwrap();
            let error = Conditions::embedded().unwrap().with_overrides(&table).unwrap_err().to_string();
            assert!(error.contains(says), "{error}");
        }
    }
}
