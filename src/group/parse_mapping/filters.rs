//! `[[keep]]`, `[drop]` and `[ignore]`: rows and columns left out on purpose.

use super::super::document::{Node, Table};
use super::super::mapping::{ColumnName, KeepRule};
use crate::error::Problem;

/// A source column as a mapping writes it: its header text, `text#2` for the second of that
/// text, `text##2` for a header that itself ends in `#2`.
pub(super) fn column_name(node: &Node, name: &str) -> Result<ColumnName, Problem> {
    let written = node.filled_text(name)?;
    let (text, nth, numbered) = match written.rsplit_once('#') {
        Some((text, number)) if !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit()) => {
            match text.strip_suffix('#') {
                Some(text) => (format!("{text}#{number}"), 1, false),
                None => (text.trim_end().to_owned(), number.parse().unwrap_or(0), true),
            }
        }
        _ => (written.to_owned(), 1, false),
    };
    if text.is_empty() || !(1..=10_000).contains(&nth) {
        return Err(node
            .problem(format!("`{written}` names no column"))
            .hint("write the header text, with #2 behind it for the second column of that text"));
    }
    Ok(ColumnName { text, nth, numbered, spot: node.spot.clone() })
}

/// The declared filters.
pub(super) fn keep(mapping: &Table) -> Result<Vec<KeepRule>, Problem> {
    let Some(node) = mapping.get("keep") else { return Ok(Vec::new()) };
    node.tables("keep")?
        .into_iter()
        .map(|table| {
            table.only(&["column", "only"], "[[keep]]")?;
            let column = column_name(table.require("column", "[[keep]]")?, "column")?;
            let list = table.require("only", "[[keep]]")?;
            let only = list.cells("only")?;
            if only.is_empty() {
                return Err(list
                    .problem("`only` is empty, so that every row would be left out")
                    .hint("list the cells that keep a row"));
            }
            Ok(KeepRule { column, only })
        })
        .collect()
}

/// The columns under `[drop]` or `[ignore]`.
pub(super) fn columns(mapping: &Table, section: &str) -> Result<Vec<ColumnName>, Problem> {
    let Some(node) = mapping.get(section) else { return Ok(Vec::new()) };
    let name = format!("[{section}]");
    let table = node.table(&name)?;
    table.only(&["columns"], &name)?;
    let list = table.require("columns", &name)?.list("columns")?;
    list.iter().map(|item| column_name(item, "columns")).collect()
}

#[cfg(test)]
mod tests {
    use super::super::super::document;
    use super::*;
    use std::path::Path;

    fn table(text: &str) -> Table {
        document::parse(Path::new("m.toml"), text).unwrap()
    }

    #[test]
    fn a_column_may_be_the_second_of_its_text_or_end_in_a_number_sign() {
        let columns = columns(&table("[drop]\ncolumns = ['pain#2', 'Visit ##3', 'C#', '  a#b ']\n"), "drop").unwrap();
        let read: Vec<_> = columns.iter().map(|column| (column.text.as_str(), column.nth)).collect();
        assert_eq!(read, [("pain", 2), ("Visit #3", 1), ("C#", 1), ("a#b", 1)]);
        assert_eq!(columns[1].spot.to_string(), "m.toml:2:22");
    }

    #[test]
    fn a_name_that_names_no_column_is_refused() {
        for text in ["''", "'  '", "'pain#0'", "'#2'", "'pain#99999999999'"] {
            let problem = columns(&table(&format!("[drop]\ncolumns = [{text}]\n")), "drop").unwrap_err();
            assert_eq!(problem.spot.unwrap().to_string(), "m.toml:2:12", "{text}");
        }
    }

    #[test]
    fn a_filter_names_a_column_and_the_cells_that_keep_a_row() {
        let rules = keep(&table("[[keep]]\ncolumn = 'is_patient'\nonly = [1, 'yes ']\n")).unwrap();
        assert_eq!(rules[0].column.text, "is_patient");
        assert_eq!(rules[0].only, ["1", "yes"]);
    }

    #[test]
    fn a_filter_that_keeps_nothing_or_lacks_a_part_is_refused() {
        let complaint = |text: &str| keep(&table(text)).unwrap_err().to_string();
        assert!(complaint("[[keep]]\ncolumn = 'a'\nonly = []\n").starts_with("m.toml:3:8: `only` is empty"));
        assert!(complaint("\n[[keep]]\ncolumn = 'a'\n").starts_with("m.toml:2:1: [[keep]] has no `only`"));
        assert!(complaint("[keep]\ncolumn = 'a'\nonly = ['1']\n").contains("write each entry under a line [[keep]]"));
    }
}
