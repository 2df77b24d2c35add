//! Block -> records: fields unquoted, each record with its line. Splitting is csv-core's.

use super::blocks::Block;
use csv_core::{ReadRecordResult, Reader, ReaderBuilder};

/// Reads the records of one block after another with the same buffers.
pub struct Records<'a> {
    core: Reader,
    input: &'a [u8],
    line: u64,
    only_cr: bool,
    fields: Vec<u8>,
    ends: Vec<usize>,
}

/// One record: its line and its fields.
#[derive(Clone, Copy, Debug)]
pub struct Record<'r> {
    /// The line it begins on, from 1.
    pub line: u64,
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
        Self::of_text(&block.bytes, block.first_line, delimiter)
    }

    /// Starts at the first record of a text whose first line has the given number.
    pub fn of_text(text: &'a [u8], first_line: u64, delimiter: u8) -> Self {
        Self {
            core: ReaderBuilder::new().delimiter(delimiter).build(),
            input: text,
            line: first_line,
            only_cr: memchr::memchr(b'\n', text).is_none(),
            fields: vec![0; 4096],
            ends: vec![0; 128],
        }
    }

    /// How many bytes are left after the last record, and the line they start on.
    pub fn position(&self) -> (usize, u64) {
        (self.input.len(), self.line)
    }

    /// The next record; `None` at the end of the block. Empty lines are passed over.
    pub fn next_record(&mut self) -> Option<Record<'_>> {
        // csv-core passes over empty lines itself, but then the record's own line is not known
        while let Some(first) = self.input.first() {
            match first {
                b'\n' => self.line += 1,
                b'\r' => self.line += u64::from(self.only_cr),
                _ => break,
            }
            self.input = self.input.get(1..).unwrap_or_default();
        }
        if self.input.is_empty() {
            return None;
        }
        let line = self.line;
        let (mut filled, mut ended) = (0, 0);
        loop {
            let out = self.fields.get_mut(filled..).unwrap_or_default();
            let ends = self.ends.get_mut(ended..).unwrap_or_default();
            let (result, read, wrote, n_ends) = self.core.read_record(self.input, out, ends);
            let (taken, left) = self.input.split_at(read);
            self.line += lines_in(taken, self.only_cr);
            self.input = left;
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
        let ends = self.ends.get(..ended).unwrap_or_default();
        let fields = self.fields.get(..filled).unwrap_or_default();
        Some(Record { line, fields, ends })
    }
}

fn lines_in(bytes: &[u8], only_cr: bool) -> u64 {
    memchr::memchr_iter(if only_cr { b'\r' } else { b'\n' }, bytes).count() as u64
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
        for text in ["a,b\nc,d\n\ne,f", "a,b\r\nc,d\r\n\r\ne,f\r\n", "a,b\rc,d\r\re,f\r", "a,b\nc,d\r\n\r\ne,f\n"] {
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
