//! One export as a site's system writes it: cells, quoting, line ends, encoding, compression.

use super::SampleError;
use flate2::{Compression, GzBuilder};
use std::io::Write;

/// What a cell is for, as far as breaking it on purpose needs to know.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Role {
    /// The patient's key.
    Patient,
    /// A date, or the day offset where there is no date.
    Day,
    /// Codes of the condition.
    Codes,
    /// A pain score that was asked.
    Pain,
    /// A disability score in percent.
    Percent,
    /// The peak pull.
    Pull,
    /// A word of a fixed list.
    Word,
    /// Anything else.
    Plain,
}

/// One cell.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Cell {
    /// What it is for.
    pub role: Role,
    /// What it says.
    pub text: String,
}

/// A cell; an empty one is always plain.
pub fn cell(role: Role, text: impl Into<String>) -> Cell {
    let text = text.into();
    Cell { role: if text.is_empty() { Role::Plain } else { role }, text }
}

/// A cell of no particular role.
pub fn plain(text: impl ToString) -> Cell {
    cell(Role::Plain, text.to_string())
}

/// A cell that may be empty.
pub fn maybe<T: ToString>(value: Option<T>) -> Cell {
    cell(Role::Plain, value.map_or_else(String::new, |v| v.to_string()))
}

/// A number with a fixed count of decimals and the site's decimal mark.
pub fn decimal(value: f64, digits: usize, mark: char) -> String {
    let text = format!("{value:.digits$}");
    if mark == '.' { text } else { text.replace('.', &mark.to_string()) }
}

/// What is wrong with a row on purpose.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Planted {
    /// Kind of fault.
    pub kind: Fault,
    /// Position of the column, when one cell is at fault.
    pub column: Option<usize>,
    /// The number of the row it was copied from.
    pub copy_of: Option<usize>,
}

/// Kinds of planted faults of single rows.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Fault {
    /// 31 April, or half a day.
    ImpossibleDate,
    /// A year 0202, or a day offset far before the start.
    YearTooEarly,
    /// A visit in 2031, or a day offset of centuries.
    DateInTheFuture,
    /// No patient.
    MissingPatient,
    /// Too few fields.
    TooFewFields,
    /// Too many fields.
    TooManyFields,
    /// 11 on 0-10 (110 mm on the 100 mm line).
    ScoreOutOfRange,
    /// 120 %.
    PercentOver100,
    /// 10,000 N, or its like in the site's unit.
    PullTooHigh,
    /// Below zero.
    NegativePull,
    /// A word of no list.
    UnknownWord,
    /// The same row again.
    ExactDuplicate,
    /// A second row for one visit, with another pain score.
    RowsDisagree,
    /// A row that the declared filter leaves out.
    LeftOutByFilter,
}

/// One row.
#[derive(Clone, Debug)]
pub struct ExportRow {
    /// Cells, as many as the header has unless the row is broken.
    pub cells: Vec<Cell>,
    /// What is wrong with it, if anything.
    pub planted: Option<Planted>,
    /// Its number before faults were planted; none for a planted copy.
    pub number: Option<usize>,
}

impl ExportRow {
    /// A sound row.
    pub fn sound(cells: Vec<Cell>) -> Self {
        Self { cells, planted: None, number: None }
    }

    /// Position of the first cell of a role.
    pub fn place_of(&self, role: Role) -> Option<usize> {
        self.cells.iter().position(|cell| cell.role == role)
    }
}

/// Encodings in use.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Encoding {
    /// UTF-8 without a byte-order mark.
    Utf8,
    /// UTF-8 with one.
    Utf8Marked,
    /// Windows-1252.
    Windows1252,
    /// UTF-16, little end first, with a mark.
    Utf16Marked,
}

/// How the file is written.
#[derive(Clone, Copy, Debug)]
pub struct Format {
    /// Between fields.
    pub delimiter: u8,
    /// CR LF rather than LF.
    pub crlf: bool,
    /// Characters to bytes.
    pub encoding: Encoding,
    /// Compressed.
    pub gzip: bool,
    /// Every field in quotes.
    pub quote_all: bool,
    /// Lines before the header.
    pub preamble: &'static str,
}

impl Format {
    /// UTF-8, LF, quotes only where needed.
    pub const fn plain(delimiter: u8) -> Self {
        Self { delimiter, crlf: false, encoding: Encoding::Utf8, gzip: false, quote_all: false, preamble: "" }
    }
}

/// How the site's dialect spells what cannot be.
#[derive(Clone, Copy, Debug)]
pub struct Spelling {
    /// A day that does not exist.
    pub impossible_day: &'static str,
    /// A day of the year 0202.
    pub early_day: &'static str,
    /// A day of 2031.
    pub future_day: &'static str,
    /// Pain over the end of the scale.
    pub pain_too_high: &'static str,
    /// Two possible scores, to disagree with.
    pub pains: [&'static str; 2],
    /// Over 100 %.
    pub percent_too_high: &'static str,
    /// About 10,000 N.
    pub pull_too_high: &'static str,
    /// Below zero.
    pub pull_negative: &'static str,
}

/// One file of a site.
#[derive(Debug)]
pub struct Export {
    /// Path under the group folder.
    pub path: String,
    /// The mapping that reads it.
    pub mapping: &'static str,
    /// Position of the site.
    pub site: usize,
    /// Its rows are visits.
    pub treated: bool,
    /// Column names.
    pub header: Vec<String>,
    /// Rows.
    pub rows: Vec<ExportRow>,
    /// How it is written.
    pub format: Format,
    /// How its faults are spelled.
    pub spelling: Spelling,
}

/// A file ready to be written.
pub struct Written {
    /// The bytes on disk.
    pub bytes: Vec<u8>,
    /// The text before encoding and compression, the same on every platform.
    pub text: String,
    /// Line on which each row starts, counted from 1 with every line break, quoted ones too.
    pub lines: Vec<u64>,
}

impl Export {
    /// Writes header and rows.
    pub fn write(&self) -> Result<Written, SampleError> {
        let end = if self.format.crlf { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') };
        let quotes = if self.format.quote_all { csv::QuoteStyle::Always } else { csv::QuoteStyle::Necessary };
        let mut writer = csv::WriterBuilder::new()
            .delimiter(self.format.delimiter)
            .terminator(end)
            .quote_style(quotes)
            .flexible(true)
            .from_writer(Vec::new());
        let failed = |what: String| SampleError::Export { path: self.path.clone(), what };
        writer.write_record(&self.header).map_err(|e| failed(e.to_string()))?;
        let breaks = |text: &str| text.matches('\n').count() as u64;
        let mut line = 2 + breaks(self.format.preamble);
        let mut lines = Vec::with_capacity(self.rows.len());
        for row in &self.rows {
            writer.write_record(row.cells.iter().map(|c| &c.text)).map_err(|e| failed(e.to_string()))?;
            lines.push(line);
            line += 1 + row.cells.iter().map(|c| breaks(&c.text)).sum::<u64>();
        }
        let records = writer.into_inner().map_err(|e| failed(e.to_string()))?;
        let records = String::from_utf8(records).map_err(|e| failed(e.to_string()))?;
        let text = format!("{}{records}", self.format.preamble);
        let bytes =
            compress(encode(&text, self.format.encoding), self.format.gzip).map_err(|e| failed(e.to_string()))?;
        Ok(Written { bytes, text, lines })
    }
}

fn encode(text: &str, encoding: Encoding) -> Vec<u8> {
    match encoding {
        Encoding::Utf8 => text.as_bytes().to_vec(),
        Encoding::Utf8Marked => [b"\xef\xbb\xbf", text.as_bytes()].concat(),
        Encoding::Windows1252 => encoding_rs::WINDOWS_1252.encode(text).0.into_owned(),
        // The encoder of the library writes no UTF-16.
        Encoding::Utf16Marked => {
            "\u{feff}".encode_utf16().chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect()
        }
    }
}

fn compress(bytes: Vec<u8>, gzip: bool) -> std::io::Result<Vec<u8>> {
    if !gzip {
        return Ok(bytes);
    }
    let mut packed = GzBuilder::new().mtime(0).write(Vec::new(), Compression::best());
    packed.write_all(&bytes)?;
    packed.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn export(format: Format) -> Export {
        let spelling = Spelling {
            impossible_day: "",
            early_day: "",
            future_day: "",
            pain_too_high: "",
            pains: ["", ""],
            percent_too_high: "",
            pull_too_high: "",
            pull_negative: "",
        };
        let row = |a: &str, b: &str| ExportRow::sound(vec![plain(a), plain(b)]);
        Export {
            path: "x".into(),
            mapping: "",
            site: 0,
            treated: true,
            header: vec!["Größe".into(), "b".into()],
            rows: vec![row("1", "two\nlines"), row("2;3", "")],
            format,
            spelling,
        }
    }

    #[test]
    fn a_row_after_a_quoted_line_break_is_counted_two_lines_down() {
        let written = export(Format { preamble: "title\n\n", ..Format::plain(b';') }).write().unwrap();
        assert_eq!(written.text, "title\n\nGröße;b\n1;\"two\nlines\"\n\"2;3\";\n");
        assert_eq!(written.lines, [4, 6]);
        assert_eq!(written.text.lines().nth(5), Some("\"2;3\";"));
    }

    #[test]
    fn each_encoding_reads_back_as_the_same_text() {
        for encoding in [Encoding::Utf8, Encoding::Utf8Marked, Encoding::Windows1252, Encoding::Utf16Marked] {
            let written = export(Format { encoding, crlf: true, ..Format::plain(b'\t') }).write().unwrap();
            let fallback =
                if encoding == Encoding::Windows1252 { encoding_rs::WINDOWS_1252 } else { encoding_rs::UTF_8 };
            let (read, _, wrong) = fallback.decode(&written.bytes);
            assert!(!wrong);
            assert_eq!(read, written.text, "{encoding:?}");
        }
    }
}
