//! The head of an export: the lines that are skipped, and the header.

use super::blocks::{Blocks, FIRST_BLOCK};
use super::lines::{LineCount, after_line_end, first_line_end};
use super::records::Records;
use super::stray_quotes::shape;
use crate::error::{Problem, Spot};

/// The head of an export.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Head {
    /// The header's cells as they stand there, without their quotes.
    pub cells: Vec<String>,
    /// The line the header begins on, from 1.
    pub line: u64,
    /// Lines skipped, and lines of the header.
    pub lines: u64,
    /// Blank lines before the header.
    pub blank_lines: u64,
}

/// Where the header starts, the lines skipped before it, and the blank lines.
#[derive(Default)]
struct Start {
    at: usize,
    skipped: u64,
    blank: u64,
}

impl Blocks<'_> {
    /// Takes the head off: `skip` lines, blank lines, and the header.
    ///
    /// # Errors
    /// The file cannot be read, is empty or no table of text, or its header never ends.
    pub fn head(&mut self, skip: u32) -> Result<Head, Problem> {
        self.read_more(self.sizes[0])?;
        if self.text.is_empty() {
            return Err(Problem::input("the file is empty")
                .at(Spot::file(&self.shown))
                .hint("export it again, or take it out of `files`"));
        }
        let start = loop {
            match self.start_of_header(skip) {
                Some(start) => break start,
                None if self.ended => return Err(self.no_header()),
                None => self.read_more(FIRST_BLOCK)?,
            }
        };
        if looks_binary(self.text.get(start.at..).unwrap_or_default()) {
            return Err(Problem::input("this is not a table of text")
                .at(Spot::file(&self.shown))
                .hint("export as CSV; a spreadsheet or a database file cannot be read"));
        }
        let end = self.end_of_header(start.at)?;
        let first_line = self.line + start.skipped + start.blank;
        let bytes = self.take(end).split_off(start.at);
        let mut lines = LineCount::default();
        lines.add(&bytes);
        let lines = start.skipped + lines.lines();
        let mut records = Records::of_text(&bytes, first_line, self.delimiter);
        let cells = records.next_record().map_or_else(Vec::new, |record| {
            record.iter().map(|cell| String::from_utf8_lossy(cell).into_owned()).collect()
        });
        Ok(Head { cells, line: first_line, lines, blank_lines: start.blank })
    }

    fn start_of_header(&self, skip: u32) -> Option<Start> {
        let mut start = Start::default();
        for _ in 0..skip {
            start.at += first_line_end(self.text.get(start.at..)?)?;
            start.skipped += 1;
        }
        while let Some(b'\n' | b'\r') = self.text.get(start.at) {
            start.at = after_line_end(&self.text, start.at);
            start.blank += 1;
        }
        (start.at < self.text.len()).then_some(start)
    }

    fn end_of_header(&mut self, from: usize) -> Result<usize, Problem> {
        loop {
            let shape = shape(self.text.get(from..).unwrap_or_default(), self.delimiter, usize::MAX);
            match (shape.end, shape.open) {
                (Some(len), _) if self.ended || from + len < self.text.len() => return Ok(from + len),
                (None, Some(open)) if self.ended => return Err(self.never_closed(from + open)),
                _ if self.ended => return Ok(self.text.len()),
                _ => {
                    self.refuse_endless_record(from)?;
                    self.read_more(FIRST_BLOCK)?;
                }
            }
        }
    }

    fn no_header(&self) -> Problem {
        Problem::input("the file holds no header")
            .at(Spot::file(&self.shown))
            .hint("export it again with a header line, or correct skip_lines under [file] in the mapping")
    }
}

/// A header with control characters is no header: a spreadsheet, a picture, a database.
fn looks_binary(text: &[u8]) -> bool {
    let line = text.split(|b| matches!(b, b'\n' | b'\r')).next().unwrap_or_default();
    line.iter().any(|b| *b < 0x20 && *b != b'\t')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::encoding::Utf8Reader;
    use encoding_rs::UTF_8;
    use std::io::Cursor;
    use std::path::Path;

    fn head(text: &str, skip: u32) -> Result<Head, String> {
        let reader = Utf8Reader::new(Box::new(Cursor::new(text.as_bytes().to_vec())), UTF_8).unwrap();
        Blocks::new(reader, Path::new("x.csv"), b',').head(skip).map_err(|problem| problem.to_string())
    }

    #[test]
    fn every_line_of_the_head_is_counted() {
        let expected =
            |line, lines, blank_lines| Ok(Head { cells: vec!["a".into(), "b".into()], line, lines, blank_lines });
        assert_eq!(head("a,b\n1,2\n", 0), expected(1, 1, 0));
        assert_eq!(head("title \" x\r\n\r\n\r\na,b\r\n1,2\r\n", 1), expected(4, 2, 2));
        assert_eq!(head("title\ra,b", 1), expected(2, 2, 0));
        let two_lines = head("a,\"b\nc\"\n1,2\n", 0).unwrap();
        assert_eq!((two_lines.cells[1].as_str(), two_lines.lines), ("b\nc", 2));
    }

    #[test]
    fn what_has_no_header_is_refused_and_told_what_to_do() {
        for (text, skip, said) in [
            ("", 0, "x.csv: the file is empty"),
            ("a\n", 3, "x.csv: the file holds no header"),
            ("\n\n", 0, "x.csv: the file holds no header"),
            ("PK\u{3}\u{4}", 0, "x.csv: this is not a table of text"),
            ("a,\"b\n1,2\n", 0, "x.csv:1:3: a quotation mark opens a cell here"),
        ] {
            let problem = head(text, skip).unwrap_err();
            assert!(problem.starts_with(said) && problem.contains("what to do:"), "{problem}");
        }
    }
}
