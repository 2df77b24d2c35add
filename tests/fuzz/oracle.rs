//! What must hold of every outcome, whatever the input.

use super::csv_changes::SECRET;
use super::input::Files;
use super::subject::{Account, Outcome, class};
use crate::error::{Exit, Problem};

/// Something that must not be.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Find {
    /// What kind of fault.
    pub kind: &'static str,
    /// What was seen.
    pub what: String,
}

impl Find {
    /// A find.
    pub fn new(kind: &'static str, what: impl Into<String>) -> Self {
        Self { kind, what: what.into() }
    }

    /// Equal for finds that most likely have one cause.
    pub fn class(&self) -> String {
        format!("{}: {}", self.kind, class(self.what.split(" | ").next().unwrap_or_default()))
    }
}

/// Holds an outcome against everything that must be so.
pub fn examine(outcome: &Outcome, files: &Files) -> Vec<Find> {
    let mut finds: Vec<Find> = outcome.wrong.iter().map(|what| Find::new("wrong", what.as_str())).collect();
    if let Some(problem) = &outcome.problem {
        finds.extend(complaint(problem, files));
    }
    finds.extend(outcome.accounts.iter().flat_map(account));
    finds.extend(not_numbers(&outcome.found).map(|what| Find::new("no number", what)));
    for (name, text) in &outcome.written {
        let bad = if name.ends_with(".csv") { sheet(text) } else { page(text) };
        finds.extend(bad.into_iter().map(|find| Find::new(find.kind, format!("{name}: {}", find.what))));
    }
    finds
}

/// A complaint blames the input, says what to do, and tells no cell.
fn complaint(problem: &Problem, files: &Files) -> Vec<Find> {
    let mut finds = Vec::new();
    if !matches!(problem.exit, Exit::BadInput | Exit::TooManyRejected | Exit::PrivacyGate) {
        finds.push(Find::new("exit code", format!("{} ({:?})", problem.what, problem.exit)));
    }
    if problem.remedy.as_deref().is_none_or(|remedy| remedy.trim().is_empty()) {
        finds.push(Find::new("no remedy", problem.what.as_str()));
    }
    if problem.to_string().contains(SECRET) && !files.values().any(|bytes| may_be_header(bytes)) {
        finds.push(Find::new("cell told", problem.what.replace(SECRET, "SECRET")));
    }
    finds
}

/// Whether the secret stands so early in a file that it may be taken for a column's name, which messages tell.
fn may_be_header(bytes: &[u8]) -> bool {
    let narrow: Vec<u8> = bytes.iter().copied().filter(|byte| *byte != 0).collect(); // UTF-16 of Latin text
    let text = String::from_utf8_lossy(&narrow);
    text.split(['\n', '\r']).take(8).any(|line| line.contains(SECRET))
}

/// Every row is kept, a duplicate or rejected; rows stand on lines that the file has, one on each.
fn account(account: &Account) -> Vec<Find> {
    let mut finds = Vec::new();
    let mut wrong = |what: &str| finds.push(Find::new("account", what));
    if !account.balances {
        wrong("the account does not balance");
    }
    let Some(text) = plain_text(&account.bytes) else { return finds };
    let lines = text.split(['\n', '\r']).count() as u64;
    let told = account.printed.split("line: ").skip(1).filter_map(|rest| {
        let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
        rest[..digits].parse::<u64>().ok()
    });
    if account.lines.iter().map(|line| u64::from(*line)).chain(told).any(|line| line == 0 || line > lines) {
        wrong("a row stands on a line that the file has not");
    }
    // lines are counted by \n where a file has one; a \r alone then ends a record and no line
    let shared = text.contains('\n') && text.replace("\r\n", "").contains('\r');
    if !shared && !account.lines.is_sorted_by(|a, b| a < b) {
        wrong("two rows stand on one line");
    }
    let records = records(text, account.skip_lines);
    if account.read > records {
        wrong("more rows were read than the file has lines");
    }
    if account.read < records && !text.contains('"') {
        wrong("fewer rows were read than the file has lines, and no quotation mark joins lines");
    }
    finds
}

/// The text of a file in plain UTF-8.
fn plain_text(bytes: &[u8]) -> Option<&str> {
    let packed = [&[0x1f, 0x8b][..], &[0x28, 0xb5, 0x2f, 0xfd], &[0xff, 0xfe], &[0xfe, 0xff]];
    if packed.iter().any(|mark| bytes.starts_with(mark)) {
        return None;
    }
    std::str::from_utf8(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)).ok()
}

/// Lines that are not empty, after those to skip and the header: counted without knowing what a record is.
fn records(text: &str, skip_lines: u32) -> u64 {
    let mut rest = text;
    for _ in 0..skip_lines {
        let end = rest.find(['\n', '\r']).unwrap_or(rest.len());
        rest = &rest[end..];
        rest = rest.strip_prefix("\r\n").or_else(|| rest.strip_prefix(['\n', '\r'])).unwrap_or(rest);
    }
    let filled = rest.split(['\n', '\r']).filter(|line| !line.is_empty()).count() as u64;
    filled.saturating_sub(1)
}

/// What stands around a NaN or an infinity in what the program prints for itself. Texts stand in quotation marks there.
fn not_numbers(printed: &str) -> impl Iterator<Item = String> + '_ {
    ["NaN", "inf"].into_iter().filter_map(|word| {
        let mut found = printed.match_indices(word);
        found.find_map(|(at, _)| {
            let before = printed[..at].chars().next_back().is_none_or(|c| " (-[".contains(c));
            let after = printed[at + word.len()..].chars().next().is_none_or(|c| ",)]} ".contains(c));
            let before_sign = printed[..at].trim_end_matches('-').ends_with([' ', '(', '[']);
            (before && after && before_sign).then(|| {
                let from = printed[..at].char_indices().rev().nth(60).map_or(0, |(i, _)| i);
                printed[from..at + word.len()].to_owned()
            })
        })
    })
}

/// Numbers of a sheet are finite, and the lower end of what it calls an interval is not above the upper.
fn sheet(text: &str) -> Vec<Find> {
    let mut finds = Vec::new();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header: Vec<String> = match reader.headers() {
        Ok(header) => header.iter().map(str::to_owned).collect(),
        Err(error) => return vec![Find::new("sheet", error.to_string())],
    };
    let find = |name: &str| header.iter().position(|column| column == name);
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    for (low, name) in header.iter().enumerate() {
        let upper = match name.as_str() {
            "worst_case" => "best_case".to_owned(),
            other => other.replace("low", "high"),
        };
        if upper != *name
            && let Some(high) = find(&upper)
        {
            pairs.push((low, high));
        }
    }
    for record in reader.records() {
        let Ok(record) = record else {
            finds.push(Find::new("sheet", "a line has another number of cells than the header"));
            continue;
        };
        for (cell, name) in record.iter().zip(&header) {
            if matches!(cell.trim_start_matches('-'), "NaN" | "inf" | "nan" | "infinity") {
                finds.push(Find::new("no number", name.as_str()));
            }
        }
        for (low, high) in &pairs {
            let number = |at: usize| record.get(at).and_then(|cell| cell.parse::<f64>().ok());
            if let (Some(lower), Some(upper)) = (number(*low), number(*high))
                && lower > upper
            {
                finds.push(Find::new("interval", format!("{} is above {}", header[*low], header[*high])));
            }
        }
    }
    finds
}

/// A page or figure holds no number that is none.
fn page(text: &str) -> Vec<Find> {
    let words = text.split(|c: char| !(c.is_alphanumeric() || c == '_'));
    let bad = words.filter(|word| matches!(*word, "NaN" | "inf"));
    bad.take(1).map(|word| Find::new("no number", word)).collect()
}

/// Two outcomes of one input must be the same.
pub fn same(one: &Outcome, other: &Outcome, how: &'static str) -> Option<Find> {
    let told = |outcome: &Outcome| outcome.problem.as_ref().map(ToString::to_string);
    if told(one) != told(other) {
        let text = |outcome| told(outcome).unwrap_or_default();
        return Some(Find::new("other result", format!("{how}: {} | {}", text(one), text(other))));
    }
    let texts = [(&one.understood, &other.understood), (&one.found, &other.found)];
    if let Some((a, b)) = texts.into_iter().find(|(a, b)| a != b) {
        return Some(Find::new("other result", format!("{how} | {}", where_they_part(a, b))));
    }
    (one.written != other.written).then(|| Find::new("other result", how))
}

/// What stands around the first place where two texts differ.
fn where_they_part(one: &str, other: &str) -> String {
    let at = one.bytes().zip(other.bytes()).take_while(|(a, b)| a == b).count();
    let around = |text: &str| {
        let bytes = &text.as_bytes()[at.saturating_sub(120).min(text.len())..(at + 60).min(text.len())];
        String::from_utf8_lossy(bytes).into_owned()
    };
    format!("{} | {}", around(one), around(other))
}
