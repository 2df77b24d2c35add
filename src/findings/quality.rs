//! How well the exports were understood: what `data-quality.html` says and `reconciliation.csv` holds.

/// One line of `reconciliation.csv`: read = kept + duplicate + rejected.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct FileAccount {
    /// The export, relative to the group folder.
    pub file: String,
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
    /// Cells blanked because they could not be understood.
    pub cells_blanked: u64,
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
    /// Why rows were rejected.
    pub rejections: Vec<ReasonCount>,
    /// Why cells were blanked.
    pub blanked: Vec<ReasonCount>,
    /// Rows that repeat a visit with other values: file, count.
    pub disagreements: Vec<ReasonCount>,
    /// Columns dropped by the mapping, never read: file, column.
    pub dropped: Vec<(String, String)>,
    /// Columns nothing in the mapping mentions: file, column.
    pub unmapped: Vec<(String, String)>,
    /// Files with calendar dates (a limited dataset, not Safe Harbor), and with day offsets.
    pub calendar_files: u32,
    /// Files with day offsets.
    pub offset_files: u32,
    /// Plausibility warnings: reason in words, count.
    pub warnings: Vec<(String, u64)>,
    /// Facts about episodes: label in words, count.
    pub episode_notes: Vec<(String, u64)>,
}
