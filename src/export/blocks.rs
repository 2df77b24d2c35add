//! Text -> blocks of whole records, so that the records of one file can be read side by side.
//!
//! Where a record ends is [`super::cut`]'s to say, and which line ends inside quotes are believed [`super::stray_quotes`]'s.
//! A quoted cell that is still open at the end of the file is an error, and so is a record longer than [`LONGEST_RECORD`].

use super::cut::cut;
use super::encoding::{Utf8Reader, likely_encoding};
use super::lines::{LineCount, line_ends};
use super::open::read_problem;
use super::stray_quotes::{QuoteRule, Stray};
use crate::error::{Problem, Spot};
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
    /// Lines whose quoted cell does not end where it should, in order: each is a record of its own.
    pub strays: Vec<Stray>,
    /// Whether some record may run over several lines.
    pub joined: bool,
}

/// Cuts one export into blocks.
pub struct Blocks<'p> {
    pub(super) reader: Utf8Reader,
    pub(super) shown: PathBuf,
    pub(super) delimiter: u8,
    /// What was read and not given out; it starts at a record's start.
    pub(super) text: Vec<u8>,
    /// How much of `text` is known to be UTF-8.
    checked: usize,
    /// The line that `text` starts on.
    pub(super) line: u64,
    pub(super) ended: bool,
    lines: LineCount,
    rule: Option<QuoteRule<'p>>,
    /// About how long the next block is to be, and every further one.
    pub(super) sizes: [usize; 2],
}

impl Blocks<'static> {
    /// Starts at the beginning of a file. `shown` is the path in messages.
    pub fn new(reader: Utf8Reader, shown: &Path, delimiter: u8) -> Self {
        Self {
            reader,
            shown: shown.to_path_buf(),
            delimiter,
            text: Vec::new(),
            checked: 0,
            line: 1,
            ended: false,
            lines: LineCount::default(),
            rule: None,
            sizes: [FIRST_BLOCK, BLOCK],
        }
    }

    /// Blocks of other sizes: the first one, and every further one.
    pub fn with_sizes(self, sizes: [usize; 2]) -> Self {
        Self { sizes, ..self }
    }

    /// From here on stray quotes are told by a rule.
    pub fn with_rule(self, rule: QuoteRule<'_>) -> Blocks<'_> {
        Blocks { rule: Some(rule), ..self }
    }
}

impl Blocks<'_> {
    /// The next block; `None` at the end of the file.
    ///
    /// # Errors
    /// The file cannot be read, is not in its declared encoding, or holds a quoted cell or a record that never ends.
    pub fn next_block(&mut self) -> Result<Option<Block>, Problem> {
        let [size, further] = self.sizes;
        self.sizes = [further; 2];
        self.read_more(size.saturating_sub(self.text.len()))?;
        let (end, found) = loop {
            let found = cut(&self.text, self.delimiter, self.ended, self.rule.as_ref());
            match (found.end, found.open) {
                (_, Some(open)) if self.ended => return Err(self.never_closed(open)),
                (_, None) if self.ended => break (self.text.len(), found),
                (Some(end), _) => break (end, found),
                (None, _) => {
                    self.refuse_endless_record(0)?;
                    self.read_more(further)?;
                }
            }
        };
        if self.text.is_empty() {
            return Ok(None);
        }
        let first_line = self.line;
        let bytes = self.take(end);
        Ok(Some(Block { bytes, first_line, strays: found.strays, joined: found.joined }))
    }

    /// Physical lines read so far, counted over the decoded text before it was cut.
    pub fn lines(&self) -> u64 {
        self.lines.lines()
    }

    /// The text up to `end`; what follows is left.
    pub(super) fn take(&mut self, end: usize) -> Vec<u8> {
        let rest = self.text.split_off(end);
        self.checked = self.checked.saturating_sub(end);
        let taken = std::mem::replace(&mut self.text, rest);
        self.line += line_ends(&taken);
        taken
    }

    /// Reads on for about so many bytes, fewer only at the end of the file.
    pub(super) fn read_more(&mut self, bytes: usize) -> Result<(), Problem> {
        if self.ended {
            return Ok(());
        }
        let before = self.text.len();
        let n = self
            .reader
            .by_ref()
            .take(bytes as u64)
            .read_to_end(&mut self.text)
            .map_err(|error| read_problem(&self.shown, &error))?;
        self.ended = n < bytes;
        self.lines.add(self.text.get(before..).unwrap_or_default());
        if self.reader.malformed() {
            return Err(self.not_in_encoding(None));
        }
        self.check_text()
    }

    fn check_text(&mut self) -> Result<(), Problem> {
        let new = self.text.get(self.checked..).unwrap_or_default();
        match std::str::from_utf8(new) {
            Ok(_) => self.checked = self.text.len(),
            // cut through a character
            Err(error) if error.error_len().is_none() && !self.ended => self.checked += error.valid_up_to(),
            Err(error) => {
                let (line, column) = self.place_of(self.checked + error.valid_up_to());
                return Err(self.not_in_encoding(Some((line, column, likely_encoding(&self.text).name()))));
            }
        }
        Ok(())
    }

    /// Line and column, in characters from 1, of a byte of the text.
    fn place_of(&self, at: usize) -> (u64, u64) {
        let before = self.text.get(..at).unwrap_or_default();
        let line = String::from_utf8_lossy(before.rsplit(|b| matches!(b, b'\n' | b'\r')).next().unwrap_or_default());
        (self.line + line_ends(before), line.chars().count() as u64 + 1)
    }

    /// The complaint about a quoted cell that opens at a byte of the text and is open at the end of the file.
    pub(super) fn never_closed(&self, at: usize) -> Problem {
        let (line, column) = self.place_of(at);
        Problem::input("a quotation mark opens a cell here, and none closes it before the file ends")
            .at(Spot { line: Some(line), column: Some(column), ..Spot::file(&self.shown) })
            .hint("take the mark out, or close it where the cell ends; if the file was cut off, export it again")
    }

    /// Refuses a record that starts `from` bytes into the text and is longer than any.
    pub(super) fn refuse_endless_record(&self, from: usize) -> Result<(), Problem> {
        let text = self.text.get(from..).unwrap_or_default();
        if text.len() < LONGEST_RECORD {
            return Ok(());
        }
        let what = format!("a record starts here and has not ended after {} MB", LONGEST_RECORD >> 20);
        Err(Problem::input(what).at(Spot::line(&self.shown, self.place_of(from).0)).hint(
            "look for a quotation mark that is never closed, or check that this is a text file with one record a line",
        ))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::records::Records;
    use encoding_rs::UTF_8;
    use proptest::prelude::*;
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
            line_no += line_ends(&block.bytes);
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

    /// Line, lines, column of a stray quote and fields of every record, and the lines that were counted.
    type Read = (Vec<(u64, u64, Option<usize>, Vec<Vec<u8>>)>, u64);

    fn read_in(sizes: [usize; 2], text: &str) -> Result<Read, String> {
        let reader = Utf8Reader::new(Box::new(Cursor::new(text.as_bytes().to_vec())), UTF_8).unwrap();
        let mut blocks = Blocks::new(reader, Path::new("x.csv"), b',').with_sizes(sizes).with_rule(QuoteRule {
            width: 3,
            text: vec![false, false, true],
            is_row: Box::new(|record| !record.get(0).is_empty() && record.get(1) == b"1"),
        });
        let (mut found, mut accounted) = (Vec::new(), 0);
        while let Some(block) = blocks.next_block().map_err(|problem| problem.to_string())? {
            let mut records = Records::new(&block, b',');
            while let Some(record) = records.next_record() {
                found.push((record.line, record.lines, record.stray, record.iter().map(<[u8]>::to_vec).collect()));
                accounted += record.lines;
            }
            accounted += records.blank_lines();
        }
        assert_eq!(accounted, blocks.lines(), "each line is a record's or blank: {text:?}");
        Ok((found, blocks.lines()))
    }

    fn pieces() -> impl Strategy<Value = String> {
        let piece = prop_oneof![
            4 => Just("a,1,x\n"),
            1 => Just("a,1,\"x\n"),
            1 => Just("a,1,\"x\r\n\r\ny\"\r\n"),
            1 => Just("a,\"1\",\"q\"\"q\"\n"),
            1 => Just("y\"\n"),
            1 => Just("\""),
            1 => Just(","),
            1 => Just("\r"),
            1 => Just("\n"),
            1 => Just("\u{feff}"),
            1 => Just("é"),
        ];
        proptest::collection::vec(piece, 0..40).prop_map(|pieces| pieces.concat())
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn the_records_do_not_depend_on_where_the_file_is_cut(text in pieces(), first in 1usize..50, further in 1usize..50) {
            let whole = read_in([FIRST_BLOCK, BLOCK], &text);
            prop_assert_eq!(&read_in([1, 1], &text), &whole);
            prop_assert_eq!(&read_in([first, further], &text), &whole);
        }
    }
}
