//! `rejected_rows.csv`: every rejected row with its place and reason; never its content.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::export::place::Files;
use crate::rows::ledger::Ledger;

/// The sheet.
pub const FORM: Form = Form {
    name: "rejected_rows",
    title: "Every rejected row: where it stands and why it could not be understood",
    columns: &[
        always("file", Kind::Text, "export file, relative to the group folder"),
        always("line", Kind::Count, "the line the row begins on, from 1"),
        maybe("column", Kind::Text, "the source column at fault, when it is one"),
        always("reason", Kind::Text, "why"),
        always(
            "rows",
            Kind::Count,
            "how many rows this stands for: 1, or all further rows of the file with this reason",
        ),
    ],
    key: &["file", "line"],
};

/// All lines, by file and line.
pub fn lines<'a>(files: &'a Files, ledger: &'a Ledger) -> impl Iterator<Item = Vec<Cell>> + 'a {
    ledger.iter().flat_map(move |(id, file)| {
        file.rejected.told().into_iter().map(move |(rejected, rows)| {
            vec![
                files.path(id).into(),
                u64::from(rejected.place.line).into(),
                rejected.column.map_or("", |column| file.column_name(column)).into(),
                Cell::Text(rejected.reason.to_string()),
                rows.into(),
            ]
        })
    })
}
