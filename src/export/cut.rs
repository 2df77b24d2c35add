//! Where the records of a text end.
//!
//! A record ends at a line end outside quotes (RFC 4180). A quote opens a quoted cell only at the cell's start;
//! elsewhere (`5" belt`) it is an ordinary character.

use super::lines::first_line_end;
use super::stray_quotes::{QuoteRule, Stray, Verdict, closing_mark};
use memchr::{memchr, memchr2, memrchr2};

/// What was found in a text that starts at a record's start.
#[derive(Default, Debug)]
pub(super) struct Cut {
    /// Just after the last record end that is settled; `None` when no record ends in it.
    pub end: Option<usize>,
    /// Stray lines before that.
    pub strays: Vec<Stray>,
    /// Whether a record before that may run over several lines.
    pub joined: bool,
    /// The quotation mark of a cell that is still open where the text ends.
    pub open: Option<usize>,
}

/// Cuts a text. `ended`: the file ends with it. Without a rule every well-formed record is taken for one.
pub(super) fn cut(text: &[u8], delimiter: u8, ended: bool, rule: Option<&QuoteRule<'_>>) -> Cut {
    let mut cut = Cut::default();
    let mut at = 0; // outside quotes
    loop {
        let mark = text.get(at..).and_then(|rest| memchr(b'"', rest)).map(|i| at + i);
        if let Some(end) = last_line_end(text, at, mark.unwrap_or(text.len())) {
            cut.end = Some(end);
        }
        let Some(open) = mark else { return cut };
        let before = open.checked_sub(1).and_then(|i| text.get(i)).copied();
        if !matches!(before, None | Some(b'\n' | b'\r')) && before != Some(delimiter) {
            at = open + 1; // an ordinary character
            continue;
        }
        // at the very end of the text a closing mark may be the first of two
        let certain = |closing: &usize| ended || closing + 1 < text.len();
        let Some(closing) = closing_mark(text, open).filter(certain) else {
            cut.open = Some(open);
            return cut;
        };
        at = closing + 1;
        if memchr2(b'\n', b'\r', text.get(open..closing).unwrap_or_default()).is_none() {
            continue;
        }
        let Some(rule) = rule else {
            cut.joined = true;
            continue;
        };
        let start = cut.end.unwrap_or(0);
        let record = text.get(start..).unwrap_or_default();
        at = match rule.verdict(record, delimiter, ended) {
            Verdict::Unsettled => return cut,
            Verdict::Record(len) => {
                cut.joined = true;
                start + len
            }
            Verdict::Stray(column) => {
                cut.strays.push(Stray { at: start, column });
                start + first_line_end(record).unwrap_or(record.len())
            }
        };
        cut.end = Some(at);
    }
}

/// Just after the last line end in `text[from..to]`.
fn last_line_end(text: &[u8], from: usize, to: usize) -> Option<usize> {
    let stretch = text.get(from..to)?;
    let last = memrchr2(b'\n', b'\r', stretch)?;
    if stretch.get(last) == Some(&b'\n') || from + last + 1 < text.len() {
        return Some(from + last + 1);
    }
    // a \r at the very end of the text may be half of \r\n
    memrchr2(b'\n', b'\r', stretch.get(..last)?).map(|before| from + before + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn end(text: &[u8]) -> Option<usize> {
        cut(text, b',', false, None).end
    }

    #[test]
    fn a_record_ends_only_outside_quotes() {
        assert_eq!(end(b"a,b\nc,\"d\ne\""), Some(4));
        assert_eq!(end(b"a,b\nc,\"d\ne"), Some(4));
        assert_eq!(end(b"a,\"b\n\"\nc"), Some(7));
        assert_eq!(end(b"a,\"b\"\"\n\"\nc"), Some(9));
        assert_eq!(end(b"a,\"b"), None);
        assert_eq!(end(b"a\rb\rc"), Some(4));
        assert_eq!(end(b"a\rb\r"), Some(2));
        assert_eq!(end(b"a\r"), None);
    }

    #[test]
    fn a_quote_inside_a_plain_field_is_an_ordinary_character() {
        assert_eq!(end(b"5\" belt,1\n6\" belt,2\n7"), Some(20));
        assert_eq!(cut(b"5\" belt,1\n", b',', true, None).open, None);
    }

    #[test]
    fn an_open_quote_is_told_where_it_stands() {
        assert_eq!(cut(b"a,b\nc,\"d\ne", b',', true, None).open, Some(6));
        assert_eq!(cut(b"a,b\nc,\"d\"\"", b',', true, None).open, Some(6));
    }

    #[test]
    fn a_stray_line_is_a_record_of_its_own() {
        let rule = QuoteRule { width: 2, text: vec![false; 2], is_row: Box::new(|record| !record.get(0).is_empty()) };
        let found = cut(b"a,1\nb,\"2\nc,\"3\nd,\"4\n4\"\ne,5\n", b',', true, Some(&rule));
        assert_eq!(found.strays, [4, 9].map(|at| Stray { at, column: 1 }));
        assert_eq!((found.end, found.joined, found.open), (Some(26), true, None));
    }
}
