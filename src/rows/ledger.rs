//! The account of every line and row, file by file: the physical lines are those of the header, blank ones, and those of
//! rows; read = kept + duplicate + rejected.

use super::reason::Reason;
use super::told::{Capped, Rejections};
use crate::export::place::FileId;
use std::collections::BTreeMap;

pub use super::told::{InCell, Rejected};

/// How often a reason came up in a column, and where first.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Tally {
    /// How often.
    pub count: u64,
    /// The first line.
    pub first_line: u32,
}

/// Blanked cells by column and reason.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
pub struct Blanks(BTreeMap<(u16, Reason), Tally>);

impl Blanks {
    /// Counts one cell.
    pub fn add(&mut self, column: u16, reason: Reason, line: u32) {
        let tally = self.0.entry((column, reason)).or_insert(Tally { count: 0, first_line: line });
        tally.count += 1;
        tally.first_line = tally.first_line.min(line);
    }

    /// Adds the counts of a later stretch of the same file.
    pub fn merge(&mut self, other: &Blanks) {
        for (key, more) in &other.0 {
            let tally = self.0.entry(*key).or_insert(Tally { count: 0, first_line: more.first_line });
            tally.count += more.count;
            tally.first_line = tally.first_line.min(more.first_line);
        }
    }

    /// All counts, by column and reason.
    pub fn iter(&self) -> impl Iterator<Item = (u16, Reason, Tally)> + '_ {
        self.0.iter().map(|((column, reason), tally)| (*column, *reason, *tally))
    }

    /// Cells blanked; a code that was only out of date is not.
    pub fn cells(&self) -> u64 {
        self.iter().filter(|(_, reason, _)| *reason != Reason::CodeNotValid).map(|(_, _, tally)| tally.count).sum()
    }
}

/// The account of one file.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
pub struct FileLedger {
    /// Physical lines, counted over the file's text before it was cut into records.
    pub lines: u64,
    /// Of these, lines that are skipped before the header, and lines of the header.
    pub lines_of_head: u64,
    /// Of these, blank.
    pub lines_blank: u64,
    /// Of these, lines on which a row goes on, inside a quoted cell.
    pub lines_in_cells: Capped<InCell>,
    /// Data rows read: records after the header, empty lines not counted.
    pub read: u64,
    /// Rows that stand in the dataset.
    pub kept: u64,
    /// Rows that repeat another row, exactly.
    pub duplicate_exact: u64,
    /// Rows that repeat a visit with other values.
    pub duplicate_differing: u64,
    /// Rejected rows, those left out by a filter included.
    pub rejected: Rejections,
    /// Blanked cells.
    pub blanks: Blanks,
    /// The header, for messages.
    pub header: Vec<String>,
    /// Columns the mapping drops.
    pub dropped: Vec<String>,
    /// Columns the mapping does not mention, by position.
    pub unmapped: Vec<u16>,
    /// Whether its days are calendar dates.
    pub calendar: bool,
}

impl FileLedger {
    /// Rows left out by a declared filter.
    pub fn left_out(&self) -> u64 {
        self.rejected.reasons().filter(|(_, reason, _)| reason.is_choice()).map(|(_, _, tally)| tally.count).sum()
    }

    /// Rows rejected for a fault.
    pub fn faulty(&self) -> u64 {
        self.rejected.rows() - self.left_out()
    }

    /// Whether every physical line is the head's, blank or a row's, and read = kept + duplicate + rejected.
    pub fn balances(&self) -> bool {
        self.lines == self.lines_of_head + self.lines_blank + self.read + self.lines_in_cells.count()
            && self.read == self.kept + self.duplicate_exact + self.duplicate_differing + self.rejected.rows()
    }

    /// The header text of a column.
    pub fn column_name(&self, column: u16) -> &str {
        self.header.get(usize::from(column)).map_or("", String::as_str)
    }
}

/// The accounts of all files, in reading order.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
pub struct Ledger {
    files: Vec<FileLedger>,
}

impl Ledger {
    /// Adds the account of the next file.
    pub fn push(&mut self, file: FileLedger) {
        self.files.push(file);
    }

    /// The account of a file.
    pub fn get_mut(&mut self, id: FileId) -> Option<&mut FileLedger> {
        self.files.get_mut(usize::from(id.0))
    }

    /// All accounts with their files.
    pub fn iter(&self) -> impl Iterator<Item = (FileId, &FileLedger)> {
        self.files.iter().enumerate().map(|(i, file)| (FileId(i as u16), file))
    }

    /// Share of rows rejected for a fault among the rows that no filter left out; 0 without rows.
    pub fn faulty_share(&self) -> f64 {
        let faulty: u64 = self.files.iter().map(FileLedger::faulty).sum();
        let considered: u64 = self.files.iter().map(|f| f.read - f.left_out()).sum();
        if considered == 0 { 0.0 } else { faulty as f64 / considered as f64 }
    }

    /// The files whose account does not balance: none, unless the program is wrong.
    pub fn unbalanced(&self) -> Vec<FileId> {
        self.iter().filter(|(_, file)| !file.balances()).map(|(id, _)| id).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::place::Place;

    fn place(line: u32) -> Place {
        Place { file: FileId(0), line }
    }

    #[test]
    fn rows_left_out_by_a_filter_are_rejected_rows_but_no_fault() {
        let mut rejected = Rejections::default();
        rejected.add(Rejected { place: place(2), column: Some(0), reason: Reason::LeftOut });
        rejected.add(Rejected { place: place(3), column: None, reason: Reason::FieldCount });
        let file = FileLedger {
            lines: 13,
            lines_of_head: 1,
            read: 12,
            kept: 9,
            duplicate_exact: 1,
            rejected,
            ..FileLedger::default()
        };
        assert!(file.balances());
        assert_eq!((file.left_out(), file.faulty()), (1, 1));
        let mut ledger = Ledger::default();
        ledger.push(file.clone());
        assert!((ledger.faulty_share() - 1.0 / 11.0).abs() < 1e-15);
        ledger.push(FileLedger { kept: 10, ..file });
        assert_eq!(ledger.unbalanced(), [FileId(1)]);
    }

    #[test]
    fn an_account_whose_lines_are_not_all_told_does_not_balance() {
        let mut lines_in_cells = Capped::default();
        lines_in_cells.add(InCell { place: place(5), row_line: 4 });
        let file = FileLedger {
            lines: 6,
            lines_of_head: 2,
            lines_blank: 1,
            lines_in_cells,
            read: 2,
            kept: 2,
            ..FileLedger::default()
        };
        assert!(file.balances());
        assert!(!FileLedger { lines: 7, ..file.clone() }.balances(), "a line that no record and no blank line has");
        assert!(!FileLedger { lines_in_cells: Capped::default(), ..file }.balances());
    }
}
