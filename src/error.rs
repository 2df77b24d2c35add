//! Errors for the person at the keyboard: what, where, what to do.
//!
//! Each folder has its own typed error; all become a [`Problem`], which the binary renders as
//! `file:line:column: what` and a hint. A problem never holds a cell's value: it may identify a person.

use std::borrow::Cow;
use std::fmt;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// A text on one line with nothing in it that would steer a terminal: control characters, line ends among them, and characters
/// that turn the direction of writing are written as `\u{1b}`. Every name that is printed goes through here.
pub fn plain(text: &str) -> Cow<'_, str> {
    if !text.contains(steers_terminal) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        if steers_terminal(c) { plain.extend(c.escape_unicode()) } else { plain.push(c) }
    }
    Cow::Owned(plain)
}

/// Whether a terminal obeys a character instead of showing it: control characters, separators of lines and paragraphs, and
/// marks that turn the direction of writing.
pub fn steers_terminal(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

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
        f.write_str(&plain(&self.file.display().to_string()))?;
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
        let problem = Self { exit: Exit::Failed, ..Self::input(what) };
        problem.hint("this is a fault of the program: report it, with the command that you typed")
    }

    /// A file that could not be opened, read or written.
    pub fn io(path: impl AsRef<Path>, error: &std::io::Error) -> Self {
        let remedy = match error.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => "free some space there, then run again",
            ErrorKind::FileTooLarge => "raise the limit on the size of files (ulimit -f), then run again",
            ErrorKind::PermissionDenied => "run as a user who may use it, or name another place",
            ErrorKind::ReadOnlyFilesystem => "name a place that can be written",
            ErrorKind::NotFound => "check the path, and that nobody removes it during the run",
            _ => "check the path and the disk, then run again",
        };
        Self::failure(error.to_string()).at(Spot::file(path)).hint(remedy)
    }

    /// A path that was asked for and cannot be used: bad input, unless the disk is full or gone.
    pub fn path(path: impl AsRef<Path>, error: &std::io::Error) -> Self {
        let exit = match error.kind() {
            ErrorKind::NotFound
            | ErrorKind::NotADirectory
            | ErrorKind::IsADirectory
            | ErrorKind::AlreadyExists
            | ErrorKind::PermissionDenied
            | ErrorKind::ReadOnlyFilesystem
            | ErrorKind::InvalidFilename
            | ErrorKind::InvalidInput => Exit::BadInput,
            _ => Exit::Failed,
        };
        Self { exit, ..Self::io(path, error) }
    }

    /// For a path that was asked for: which other one may be named, unless it is the disk that is at fault.
    pub fn or_name(self, other: impl Into<String>) -> Self {
        if self.exit == Exit::BadInput { self.hint(other) } else { self }
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
        f.write_str(&plain(&self.what))?;
        if let Some(remedy) = &self.remedy {
            write!(f, "\n  what to do: {}", plain(remedy))?;
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

    #[test]
    fn no_name_steers_the_terminal_or_begins_a_line_of_its_own() {
        let problem =
            Problem::input("no column \u{1b}[2J").at(Spot::line("a\nmendcurve: fine\u{202e}", 3)).hint("x\ty\u{9b}");
        let expected = "a\\u{a}mendcurve: fine\\u{202e}:3: no column \\u{1b}[2J\n  what to do: x\\u{9}y\\u{9b}";
        assert_eq!(problem.to_string(), expected);
        assert!(matches!(plain("Öz, 漢字 \u{a0}–"), Cow::Borrowed(_)));
    }

    #[test]
    fn a_bad_path_is_bad_input_and_a_full_disk_is_not() {
        let exit = |kind: ErrorKind| Problem::path("out", &kind.into()).exit;
        assert_eq!(exit(ErrorKind::NotADirectory), Exit::BadInput);
        assert_eq!(exit(ErrorKind::PermissionDenied), Exit::BadInput);
        assert_eq!(exit(ErrorKind::StorageFull), Exit::Failed);
        assert_eq!(exit(ErrorKind::FileTooLarge), Exit::Failed);
    }
}
