//! Records with their keys replaced, their dates shifted and the dropped columns gone.

use super::columns::{Action, Columns};
use super::gate::OutputGate;
use super::raw_fields::{RawRecord, quoted_like, records, unquoted};
use super::secret::Secret;
use super::{Request, Summary};
use crate::error::{Problem, Spot};
use crate::export::blocks::Block;
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use std::fmt::Write;
use std::path::Path;

/// A column that repeats the key in this share of its rows holds keys.
const REPEATS: f64 = 0.9;
/// With fewer rows than this, or shorter keys, equal cells are chance.
const FEWEST_ROWS: u64 = 5;
const SHORTEST_KEY: usize = 3;

/// Rewrites one block after another.
pub(super) struct Rewriter<'r> {
    request: &'r Request,
    path: &'r Path,
    delimiter: u8,
    secret: &'r Secret,
    date_format: &'r str,
    columns: Option<Columns>,
    gate: Option<OutputGate>,
    summary: Summary,
    /// Rows in which a kept column held the patient's key.
    repeats: Vec<u64>,
}

impl<'r> Rewriter<'r> {
    pub fn new(request: &'r Request, path: &'r Path, delimiter: u8, secret: &'r Secret, date_format: &'r str) -> Self {
        let summary = Summary::default();
        Self { request, path, delimiter, secret, date_format, columns: None, gate: None, summary, repeats: Vec::new() }
    }

    /// The text of a block, rewritten.
    pub fn rewrite(&mut self, block: &Block) -> Result<String, Problem> {
        let text = String::from_utf8_lossy(&block.bytes);
        let mut out = String::with_capacity(text.len());
        for record in records(&text, block.first_line, self.delimiter) {
            self.record(&record, &mut out)?;
        }
        Ok(out)
    }

    fn record(&mut self, record: &RawRecord<'_>, out: &mut String) -> Result<(), Problem> {
        if record.fields.is_empty() {
            out.push_str(record.line_end);
            return Ok(());
        }
        let columns = match self.columns.take() {
            Some(columns) => {
                let rewritten = self.row(record, &columns, out);
                self.columns = Some(columns);
                rewritten?;
                self.summary.rows += 1;
                return Ok(());
            }
            None => {
                let header = record.fields.iter().map(|field| unquoted(field).trim().to_owned()).collect();
                Columns::new(header, self.request, self.path, record.line)?
            }
        };
        self.summary.columns_dropped = columns.actions.iter().filter(|action| **action == Action::Drop).count();
        self.repeats = vec![0; columns.header.len()];
        self.gate = Some(OutputGate::new(&columns)?);
        let kept = record.fields.iter().zip(&columns.actions).filter(|(_, action)| **action != Action::Drop);
        self.put(kept.map(|(field, _)| *field), record.line_end, out);
        self.columns = Some(columns);
        Ok(())
    }

    fn put<'f>(&self, fields: impl Iterator<Item = &'f str>, line_end: &str, out: &mut String) {
        for (i, field) in fields.enumerate() {
            if i > 0 {
                out.push(char::from(self.delimiter));
            }
            out.push_str(field);
        }
        out.push_str(line_end);
    }

    fn row(&mut self, record: &RawRecord<'_>, columns: &Columns, out: &mut String) -> Result<(), Problem> {
        let surplus = record.fields.get(columns.header.len()..);
        if surplus.is_none_or(|fields| fields.iter().any(|field| !field.trim().is_empty())) {
            return Err(Problem::input(format!(
                "the line has {} fields and the header {}, so that a key might slip through",
                record.fields.len(),
                columns.header.len()
            ))
            .at(Spot::line(self.path, record.line))
            .hint("repair the line, or export again; look for a delimiter or a quotation mark inside a cell"));
        }
        let key = record.fields.get(columns.patient).map(|field| unquoted(field).trim().to_owned()).unwrap_or_default();
        let mut fields: Vec<String> = Vec::with_capacity(record.fields.len());
        for (i, field) in record.fields.iter().enumerate() {
            match columns.actions.get(i).copied().unwrap_or(Action::Keep) {
                Action::Drop => {}
                Action::Keep => {
                    let repeated = key.len() >= SHORTEST_KEY && unquoted(field).trim() == key;
                    if let Some(count) = self.repeats.get_mut(i).filter(|_| repeated) {
                        *count += 1;
                    }
                    if let Some(gate) = &mut self.gate {
                        gate.observe(i, &unquoted(field), record.line);
                    }
                    fields.push((*field).to_owned());
                }
                Action::Key => {
                    let own = unquoted(field);
                    if own.trim().is_empty() {
                        fields.push((*field).to_owned());
                    } else {
                        self.summary.keys += 1;
                        fields.push(quoted_like(field, &self.secret.pseudonym(&own), self.delimiter));
                    }
                }
                // an empty cell, or a word for missing
                Action::Date if !field.contains(|c: char| c.is_ascii_digit()) => fields.push((*field).to_owned()),
                Action::Date => {
                    let shifted = self.date(&unquoted(field), &key).ok_or_else(|| {
                        Problem::input(format!(
                            "the cell of `{}` is not a date in the form {}",
                            columns.header.get(i).map_or("", String::as_str),
                            self.date_format
                        ))
                        .at(Spot::line(self.path, record.line))
                        .hint("correct --date-format, or the cell: a date that is not understood cannot be shifted")
                    })?;
                    if let Some(gate) = &mut self.gate {
                        gate.observe(i, &shifted, record.line);
                    }
                    fields.push(quoted_like(field, &shifted, self.delimiter));
                }
            }
        }
        self.put(fields.iter().map(String::as_str), record.line_end, out);
        Ok(())
    }

    /// A cell of dates, shifted; empty when there is no key to shift it by. `None` when it is no date.
    fn date(&mut self, cell: &str, key: &str) -> Option<String> {
        let cell = cell.trim();
        let mut shifted = String::new();
        let days = TimeDelta::days(self.secret.shift_days(key));
        // a time of day in the format is kept
        let written = match NaiveDateTime::parse_from_str(cell, self.date_format) {
            Ok(time) => write!(shifted, "{}", time.checked_add_signed(days)?.format(self.date_format)),
            Err(_) => {
                let date = NaiveDate::parse_from_str(cell, self.date_format).ok()?;
                write!(shifted, "{}", date.checked_add_signed(days)?.format(self.date_format))
            }
        };
        written.ok()?;
        if key.is_empty() {
            self.summary.dates_emptied += 1;
            return Some(String::new());
        }
        self.summary.dates_shifted += 1;
        Some(shifted)
    }

    /// What was done.
    ///
    /// # Errors
    /// There was no header, or a column that is kept repeats the keys or holds direct identifiers.
    pub fn finish(self) -> Result<Summary, Problem> {
        let Some(columns) = self.columns else {
            return Err(Problem::input("the file holds no header").at(Spot::file(self.path)).hint("export it again"));
        };
        let many = (REPEATS * self.summary.rows as f64).max(FEWEST_ROWS as f64);
        let repeating = columns.header.iter().zip(&self.repeats).find(|(_, count)| **count as f64 >= many);
        match repeating {
            Some((column, _)) => Err(Problem::input(format!("column `{column}` repeats the keys and would be kept"))
                .at(Spot::file(self.path))
                .hint("name it under --key-columns as well, or under --drop")),
            None => {
                self.gate.iter().try_for_each(|gate| gate.verdict(self.path))?;
                Ok(self.summary)
            }
        }
    }
}
