//! `pseudonymise`: an export made fit to leave the clinic.
//!
//! Keys of persons become keyed hashes, named columns are left out, and named dates move by a number of
//! days that is the same for all rows of a person. All else, down to quotation marks and line ends, stays
//! as it was; the result passes the privacy gate or is not written. The secret never leaves the clinic; without it nobody can go back or repeat the step.
//!
//! The hash is BLAKE3 in keyed mode (O'Connor, Aumasson, Neves & Wilcox-O'Hearn 2020, 2.3 and 2.5).

mod columns;
mod gate;
mod raw_fields;
mod rewrite;
mod secret;

use crate::error::{Problem, Spot};
use crate::export::blocks::Blocks;
use crate::export::encoding::Utf8Reader;
use crate::export::open::{open, read_problem};
use crate::group::date_format;
use crate::group::parse_mapping::{DELIMITERS, USUAL_ENCODINGS, delimiter_of, encoding_of};
use crate::group::suggest::did_you_mean;
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use rewrite::Rewriter;
use secret::Secret;
use std::io::{BufWriter, Read, Write};
use std::path::{Path, PathBuf};

/// What to do with an export, as the command line says it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Request {
    /// The export: plain, gzip or zstd.
    pub file: PathBuf,
    /// Columns with keys of persons; the first one is the patient's, by which dates are shifted.
    pub key_columns: Vec<String>,
    /// The clinic's secret, at least 32 bytes.
    pub secret_file: PathBuf,
    /// Where the result goes, as plain text; an existing file is not replaced.
    pub out: PathBuf,
    /// Columns to leave out.
    pub drop: Vec<String>,
    /// Columns of dates to shift.
    pub shift_dates: Vec<String>,
    /// How those dates are written: a chrono format, `iso`, `day first` or `month first`.
    pub date_format: Option<String>,
    /// `,` `;` `|` or `tab`.
    pub delimiter: String,
    /// A WHATWG label; a byte-order mark wins.
    pub encoding: String,
}

/// What was done.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct Summary {
    /// Rows written, the header not counted.
    pub rows: u64,
    /// Keys replaced.
    pub keys: u64,
    /// Dates shifted.
    pub dates_shifted: u64,
    /// Dates emptied because their row names no patient.
    pub dates_emptied: u64,
    /// Columns left out.
    pub columns_dropped: usize,
}

/// Writes the pseudonymised copy of an export: whole, or not at all.
///
/// # Errors
/// The result exists already, or would still hold direct identifiers; the secret is weak or not kept to oneself; a column is not there; a line has another number of
/// fields than the header, or a date another form, so that a key or a date could slip through unchanged.
pub fn pseudonymise(request: &Request) -> Result<Summary, Problem> {
    refuse_to_overwrite(&request.out)?;
    let delimiter = delimiter_of(&request.delimiter).ok_or_else(|| {
        Problem::input("fields cannot be told apart by this delimiter").hint(format!("use one of: {DELIMITERS}"))
    })?;
    let declared = encoding_of(&request.encoding).ok_or_else(|| {
        Problem::input(format!("there is no encoding `{}`", request.encoding))
            .hint(did_you_mean(&request.encoding, USUAL_ENCODINGS))
    })?;
    let date_format = match (&request.date_format, request.shift_dates.is_empty()) {
        (Some(written), _) => {
            date_format::read(written).map_err(|fault| Problem::input(fault.what).hint(fault.remedy))?
        }
        (None, true) => String::new(),
        (None, false) => {
            return Err(Problem::input("no date format is given").hint("add --date-format, such as %d.%m.%Y"));
        }
    };
    let secret = Secret::read(&request.secret_file, &request.file)?;

    let path = request.file.as_path();
    let marked = byte_order_mark(path)?;
    let encoding = marked.unwrap_or(declared);
    if ![UTF_8, UTF_16LE, UTF_16BE].contains(&encoding) && !encoding.is_single_byte() {
        return Err(Problem::input(format!("an export in {} cannot be written back unchanged", encoding.name()))
            .at(Spot::file(path))
            .hint("export as UTF-8"));
    }
    let reader = Utf8Reader::new(open(path, path)?, declared).map_err(|error| read_problem(path, &error))?;
    let mut blocks = Blocks::new(reader, path, delimiter);
    let mut rewriter = Rewriter::new(request, path, delimiter, &secret, &date_format);
    let mut copy = FairCopy::beside(&request.out, encoding, marked.is_some())?;
    while let Some(block) = blocks.next_block().map_err(for_the_command_line)? {
        copy.write(&rewriter.rewrite(&block)?)?;
    }
    let summary = rewriter.finish()?;
    copy.publish()?;
    Ok(summary)
}

fn refuse_to_overwrite(out: &Path) -> Result<(), Problem> {
    if out.symlink_metadata().is_ok() {
        return Err(Problem::input("there is such a file already, and it is not replaced")
            .at(Spot::file(out))
            .hint("name another file with --out, or remove this one"));
    }
    if out.extension().is_some_and(|ending| ending == "gz" || ending == "zst") {
        return Err(Problem::input("the result is written as plain text")
            .at(Spot::file(out))
            .hint("name it without .gz or .zst, and compress it afterwards"));
    }
    Ok(())
}

/// The encoding that the file's first bytes name.
fn byte_order_mark(path: &Path) -> Result<Option<&'static Encoding>, Problem> {
    let mut start = Vec::new();
    open(path, path)?.take(3).read_to_end(&mut start).map_err(|error| read_problem(path, &error))?;
    Ok(Encoding::for_bom(&start).map(|(encoding, _)| encoding))
}

/// Here the encoding is an option and not a line of a mapping.
fn for_the_command_line(problem: Problem) -> Problem {
    match problem.remedy.as_deref() {
        Some(remedy) if remedy.contains("[file]") => problem.hint("say with --encoding what the system exports"),
        _ => problem,
    }
}

/// How the name of a result in the making begins and ends.
const UNFINISHED: (&str, &str) = (".mendcurve-pseudonymise-", ".unfinished");

/// Removes what a killed run left in a folder. A run that is still going holds a lock on its own.
fn clear_unfinished(folder: &Path) {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    for entry in entries.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file())) {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with(UNFINISHED.0)
            && name.ends_with(UNFINISHED.1)
            && std::fs::File::open(entry.path()).is_ok_and(|file| file.try_lock().is_ok())
        {
            let _ = std::fs::remove_file(entry.path()); // if it stays, the next run tries again
        }
    }
}

/// The result in the making, beside its final place. Only its owner can read it, then and later.
struct FairCopy<'r> {
    out: &'r Path,
    encoding: &'static Encoding,
    file: BufWriter<tempfile::NamedTempFile>,
}

impl<'r> FairCopy<'r> {
    fn beside(out: &'r Path, encoding: &'static Encoding, marked: bool) -> Result<Self, Problem> {
        let folder = out.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        clear_unfinished(folder);
        let file = tempfile::Builder::new()
            .prefix(UNFINISHED.0)
            .suffix(UNFINISHED.1)
            .tempfile_in(folder)
            .map_err(|error| Problem::io(folder, &error))?;
        let _ = file.as_file().try_lock(); // a disk without locks: a second run in this folder would be in the way
        let mut copy = Self { out, encoding, file: BufWriter::new(file) };
        if marked {
            copy.write("\u{feff}")?;
        }
        Ok(copy)
    }

    fn write(&mut self, text: &str) -> Result<(), Problem> {
        let written = if self.encoding == UTF_8 {
            self.file.write_all(text.as_bytes())
        } else if self.encoding == UTF_16LE {
            self.write_units(text, u16::to_le_bytes)
        } else if self.encoding == UTF_16BE {
            self.write_units(text, u16::to_be_bytes)
        } else {
            let (bytes, _, lost) = self.encoding.encode(text);
            if lost {
                return Err(Problem::failure(format!("the result cannot be written in {}", self.encoding.name())));
            }
            self.file.write_all(&bytes)
        };
        written.map_err(|error| Problem::io(self.out, &error))
    }

    fn write_units(&mut self, text: &str, bytes: fn(u16) -> [u8; 2]) -> std::io::Result<()> {
        text.encode_utf16().try_for_each(|unit| self.file.write_all(&bytes(unit)))
    }

    fn publish(self) -> Result<(), Problem> {
        let failed = |error: &std::io::Error| Problem::io(self.out, error);
        let file = self.file.into_inner().map_err(|error| failed(error.error()))?;
        file.as_file().sync_all().map_err(|error| failed(&error))?;
        file.persist_noclobber(self.out).map_err(|error| failed(&error.error))?;
        Ok(())
    }
}

#[cfg(test)]
mod tests;
