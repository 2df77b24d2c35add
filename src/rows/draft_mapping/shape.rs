//! What the cells of a column look like.

use super::aliases::Aliases;
use super::dates::DateFit;
use crate::catalogue::identifiers::{IdentifierKind, ValueScreen};
use crate::rows::number::NumberForm;
use std::collections::HashMap;

/// Numbers that exports use for missing when nothing else is near them.
const SENTINELS: [f64; 13] = [-1.0, -9.0, -99.0, -999.0, 9.0, 77.0, 88.0, 99.0, 777.0, 888.0, 999.0, 9999.0, -9999.0];
/// Of the filled cells this share must look alike.
const MOST: f64 = 0.9;

/// Evidence about a column.
#[derive(Debug, Default)]
pub(super) struct Shape {
    /// Cells that are neither empty nor a spelling of missing.
    pub filled: usize,
    /// Distinct filled cells in the order first met, and how often each.
    pub distinct: Vec<(String, usize)>,
    /// Spellings of missing that were met, and numbers that seem to stand for it.
    pub missing: Vec<String>,
    /// Cells that are numbers.
    pub numbers: Vec<f64>,
    /// Cells that are a number with a unit behind it, and the units.
    pub with_unit: usize,
    pub units: Vec<String>,
    /// How the cells are read as dates.
    pub dates: Option<DateFit>,
    /// What direct identifier the cells look like.
    pub identifier: Option<IdentifierKind>,
    /// Letters in a cell on average, of columns of text.
    pub mean_length: f64,
}

impl Shape {
    pub fn of<'c>(cells: impl Iterator<Item = &'c str>, numbers: NumberForm, aliases: &Aliases) -> Self {
        let mut shape = Self::default();
        let mut screen = ValueScreen::default();
        let mut at: HashMap<&str, usize> = HashMap::new();
        let mut letters = 0;
        for cell in cells {
            screen.observe(cell.as_bytes());
            if cell.is_empty() {
                continue;
            }
            if aliases.is_missing(cell) {
                shape.note_missing(cell);
                continue;
            }
            shape.filled += 1;
            letters += cell.chars().count();
            match at.get(cell).and_then(|i| shape.distinct.get_mut(*i)) {
                Some((_, count)) => *count += 1,
                None => {
                    at.insert(cell, shape.distinct.len());
                    shape.distinct.push((cell.to_owned(), 1));
                }
            }
            match (numbers.read(cell.as_bytes()), numbers.read_with_unit(cell.as_bytes())) {
                (Some(number), _) => shape.numbers.push(number),
                (None, Some((_, unit))) if unit.len() <= 6 => {
                    shape.with_unit += 1;
                    let unit = String::from_utf8_lossy(unit).into_owned();
                    if !shape.units.contains(&unit) {
                        shape.units.push(unit);
                    }
                }
                _ => {}
            }
        }
        shape.identifier = screen.finding();
        shape.mean_length = letters as f64 / shape.filled.max(1) as f64;
        shape.dates = DateFit::of(shape.distinct.iter().map(|(cell, _)| cell.as_str()));
        shape.take_out_sentinel(numbers);
        shape
    }

    fn note_missing(&mut self, cell: &str) {
        if self.missing.iter().all(|known| known != cell) {
            self.missing.push(cell.to_owned());
        }
    }

    /// 99 among pain scores up to 10 stands for missing.
    fn take_out_sentinel(&mut self, form: NumberForm) {
        if self.numbers.len() < 10 || !self.is_number() {
            return;
        }
        let mut sorted = self.numbers.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.dedup();
        let (lowest, highest) = match sorted.as_slice() {
            [lowest, .., highest] => (*lowest, *highest),
            _ => return,
        };
        let second_highest = sorted.iter().rev().nth(1).copied().unwrap_or(highest);
        let second_lowest = sorted.get(1).copied().unwrap_or(lowest);
        let far = |sentinel: f64| {
            SENTINELS.contains(&sentinel)
                && ((sentinel == highest && sentinel > 1.5 * second_highest && second_lowest >= 0.0)
                    || (sentinel == lowest && sentinel < 0.0 && second_lowest >= 0.0))
        };
        for sentinel in [lowest, highest].into_iter().filter(|number| far(*number)) {
            self.numbers.retain(|number| *number != sentinel);
            let spelled = |cell: &str| form.read(cell.as_bytes()) == Some(sentinel);
            let (gone, left) = std::mem::take(&mut self.distinct).into_iter().partition(|(cell, _)| spelled(cell));
            self.distinct = left;
            let gone: Vec<(String, usize)> = gone;
            for (cell, count) in gone {
                self.filled -= count;
                self.note_missing(&cell);
            }
        }
    }

    fn mostly(&self, count: usize) -> bool {
        self.filled > 0 && count as f64 >= MOST * self.filled as f64
    }

    /// Plain numbers.
    pub fn is_number(&self) -> bool {
        self.mostly(self.numbers.len())
    }

    /// Numbers, each with or without its unit.
    pub fn is_quantity(&self) -> bool {
        self.mostly(self.numbers.len() + self.with_unit)
    }

    /// Most numbers carry a unit.
    pub fn has_units_in_cells(&self) -> bool {
        self.mostly(self.with_unit)
    }

    /// Whole numbers, but for a slip here and there.
    pub fn is_whole(&self) -> bool {
        let whole = self.numbers.iter().filter(|number| number.fract() == 0.0).count();
        self.is_number() && nearly_all(whole, self.numbers.len())
    }

    /// Numbers between two limits, but for a slip here and there.
    pub fn lies_within(&self, low: f64, high: f64) -> bool {
        let inside = self.numbers.iter().filter(|number| (low..=high).contains(*number)).count();
        self.is_number() && nearly_all(inside, self.numbers.len())
    }

    /// Words rather than numbers or dates.
    pub fn is_text(&self) -> bool {
        self.filled > 0 && !self.is_quantity() && self.dates.is_none()
    }

    /// The least and the greatest number.
    pub fn range(&self) -> Option<(f64, f64)> {
        let lowest = self.numbers.iter().copied().reduce(f64::min)?;
        Some((lowest, self.numbers.iter().copied().reduce(f64::max)?))
    }

    /// Whether the cells tell rows apart rather than say something about them.
    pub fn is_key_like(&self) -> bool {
        self.filled >= 10 && 2 * self.distinct.len() > self.filled
    }

    /// Sentences rather than words.
    pub fn is_free_text(&self) -> bool {
        self.is_text()
            && self.mean_length > 25.0
            && self.distinct.iter().any(|(cell, _)| cell.matches(' ').count() >= 3)
    }
}

/// 98 of 100: exports hold a few cells that are plainly wrong, and a draft must not follow them.
pub(super) fn nearly_all(part: usize, whole: usize) -> bool {
    whole > 0 && 100 * part >= 98 * whole
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: NumberForm = NumberForm { decimal: b'.', thousands: None };

    fn shape(cells: &[&str]) -> Shape {
        Shape::of(cells.iter().copied(), PLAIN, &Aliases::load().unwrap())
    }

    #[test]
    fn a_number_far_from_all_others_stands_for_missing() {
        let mut cells = vec!["0", "3", "5", "7", "10", "4", "2", "6", "8", "1", "99", "99", "NA", ""];
        let with = shape(&cells);
        assert_eq!(with.missing, ["NA", "99"]);
        assert_eq!(with.range(), Some((0.0, 10.0)));
        assert_eq!(with.filled, 10);
        cells.retain(|cell| *cell != "99");
        cells.push("70");
        assert_eq!(shape(&cells).missing, ["NA"], "70 is no usual code");
        assert!(shape(&["-1"; 1]).missing.is_empty(), "one cell is no evidence");
    }

    #[test]
    fn a_column_is_told_by_most_of_its_cells() {
        assert!(shape(&["1", "2", "3.5"]).is_number());
        assert!(!shape(&["1", "2", "3.5"]).is_whole());
        assert!(shape(&["40 lb", "42 lb"]).has_units_in_cells());
        assert!(shape(&["prone", "supine"]).is_text());
        assert!(shape(&["was better after the second visit, will call again", "a"]).is_free_text());
        assert!(!shape(&[""]).is_text());
    }
}
