//! Where every row of every export went.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, TEAL};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{self, figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct RowAccounts {
    /// One row a file.
    pub files: Vec<FileRows>,
}

/// One export. read = kept + duplicate + rejected.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct FileRows {
    /// Its name in the group folder.
    pub file: String,
    /// Rows kept.
    pub kept: u64,
    /// Rows that repeat another.
    pub duplicate: u64,
    /// Rows rejected or left out.
    pub rejected: u64,
}

const ROW: f64 = 38.0;
const COLUMN: f64 = 66.0;

/// Draws the accounts.
pub fn row_accounts(text: &FigureText, data: &RowAccounts) -> Result<Figure, FigureError> {
    let height = 22.0 + ROW * data.files.len() as f64;
    framed(text, &words::describe_accounts(data), height, |pen, top| {
        let most = data.files.iter().map(|f| f.kept + f.duplicate + f.rejected).max().unwrap_or(1);
        let x = Scale::new((0.0, most as f64), (0.0, WIDTH - 3.0 * COLUMN - 12.0));
        for (column, (heading, ink)) in words::ROW_FATES.into_iter().zip([TEAL, GREY, OCHRE]).enumerate() {
            pen.text((column_right(column), top + 8.0), heading, STRONG, ink, Align::Right)?;
        }
        for (row, file) in data.files.iter().enumerate() {
            draw_row(pen, &x, top + 22.0 + ROW * row as f64, file)?;
        }
        Ok(())
    })
}

fn column_right(column: usize) -> f64 {
    WIDTH - (2.0 - column as f64) * COLUMN
}

fn draw_row(pen: &Pen<'_, '_>, x: &Scale, top: f64, file: &FileRows) -> Result<(), FigureError> {
    pen.text((0.0, top + 8.0), &file.file, SMALL, BLACK, Align::Left)?;
    let mut so_far = 0;
    for (column, (rows, ink)) in
        [(file.kept, TEAL), (file.duplicate, GREY), (file.rejected, OCHRE)].into_iter().enumerate()
    {
        let (from, to) = (x.at(so_far as f64), x.at((so_far + rows) as f64));
        if rows > 0 {
            let gap = if so_far > 0 { 1.0 } else { 0.0 }; // paper between neighbours, for grey printing
            pen.bar((from + gap, top + 18.0), (to.max(from + gap + 1.5), top + 25.0), ink)?;
        }
        so_far += rows;
        pen.text((column_right(column), top + 21.0), &wording::count(rows), LABEL, ink, Align::Right)?;
    }
    Ok(())
}
