//! `reconciliation.csv`: every line and every row of each file.

use super::sheet::{Cell, Form, Kind, always};
use crate::findings::quality::FileAccount;

/// The sheet.
pub const FORM: Form = Form {
    name: "reconciliation",
    title: "What became of every line and row: lines = lines_of_head + lines_blank + rows_read + lines_in_cells; rows_read = rows_kept + rows_duplicate + rows_rejected",
    columns: &[
        always("file", Kind::Text, "export file, by its place in group.toml; restricted/columns.csv gives its name"),
        always("rows_read", Kind::Count, "records after the header"),
        always("rows_kept", Kind::Count, "rows in the dataset"),
        always("rows_duplicate", Kind::Count, "rows that repeat another, with the same values or with others"),
        always("rows_rejected", Kind::Count, "rows rejected, those left out by a declared filter included"),
        always("cells_blanked", Kind::Count, "cells that could not be understood"),
        always("rows_left_out", Kind::Count, "of the rejected rows, those left out by a declared filter"),
        always(
            "rows_not_listed",
            Kind::Count,
            "of the rejected rows, those counted only and not in rejected_rows.csv one by one",
        ),
        always("lines", Kind::Count, "lines of the text, counted before it was cut into rows"),
        always("lines_of_head", Kind::Count, "of these, lines skipped before the header and lines of the header"),
        always("lines_blank", Kind::Count, "of these, blank"),
        always("lines_in_cells", Kind::Count, "of these, lines on which a row goes on, inside a quoted cell"),
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
        account.rows_not_listed.into(),
        account.lines.into(),
        account.lines_of_head.into(),
        account.lines_blank.into(),
        account.lines_in_cells.into(),
    ]
}
