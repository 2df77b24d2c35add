//! `columns.csv`: which file and which column the pages mean, which name neither; with the column's use.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::export::place::Files;
use crate::rows::ledger::Ledger;

/// The sheet.
pub const FORM: Form = Form {
    name: "columns",
    title: "The columns of every export, with the file's place in group.toml as pages and sheets give it",
    columns: &[
        always("export", Kind::Text, "the file's place in group.toml, as in reconciliation.csv"),
        always("file", Kind::Text, "export file, relative to the group folder"),
        always("position", Kind::Count, "the column's position in the file, from 1"),
        maybe("header", Kind::Text, "its header"),
        always("use", Kind::OneOf(&["read", "dropped", "not mentioned"]), "what the mapping says of it"),
    ],
    key: &["file", "position"],
};

/// All lines, by file and position.
pub fn lines<'a>(files: &'a Files, ledger: &'a Ledger) -> impl Iterator<Item = Vec<Cell>> + 'a {
    ledger.iter().flat_map(move |(id, file)| {
        (0u16..).zip(&file.header).map(move |(position, header)| {
            let used = match () {
                () if file.dropped.contains(header) => "dropped",
                () if file.unmapped.contains(&position) => "not mentioned",
                () => "read",
            };
            vec![
                files.label(id).into(),
                files.path(id).into(),
                (u64::from(position) + 1).into(),
                header.as_str().into(),
                used.into(),
            ]
        })
    })
}
