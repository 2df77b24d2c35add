//! Breaking text into lines and keeping labels off each other.

use super::pen::{Face, FaceKey};
use std::cell::RefCell;
use std::collections::HashMap;

/// Broken texts by face and width, kept for a while: patients' pages say much the same, again and again.
type Broken = HashMap<(String, FaceKey, u64), Vec<String>>;

/// Broken texts kept, at most.
const MOST_BROKEN: usize = 4096;

thread_local! {
    static BROKEN: RefCell<Broken> = RefCell::default();
}

/// Breaks a text into as few lines as `width` allows, of much the same length; a single longer word stands alone.
pub(super) fn lines(text: &str, face: Face, width: f64) -> Vec<String> {
    BROKEN.with_borrow_mut(|known| {
        let key = (text.to_owned(), face.key(), width.to_bits());
        if known.len() >= MOST_BROKEN && !known.contains_key(&key) {
            known.clear();
        }
        known.entry(key).or_insert_with(|| broken(text, face, width)).clone()
    })
}

fn broken(text: &str, face: Face, width: f64) -> Vec<String> {
    let fewest = filled(text, face, width);
    let mut even = fewest.clone();
    let mut narrower = width;
    while fewest.len() > 1 && narrower > 0.5 * width {
        narrower -= 0.05 * width;
        let tried = filled(text, face, narrower);
        if tried.len() > fewest.len() || tried.iter().any(|line| face.width(line) > width) {
            break;
        }
        even = tried;
    }
    even
}

/// Breaks a text into lines, each filled up to `width`.
fn filled(text: &str, face: Face, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        match lines.last_mut() {
            Some(line) if face.width(&format!("{line} {word}")) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_string()),
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
        let text = "one two three four five six";
        let width = face.width("one two three four five") + 1.0;
        assert_eq!(filled(text, face, width), ["one two three four five", "six"]);
        assert_eq!(lines(text, face, width), ["one two three", "four five six"]);
    }
}
