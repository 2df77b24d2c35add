//! A TOML file as a tree that remembers where each key and value stands.
//!
//! Settings and mappings are walked by hand rather than deserialised. A mapping may come from several files (see
//! [`extends`](super::extends)), and every message must point into the one that holds the offending key. And some values
//! have two forms (a column's name, or a table about it): serde reads such values from a copy that has lost its places.

use super::plain_text::{begins_like_a_formula, has_control};
use super::suggest::did_you_mean;
use crate::error::{Problem, Spot};
use chrono::NaiveDate;
use std::path::Path;
use toml::de::{DeTable, DeValue};

/// Settings files are small; a longer one is taken for a mistake (bytes).
const LONGEST_FILE: u64 = 4 << 20;

/// A value and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub value: Value,
    pub spot: Spot,
}

/// A TOML value.
#[derive(Clone, Debug)]
pub(super) enum Value {
    Text(String),
    /// A number as written and, when it is a whole number in range, as such.
    Number {
        written: String,
        whole: Option<i64>,
        value: f64,
    },
    YesNo(bool),
    List(Vec<Node>),
    Table(Table),
    Date(toml::value::Datetime),
}

/// The entries of a table in the order of the file.
#[derive(Clone, Debug)]
pub(super) struct Table {
    pub entries: Vec<Entry>,
    /// Where the table begins.
    pub spot: Spot,
}

/// A key and its value.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub key: String,
    pub key_spot: Spot,
    pub node: Node,
}

/// Reads and parses a settings file.
pub(super) fn read(path: &Path) -> Result<Table, Problem> {
    let bytes_on_disk = std::fs::metadata(path).map_err(|error| cannot_read(path, &error))?;
    if bytes_on_disk.is_dir() {
        return Err(Problem::input("this is a folder, not a file")
            .at(Spot::file(path))
            .hint("name a file in it whose name ends in .toml"));
    }
    if bytes_on_disk.len() > LONGEST_FILE {
        return Err(Problem::input("longer than 4 MB, so hardly a settings file")
            .at(Spot::file(path))
            .hint("check that the path names a TOML file and not an export"));
    }
    let bytes = std::fs::read(path).map_err(|error| cannot_read(path, &error))?;
    let text = std::str::from_utf8(&bytes).map_err(|error| {
        let valid = bytes.get(..error.valid_up_to()).unwrap_or_default();
        let spot = Spot::in_text(path, &String::from_utf8_lossy(valid), valid.len());
        Problem::input("not UTF-8 text").at(spot).hint("save the file as UTF-8")
    })?;
    parse(path, text)
}

/// Parses the text of a settings file.
pub(super) fn parse(path: &Path, text: &str) -> Result<Table, Problem> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let places = Places::new(path, text);
    let document = DeTable::parse(text).map_err(|error| {
        let spot = error.span().map_or_else(|| Spot::file(path), |span| places.spot(span.start));
        if error.message().starts_with("duplicate key") {
            Problem::input("this key stands twice in the same table").at(spot).hint("keep one of the two")
        } else {
            Problem::input(format!("not TOML: {}", error.message()))
                .at(spot)
                .hint("text stands in quotation marks, a list in square brackets, a section as [name]")
        }
    })?;
    let mut table = table_of(document.get_ref(), &places);
    table.spot = Spot::file(path);
    refuse_control(&table)?;
    Ok(table)
}

/// Refuses control characters in keys and texts: they would reach terminals, pages and sheets. A tab may stand alone: it
/// is a delimiter.
fn refuse_control(table: &Table) -> Result<(), Problem> {
    let refusal = |what: String, spot: &Spot| {
        Err(Problem::input(what).at(spot.clone()).hint(
            "take it out; a text stands on one line, and a space stands for a line break in the name of a column",
        ))
    };
    fn of_value(value: &Value) -> Option<bool> {
        match value {
            Value::Text(text) => Some(text != "\t" && has_control(text)),
            _ => None,
        }
    }
    for Entry { key, key_spot, node } in &table.entries {
        if has_control(key) {
            return refusal("a key holds a control character".to_owned(), key_spot);
        }
        let mut nodes = vec![node];
        while let Some(node) = nodes.pop() {
            match &node.value {
                Value::List(items) => nodes.extend(items.iter().rev()),
                Value::Table(inner) => refuse_control(inner)?,
                value if of_value(value) == Some(true) => {
                    return refusal(format!("`{key}` holds a control character"), &node.spot);
                }
                _ => (),
            }
        }
    }
    Ok(())
}

fn cannot_read(path: &Path, error: &std::io::Error) -> Problem {
    let what = match error.kind() {
        std::io::ErrorKind::NotFound => "there is no such file".to_owned(),
        _ => format!("cannot be read: {error}"),
    };
    Problem::input(what).at(Spot::file(path)).hint("check the path, and that you may read the file")
}

/// Line starts of a text, so that a place is found without reading the text again.
struct Places<'a> {
    path: &'a Path,
    text: &'a str,
    line_starts: Vec<usize>,
}

impl<'a> Places<'a> {
    fn new(path: &'a Path, text: &'a str) -> Self {
        let after_breaks = text.match_indices('\n').map(|(at, _)| at + 1);
        Self { path, text, line_starts: std::iter::once(0).chain(after_breaks).collect() }
    }

    fn spot(&self, offset: usize) -> Spot {
        let line = self.line_starts.partition_point(|start| *start <= offset);
        let start = self.line_starts.get(line.saturating_sub(1)).copied().unwrap_or(0);
        let column = self.text.get(start..offset).map_or(0, |before| before.chars().count()) + 1;
        Spot { line: Some(line as u64), column: Some(column as u64), ..Spot::file(self.path) }
    }
}

fn table_of(table: &DeTable<'_>, places: &Places<'_>) -> Table {
    let mut in_file_order: Vec<_> = table.iter().collect();
    in_file_order.sort_by_key(|(key, _)| key.span().start);
    let entries: Vec<Entry> = in_file_order
        .into_iter()
        .map(|(key, value)| Entry {
            key: key.get_ref().to_string(),
            key_spot: places.spot(key.span().start),
            node: node_of(value, places),
        })
        .collect();
    Table { spot: Spot::file(places.path), entries }
}

fn node_of(value: &toml::Spanned<DeValue<'_>>, places: &Places<'_>) -> Node {
    let spot = places.spot(value.span().start);
    let value = match value.get_ref() {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(number) => {
            let whole = i64::from_str_radix(number.as_str(), number.radix()).ok();
            Value::Number { written: number.to_string(), whole, value: whole.map_or(f64::NAN, |n| n as f64) }
        }
        DeValue::Float(number) => Value::Number {
            written: number.as_str().to_owned(),
            whole: None,
            value: number.as_str().parse().unwrap_or(f64::NAN),
        },
        DeValue::Boolean(yes) => Value::YesNo(*yes),
        DeValue::Datetime(date) => Value::Date(*date),
        DeValue::Array(items) => Value::List(items.iter().map(|item| node_of(item, places)).collect()),
        DeValue::Table(table) => Value::Table(Table { spot: spot.clone(), ..table_of(table, places) }),
    };
    Node { value, spot }
}

impl Value {
    fn kind(&self) -> &'static str {
        match self {
            Value::Text(_) => "text",
            Value::Number { .. } => "a number",
            Value::YesNo(_) => "true or false",
            Value::List(_) => "a list",
            Value::Table(_) => "a table",
            Value::Date(_) => "a date",
        }
    }
}

impl Node {
    /// A complaint about this value.
    pub fn problem(&self, what: impl Into<String>) -> Problem {
        Problem::input(what).at(self.spot.clone())
    }

    fn wrong_type(&self, name: &str, expected: &str) -> Problem {
        let example = match expected {
            "true or false" => format!("for example {name} = true"),
            "a date" => format!("for example {name} = 2026-09-30"),
            "a number" => format!("for example {name} = 0.05"),
            "a whole number" => format!("for example {name} = 5"),
            "a table" => format!("write its entries under a line [{}]", name.trim_matches(['[', ']'])),
            _ if expected.starts_with("a list") => format!("for example {name} = [\"...\", \"...\"]"),
            _ => format!("for example {name} = \"...\""),
        };
        self.problem(format!("`{name}` must be {expected}, not {}", self.value.kind())).hint(example)
    }

    /// Text.
    pub fn text(&self, name: &str) -> Result<&str, Problem> {
        match &self.value {
            Value::Text(text) => Ok(text),
            _ => Err(self.wrong_type(name, "text in quotation marks")),
        }
    }

    /// Text that is not blank, trimmed.
    pub fn filled_text(&self, name: &str) -> Result<&str, Problem> {
        let text = self.text(name)?.trim();
        if text.is_empty() {
            return Err(self.problem(format!("`{name}` is empty")).hint("fill it in, or take the line out"));
        }
        Ok(text)
    }

    /// The name of something that stands in sheets: not blank, and no formula to a spreadsheet.
    pub fn name(&self, name: &str) -> Result<&str, Problem> {
        let text = self.filled_text(name)?;
        refuse_formula(text, name, &self.spot)?;
        Ok(text)
    }

    /// What a cell may hold: text, or a number as written.
    pub fn cell(&self, name: &str) -> Result<&str, Problem> {
        match &self.value {
            Value::Text(text) => Ok(text.trim()),
            Value::Number { written, .. } => Ok(written),
            _ => Err(self.wrong_type(name, "text in quotation marks or a number")),
        }
    }

    /// A finite number.
    pub fn number(&self, name: &str) -> Result<f64, Problem> {
        match &self.value {
            Value::Number { value, .. } if value.is_finite() => Ok(*value),
            Value::Number { .. } => Err(self
                .problem(format!("`{name}` must be a finite number"))
                .hint(format!("for example {name} = 0.05"))),
            _ => Err(self.wrong_type(name, "a number")),
        }
    }

    /// A whole number within limits.
    pub fn whole(&self, name: &str, limits: std::ops::RangeInclusive<i64>) -> Result<i64, Problem> {
        let whole = match &self.value {
            Value::Number { whole, .. } => *whole,
            _ => return Err(self.wrong_type(name, "a whole number")),
        };
        whole.filter(|n| limits.contains(n)).ok_or_else(|| {
            self.problem(format!("`{name}` must be a whole number from {} to {}", limits.start(), limits.end()))
                .hint(format!("for example {name} = {}", 5.clamp(*limits.start(), *limits.end())))
        })
    }

    /// True or false.
    pub fn yes_no(&self, name: &str) -> Result<bool, Problem> {
        match &self.value {
            Value::YesNo(yes) => Ok(*yes),
            _ => Err(self.wrong_type(name, "true or false")),
        }
    }

    /// A calendar date: a TOML date, or ISO text.
    pub fn date(&self, name: &str) -> Result<NaiveDate, Problem> {
        let date = match &self.value {
            Value::Text(text) => NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d").ok(),
            Value::Date(datetime) => datetime.date.and_then(|date| {
                NaiveDate::from_ymd_opt(i32::from(date.year), u32::from(date.month), u32::from(date.day))
            }),
            _ => return Err(self.wrong_type(name, "a date")),
        };
        date.ok_or_else(|| {
            self.problem(format!("`{name}` must be a calendar date")).hint(format!("write {name} = 2026-09-30"))
        })
    }

    /// A list.
    pub fn list(&self, name: &str) -> Result<&[Node], Problem> {
        match &self.value {
            Value::List(items) => Ok(items),
            _ => Err(self.wrong_type(name, "a list in square brackets")),
        }
    }

    /// A list of cells.
    pub fn cells(&self, name: &str) -> Result<Vec<String>, Problem> {
        self.list(name)?.iter().map(|item| item.cell(name).map(str::to_owned)).collect()
    }

    /// A table.
    pub fn table(&self, name: &str) -> Result<&Table, Problem> {
        match &self.value {
            Value::Table(table) => Ok(table),
            _ => Err(self.wrong_type(name, "a table")),
        }
    }

    /// Each table of `[[name]]`.
    pub fn tables(&self, name: &str) -> Result<Vec<&Table>, Problem> {
        match &self.value {
            Value::List(items) => items.iter().map(|item| item.table(name)).collect(),
            _ => Err(self
                .wrong_type(name, "a list of tables")
                .hint(format!("write each entry under a line [[{name}]] with two brackets a side"))),
        }
    }
}

/// Refuses a name that a spreadsheet would take for a formula.
pub(super) fn refuse_formula(text: &str, name: &str, spot: &Spot) -> Result<(), Problem> {
    match begins_like_a_formula(text) {
        false => Ok(()),
        true => Err(Problem::input(format!("`{name}` begins with a sign that spreadsheets take for a formula"))
            .at(spot.clone())
            .hint("begin the name with a letter or a digit, not with = + - @")),
    }
}

impl Table {
    /// The value of a key.
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.entry(key).map(|entry| &entry.node)
    }

    /// The entry of a key.
    pub fn entry(&self, key: &str) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.key == key)
    }

    /// A complaint about the table as a whole.
    pub fn problem(&self, what: impl Into<String>) -> Problem {
        Problem::input(what).at(self.spot.clone())
    }

    /// The value of a key that must be there; `name` says what the table is.
    pub fn require(&self, key: &str, name: &str) -> Result<&Node, Problem> {
        self.get(key)
            .ok_or_else(|| self.problem(format!("{name} has no `{key}`")).hint(format!("add a line {key} = ... to it")))
    }

    /// Refuses any key but these.
    pub fn only(&self, keys: &[&str], name: &str) -> Result<(), Problem> {
        match self.entries.iter().find(|entry| !keys.contains(&entry.key.as_str())) {
            None => Ok(()),
            Some(entry) => Err(Problem::input(format!("{name} has no key `{}`", entry.key))
                .at(entry.key_spot.clone())
                .hint(did_you_mean(&entry.key, keys.iter().copied()))),
        }
    }
}

#[cfg(test)]
mod tests;
