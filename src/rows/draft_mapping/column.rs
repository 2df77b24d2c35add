//! A column of the export: its name in a mapping, the words and the unit in it, the shape of its cells.

use super::aliases::plain_words;
use super::shape::Shape;
use crate::units::{Dimension, Unit};
use std::collections::HashMap;

/// A column.
#[derive(Debug)]
pub(super) struct Column {
    /// The header text.
    pub header: String,
    /// How a mapping names it: with `#2` for the second of that text.
    pub name: String,
    /// The words of the header.
    pub words: Vec<String>,
    /// What its cells look like.
    pub shape: Shape,
}

impl Column {
    /// The unit in the header, `Pull (kgf)` or `pull_lbf`, and the words before it.
    pub fn unit(&self, dimension: Dimension) -> (Option<Unit>, Vec<String>) {
        let bracketed = |open: char, close: char| {
            let (before, rest) = self.header.rsplit_once(open)?;
            Some((before, rest.split(close).next().unwrap_or(rest)))
        };
        let trailing = || self.header.trim().rsplit_once([' ', '_', '/', ',', '.', '-']);
        let places = [bracketed('(', ')'), bracketed('[', ']'), trailing()];
        let found = places.into_iter().flatten().find_map(|(before, text)| {
            Some((Unit::parse(text.trim(), dimension)?, plain_words(before.trim_end_matches(" in"))))
        });
        match found {
            Some((unit, words)) => (Some(unit), words),
            // a column called `minutes` says its unit by its name
            None => (Unit::parse(&self.header, dimension), self.words.clone()),
        }
    }
}

/// The names of columns in a mapping, so that each is told from the others: `pain#1`, `pain#2`.
pub(super) fn names(header: &[String]) -> Vec<String> {
    let mut counts: HashMap<&str, (usize, usize)> = HashMap::new(); // how many there are, how many were named
    for text in header {
        counts.entry(text).or_default().0 += 1;
    }
    let mut name = |text: &String| match counts.get_mut(text.as_str()) {
        Some((2.., named)) => {
            *named += 1;
            format!("{text}#{named}")
        }
        _ => literal(text),
    };
    header.iter().map(&mut name).collect()
}

/// A header that itself ends in `#2` is written with a second `#`.
fn literal(text: &str) -> String {
    match text.rsplit_once('#') {
        Some((before, number)) if !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit()) => {
            format!("{before}##{number}")
        }
        _ => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unit(header: &str, dimension: Dimension) -> (Option<Unit>, String) {
        let column =
            Column { header: header.into(), name: header.into(), words: plain_words(header), shape: Shape::default() };
        let (unit, words) = column.unit(dimension);
        (unit, words.join(" "))
    }

    #[test]
    fn a_unit_is_seen_in_brackets_or_behind_the_name() {
        assert_eq!(unit("Zug (kgf)", Dimension::Force), (Some(Unit::KilogramForce), "zug".into()));
        assert_eq!(unit("Pull [% BW]", Dimension::Force), (Some(Unit::PercentBodyWeight), "pull".into()));
        assert_eq!(unit("peak_force_lbf", Dimension::Force), (Some(Unit::PoundForce), "peak force".into()));
        assert_eq!(unit("Zug in N", Dimension::Force), (Some(Unit::Newton), "zug".into()));
        assert_eq!(unit("split_in", Dimension::Length), (Some(Unit::Inch), "split".into()));
        assert_eq!(unit("Minutes", Dimension::Time), (Some(Unit::Minute), "minutes".into()));
        assert_eq!(unit("Zug (links)", Dimension::Force), (None, "zug links".into()));
        assert_eq!(unit("Gewicht kg", Dimension::Length), (None, "gewicht kg".into()));
    }

    #[test]
    fn columns_of_one_text_are_numbered() {
        let header = ["pain", "id", "pain", "Visit #3"].map(String::from);
        assert_eq!(names(&header), ["pain#1", "id", "pain#2", "Visit ##3"]);
    }
}
