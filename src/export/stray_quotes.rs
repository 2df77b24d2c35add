//! Whether a line end inside a quoted cell belongs to the cell, or a stray quotation mark swallowed what follows.
//!
//! A record that runs over several lines is one record only if
//! - it has as many cells as the header, and each of its cells with a line end closes before a delimiter or a line end;
//! - none of its further lines would be a row when read on its own. The line on which a text column closes may: where
//!   text stands first, every such line looks like one;
//! - its line ends stand in columns that are declared as text, or the record after it has as many cells as the header.
//!
//! Else its first line is a stray line: a record of its own that is rejected, and reading goes on at the line after it.
//! The records of a file follow from its bytes alone, wherever it is cut into blocks: what cannot be settled yet waits.

use super::lines::{after_line_end, first_line_end};
use super::records::{Record, Records};
use memchr::{memchr, memchr2, memchr3};

/// What the mapping and the header say of the records.
pub struct QuoteRule<'p> {
    /// Cells of a record.
    pub width: usize,
    /// Whether a column is declared as text: dropped, or ignored.
    pub text: Vec<bool>,
    /// Whether a record names a patient and a day.
    pub is_row: Box<dyn Fn(&Record<'_>) -> bool + Send + Sync + 'p>,
}

/// A line whose quoted cell does not end where it should.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stray {
    /// Where the line begins in its block.
    pub at: usize,
    /// The column, from 0, of the cell.
    pub column: usize,
}

/// What a record of several lines is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Verdict {
    /// One record; the text after it begins here.
    Record(usize),
    /// Its first line is a stray line, by the cell of this column.
    Stray(usize),
    /// More of the text must be seen.
    Unsettled,
}

/// How the record at the start of a text lies in it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shape {
    /// Just after its line end; `None` when the text ends before, or when there are more cells than asked for.
    pub end: Option<usize>,
    /// Its cells, as far as they were seen.
    pub cells: usize,
    /// Whether the text ends inside a quoted cell, and where that begins.
    pub open: Option<usize>,
}

/// A quoted cell with a line end in it.
struct Joined {
    column: usize,
    /// Where its closing mark stands.
    closing: usize,
}

/// The closing mark of the quoted cell that opens at `open`.
pub(super) fn closing_mark(text: &[u8], open: usize) -> Option<usize> {
    let mut at = open + 1;
    loop {
        let mark = at + memchr(b'"', text.get(at..)?)?;
        if text.get(mark + 1) != Some(&b'"') {
            return Some(mark);
        }
        at = mark + 2;
    }
}

/// Walks over the first record of a text, at most `most` cells and one more.
pub(super) fn shape(text: &[u8], delimiter: u8, most: usize) -> Shape {
    walk(text, delimiter, most, |_| ())
}

fn walk(text: &[u8], delimiter: u8, most: usize, mut joined: impl FnMut(Joined)) -> Shape {
    let (mut cells, mut at) = (1, 0);
    while cells <= most {
        if text.get(at) == Some(&b'"') {
            let Some(closing) = closing_mark(text, at) else { return Shape { end: None, cells, open: Some(at) } };
            if memchr2(b'\n', b'\r', text.get(at..closing).unwrap_or_default()).is_some() {
                joined(Joined { column: cells - 1, closing });
            }
            at = closing + 1;
        }
        let Some(mark) = memchr3(delimiter, b'\n', b'\r', text.get(at..).unwrap_or_default()).map(|i| at + i) else {
            return Shape { end: None, cells, open: None };
        };
        if text.get(mark) != Some(&delimiter) {
            return Shape { end: Some(after_line_end(text, mark)), cells, open: None };
        }
        at = mark + 1;
        cells += 1;
    }
    Shape { end: None, cells, open: None }
}

impl QuoteRule<'_> {
    /// What the record of several lines at the start of a text is. `ended`: the file ends with the text.
    pub(super) fn verdict(&self, text: &[u8], delimiter: u8, ended: bool) -> Verdict {
        let (mut first, mut undeclared, mut well_closed) = (None, false, true);
        let shape = walk(text, delimiter, self.width, |cell| {
            first.get_or_insert(cell.column);
            undeclared |= !self.text.get(cell.column).copied().unwrap_or(false);
            let next = text.get(cell.closing + 1);
            well_closed &= next.is_none_or(|byte| *byte == delimiter || matches!(byte, b'\n' | b'\r'));
        });
        let stray = Verdict::Stray(first.unwrap_or(0));
        let settled = |end: usize| ended || end < text.len() || text.last() == Some(&b'\n');
        let end = match shape.end {
            _ if !well_closed || shape.cells > self.width => return stray,
            Some(end) if settled(end) => end,
            None if ended && shape.open.is_some() => return stray,
            None if ended => text.len(),
            _ => return Verdict::Unsettled,
        };
        if shape.cells != self.width || self.holds_a_row(text.get(..end).unwrap_or_default(), delimiter, undeclared) {
            return stray;
        }
        if undeclared {
            let blank = |byte: &u8| matches!(byte, b'\n' | b'\r');
            let next = text.get(end..).unwrap_or_default();
            let next = next.get(next.iter().take_while(|byte| blank(byte)).count()..).unwrap_or_default();
            let shape = self::shape(next, delimiter, self.width);
            if shape.cells <= self.width && shape.end.is_none() && !ended {
                return Verdict::Unsettled;
            }
            if !next.is_empty() && (shape.cells != self.width || shape.open.is_some()) {
                return stray;
            }
        }
        Verdict::Record(end)
    }

    /// Whether a further line of a record would be a row on its own. `closing_too`: also one on which a cell closes.
    fn holds_a_row(&self, record: &[u8], delimiter: u8, closing_too: bool) -> bool {
        let mut from = first_line_end(record).unwrap_or(record.len());
        while let Some(rest) = record.get(from..).filter(|rest| !rest.is_empty()) {
            let line = rest.get(..first_line_end(rest).unwrap_or(rest.len())).unwrap_or_default();
            // it begins inside a quoted cell: a mark closes it, unless doubled
            let closes = || closing_mark(record.get(..from + line.len()).unwrap_or_default(), from - 1).is_some();
            if self.is_row_alone(line, delimiter) && (closing_too || !closes()) {
                return true;
            }
            from += line.len();
        }
        false
    }

    fn is_row_alone(&self, line: &[u8], delimiter: u8) -> bool {
        let shape = shape(line, delimiter, self.width);
        // a row of several lines has a first line that ends inside a quoted cell
        if shape.open.is_none() && shape.cells != self.width {
            return false;
        }
        Records::of_text(line, 1, delimiter).next_record().is_some_and(|record| (self.is_row)(&record))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three columns: key, day, and a note that is declared as text or not.
    fn verdict(text: &str, is_text: bool, ended: bool) -> Verdict {
        let is_row = |record: &Record<'_>| record.get(1).starts_with(b"2026");
        let rule = QuoteRule { width: 3, text: vec![false, false, is_text], is_row: Box::new(is_row) };
        rule.verdict(text.as_bytes(), b',', ended)
    }

    #[test]
    fn a_text_of_several_lines_is_one_cell() {
        for is_text in [true, false] {
            assert_eq!(verdict("a,2026,\"two\nlines\"\nb,2026,x\n", is_text, true), Verdict::Record(19));
            assert_eq!(verdict("a,2026,\"1\r\n\r\n\"\"2\"\r\n\r\nb,2026,x\r\n", is_text, true), Verdict::Record(19));
            assert_eq!(verdict("a,2026,\"two\nlines\"", is_text, true), Verdict::Record(18));
        }
    }

    #[test]
    fn what_swallows_a_row_or_ends_with_too_few_or_many_cells_is_stray() {
        for is_text in [true, false] {
            for text in [
                "a,2026,\"x\nb,2026,y\nc,2026,z\"\n",          // a whole row inside
                "a,2026,\"x\nb,2026,\"y\nlines\"\nc,2026,z\n", // the first line of a row of two
                "a,2026,\"x\ny\",z\n",                         // four cells
                "a,2026,\"x\ny\"z\nb,2026,x\n",                // does not close where the cell ends
                "a,2026,\"x\ny\"z,\"\nb,2026,x\n",
            ] {
                assert_eq!(verdict(text, is_text, true), Verdict::Stray(2), "{text:?}");
            }
            assert_eq!(verdict("a,\"2026\nx\"\nb,2026,x\n", is_text, true), Verdict::Stray(1));
        }
    }

    #[test]
    fn where_no_text_is_declared_the_record_after_must_parse() {
        let text = "a,2026,\"x\ny\"\nb,2026\n";
        assert_eq!(verdict(text, true, true), Verdict::Record(13));
        assert_eq!(verdict(text, false, true), Verdict::Stray(2));
        assert_eq!(verdict("a,2026,\"x\ny\"\n\nb,2026,\"", false, true), Verdict::Stray(2));
    }

    #[test]
    fn what_the_text_does_not_settle_waits_for_more() {
        assert_eq!(verdict("a,2026,\"x\ny\"", true, false), Verdict::Unsettled);
        assert_eq!(verdict("a,2026,\"x\ny\"\r", true, false), Verdict::Unsettled);
        assert_eq!(verdict("a,2026,\"x\ny\"\r\n", true, false), Verdict::Record(14));
        assert_eq!(verdict("a,2026,\"x\ny\"\r\n", false, false), Verdict::Unsettled);
        assert_eq!(verdict("a,2026,\"x\ny\"\r\nb,2026,", false, false), Verdict::Unsettled);
        assert_eq!(verdict("a,2026,\"x\ny\"\r\nb,2026,y\n", false, false), Verdict::Record(14));
        // enough cells are seen to know
        assert_eq!(verdict("a,\"2\n6\",\"x\",\"", false, false), Verdict::Stray(1));
    }
}
