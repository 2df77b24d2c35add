//! Text -> blocks of whole records, so that the records of one file can be read side by side.
//!
//! A record ends at a line end outside quotes (RFC 4180). A quote opens a quoted field only at the
//! field's start; elsewhere (`5" belt`) it is an ordinary character. A quoted field that never
//! closes would swallow the rest of the file, so a record longer than [`LONGEST_RECORD`] is an error.

use super::encoding::{Utf8Reader, likely_encoding};
use super::open::read_problem;
use crate::error::{Problem, Spot};
use memchr::{memchr, memrchr};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Bytes of the first block of a file, about: enough records for the privacy gate to judge a column by.
pub const FIRST_BLOCK: usize = 4 << 20;
/// Bytes of every further block, about. Several are held at once, with their rows: small ones keep the memory small.
pub const BLOCK: usize = 1 << 20;
/// The longest record taken for one, in bytes.
pub const LONGEST_RECORD: usize = 16 << 20;

/// Whole records of one file, and the line they start on.
#[derive(Debug)]
pub struct Block {
    /// UTF-8, checked.
    pub bytes: Vec<u8>,
    /// The line of its first byte, from 1.
    pub first_line: u64,
}

/// Cuts one export into blocks.
pub struct Blocks {
    reader: Utf8Reader,
    shown: PathBuf,
    delimiter: u8,
    rest: Vec<u8>,
    line: u64,
    ended: bool,
}

impl Blocks {
    /// Starts at the beginning of a file. `shown` is the path in messages.
    pub fn new(reader: Utf8Reader, shown: &Path, delimiter: u8) -> Self {
        Self { reader, shown: shown.to_path_buf(), delimiter, rest: Vec::new(), line: 1, ended: false }
    }

    /// The next block; `None` at the end of the file.
    ///
    /// # Errors
    /// The file cannot be read, is not in its declared encoding, or holds a record that never ends.
    pub fn next_block(&mut self) -> Result<Option<Block>, Problem> {
        let mut bytes = std::mem::take(&mut self.rest);
        let size = if self.line == 1 { FIRST_BLOCK } else { BLOCK };
        let mut wanted = bytes.len() + size;
        loop {
            if !self.ended {
                let missing = wanted.saturating_sub(bytes.len()) as u64;
                let n = self
                    .reader
                    .by_ref()
                    .take(missing)
                    .read_to_end(&mut bytes)
                    .map_err(|error| read_problem(&self.shown, &error))?;
                self.ended = (n as u64) < missing;
            }
            if self.reader.malformed() {
                return Err(self.not_in_encoding(None));
            }
            if self.ended {
                break;
            }
            if let Some(end) = last_record_end(&bytes, self.delimiter) {
                self.rest = bytes.split_off(end);
                break;
            }
            if bytes.len() >= LONGEST_RECORD {
                return Err(Problem::input(format!(
                    "a record starts here and has not ended after {} MB",
                    LONGEST_RECORD >> 20
                ))
                .at(Spot::line(&self.shown, self.line))
                .hint("look for a quotation mark that is never closed, or check that this is a text file with one record a line"));
            }
            wanted = bytes.len() + size;
        }
        if bytes.is_empty() {
            return Ok(None);
        }
        if let Err(error) = std::str::from_utf8(&bytes) {
            let good = bytes.get(..error.valid_up_to()).unwrap_or_default();
            let line = self.line + count_lines(good);
            let column = std::str::from_utf8(good)
                .unwrap_or_default()
                .rsplit(['\n', '\r'])
                .next()
                .map_or(1, |last| last.chars().count() as u64 + 1);
            return Err(self.not_in_encoding(Some((line, column, likely_encoding(&bytes).name()))));
        }
        let first_line = self.line;
        self.line += count_lines(&bytes);
        Ok(Some(Block { bytes, first_line }))
    }

    fn not_in_encoding(&self, found: Option<(u64, u64, &str)>) -> Problem {
        let name = self.reader.encoding().name();
        let problem = Problem::input(format!("the text is not {name}"));
        match found {
            Some((line, column, likely)) => {
                problem.at(Spot { line: Some(line), column: Some(column), ..Spot::file(&self.shown) }).hint(format!(
                    "if the export is in {likely}, write encoding = \"{}\" under [file] in its mapping",
                    likely.to_lowercase()
                ))
            }
            None => problem.at(Spot { line: Some(self.line), ..Spot::file(&self.shown) }).hint(
                "it is near or after this line; set `encoding` under [file] in the mapping to what the system exports",
            ),
        }
    }
}

/// Line ends in a text: every `\n`, or every `\r` in a text that has no `\n`.
pub fn count_lines(bytes: &[u8]) -> u64 {
    let newlines = memchr::memchr_iter(b'\n', bytes).count();
    let n = if newlines > 0 { newlines } else { memchr::memchr_iter(b'\r', bytes).count() };
    n as u64
}

/// The position just after the last record end of a text that starts at a record's start;
/// `None` when no record ends in it.
fn last_record_end(bytes: &[u8], delimiter: u8) -> Option<usize> {
    let mut outside_from = 0; // start of the current stretch outside quotes
    let mut last = None;
    let mut at = 0;
    loop {
        let quote = bytes.get(at..).and_then(|rest| memchr(b'"', rest)).map(|i| at + i);
        let stretch_end = quote.unwrap_or(bytes.len());
        if let Some(end) = line_end_in(bytes, outside_from, stretch_end) {
            last = Some(end);
        }
        let Some(open) = quote else { return last };
        let before = open.checked_sub(1).and_then(|i| bytes.get(i)).copied();
        if !matches!(before, None | Some(b'\n' | b'\r')) && before != Some(delimiter) {
            at = open + 1; // an ordinary character
            continue;
        }
        let mut inside = open + 1;
        loop {
            match bytes.get(inside..).and_then(|rest| memchr(b'"', rest)) {
                None => return last, // the quoted field is not closed in this text
                Some(i) if bytes.get(inside + i + 1) == Some(&b'"') => inside += i + 2,
                Some(i) => {
                    inside += i + 1;
                    break;
                }
            }
        }
        outside_from = inside;
        at = inside;
    }
}

/// Just after the last line end in `bytes[from..to]`.
fn line_end_in(bytes: &[u8], from: usize, to: usize) -> Option<usize> {
    let stretch = bytes.get(from..to)?;
    if let Some(i) = memrchr(b'\n', stretch) {
        return Some(from + i + 1);
    }
    // a lone \r ends a record too, but at the very end of the text it may be half of \r\n
    let i = memrchr(b'\r', stretch)?;
    (from + i + 1 < bytes.len()).then_some(from + i + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use encoding_rs::UTF_8;
    use std::io::Cursor;

    fn blocks_of(text: &[u8]) -> Result<Vec<Block>, Problem> {
        let reader = Utf8Reader::new(Box::new(Cursor::new(text.to_vec())), UTF_8).unwrap();
        let mut blocks = Blocks::new(reader, Path::new("x.csv"), b',');
        let mut out = Vec::new();
        while let Some(block) = blocks.next_block()? {
            out.push(block);
        }
        Ok(out)
    }

    #[test]
    fn a_record_ends_only_outside_quotes() {
        assert_eq!(last_record_end(b"a,b\nc,\"d\ne\"", b','), Some(4));
        assert_eq!(last_record_end(b"a,b\nc,\"d\ne", b','), Some(4));
        assert_eq!(last_record_end(b"a,\"b\n\"\nc", b','), Some(7));
        assert_eq!(last_record_end(b"a,\"b\"\"\n\"\nc", b','), Some(9));
        assert_eq!(last_record_end(b"a,\"b", b','), None);
        assert_eq!(last_record_end(b"a\rb\rc", b','), Some(4));
        assert_eq!(last_record_end(b"a\r", b','), None);
    }

    #[test]
    fn a_quote_inside_a_plain_field_is_an_ordinary_character() {
        assert_eq!(last_record_end(b"5\" belt,1\n6\" belt,2\n7", b','), Some(20));
    }

    #[test]
    fn blocks_join_up_to_the_file_and_know_their_lines() {
        let line = format!("{},\"two\nlines\",\"q\"\"q\"\n", "x".repeat(100));
        let text = line.repeat(100_000);
        let blocks = blocks_of(text.as_bytes()).unwrap();
        assert!(blocks.len() > 2);
        let joined: Vec<u8> = blocks.iter().flat_map(|b| b.bytes.iter().copied()).collect();
        assert_eq!(joined, text.as_bytes());
        let mut line_no = 1;
        for block in &blocks {
            assert_eq!(block.first_line, line_no);
            assert!(block.bytes.ends_with(b"\n") && block.bytes.starts_with(b"xxx"));
            line_no += count_lines(&block.bytes);
        }
        assert_eq!(line_no, 200_001);
    }

    #[test]
    fn a_quotation_mark_that_never_closes_is_an_error_that_names_its_line() {
        let text = format!("a,b\n1,2\n3,\"4\n{}", "5,6\n".repeat(LONGEST_RECORD / 3));
        let problem = blocks_of(text.as_bytes()).unwrap_err();
        assert_eq!(problem.spot.and_then(|spot| spot.line), Some(3));
    }

    #[test]
    fn bytes_that_are_not_utf_8_are_placed_and_the_likely_encoding_named() {
        let problem = blocks_of(b"a,b\n1,R\xfccken und H\xfcfte\n").unwrap_err();
        assert!(problem.to_string().starts_with("x.csv:2:4: the text is not UTF-8"), "{problem}");
        assert!(problem.to_string().contains("windows-1252"), "{problem}");
    }
}
