//! Sentences about the data.

use super::{count, counted};
use crate::rows::told::MOST_LISTED;

/// What the accounts show.
pub const RECONCILIATION_INTRO: &str = "Every row read is kept, a duplicate, or rejected with a reason. Nothing is \
     dropped in silence.";

/// The balance in numbers.
pub fn balance(read: u64, kept: u64, duplicate: u64, rejected: u64) -> String {
    format!(
        "{} read = {} kept + {} duplicate + {} rejected.",
        count(read),
        count(kept),
        count(duplicate),
        count(rejected)
    )
}

/// The lines of the files, in numbers.
pub fn lines(lines: u64, head: u64, blank: u64, rows: u64, in_cells: u64) -> String {
    format!(
        "The files hold {}, counted before they were cut into rows: {} of headers and what stands above them + {} blank + \
         {} that begin a row + {} inside quoted cells.",
        counted(lines, "line", "lines"),
        count(head),
        count(blank),
        count(rows),
        count(in_cells)
    )
}

/// Exports that hold nothing.
pub fn without_rows(files: u64) -> String {
    format!(
        "{} a header and no row. Was it exported whole?",
        if files == 1 { "One export holds".to_owned() } else { format!("{} exports hold", count(files)) }
    )
}

/// Rejected rows that are not listed.
pub fn not_listed(rows: u64) -> String {
    format!(
        "{} counted here and not listed one by one: beyond {} of a file with one reason, rejected_rows.csv says only how \
         many.",
        if rows == 1 { "1 rejected row is".to_owned() } else { format!("{} rejected rows are", count(rows)) },
        count(MOST_LISTED as u64)
    )
}

/// Should the accounts ever not balance.
pub const DOES_NOT_BALANCE: &str = "These accounts do not balance. Do not use this bulletin, and report the fault.";
/// No row was rejected.
pub const NONE_REJECTED: &str = "No row was rejected.";
/// No cell was blanked.
pub const NONE_BLANKED: &str = "Every cell was understood.";
/// What blanking means.
pub const BLANKED_INTRO: &str = "A cell that cannot be understood is left blank and counted; its row stays.";
/// No disagreement.
pub const NO_DISAGREEMENT: &str = "No two rows of one visit disagree.";
/// What is done about disagreements.
pub const DISAGREEMENT_INTRO: &str = "Where two rows tell of one visit with different values, one is kept by a fixed \
     rule and the other is counted as a duplicate. Each is worth a look at the clinic.";
/// What is said of rejected rows.
pub const REJECTIONS_INTRO: &str = "The rows themselves, by file and line, are in the restricted part of the output.";
/// The same of an edition for release.
pub const REJECTIONS_INTRO_OF_RELEASE: &str =
    "Reasons of ten rows or fewer are left out. The rows themselves are in no edition for release.";
/// Where nothing is told of a release.
pub const FEW_OR_NONE: &str = "Nothing was met on more than ten rows.";
/// The accounts of a release.
pub const ACCOUNTS_ROUNDED: &str = "Rows and cells are rounded to fifties; those read are the sum.";
/// Dropped columns.
pub const DROPPED: &str = "Dropped by the mapping, and never read past the privacy gate";
/// Unmapped columns.
pub const UNMAPPED: &str =
    "Not mentioned in the mapping, and not used; their headers are in columns.csv in the restricted part of the output";
/// All columns used.
pub const ALL_COLUMNS_USED: &str = "Every column is used or declared as not needed.";
/// No notes on episodes.
pub const NO_EPISODE_NOTE: &str = "No transfer, overlap or missing baseline was found.";
/// Heading of a count.
pub const HOW_OFTEN: &str = "how often";
/// Heading of facts about episodes.
pub const EPISODES_THAT: &str = "what was found";
/// Heading of a list of columns.
pub const COLUMN: &str = "column";
/// Where no single column is at fault.
pub const WHOLE_ROW: &str = "the whole row";
/// Heading of a list of files.
pub const FILE: &str = "file";
/// The row for the whole.
pub const ALL_FILES: &str = "all files";

/// Whether the exports hold calendar dates, and what follows.
pub fn dates(calendar_files: u64, offset_files: u64, is_release: bool) -> Vec<String> {
    let mut said = Vec::new();
    if calendar_files > 0 {
        said.push(format!(
            "{} {} calendar dates of visits. Such exports are a limited dataset and not de-identified by the Safe Harbor \
             method, whatever else was removed: they may be shared only as a limited dataset may be.",
            counted(calendar_files, "export", "exports"),
            if calendar_files == 1 { "holds" } else { "hold" }
        ));
    }
    if offset_files > 0 {
        said.push(format!(
            "{} {} visits by day offsets, with at most a quarter beside them. Offsets alone do not make data \
             de-identified; a calendar quarter is more than the year that Safe Harbor allows.",
            counted(offset_files, "export", "exports"),
            if offset_files == 1 { "gives" } else { "give" }
        ));
    }
    let restricted = if is_release { "" } else { " The restricted part of the output does." };
    said.push(format!("The pages and sheets of this bulletin hold no date of a visit.{restricted}"));
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn calendar_dates_are_called_a_limited_dataset() {
        let said = dates(5, 1, false).join(" ");
        assert!(said.contains("5\u{a0}exports hold calendar dates"));
        assert!(said.contains("limited dataset") && said.contains("not de-identified by the Safe Harbor"));
        assert!(said.contains("1\u{a0}export gives visits by day offsets"));
    }

    #[test]
    fn the_lines_are_an_equation_and_exports_without_rows_are_doubted() {
        let said = lines(1020, 2, 3, 1012, 3);
        assert!(said.contains("1,020\u{a0}lines") && said.contains("1,012 that begin a row + 3 inside"), "{said}");
        assert_eq!(without_rows(1), "One export holds a header and no row. Was it exported whole?");
        assert_eq!(without_rows(2), "2 exports hold a header and no row. Was it exported whole?");
        assert!(not_listed(1_200).starts_with("1,200 rejected rows are counted"));
    }

    #[test]
    fn the_balance_is_an_equation() {
        assert_eq!(balance(1012, 1000, 5, 7), "1,012 read = 1,000 kept + 5 duplicate + 7 rejected.");
    }
}
