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
use crate::outputs::create::{OutputFile, create};
use crate::outputs::work_folder::WorkFolder;
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use rewrite::Rewriter;
use secret::Secret;
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use tempfile::TempPath;

/// The result's name until it is whole.
const COPY: &str = "copy";

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
    if out.file_name().is_none() {
        return Err(Problem::input("the result needs a file name").at(Spot::file(out)).hint("name a file with --out"));
    }
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

/// The result in the making, in a closed folder beside its final place.
struct FairCopy<'r> {
    out: &'r Path,
    encoding: &'static Encoding,
    file: BufWriter<OutputFile>,
    work: WorkFolder,
}

impl<'r> FairCopy<'r> {
    fn beside(out: &'r Path, encoding: &'static Encoding, marked: bool) -> Result<Self, Problem> {
        let unusable = |error: io::Error| Problem::path(out, &error).or_name("name another file with --out");
        let work = WorkFolder::beside(out).map_err(unusable)?;
        let file = create(&work.path().join(COPY)).map_err(unusable)?;
        let mut copy = Self { out, encoding, file: BufWriter::new(file), work };
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

    fn write_units(&mut self, text: &str, bytes: fn(u16) -> [u8; 2]) -> io::Result<()> {
        text.encode_utf16().try_for_each(|unit| self.file.write_all(&bytes(unit)))
    }

    fn publish(self) -> Result<(), Problem> {
        let failed = |error: &io::Error| Problem::io(self.out, error);
        let file = self.file.into_inner().map_err(|error| failed(error.error()))?;
        file.sync().map_err(|error| failed(&error))?;
        drop(file);
        let copy = TempPath::try_from_path(self.work.path().join(COPY)).map_err(|error| failed(&error))?;
        copy.persist_noclobber(self.out).map_err(|error| Problem::path(self.out, &error.error))?;
        self.work.remove().map_err(|error| failed(&error))
    }
}

#[cfg(test)]
mod tests;
