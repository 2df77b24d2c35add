//! Changes to what a settings file is made of: lines, keys, values, tables.

use super::mutate::{AWKWARD, Draw};

/// Values of every type, and at every edge.
const VALUES: &[&str] = &[
    "0",
    "1",
    "-1",
    "2",
    "3.5",
    "0.0",
    "-0.0",
    "1e400",
    "-1e308",
    "nan",
    "inf",
    "-inf",
    "9223372036854775807",
    "-9223372036854775808",
    "9223372036854775808",
    "0xff",
    "0o7",
    "0b1",
    "1_000",
    "3650",
    "3651",
    "-3650",
    "10000",
    "true",
    "false",
    "\"\"",
    "\" \"",
    "\"x\"",
    "'x'",
    "\"\"\"\nx\"\"\"",
    "\"\\u0000\"",
    "\"\\u001b[31m\"",
    "\"\\u202e\"",
    "[]",
    "[1]",
    "[1, 2]",
    "[2, 1]",
    "[\"x\"]",
    "[[]]",
    "[[[[[[]]]]]]",
    "[-3650, 3650]",
    "[0, 0]",
    "{}",
    "{ x = 1 }",
    "{ column = \"x\" }",
    "{ column = \"x\", unit = \"N\" }",
    "{ fixed = \"\" }",
    "{ fixed = \"1\", unit = \"kg\" }",
    "{ unit = \"in cell\" }",
    "{ column = \"pull\", unit_column = \"pull\" }",
    "2026-09-30",
    "2026-09-30T00:00:00Z",
    "07:32:00",
    "1989-12-31",
    "0000-01-01",
    "9999-12-31",
    "\"iso\"",
    "\"day first\"",
    "\"month first\"",
    "\"%Y\"",
    "\"%Y-%m\"",
    "\"%d.%m.%y\"",
    "\"%s\"",
    "\"%+\"",
    "\"%%\"",
    "\"%\"",
    "\"%Q\"",
    "\"%H:%M\"",
    "\"%Y-%m-%d %H:%M:%S%.f\"",
    "\"%j %Y\"",
    "\"%U %u %Y\"",
    "\"%G-W%V-%u\"",
    "\"utf-16le\"",
    "\"utf-8\"",
    "\"windows-1252\"",
    "\"iso-2022-jp\"",
    "\"replacement\"",
    "\"shift_jis\"",
    "\"tab\"",
    "\",\"",
    "\";\"",
    "\"|\"",
    "\".\"",
    "\"'\"",
    "\"visit rows\"",
    "\"reading rows\"",
    "\"internal\"",
    "\"release\"",
    "\"group\"",
    "\"site\"",
    "\"*\"",
    "\"**\"",
    "\"exports/*\"",
    "\"../*\"",
    "\"[\"",
    "\"/dev/null\"",
    "\"mappings\"",
    "\"group.toml\"",
    "\"pain_nrs\"",
    "\"odi\"",
    "\"back\"",
    "\"0-10\"",
    "\"mm\"",
    "\"raw\"",
    "\"percent\"",
    "\"lbf\"",
    "\"%BW\"",
    "\"in cell\"",
    "\"M54.5\"",
];

/// Tables that may come on top.
const TABLES: &[&str] = &[
    "[file]",
    "[columns]",
    "[words]",
    "[words.sex]",
    "[[scores]]",
    "[readings]",
    "[readings.measures]",
    "[[keep]]",
    "[drop]",
    "[ignore]",
    "[episodes]",
    "[on_track]",
    "[[exports]]",
    "[measures.pain_nrs]",
    "[measures.new]",
    "[measures.odi.response]",
    "[conditions.low_back_pain]",
    "[conditions.new]",
    "[[item]]",
    "[rule.tilt]",
    "[a.b.c]",
];

/// Keys that may come on top.
const KEYS: &[&str] = &[
    "name",
    "audience",
    "reject_limit",
    "patient_keys",
    "as_of",
    "setup_standard",
    "site",
    "files",
    "mapping",
    "extends",
    "layout",
    "treated",
    "delimiter",
    "encoding",
    "decimal",
    "thousands",
    "dates",
    "missing",
    "skip_lines",
    "patient",
    "date",
    "day",
    "quarter",
    "clinician",
    "table",
    "region",
    "condition",
    "icd10",
    "peak_force",
    "body_mass",
    "age",
    "measure",
    "of",
    "column",
    "items",
    "scale",
    "words",
    "measure_column",
    "value_column",
    "only",
    "columns",
    "gap_days",
    "baseline_days",
    "endpoint_days",
    "behind_below",
    "ahead_above",
    "unlikely_below",
    "in_care_days",
    "overdue_days",
    "title",
    "short_title",
    "domain",
    "low",
    "high",
    "direction",
    "unit",
    "decimals",
    "source",
    "mark",
    "labels",
    "codes",
    "priority",
    "radicular",
    "acceptable_state",
    "response",
    "bands",
    "tiers",
    "scales",
    "measurement_error",
    "parameter",
    "position",
    "target",
    "tolerance",
    "grade",
    "note",
    "on",
    "\"\"",
    "\"a b\"",
    "a.b",
];

/// Changes a settings file in one way.
pub fn change(bytes: &mut Vec<u8>, draw: &mut Draw<'_>) {
    let text = String::from_utf8_lossy(bytes).into_owned();
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    if lines.is_empty() {
        lines.push(String::new());
    }
    let at = draw.below(lines.len());
    let there = draw.below(lines.len() + 1);
    match draw.below(16) {
        0 => {
            lines.remove(at);
        }
        1 => {
            let copy = lines[at].clone();
            lines.insert(there, copy);
        }
        2 => {
            let line = lines.remove(at);
            lines.insert(there.min(lines.len()), line);
        }
        3..=5 => set_value(&mut lines, at, draw.of(VALUES)),
        6 => {
            let value = quoted(draw.of(AWKWARD));
            set_value(&mut lines, at, &value);
        }
        7 => set_key(&mut lines, at, draw.of(KEYS)),
        8 => lines.insert(there, format!("{} = {}", draw.of(KEYS), draw.of(VALUES))),
        9 => lines.insert(there, draw.of(TABLES).to_owned()),
        10 => {
            // a text of one line in another
            let other = draw.below(lines.len());
            if let Some(value) = lines[other].split_once('=').map(|(_, value)| value.trim().to_owned()) {
                set_value(&mut lines, at, &value);
            }
        }
        11 => replace_a_text(&mut lines, at, draw),
        12 => lines.insert(there, deep(draw)),
        13 => {
            let copies: Vec<String> = lines.iter().skip(at).take(1 + draw.below(8)).cloned().collect();
            lines.splice(there..there, copies);
        }
        14 => {
            let number = draw.below(2_000) as i64 - 200;
            set_value(&mut lines, at, &number.to_string());
        }
        _ => {
            let gone = draw.stretch(lines.len(), 6);
            lines.drain(gone);
        }
    }
    *bytes = (lines.join("\n") + "\n").into_bytes();
}

/// The nearest line at or after `at` that holds a key.
fn set_value(lines: &mut [String], at: usize, value: &str) {
    if let Some(line) = lines.iter_mut().skip(at).find(|line| line.contains('=')) {
        let key = line.split('=').next().unwrap_or_default().trim_end().to_owned();
        *line = format!("{key} = {value}");
    }
}

fn set_key(lines: &mut [String], at: usize, key: &str) {
    if let Some(line) = lines.iter_mut().skip(at).find(|line| line.contains('=')) {
        let value = line.split_once('=').map_or("1", |(_, value)| value.trim()).to_owned();
        *line = format!("{key} = {value}");
    }
}

/// Puts another text in the place of one in quotation marks, wherever it stands in the value.
fn replace_a_text(lines: &mut [String], at: usize, draw: &mut Draw<'_>) {
    let Some(line) = lines.iter_mut().skip(at).find(|line| line.matches('"').count() >= 2) else { return };
    let parts: Vec<&str> = line.split('"').collect();
    let which = 1 + 2 * draw.below(parts.len() / 2);
    let new = quoted(draw.of(AWKWARD));
    let mut out = String::new();
    for (i, part) in parts.iter().enumerate() {
        match i {
            i if i == which => out.push_str(&new),
            i if i % 2 == 1 => out.push_str(&format!("\"{part}\"")),
            _ => out.push_str(part),
        }
    }
    *line = out;
}

fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out + "\""
}

/// A value within a value within a value.
fn deep(draw: &mut Draw<'_>) -> String {
    let depth = [10, 60, 130, 3_000][draw.below(4)];
    match draw.below(3) {
        0 => format!("deep = {}{}", "[".repeat(depth), "]".repeat(depth)),
        1 => format!("deep = {}1{}", "{ a = ".repeat(depth), " }".repeat(depth)),
        _ => format!("{}a = 1", "a.".repeat(depth)),
    }
}
