//! `lines_in_cells.csv`: every line on which a row goes on inside a quoted cell, so that no line is passed over untold.

use super::sheet::{Cell, Form, Kind, always};
use crate::export::place::Files;
use crate::rows::ledger::Ledger;

/// The sheet.
pub const FORM: Form = Form {
    name: "lines_in_cells",
    title: "Every line that does not begin a row: it stands inside a quoted cell",
    columns: &[
        always("file", Kind::Text, "export file, relative to the group folder"),
        always("line", Kind::Count, "the line, from 1"),
        always("row_line", Kind::Count, "the line on which its row begins"),
        always("lines", Kind::Count, "how many lines this stands for: 1, or all such lines of the file from here on"),
    ],
    key: &["file", "line"],
};

/// All lines, by file and line.
pub fn lines<'a>(files: &'a Files, ledger: &'a Ledger) -> impl Iterator<Item = Vec<Cell>> + 'a {
    ledger.iter().flat_map(move |(id, file)| {
        let listed = file.lines_in_cells.listed().iter().map(|line| (*line, 1));
        let further = file.lines_in_cells.further().map(|(count, first)| (first, count));
        listed.chain(further).map(move |(line, count)| {
            let (at, row) = (u64::from(line.place.line), u64::from(line.row_line));
            vec![files.path(id).into(), at.into(), row.into(), count.into()]
        })
    })
}
