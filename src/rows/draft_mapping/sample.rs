//! The first records of an unknown export: its encoding, its delimiter, its header.

use crate::catalogue::identifiers::{NameRole, suspicious};
use crate::error::{Problem, Spot};
use crate::export::encoding::likely_encoding;
use crate::export::open::{open, read_problem};
use crate::export::records::Records;
use crate::group::plain_text::column_text;
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use std::io::Read;
use std::path::Path;

/// Bytes looked at, and records.
const MOST_BYTES: u64 = 4 << 20;
const MOST_RECORDS: usize = 5_000;
/// Records that settle the delimiter.
const TRIED_RECORDS: usize = 200;
const DELIMITERS: [u8; 4] = [b',', b';', b'\t', b'|'];

/// Why an encoding is believed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum EncodingEvidence {
    /// A byte-order mark says so.
    Mark,
    /// Only ASCII was seen, which most encodings share.
    Ascii,
    /// There are other letters, and all are valid UTF-8.
    Valid,
    /// Not UTF-8; the likeliest encoding of such bytes.
    Guess,
}

/// The start of an export.
#[derive(Debug)]
pub(super) struct Sample {
    pub encoding: &'static Encoding,
    pub encoding_evidence: EncodingEvidence,
    pub delimiter: u8,
    /// Lines before the header.
    pub skip_lines: u64,
    pub header: Vec<String>,
    /// Cells, trimmed; every row as wide as the header.
    pub rows: Vec<Vec<String>>,
    /// The line on which each row begins.
    pub lines: Vec<u64>,
    /// Records of another width, left out.
    pub odd_rows: usize,
    /// Whether the whole file was seen.
    pub whole: bool,
}

/// Reads the start of an export.
///
/// # Errors
/// The file cannot be read, is empty, is no table of text, or has no header or no rows.
pub(super) fn read(path: &Path) -> Result<Sample, Problem> {
    let mut bytes = Vec::new();
    let mut source = open(path, path)?;
    source.by_ref().take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(|error| read_problem(path, &error))?;
    let whole = bytes.len() as u64 <= MOST_BYTES;
    bytes.truncate(MOST_BYTES as usize);
    if bytes.is_empty() {
        return Err(Problem::input("the file is empty").at(Spot::file(path)).hint("export it again"));
    }
    refuse_other_kinds(path, &bytes)?;
    let (encoding, encoding_evidence) = encoding(&bytes, whole);
    let (text, _) = encoding.decode_with_bom_removal(&bytes);
    let text = if whole { &*text } else { text.rsplit_once('\n').map_or(&*text, |(lines, _)| lines) };
    if text.contains('\0') {
        return Err(not_text(path));
    }
    let table = best_table(text, path)?;
    rows(
        text,
        table,
        Sample {
            encoding,
            encoding_evidence,
            delimiter: table.delimiter,
            skip_lines: 0,
            header: Vec::new(),
            rows: Vec::new(),
            lines: Vec::new(),
            odd_rows: 0,
            whole,
        },
    )
    .ok_or_else(|| Problem::input("there are no rows below the header").at(Spot::file(path)).hint("export it again"))
    .and_then(|sample| match sample.names_no_columns() {
        true => Err(no_header(path, table.header_line)),
        false => Ok(sample),
    })
}

fn no_header(path: &Path, line: u64) -> Problem {
    Problem::input("the first line of the table looks like data, not like a header")
        .at(Spot::line(path, line))
        .hint("export with a header line: columns are mapped by their names")
}

impl Sample {
    /// Whether what stands for a header is a row: it holds an address or a number of a person, its texts come back in the
    /// rows below in two columns or more, or most rows say the same. A header that stands again between files joined end to
    /// end is none of these.
    fn names_no_columns(&self) -> bool {
        let headers: Vec<&str> = self.header.iter().map(String::as_str).collect();
        let rows = || self.rows.iter().filter(|row| **row != self.header);
        let comes_back =
            |(at, text): &(usize, &String)| !text.is_empty() && rows().any(|row| row.get(*at) == Some(*text));
        !suspicious(&headers, NameRole::Site).is_empty()
            || self.header.iter().enumerate().filter(comes_back).take(2).count() == 2
            || rows().count() * 2 <= self.rows.len()
    }

    /// The line on which a cell of a column stands first.
    pub fn first_line(&self, column: usize, cell: &str) -> u64 {
        let at = self.rows.iter().position(|row| row.get(column).is_some_and(|text| text == cell));
        at.and_then(|at| self.lines.get(at)).copied().unwrap_or(0)
    }
}

fn not_text(path: &Path) -> Problem {
    Problem::input("this is not a table of text")
        .at(Spot::file(path))
        .hint("export as CSV; a spreadsheet, a document or a database file cannot be read")
}

/// Zip archives (spreadsheets are ones), PDF, and anything with many NUL bytes that is not UTF-16.
fn refuse_other_kinds(path: &Path, bytes: &[u8]) -> Result<(), Problem> {
    let other_kind =
        bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"%PDF") || bytes.starts_with(b"\xd0\xcf\x11\xe0");
    if other_kind { Err(not_text(path)) } else { Ok(()) }
}

fn encoding(bytes: &[u8], whole: bool) -> (&'static Encoding, EncodingEvidence) {
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        return (encoding, EncodingEvidence::Mark);
    }
    if bytes.is_ascii() && !bytes.contains(&0) {
        return (UTF_8, EncodingEvidence::Ascii);
    }
    // in UTF-16 every second byte of plain text is NUL
    let start = bytes.get(..bytes.len().min(4096)).unwrap_or_default();
    let nuls = |offset: usize| start.iter().skip(offset).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd, half) = (nuls(0), nuls(1), start.len() / 2);
    if odd > half / 2 && even < half / 10 {
        return (UTF_16LE, EncodingEvidence::Guess);
    }
    if even > half / 2 && odd < half / 10 {
        return (UTF_16BE, EncodingEvidence::Guess);
    }
    match std::str::from_utf8(bytes) {
        Ok(_) => (UTF_8, EncodingEvidence::Valid),
        // the cut may go through a character
        Err(error) if !whole && error.error_len().is_none() => (UTF_8, EncodingEvidence::Valid),
        Err(_) => (likely_encoding(bytes), EncodingEvidence::Guess),
    }
}

/// A way of reading the text as a table.
#[derive(Clone, Copy, Debug)]
struct Table {
    delimiter: u8,
    /// The width of most records.
    width: usize,
    /// The line of the first record of that width: the header.
    header_line: u64,
    likelihood: f64,
}

fn best_table(text: &str, path: &Path) -> Result<Table, Problem> {
    let best = DELIMITERS
        .into_iter()
        .filter_map(|delimiter| table(text, delimiter))
        .reduce(|best, next| if next.likelihood > best.likelihood { next } else { best });
    let Some(table) = best else {
        return Err(Problem::input("no delimiter was found: not one of , ; | or tab cuts the lines into equal fields")
            .at(Spot::file(path))
            .hint("export as CSV with one record a line"));
    };
    let mut records = Records::of_text(text.as_bytes(), 1, table.delimiter);
    while let Some(record) = records.next_record() {
        if record.line == table.header_line {
            let data = record.iter().filter(|cell| looks_like_data(&String::from_utf8_lossy(cell))).count();
            if 2 * data >= table.width {
                return Err(no_header(path, table.header_line));
            }
            break;
        }
    }
    Ok(table)
}

/// Numbers and dates do not name columns.
fn looks_like_data(cell: &str) -> bool {
    let cell = cell.trim();
    cell.contains(|c: char| c.is_ascii_digit()) && !cell.contains(char::is_alphabetic)
}

fn table(text: &str, delimiter: u8) -> Option<Table> {
    let mut widths: Vec<(usize, usize, u64)> = Vec::new(); // width, how often, first line
    let mut records = Records::of_text(text.as_bytes(), 1, delimiter);
    let mut read = 0usize;
    while let Some(record) = records.next_record() {
        match widths.iter_mut().find(|(width, _, _)| *width == record.len()) {
            Some((_, count, _)) => *count += 1,
            None => widths.push((record.len(), 1, record.line)),
        }
        read += 1;
        if read == TRIED_RECORDS {
            break;
        }
    }
    // at a tie the wider reading: a short export may have as many title lines as rows
    let (width, count, header_line) = widths.into_iter().max_by_key(|(width, count, _)| (*count, *width))?;
    if width < 2 {
        return None;
    }
    let mut records = Records::of_text(text.as_bytes(), 1, delimiter);
    let header = std::iter::from_fn(|| {
        records.next_record().map(|record| {
            (record.line, record.iter().map(|cell| String::from_utf8_lossy(cell).into_owned()).collect::<Vec<_>>())
        })
    })
    .find(|(line, _)| *line == header_line)?
    .1;
    let others = DELIMITERS.map(char::from).into_iter().filter(|other| *other != char::from(delimiter));
    let torn = |cell: &String| looks_like_data(cell) || others.clone().any(|other| cell.contains(other));
    let whole_names = header.iter().filter(|cell| !torn(cell)).count();
    let share = |part: usize, of: usize| part as f64 / of as f64;
    let likelihood = share(count, read) * share(whole_names, width) * (1.0 - 1.0 / width as f64);
    Some(Table { delimiter, width, header_line, likelihood })
}

fn rows(text: &str, table: Table, mut sample: Sample) -> Option<Sample> {
    let mut records = Records::of_text(text.as_bytes(), 1, table.delimiter);
    while let Some(record) = records.next_record() {
        if record.line < table.header_line {
            continue;
        }
        if record.len() != table.width {
            sample.odd_rows += 1;
            continue;
        }
        let cells: Vec<String> = record.iter().map(|cell| String::from_utf8_lossy(cell).trim().to_owned()).collect();
        if sample.header.is_empty() {
            sample.header = cells.iter().map(|cell| column_text(cell)).collect();
        } else {
            sample.rows.push(cells);
            sample.lines.push(record.line);
        }
        if sample.rows.len() == MOST_RECORDS {
            sample.whole = false;
            break;
        }
    }
    sample.skip_lines = table.header_line - 1;
    (!sample.rows.is_empty()).then_some(sample)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    fn sample(bytes: &[u8]) -> Result<Sample, Problem> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("export.csv");
        std::fs::write(&path, bytes).unwrap();
        read(&path)
    }

    fn said(bytes: &[u8]) -> String {
        sample(bytes).unwrap_err().what
    }

    #[test]
    fn each_delimiter_is_found_even_where_another_occurs_in_every_row() {
        for delimiter in [",", ";", "\t", "|"] {
            let text = "id,date,pain\n1,2026-07-01,5\n2,2026-07-02,6\n".replace(',', delimiter);
            assert_eq!(sample(text.as_bytes()).unwrap().delimiter, delimiter.as_bytes()[0]);
        }
        let german = "Pat;Datum;Zug;Gewicht\nP1;01.07.2026;20,5;80,5\nP2;02.07.2026;21,5;81,5\n";
        let sample = sample(german.as_bytes()).unwrap();
        assert_eq!((sample.delimiter, sample.header.len()), (b';', 4));
        assert_eq!(sample.rows[0], ["P1", "01.07.2026", "20,5", "80,5"]);
    }

    #[test]
    fn lines_before_the_header_are_counted_and_rows_of_another_width_left_out() {
        let text = "Visit export\nprinted 1.7.2026\n\nPat;Datum;Zug\n1;2;3\n4;5;6\n7;8\n9;10;11\n";
        let sample = sample(text.as_bytes()).unwrap();
        assert_eq!((sample.skip_lines, sample.odd_rows, sample.rows.len()), (3, 1, 3));
        assert_eq!(sample.header, ["Pat", "Datum", "Zug"]);
    }

    #[test]
    fn the_encoding_is_told_by_its_mark_its_bytes_or_guessed_and_said_to_be_guessed() {
        let text = "Pat;Rücken\n1;2\n3;4\n";
        let told = |bytes: &[u8]| {
            sample(bytes).map(|s| (s.encoding.name(), s.encoding_evidence, s.header[1].clone())).unwrap()
        };
        let back = || "Rücken".to_owned();
        assert_eq!(told(text.as_bytes()), ("UTF-8", EncodingEvidence::Valid, back()));
        assert_eq!(told(&[b"\xef\xbb\xbf", text.as_bytes()].concat()), ("UTF-8", EncodingEvidence::Mark, back()));
        assert_eq!(told(b"a;b\n1;2\n").1, EncodingEvidence::Ascii);
        let (latin, _, _) = encoding_rs::WINDOWS_1252.encode(text);
        assert_eq!(told(&latin), ("windows-1252", EncodingEvidence::Guess, back()));
        let utf16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(told(&utf16), ("UTF-16LE", EncodingEvidence::Guess, back()));
        assert_eq!(told(&[b"\xff\xfe", utf16.as_slice()].concat()), ("UTF-16LE", EncodingEvidence::Mark, back()));
    }

    #[test]
    fn compressed_exports_are_opened() {
        let text = b"id,date\n1,2026-07-01\n";
        let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        gzip.write_all(text).unwrap();
        assert_eq!(sample(&gzip.finish().unwrap()).unwrap().header, ["id", "date"]);
        assert_eq!(sample(&zstd::encode_all(text.as_slice(), 1).unwrap()).unwrap().header, ["id", "date"]);
    }

    #[test]
    fn what_is_no_table_is_refused() {
        assert_eq!(said(b""), "the file is empty");
        assert_eq!(said(b"id,date\n"), "there are no rows below the header");
        assert_eq!(said(b"PK\x03\x04\x14\x00"), "this is not a table of text");
        assert_eq!(said(b"a,b\n\x00\x01\x02,\x00\n"), "this is not a table of text");
        assert!(said(b"just\nlines\n").starts_with("no delimiter was found"));
        assert!(said(b"1,2026-07-01,5\n2,2026-07-02,6\n").contains("looks like data, not like a header"));
        let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        gzip.write_all(&b"id,date\n1,2\n".repeat(1000)).unwrap();
        let bytes = gzip.finish().unwrap();
        assert_eq!(said(&bytes[..bytes.len() - 12]), "the compressed file is damaged or ends too early");
    }
}
