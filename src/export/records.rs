//! Block -> records: fields unquoted, each record with its line. Splitting is csv-core's.

use super::blocks::Block;
use super::lines::{LineCount, first_line_end};
use super::stray_quotes::Stray;
use csv_core::{ReadRecordResult, Reader, ReaderBuilder};

/// Reads the records of one block after another with the same buffers.
pub struct Records<'a> {
    core: Reader,
    text: &'a [u8],
    /// Where the next record starts in the text, but for blank lines before it.
    at: usize,
    line: u64,
    blank_lines: u64,
    strays: &'a [Stray],
    joined: bool,
    fields: Vec<u8>,
    ends: Vec<usize>,
}

/// One record: its line and its fields.
#[derive(Clone, Copy, Debug)]
pub struct Record<'r> {
    /// The line it begins on, from 1.
    pub line: u64,
    /// How many lines it runs over, at least 1.
    pub lines: u64,
    /// Of a stray line: the column, from 0, of the cell that does not end where it should. It has no fields.
    pub stray: Option<usize>,
    fields: &'r [u8],
    ends: &'r [usize],
}

impl<'r> Record<'r> {
    /// How many fields it has.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// A field without its quotes; empty past the last one.
    #[inline]
    pub fn get(&self, i: usize) -> &'r [u8] {
        let end = self.ends.get(i).copied().unwrap_or(0);
        let start = if i == 0 { 0 } else { self.ends.get(i - 1).copied().unwrap_or(0) };
        self.fields.get(start..end).unwrap_or_default()
    }

    /// All fields.
    pub fn iter(&self) -> impl Iterator<Item = &'r [u8]> + use<'r> {
        let record = *self;
        (0..record.len()).map(move |i| record.get(i))
    }

    /// Whether any field holds a NUL byte.
    pub fn has_nul(&self) -> bool {
        memchr::memchr(0, self.fields).is_some()
    }
}

impl<'a> Records<'a> {
    /// Starts at the block's first record.
    pub fn new(block: &'a Block, delimiter: u8) -> Self {
        let strays = block.strays.as_slice();
        Self { strays, joined: block.joined, ..Self::of_text(&block.bytes, block.first_line, delimiter) }
    }

    /// Starts at the first record of a text whose first line has the given number; every quote is believed.
    pub fn of_text(text: &'a [u8], first_line: u64, delimiter: u8) -> Self {
        let mut core = ReaderBuilder::new().delimiter(delimiter).build();
        // else it would take a byte-order mark off the first record of every block
        core.read_record(b"\n", &mut [0], &mut [0]);
        Self {
            core,
            text,
            at: 0,
            line: first_line,
            blank_lines: 0,
            strays: &[],
            joined: true,
            fields: vec![0; 4096],
            ends: vec![0; 128],
        }
    }

    /// Blank lines passed over so far.
    pub fn blank_lines(&self) -> u64 {
        self.blank_lines
    }

    /// The next record; `None` at the end of the block. Empty lines are passed over.
    pub fn next_record(&mut self) -> Option<Record<'_>> {
        self.pass_blank_lines();
        if self.at >= self.text.len() {
            return None;
        }
        let line = self.line;
        if let Some((stray, later)) = self.strays.split_first()
            && stray.at == self.at
        {
            self.strays = later;
            let rest = self.text.get(self.at..).unwrap_or_default();
            self.at += first_line_end(rest).unwrap_or(rest.len());
            self.line += 1;
            return Some(Record { line, lines: 1, stray: Some(stray.column), fields: &[], ends: &[] });
        }
        let start = self.at;
        let (mut filled, mut ended) = (0, 0);
        loop {
            let out = self.fields.get_mut(filled..).unwrap_or_default();
            let ends = self.ends.get_mut(ended..).unwrap_or_default();
            let input = self.text.get(self.at..).unwrap_or_default();
            let (result, read, wrote, n_ends) = self.core.read_record(input, out, ends);
            self.at += read;
            filled += wrote;
            ended += n_ends;
            match result {
                ReadRecordResult::InputEmpty => continue, // called again with no input, it ends the record
                ReadRecordResult::OutputFull => self.fields.resize(self.fields.len() * 2, 0),
                ReadRecordResult::OutputEndsFull => self.ends.resize(self.ends.len() * 2, 0),
                ReadRecordResult::Record => break,
                ReadRecordResult::End => return None,
            }
        }
        // csv-core stops between the two halves of \r\n
        if let (Some(b'\r'), Some(b'\n')) =
            (self.at.checked_sub(1).and_then(|i| self.text.get(i)), self.text.get(self.at))
        {
            self.at += 1;
        }
        let lines = match self.joined {
            false => 1,
            true => lines_in(self.text.get(start..self.at).unwrap_or_default()),
        };
        self.line += lines;
        let ends = self.ends.get(..ended).unwrap_or_default();
        let fields = self.fields.get(..filled).unwrap_or_default();
        Some(Record { line, lines, stray: None, fields, ends })
    }

    /// csv-core passes over empty lines itself, but then the record's own line is not known.
    fn pass_blank_lines(&mut self) {
        while let Some(first) = self.text.get(self.at) {
            match first {
                b'\n' => self.at += 1,
                b'\r' if self.text.get(self.at + 1) == Some(&b'\n') => self.at += 2,
                b'\r' => self.at += 1,
                _ => break,
            }
            self.line += 1;
            self.blank_lines += 1;
        }
    }
}

fn lines_in(record: &[u8]) -> u64 {
    let mut count = LineCount::default();
    count.add(record);
    count.lines()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Vec<(u64, Vec<String>)> {
        let mut records = Records::of_text(text.as_bytes(), 1, b',');
        let mut out = Vec::new();
        while let Some(record) = records.next_record() {
            out.push((record.line, record.iter().map(|f| String::from_utf8_lossy(f).into_owned()).collect()));
        }
        out
    }

    #[test]
    fn every_kind_of_line_end_ends_a_record_and_lines_are_counted() {
        for text in ["a,b\nc,d\n\ne,f", "a,b\r\nc,d\r\n\r\ne,f\r\n", "a,b\rc,d\r\re,f\r", "a,b\nc,d\r\n\re,f\n"] {
            let lines: Vec<u64> = read(text).iter().map(|(line, _)| *line).collect();
            assert_eq!(lines, [1, 2, 4], "{text:?}");
            assert_eq!(read(text)[2].1, ["e", "f"], "{text:?}");
        }
    }

    #[test]
    fn a_quoted_line_end_stays_in_its_field_and_counts_as_a_line() {
        let got = read("a,\"b\nc\"\nd,\"e\"\"e\"\n");
        assert_eq!(got[0], (1, vec!["a".into(), "b\nc".into()]));
        assert_eq!(got[1], (3, vec!["d".into(), "e\"e".into()]));
    }

    #[test]
    fn a_stray_line_has_no_fields_and_the_records_round_it_are_whole() {
        let bytes = b"a,b\r\n\r\nc,\"d\r\ne,f\r\n".to_vec();
        let block = Block { bytes, first_line: 7, strays: vec![Stray { at: 7, column: 1 }], joined: false };
        let mut records = Records::new(&block, b',');
        let mut found = Vec::new();
        while let Some(record) = records.next_record() {
            found.push((record.line, record.lines, record.stray, record.len()));
        }
        assert_eq!(found, [(7, 1, None, 2), (9, 1, Some(1), 0), (10, 1, None, 2)]);
        assert_eq!(records.blank_lines(), 1);
    }

    #[test]
    fn a_mark_at_the_start_of_a_block_is_kept_as_anywhere_else() {
        assert_eq!(read("\u{feff}\"a,b\"\n")[0].1, ["\u{feff}\"a", "b\""]);
    }

    #[test]
    fn ten_thousand_columns_are_read() {
        let text = vec!["x"; 10_000].join(",");
        assert_eq!(read(&text)[0].1.len(), 10_000);
    }

    #[test]
    fn agrees_with_the_csv_crate_on_awkward_text() {
        let text = "a,,\"\"\n\"x\"\"\",y,z\n1,2,\"3,\n4\"\n\"\",\"\",\"\"\nlast,\"line\",\"no end\"";
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
        let expected: Vec<Vec<String>> =
            reader.records().map(|r| r.unwrap().iter().map(str::to_owned).collect()).collect();
        let got: Vec<Vec<String>> = read(text).into_iter().map(|(_, fields)| fields).collect();
        assert_eq!(got, expected);
    }
}
