//! The account of every row: read = kept + duplicate + rejected, file by file.

use super::reason::Reason;
use crate::export::place::{FileId, Place};
use std::collections::BTreeMap;

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
    /// Data rows read: records after the header, empty lines not counted.
    pub read: u64,
    /// Rows that stand in the dataset.
    pub kept: u64,
    /// Rows that repeat another row, exactly.
    pub duplicate_exact: u64,
    /// Rows that repeat a visit with other values.
    pub duplicate_differing: u64,
    /// Rejected rows in order of line, those left out by a filter included.
    pub rejected: Vec<Rejected>,
    /// Blanked cells.
    pub blanks: Blanks,
    /// The header, for messages.
    pub header: Vec<String>,
    /// Columns the mapping drops.
    pub dropped: Vec<String>,
    /// Columns the mapping does not mention.
    pub unmapped: Vec<String>,
    /// Whether its days are calendar dates.
    pub calendar: bool,
}

impl FileLedger {
    /// Rows left out by a declared filter.
    pub fn left_out(&self) -> u64 {
        self.rejected.iter().filter(|r| r.reason.is_choice()).count() as u64
    }

    /// Rows rejected for a fault.
    pub fn faulty(&self) -> u64 {
        self.rejected.len() as u64 - self.left_out()
    }

    /// Whether read = kept + duplicate + rejected.
    pub fn balances(&self) -> bool {
        self.read == self.kept + self.duplicate_exact + self.duplicate_differing + self.rejected.len() as u64
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

    #[test]
    fn rows_left_out_by_a_filter_are_rejected_rows_but_no_fault() {
        let place = |line| Place { file: FileId(0), line };
        let rejected = vec![
            Rejected { place: place(2), column: Some(0), reason: Reason::LeftOut },
            Rejected { place: place(3), column: None, reason: Reason::FieldCount },
        ];
        let file = FileLedger { read: 12, kept: 9, duplicate_exact: 1, rejected, ..FileLedger::default() };
        assert!(file.balances());
        assert_eq!((file.left_out(), file.faulty()), (1, 1));
        let mut ledger = Ledger::default();
        ledger.push(file.clone());
        assert!((ledger.faulty_share() - 1.0 / 11.0).abs() < 1e-15);
        ledger.push(FileLedger { kept: 10, ..file });
        assert_eq!(ledger.unbalanced(), [FileId(1)]);
    }
}
