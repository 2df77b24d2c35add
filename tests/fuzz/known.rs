//! Finds that are known and wait to be mended: `known.txt`, a line each of kind, a part of what was seen, and why it is let
//! pass, with ` | ` between. Empty is best.

use super::corpus::folder;
use super::oracle::Find;

/// The list.
pub struct Known(Vec<(String, String)>);

impl Known {
    /// Reads the list.
    pub fn read() -> Self {
        let text = std::fs::read_to_string(folder().join("known.txt")).unwrap_or_default();
        Self::parse(&text)
    }

    /// Reads lines; those that begin with # say nothing.
    pub fn parse(text: &str) -> Self {
        let lines = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
        let line = |line: &str| {
            let parts: Vec<&str> = line.split(" | ").collect();
            let [kind, part, why] = parts.as_slice() else { panic!("known.txt: {line}") };
            assert!(!kind.is_empty() && part.len() > 8 && !why.is_empty(), "known.txt: {line}");
            ((*kind).to_owned(), (*part).to_owned())
        };
        Self(lines.map(line).collect())
    }

    /// Whether a find is known.
    pub fn holds(&self, find: &Find) -> bool {
        self.0.iter().any(|(kind, part)| *kind == find.kind && find.what.contains(part))
    }
}
