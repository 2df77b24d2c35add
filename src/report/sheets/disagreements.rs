//! `disagreements.csv`: pairs of rows of one visit that say different things.

use super::sheet::{Cell, Form, Kind, always};
use crate::export::place::Files;
use crate::visits::duplicates::Disagreement;

/// The sheet.
pub const FORM: Form = Form {
    name: "disagreements",
    title: "Two rows of one visit that disagree: the fuller row is used, at a tie one drawn by what the rows say",
    columns: &[
        always("file", Kind::Text, "export file of the row that is not used"),
        always("line", Kind::Count, "its line, from 1"),
        always("used_file", Kind::Text, "export file of the row that is used"),
        always("used_line", Kind::Count, "its line, from 1"),
    ],
    key: &["file", "line"],
};

/// One line.
pub fn line(files: &Files, pair: &Disagreement) -> Vec<Cell> {
    vec![
        files.path(pair.other.file).into(),
        u64::from(pair.other.line).into(),
        files.path(pair.picked.file).into(),
        u64::from(pair.picked.line).into(),
    ]
}
