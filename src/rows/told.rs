//! Lists of lines that are told one by one, up to a limit: beyond it they are counted, so that the memory stays small
//! whatever an export holds.

use super::ledger::Tally;
use super::reason::Reason;
use crate::export::place::Place;
use std::collections::BTreeMap;

/// How many rows of one file are listed for each reason, and lines inside cells.
pub const MOST_LISTED: usize = 100_000;

/// A rejected row: where, which column, why.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Rejected {
    /// File and line.
    pub place: Place,
    /// The position of the column in the export, when one column is at fault.
    pub column: Option<u16>,
    /// Why.
    pub reason: Reason,
}

/// A line on which a row goes on, inside a quoted cell.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct InCell {
    /// File and line.
    pub place: Place,
    /// The line the row begins on.
    pub row_line: u32,
}

/// The first of something by place; of the others their number and where they begin.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Capped<T> {
    listed: Vec<T>,
    further: u64,
    first_further: Option<T>,
}

impl<T> Default for Capped<T> {
    fn default() -> Self {
        Self { listed: Vec::new(), further: 0, first_further: None }
    }
}

impl<T: Copy> Capped<T> {
    /// Adds the next one.
    pub fn add(&mut self, item: T) {
        if self.listed.len() < MOST_LISTED {
            self.listed.push(item);
        } else {
            self.further += 1;
            self.first_further.get_or_insert(item);
        }
    }

    /// Adds those of a later stretch of the same file.
    pub fn merge(&mut self, later: &Self) {
        later.listed.iter().for_each(|item| self.add(*item));
        self.further += later.further;
        self.first_further = self.first_further.or(later.first_further);
    }

    /// How many there are.
    pub fn count(&self) -> u64 {
        self.listed.len() as u64 + self.further
    }

    /// Those that are listed.
    pub fn listed(&self) -> &[T] {
        &self.listed
    }

    /// How many are counted only, and the first of them.
    pub fn further(&self) -> Option<(u64, T)> {
        self.first_further.map(|first| (self.further, first))
    }
}

/// Rejected rows: the first of each reason by place, and how many of each column and reason.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
pub struct Rejections {
    by_reason: BTreeMap<Reason, Capped<Rejected>>,
    tallies: BTreeMap<(Option<u16>, Reason), Tally>,
}

impl Rejections {
    /// Adds the next rejected row.
    pub fn add(&mut self, rejected: Rejected) {
        self.by_reason.entry(rejected.reason).or_default().add(rejected);
        let first_line = rejected.place.line;
        self.tallies.entry((rejected.column, rejected.reason)).or_insert(Tally { count: 0, first_line }).count += 1;
    }

    /// Adds those of a later stretch of the same file.
    pub fn merge(&mut self, later: &Self) {
        for (reason, rows) in &later.by_reason {
            self.by_reason.entry(*reason).or_default().merge(rows);
        }
        for (key, more) in &later.tallies {
            self.tallies.entry(*key).or_insert(Tally { count: 0, ..*more }).count += more.count;
        }
    }

    /// How many rows were rejected.
    pub fn rows(&self) -> u64 {
        self.tallies.values().map(|tally| tally.count).sum()
    }

    /// How many of them, and the first line, by column and reason.
    pub fn reasons(&self) -> impl Iterator<Item = (Option<u16>, Reason, Tally)> + '_ {
        self.tallies.iter().map(|((column, reason), tally)| (*column, *reason, *tally))
    }

    /// In order of line: a row, and how many rows it stands for. It is more than itself where the limit of its reason was
    /// reached, and stands then for the rows of that reason from its line on.
    pub fn told(&self) -> Vec<(Rejected, u64)> {
        let listed = self.by_reason.values().flat_map(|rows| rows.listed().iter().map(|row| (*row, 1)));
        let further = self.by_reason.values().filter_map(|rows| rows.further().map(|(count, first)| (first, count)));
        let mut told: Vec<_> = listed.chain(further).collect();
        told.sort_unstable();
        told
    }

    /// How many rows are counted and not listed.
    pub fn not_listed(&self) -> u64 {
        self.by_reason.values().filter_map(Capped::further).map(|(count, _)| count).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::place::FileId;

    fn row(line: u32, reason: Reason) -> Rejected {
        Rejected { place: Place { file: FileId(0), line }, column: (reason == Reason::NotADate).then_some(1), reason }
    }

    #[test]
    fn beyond_the_limit_rows_of_a_reason_are_counted_and_those_of_another_still_listed() {
        let most = MOST_LISTED as u32;
        let (mut first, mut second, mut whole) = (Rejections::default(), Rejections::default(), Rejections::default());
        for line in 1..=most + 7 {
            let part = if line < 1_000 { &mut first } else { &mut second };
            part.add(row(line, Reason::FieldCount));
            whole.add(row(line, Reason::FieldCount));
        }
        for line in [most + 8, most + 9] {
            second.add(row(line, Reason::NotADate));
            whole.add(row(line, Reason::NotADate));
        }
        first.merge(&second);
        assert!(first == whole, "it does not matter how the file was cut");
        assert_eq!((whole.rows(), whole.not_listed()), (u64::from(most) + 9, 7));
        let told = whole.told();
        assert_eq!(told.len(), MOST_LISTED + 3);
        assert_eq!(told.iter().map(|(_, rows)| rows).sum::<u64>(), whole.rows());
        let last: Vec<_> = told[MOST_LISTED - 1..].iter().map(|(row, rows)| (row.place.line, *rows)).collect();
        assert_eq!(last, [(most, 1), (most + 1, 7), (most + 8, 1), (most + 9, 1)]);
        let reasons: Vec<_> = whole.reasons().map(|(column, reason, tally)| (column, reason, tally.count)).collect();
        assert_eq!(reasons, [(None, Reason::FieldCount, u64::from(most) + 7), (Some(1), Reason::NotADate, 2)]);
    }
}
