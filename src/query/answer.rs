//! The answer to a query, as a sheet for people, as CSV or as JSON.

use crate::error::plain;
use comfy_table::{CellAlignment, ContentLineStyle, LineStyle, Table, TableStyle};
use std::io::{self, Write};

/// How an answer is written.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub enum Format {
    /// Lines up in a terminal, numbers rounded for people.
    #[default]
    Sheet,
    /// CSV with a header, full precision; a missing cell is empty.
    Csv,
    /// An array of objects, full precision; a missing cell is `null`.
    Json,
}

/// One cell.
#[derive(Clone, PartialEq, Debug)]
pub enum Value {
    /// Nothing is known.
    Missing,
    /// Yes or no.
    Flag(bool),
    /// A whole number.
    Whole(i128),
    /// A finite number.
    Number(f64),
    /// Words, a date among them.
    Text(String),
}

/// Columns and a way to the cells. Cells are asked for one row after another and never kept.
pub struct Answer<'a> {
    /// Names of the columns.
    pub columns: Vec<String>,
    /// How many rows there are.
    pub rows: usize,
    /// The cell at a row and a column.
    pub cell: Box<dyn Fn(usize, usize) -> Value + 'a>,
}

/// Names over a rule over the rows, one blank between columns more than the padding.
pub const STYLE: TableStyle = TableStyle::new()
    .header_lines(ContentLineStyle::none().junction(' '))
    .header_separator(LineStyle::none().fill('─').junction('─'))
    .content_lines(ContentLineStyle::none().junction(' '));

impl Answer<'_> {
    /// Writes the answer.
    ///
    /// # Errors
    /// Those of the writer.
    pub fn write(&self, format: Format, out: &mut dyn Write) -> io::Result<()> {
        match format {
            Format::Sheet => self.write_sheet(out),
            Format::Csv => self.write_csv(out),
            Format::Json => self.write_json(out),
        }
    }

    fn row(&self, row: usize) -> impl Iterator<Item = Value> {
        (0..self.columns.len()).map(move |column| (self.cell)(row, column))
    }

    fn write_sheet(&self, out: &mut dyn Write) -> io::Result<()> {
        let mut table = Table::new();
        table.load_style(STYLE).set_header(self.columns.iter().map(|name| plain(name)));
        let kinds: Vec<Kind> = (0..self.columns.len()).map(|column| self.kind(column)).collect();
        for row in 0..self.rows {
            table.add_row(self.row(row).zip(&kinds).map(|(value, kind)| for_people(&value, kind.decimals)));
        }
        for (column, kind) in table.column_iter_mut().zip(&kinds) {
            column.set_padding((0, 1));
            column.set_cell_alignment(if kind.is_number { CellAlignment::Right } else { CellAlignment::Left });
        }
        writeln!(out, "{}", table.trim_fmt())
    }

    fn kind(&self, column: usize) -> Kind {
        let (mut is_number, mut all_whole, mut largest) = (false, true, 0.0_f64);
        for row in 0..self.rows {
            match (self.cell)(row, column) {
                Value::Number(x) => {
                    is_number = true;
                    all_whole &= x.fract() == 0.0;
                    largest = largest.max(x.abs());
                }
                Value::Whole(_) => is_number = true,
                _ => {}
            }
        }
        let decimals = match largest {
            _ if all_whole => 0,
            x if x >= 100.0 => 1,
            x if x > 1.0 => 2,
            _ => 3, // shares
        };
        Kind { is_number, decimals }
    }

    fn write_csv(&self, out: &mut dyn Write) -> io::Result<()> {
        // the csv crate wraps the writer's own error, and with it whether a pipe was closed
        let plain = |error: csv::Error| match error.into_kind() {
            csv::ErrorKind::Io(error) => error,
            other => io::Error::other(format!("{other:?}")),
        };
        let mut csv = csv::Writer::from_writer(out);
        csv.write_record(&self.columns).map_err(plain)?;
        for row in 0..self.rows {
            csv.write_record(self.row(row).map(|value| match value {
                Value::Missing => String::new(),
                Value::Flag(yes) => yes.to_string(),
                Value::Whole(x) => x.to_string(),
                Value::Number(x) => x.to_string(),
                Value::Text(text) => text,
            }))
            .map_err(plain)?;
        }
        csv.flush()
    }

    fn write_json(&self, out: &mut dyn Write) -> io::Result<()> {
        write!(out, "[")?;
        for row in 0..self.rows {
            let cells = self.row(row).map(|value| match value {
                Value::Missing => serde_json::Value::Null,
                Value::Flag(yes) => yes.into(),
                Value::Whole(x) => i64::try_from(x).map_or_else(|_| x.to_string().into(), Into::into),
                Value::Number(x) => x.into(),
                Value::Text(text) => text.into(),
            });
            let object: serde_json::Map<_, _> = self.columns.iter().cloned().zip(cells).collect();
            write!(out, "{}\n  ", if row == 0 { "" } else { "," })?;
            serde_json::to_writer(&mut *out, &object)?;
        }
        writeln!(out, "\n]")?;
        out.flush()
    }
}

/// What a column of a sheet holds.
struct Kind {
    is_number: bool,
    decimals: usize,
}

fn for_people(value: &Value, decimals: usize) -> String {
    match value {
        Value::Missing => "–".into(),
        Value::Flag(yes) => if *yes { "yes" } else { "no" }.into(),
        Value::Whole(x) => x.to_string(),
        Value::Number(x) => {
            let text = format!("{x:.decimals$}");
            let is_zero = text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.'));
            if is_zero { text.trim_start_matches('-').into() } else { text }
        }
        Value::Text(text) => plain(text).into_owned(), // a line end in a name begins no row
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(format: Format) -> String {
        let rows = [
            [Value::Text("Alderwick, east".into()), Value::Whole(12), Value::Number(-0.000_04), Value::Flag(true)],
            [Value::Text("Brindleford".into()), Value::Missing, Value::Number(1.0 / 3.0), Value::Missing],
            [Value::Text("say \"no\"".into()), Value::Whole(1_000), Value::Number(1.0), Value::Flag(false)],
        ];
        let answer = Answer {
            columns: ["site", "visits", "share", "late"].map(str::to_owned).to_vec(),
            rows: rows.len(),
            cell: Box::new(|row, column| rows[row][column].clone()),
        };
        let mut out = Vec::new();
        answer.write(format, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_sheet_lines_numbers_up_on_the_right_and_rounds_them() {
        let expected = "\
site             visits  share  late
─────────────────────────────────────
Alderwick, east      12  0.000  yes
Brindleford           –  0.333  –
say \"no\"           1000  1.000  no
";
        assert_eq!(written(Format::Sheet), expected);
    }

    #[test]
    fn no_name_steers_the_terminal_in_a_sheet() {
        let cell = Box::new(|_, _| Value::Text("A\u{1b}[2J\nB".into()));
        let answer = Answer { columns: vec!["x\u{7}".into()], rows: 1, cell };
        let mut out = Vec::new();
        answer.write(Format::Sheet, &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        assert!(text.contains("A\\u{1b}[2J\\u{a}B") && text.starts_with("x\\u{7}"), "{text}");
    }

    #[test]
    fn csv_keeps_every_digit_and_quotes_what_needs_it() {
        let expected = "\
site,visits,share,late
\"Alderwick, east\",12,-0.00004,true
Brindleford,,0.3333333333333333,
\"say \"\"no\"\"\",1000,1,false
";
        assert_eq!(written(Format::Csv), expected);
    }

    #[test]
    fn json_is_an_array_of_objects_in_the_order_of_the_columns() {
        let text = written(Format::Json);
        let parsed: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(parsed[1]["share"].as_f64(), Some(1.0 / 3.0));
        assert!(parsed[1]["visits"].is_null());
        assert!(
            text.starts_with("[\n  {\"site\":\"Alderwick, east\",\"visits\":12,\"share\":-0.00004,\"late\":true},\n"),
            "{text}"
        );
    }

    #[test]
    fn no_row_is_an_empty_array_and_a_header() {
        let answer = Answer { columns: vec!["a".into()], rows: 0, cell: Box::new(|_, _| Value::Missing) };
        let written = |format| {
            let mut out = Vec::new();
            answer.write(format, &mut out).unwrap();
            String::from_utf8(out).unwrap()
        };
        assert_eq!(written(Format::Csv), "a\n");
        assert_eq!(
            serde_json::from_str::<Vec<serde_json::Value>>(&written(Format::Json)).unwrap(),
            Vec::<serde_json::Value>::new()
        );
        assert!(written(Format::Sheet).starts_with("a\n"));
    }
}
