//! Every complaint about settings, mappings and exports says what to do.

use super::project;
use std::path::{Path, PathBuf};

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        match path.is_dir() {
            true => sources(&path, found),
            false => found.push(path),
        }
    }
}

/// The names of the calls that are chained behind the call that opens at `open`, and where the chain ends.
fn chain(text: &str, open: usize) -> Vec<&str> {
    let mut names = Vec::new();
    let mut at = after_call(text, open);
    loop {
        let rest = text[at..].trim_start();
        let Some(rest) = rest.strip_prefix('.') else { return names };
        let name = &rest[..rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len())];
        names.push(name);
        let begins = text.len() - rest.len() + name.len();
        if !text[begins..].starts_with('(') {
            return names;
        }
        at = after_call(text, begins);
    }
}

/// Just after the bracket that closes the one at `open`; brackets in text do not count.
fn after_call(text: &str, open: usize) -> usize {
    let (mut depth, mut in_text, mut escaped) = (0, false, false);
    for (i, letter) in text[open..].char_indices() {
        match letter {
            _ if escaped => escaped = false,
            '\\' if in_text => escaped = true,
            '"' => in_text = !in_text,
            '(' if !in_text => depth += 1,
            ')' if !in_text => {
                depth -= 1;
                if depth == 0 {
                    return open + i + 1;
                }
            }
            _ => (),
        }
    }
    text.len()
}

#[test]
fn each_has_a_hint_where_it_is_made() {
    let mut paths = Vec::new();
    for folder in ["src/export", "src/group", "src/rows"] {
        sources(&project().join(folder), &mut paths);
    }
    let (mut seen, mut without) = (0, Vec::new());
    for path in paths {
        let name = path.to_string_lossy().into_owned();
        // the gate and the pseudonyms add theirs further on
        if !name.ends_with(".rs")
            || name.ends_with("tests.rs")
            || name.contains("privacy")
            || name.contains("pseudonym")
        {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let text = text.split("#[cfg(test)]").next().unwrap();
        for made in ["Problem::input(", "Problem::failure(", ".problem("] {
            for (at, _) in text.match_indices(made) {
                let line = text[..at].matches('\n').count() + 1;
                let before = text[..at].rsplit('\n').next().unwrap();
                // a complaint that is given a name, or made for others to finish
                let is_finished_later = before.contains("let problem = ")
                    || text[..at].ends_with("pub fn problem(&self, what: impl Into<String>) -> Problem {\n        ");
                seen += 1;
                if !is_finished_later && !chain(text, at + made.len() - 1).contains(&"hint") {
                    without.push(format!("{name}:{line}"));
                }
            }
        }
    }
    assert!(seen > 60, "{seen}");
    assert!(without.is_empty(), "these say nothing of what to do: {without:#?}");
}
