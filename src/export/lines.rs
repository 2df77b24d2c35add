//! Physical lines of a text: `\n`, `\r\n` and a lone `\r` each end one, inside quotes or not.
//!
//! They are counted over the decoded bytes, before anything is cut into records, so that the account of a file
//! does not start from what the reader of records made of it.

use memchr::{memchr, memchr_iter, memchr2};

/// Counts the lines of a text that comes in pieces.
#[derive(Clone, Copy, Default, Debug)]
pub struct LineCount {
    ends: u64,
    after_return: bool,
    in_line: bool,
}

impl LineCount {
    /// Adds the next piece.
    pub fn add(&mut self, piece: &[u8]) {
        let (Some(first), Some(last)) = (piece.first(), piece.last()) else { return };
        let half = self.after_return && *first == b'\n'; // of a line end that was counted with the piece before
        self.ends += line_ends(piece) - u64::from(half);
        self.after_return = *last == b'\r';
        self.in_line = !matches!(last, b'\n' | b'\r');
    }

    /// Lines so far; text behind the last line end is one.
    pub fn lines(&self) -> u64 {
        self.ends + u64::from(self.in_line)
    }
}

/// Line ends in a text.
pub fn line_ends(text: &[u8]) -> u64 {
    let feeds = memchr_iter(b'\n', text).count();
    let lone = match memchr(b'\r', text) {
        None => 0,
        Some(_) => memchr_iter(b'\r', text).filter(|at| text.get(at + 1) != Some(&b'\n')).count(),
    };
    (feeds + lone) as u64
}

/// The position just after the first line end of a text.
pub fn first_line_end(text: &[u8]) -> Option<usize> {
    memchr2(b'\n', b'\r', text).map(|at| after_line_end(text, at))
}

/// The position just after the line end that begins at `at`.
pub fn after_line_end(text: &[u8], at: usize) -> usize {
    match text.get(at..) {
        Some([b'\r', b'\n', ..]) => at + 2,
        _ => at + 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_kind_of_line_end_ends_one_line() {
        for (text, lines) in [("", 0), ("a", 1), ("a\n", 1), ("a\r\nb", 2), ("a\rb\r", 2), ("\n\r\n\r\ra", 5)] {
            let mut count = LineCount::default();
            count.add(text.as_bytes());
            assert_eq!(count.lines(), lines, "{text:?}");
        }
        assert_eq!(first_line_end(b"ab\r\nc"), Some(4));
        assert_eq!(first_line_end(b"ab\rc"), Some(3));
        assert_eq!(first_line_end(b"ab"), None);
    }

    proptest! {
        #[test]
        fn lines_are_the_same_however_the_text_is_cut(text in "[a\r\n]{0,40}", cuts in proptest::collection::vec(0usize..40, 0..6)) {
            let mut whole = LineCount::default();
            whole.add(text.as_bytes());
            let mut cuts: Vec<usize> = cuts.into_iter().filter(|cut| *cut <= text.len()).collect();
            cuts.extend([0, text.len()]);
            cuts.sort_unstable();
            let mut count = LineCount::default();
            for ends in cuts.windows(2) {
                count.add(&text.as_bytes()[ends[0]..ends[1]]);
            }
            prop_assert_eq!(count.lines(), whole.lines());
        }
    }
}
