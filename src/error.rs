//! Errors for the person at the keyboard: what, where, what to do.
//!
//! Each folder has its own typed error; all become a [`Problem`], which the binary renders as
//! `file:line:column: what` and a hint. A problem never holds a cell's value: it may identify a person.

use std::fmt;
use std::path::{Path, PathBuf};

/// Exit codes of the program.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[repr(u8)]
pub enum Exit {
    /// All went well.
    Fine = 0,
    /// Something other than the input failed: the disk is full, an output cannot be written.
    Failed = 1,
    /// An export, a mapping, a setting or an argument is wrong.
    BadInput = 2,
    /// More rows were rejected than `reject_limit` allows; the reconciliation was written.
    TooManyRejected = 3,
    /// The privacy gate found direct identifiers that are not declared under `drop`.
    PrivacyGate = 4,
    /// Asked to be strict: a required item of the setup standard falls short somewhere.
    FallsShort = 6,
}

/// Where in a file.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Default, Debug)]
pub struct Spot {
    /// The file.
    pub file: PathBuf,
    /// The line, from 1.
    pub line: Option<u64>,
    /// The column of the line in characters, from 1.
    pub column: Option<u64>,
}

impl Spot {
    /// A whole file.
    pub fn file(path: impl AsRef<Path>) -> Self {
        Self { file: path.as_ref().to_path_buf(), line: None, column: None }
    }

    /// A line of a file.
    pub fn line(path: impl AsRef<Path>, line: u64) -> Self {
        Self { line: Some(line), ..Self::file(path) }
    }

    /// The line and column of a byte offset in a text.
    pub fn in_text(path: impl AsRef<Path>, text: &str, offset: usize) -> Self {
        let before = text.get(..offset).unwrap_or(text);
        let line = before.matches('\n').count() as u64 + 1;
        let column = before.rsplit('\n').next().unwrap_or("").chars().count() as u64 + 1;
        Self { line: Some(line), column: Some(column), ..Self::file(path) }
    }
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file.display())?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        Ok(())
    }
}

/// What went wrong, where, and what to do about it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Problem {
    /// What went wrong, one sentence without a full stop.
    pub what: String,
    /// Where.
    pub spot: Option<Spot>,
    /// What to do.
    pub remedy: Option<String>,
    /// The exit code it leads to.
    pub exit: Exit,
}

impl Problem {
    /// Bad input, settings or mapping.
    pub fn input(what: impl Into<String>) -> Self {
        Self { what: what.into(), spot: None, remedy: None, exit: Exit::BadInput }
    }

    /// A failure that is not the input's.
    pub fn failure(what: impl Into<String>) -> Self {
        Self { exit: Exit::Failed, ..Self::input(what) }
    }

    /// A file that could not be opened, read or written.
    pub fn io(path: impl AsRef<Path>, error: &std::io::Error) -> Self {
        Self::failure(format!("{error}"))
            .at(Spot::file(path))
            .hint("check the path, the permissions and the room on the disk")
    }

    /// Adds where.
    pub fn at(mut self, spot: Spot) -> Self {
        self.spot = Some(spot);
        self
    }

    /// Adds what to do.
    pub fn hint(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = Some(remedy.into());
        self
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(spot) = &self.spot {
            write!(f, "{spot}: ")?;
        }
        f.write_str(&self.what)?;
        if let Some(remedy) = &self.remedy {
            write!(f, "\n  what to do: {remedy}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problem {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_problem_prints_file_line_column_and_what_to_do() {
        let text = "a = 1\nb = = 2\n";
        let problem = Problem::input("not TOML").at(Spot::in_text("group.toml", text, 10)).hint("remove one =");
        assert_eq!(problem.to_string(), "group.toml:2:5: not TOML\n  what to do: remove one =");
    }
}
