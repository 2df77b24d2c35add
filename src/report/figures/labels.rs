//! Breaking text into lines and keeping labels off each other.

use super::pen::Face;
use std::ops::Range;

/// Breaks a text into as few lines as `width` allows, of much the same length; a single longer word stands alone.
pub(super) fn lines(text: &str, face: Face, width: f64) -> Vec<String> {
    let words: Vec<&str> = text.split(' ').filter(|word| !word.is_empty()).collect();
    // the typeface sets letters side by side: a line is as wide as its words and spaces
    let widths: Vec<f64> = words.iter().map(|word| face.width(word)).collect();
    let space = face.width(" ");
    let fewest = filled(&widths, space, width);
    let mut even = fewest.clone();
    let mut narrower = width;
    while fewest.len() > 1 && narrower > 0.5 * width {
        narrower -= 0.05 * width;
        let tried = filled(&widths, space, narrower);
        if tried.len() > fewest.len() || tried.iter().any(|line| line.width > width) {
            break;
        }
        even = tried;
    }
    even.into_iter().map(|line| words.get(line.words).unwrap_or_default().join(" ")).collect()
}

/// A line: which words, and how wide they are with their spaces.
#[derive(Clone)]
struct Line {
    words: Range<usize>,
    width: f64,
}

/// Sets words of some widths in lines, each filled up to `width`.
fn filled(widths: &[f64], space: f64, width: f64) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for (word, wide) in widths.iter().enumerate() {
        match lines.last_mut() {
            Some(line) if line.width + space + wide <= width => {
                line.words.end = word + 1;
                line.width += space + wide;
            }
            _ => lines.push(Line { words: word..word + 1, width: *wide }),
        }
    }
    lines
}

/// Moves labels, each given by its wanted top and its height, down just enough that neighbours are `gap` apart, then up
/// again where the last would pass `bottom`. The order of their middles is kept, so that lines to them do not cross.
pub(super) fn spread(wanted: &[(f64, f64)], gap: f64, bottom: f64) -> Vec<f64> {
    let mut placed: Vec<(usize, f64, f64)> =
        wanted.iter().enumerate().map(|(label, &(top, height))| (label, top, height)).collect();
    placed.sort_by(|a, b| (a.1 + a.2 / 2.0).total_cmp(&(b.1 + b.2 / 2.0)).then(a.0.cmp(&b.0)));
    let mut least = f64::NEG_INFINITY;
    for (_, top, height) in &mut placed {
        *top = top.max(least);
        least = *top + *height + gap;
    }
    let mut most = bottom;
    for (_, top, height) in placed.iter_mut().rev() {
        *top = top.min(most - *height);
        most = *top - gap;
    }
    placed.sort_by_key(|&(label, ..)| label);
    placed.into_iter().map(|(_, top, _)| top).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn close_labels_are_spread_and_stay_in_order() {
        assert_eq!(spread(&[(10.0, 13.0), (12.0, 30.0), (50.0, 13.0)], 2.0, 100.0), [10.0, 25.0, 57.0]);
        // by its top the tall label would come first, by its middle it comes second
        assert_eq!(spread(&[(10.0, 40.0), (12.0, 10.0)], 2.0, 100.0), [24.0, 12.0]);
        assert_eq!(spread(&[(99.0, 13.0), (95.0, 13.0)], 2.0, 113.0), [100.0, 85.0]);
    }

    #[test]
    fn a_long_text_is_broken_between_words() {
        let face = Face::plain(12.0);
        let broken = lines("one two three four five six seven", face, 60.0);
        assert!(broken.len() > 2);
        assert_eq!(broken.join(" "), "one two three four five six seven");
        assert!(broken.iter().all(|line| face.width(line) <= 60.0));
    }

    #[test]
    fn no_word_is_left_alone_on_the_last_line() {
        let face = Face::plain(12.0);
        let width = face.width("one two three four five") + 1.0;
        let widths = ["one", "two", "three", "four", "five", "six"].map(|word| face.width(word));
        let filled: Vec<Range<usize>> =
            filled(&widths, face.width(" "), width).into_iter().map(|line| line.words).collect();
        assert_eq!(filled, [0..5, 5..6]);
        assert_eq!(lines("one two three four five six", face, width), ["one two three", "four five six"]);
    }

    #[test]
    fn a_line_is_as_wide_as_its_words_and_spaces() {
        for face in [Face::plain(10.5), Face::bold(15.0)] {
            let text = "AVATAR To. 7,4 fi Wy -- Änderung";
            let parts: f64 = text.split(' ').map(|word| face.width(word)).sum();
            let spaces = text.matches(' ').count() as f64 * face.width(" ");
            assert!((face.width(text) - parts - spaces).abs() < 0.1);
        }
    }
}
