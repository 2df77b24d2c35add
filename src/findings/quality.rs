//! How well the exports were understood: what `data-quality.html` says and `reconciliation.csv` holds.

/// One line of `reconciliation.csv`: lines = head + blank + read + in cells; read = kept + duplicate + rejected.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct FileAccount {
    /// The export, by its place in `group.toml`.
    pub file: String,
    /// Physical lines, counted before the file was cut into rows.
    pub lines: u64,
    /// Of these, lines skipped before the header, and lines of the header.
    pub lines_of_head: u64,
    /// Of these, blank.
    pub lines_blank: u64,
    /// Of these, lines on which a row goes on, inside a quoted cell.
    pub lines_in_cells: u64,
    /// Data rows read.
    pub rows_read: u64,
    /// Rows kept.
    pub rows_kept: u64,
    /// Rows that repeat another, exactly or with other values.
    pub rows_duplicate: u64,
    /// Rows rejected, those left out by a declared filter included.
    pub rows_rejected: u64,
    /// Of these, left out by a declared filter.
    pub rows_left_out: u64,
    /// Of the rejected rows, counted only and not listed one by one.
    pub rows_not_listed: u64,
    /// Cells blanked because they could not be understood.
    pub cells_blanked: u64,
}

impl FileAccount {
    /// The sum over files, with no file's name.
    pub fn total(files: &[Self]) -> Self {
        let sum = |part: fn(&Self) -> u64| files.iter().map(part).sum();
        Self {
            file: String::new(),
            lines: sum(|f| f.lines),
            lines_of_head: sum(|f| f.lines_of_head),
            lines_blank: sum(|f| f.lines_blank),
            lines_in_cells: sum(|f| f.lines_in_cells),
            rows_read: sum(|f| f.rows_read),
            rows_kept: sum(|f| f.rows_kept),
            rows_duplicate: sum(|f| f.rows_duplicate),
            rows_rejected: sum(|f| f.rows_rejected),
            rows_left_out: sum(|f| f.rows_left_out),
            rows_not_listed: sum(|f| f.rows_not_listed),
            cells_blanked: sum(|f| f.cells_blanked),
        }
    }

    /// Whether lines = head + blank + read + in cells, and read = kept + duplicate + rejected.
    pub fn balances(&self) -> bool {
        self.lines == self.lines_of_head + self.lines_blank + self.rows_read + self.lines_in_cells
            && self.rows_read == self.rows_kept + self.rows_duplicate + self.rows_rejected
    }
}

/// A reason with how often it came up.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ReasonCount {
    /// The export.
    pub file: String,
    /// The source column, when it is one column's fault.
    pub column: String,
    /// The reason in words.
    pub reason: String,
    /// How often.
    pub count: u64,
    /// The first line it was met on.
    pub first_line: u64,
}

/// How well the exports were understood.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct DataQuality {
    /// One line a file.
    pub files: Vec<FileAccount>,
    /// The sum over all files.
    pub total: FileAccount,
    /// Why rows were rejected.
    pub rejections: Vec<ReasonCount>,
    /// Why cells were blanked.
    pub blanked: Vec<ReasonCount>,
    /// Rows that repeat a visit with other values: file, count.
    pub disagreements: Vec<ReasonCount>,
    /// Columns dropped by the mapping, never read: file, column.
    pub dropped: Vec<(String, String)>,
    /// Columns nothing in the mapping mentions: file, position.
    pub unmapped: Vec<(String, String)>,
    /// Files with calendar dates (a limited dataset, not Safe Harbor), and with day offsets.
    pub calendar_files: u32,
    /// Files with day offsets.
    pub offset_files: u32,
    /// Facts about episodes: label in words, count.
    pub episode_notes: Vec<(String, u64)>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_total_adds_each_count_and_balances_when_every_file_does() {
        let file = |kept, duplicate, rejected, left_out, cells_blanked| FileAccount {
            file: "a.csv".into(),
            lines: 2 + kept + duplicate + rejected,
            lines_of_head: 1,
            lines_blank: 0,
            lines_in_cells: 1,
            rows_read: kept + duplicate + rejected,
            rows_kept: kept,
            rows_duplicate: duplicate,
            rows_rejected: rejected,
            rows_left_out: left_out,
            rows_not_listed: 0,
            cells_blanked,
        };
        let files = [file(10, 2, 3, 1, 5), file(100, 20, 30, 7, 40)];
        let total = FileAccount::total(&files);
        let whole = file(110, 22, 33, 8, 45);
        let lines = FileAccount { lines: whole.lines + 2, lines_of_head: 2, lines_in_cells: 2, ..whole };
        assert_eq!(total, FileAccount { file: String::new(), ..lines });
        assert!(total.balances() && files[0].balances());
        assert!(!FileAccount { lines: 18, ..file(10, 2, 3, 1, 5) }.balances());
        assert!(!FileAccount { lines: 18, rows_read: 16, ..file(10, 2, 3, 1, 5) }.balances());
        assert_eq!(FileAccount::total(&[]), FileAccount::default());
    }
}
