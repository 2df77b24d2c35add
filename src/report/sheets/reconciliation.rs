//! `reconciliation.csv`: read = kept + duplicate + rejected, by file.

use super::sheet::{Cell, Form, Kind, always};
use crate::findings::quality::FileAccount;

/// The sheet.
pub const FORM: Form = Form {
    name: "reconciliation",
    title: "What became of every row: rows_read = rows_kept + rows_duplicate + rows_rejected",
    columns: &[
        always("file", Kind::Text, "export file, relative to the group folder"),
        always("rows_read", Kind::Count, "records after the header"),
        always("rows_kept", Kind::Count, "rows in the dataset"),
        always("rows_duplicate", Kind::Count, "rows that repeat another, with the same values or with others"),
        always("rows_rejected", Kind::Count, "rows rejected, those left out by a declared filter included"),
        always("cells_blanked", Kind::Count, "cells that could not be understood"),
        always("rows_left_out", Kind::Count, "of the rejected rows, those left out by a declared filter"),
    ],
    key: &["file"],
};

/// One line.
pub fn line(account: &FileAccount) -> Vec<Cell> {
    vec![
        account.file.as_str().into(),
        account.rows_read.into(),
        account.rows_kept.into(),
        account.rows_duplicate.into(),
        account.rows_rejected.into(),
        account.cells_blanked.into(),
        account.rows_left_out.into(),
    ]
}
