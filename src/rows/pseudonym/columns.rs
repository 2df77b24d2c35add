//! What happens to each column, decided once from the header.

use super::Request;
use crate::error::{Problem, Spot};
use crate::group::suggest::did_you_mean;
use std::path::Path;

/// What happens to the cells of a column.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Action {
    /// Stays as it is.
    Keep,
    /// Becomes a pseudonym.
    Key,
    /// Moves with the patient's shift.
    Date,
    /// Is left out.
    Drop,
}

/// The header and the action of each column.
#[derive(Debug)]
pub(super) struct Columns {
    pub header: Vec<String>,
    pub actions: Vec<Action>,
    /// The column whose key shifts the dates.
    pub patient: usize,
}

impl Columns {
    /// From the header; every column of a named text is meant, should several have it.
    pub fn new(header: Vec<String>, request: &Request, path: &Path, line: u64) -> Result<Self, Problem> {
        let mut actions = vec![Action::Keep; header.len()];
        let wanted = [
            (Action::Key, "--key-columns", &request.key_columns),
            (Action::Date, "--shift-dates", &request.shift_dates),
            (Action::Drop, "--drop", &request.drop),
        ];
        for (action, option, names) in wanted {
            for name in names.iter().map(|name| name.trim()) {
                let mut found = false;
                for (text, known) in header.iter().zip(&mut actions) {
                    if text != name {
                        continue;
                    }
                    found = true;
                    if *known != Action::Keep && *known != action {
                        return Err(Problem::input(format!("column `{name}` is named for two things"))
                            .at(Spot::line(path, line))
                            .hint("name it once, under --key-columns, --shift-dates or --drop"));
                    }
                    *known = action;
                }
                if !found {
                    return Err(Problem::input(format!("{option} names `{name}`, and there is no such column"))
                        .at(Spot::line(path, line))
                        .hint(match header.as_slice() {
                            [_] => "the header was read as one column: set --delimiter".to_owned(),
                            columns => near_header(name, columns),
                        }));
                }
            }
        }
        let first_key = request.key_columns.first().map(|name| name.trim());
        let Some(patient) = header.iter().position(|text| Some(text.as_str()) == first_key) else {
            return Err(Problem::input("no key column is named").hint("name at least one with --key-columns"));
        };
        Ok(Self { header, actions, patient })
    }
}

/// A header like the name. Others are not told: in a file without a header they are somebody's cells.
fn near_header(name: &str, header: &[String]) -> String {
    let like = |text: &&str| strsim::jaro_winkler(&text.to_lowercase(), &name.to_lowercase()) > 0.8;
    let near: Vec<&str> = header.iter().map(String::as_str).filter(like).collect();
    match near.as_slice() {
        [] => "write it as it stands in the export's first line; see that this is a header".to_owned(),
        near => did_you_mean(name, near.iter().copied()),
    }
}
