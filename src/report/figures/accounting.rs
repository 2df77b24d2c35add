//! Where every row of every export went.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, TEAL};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::findings::quality::FileAccount;
use crate::report::edition::Edition;
use crate::report::wording::{count, counted};

/// How to read it.
pub(in crate::report) const READ: &str = "Bars show the rows of each file.";

const FATES: [&str; 3] = ["kept", "duplicate", "rejected"];
const ROW: f64 = 38.0;
const COLUMN: f64 = 66.0;

/// Draws the accounts.
pub(in crate::report) fn draw(edition: &Edition<'_>) -> Result<Figure, FigureError> {
    let (files, total) = (&edition.bulletin.quality.files, &edition.bulletin.quality.total);
    let text = FigureText {
        name: "row-accounts".to_string(),
        title: format!("Of {} read, {} were kept", counted(total.rows_read, "row", "rows"), count(total.rows_kept)),
        subtitle: format!("Data rows of {}; bars to one scale", counted(files.len() as u64, "export", "exports")),
        source: edition.source(None),
    };
    framed(&text, &described(files), 22.0 + ROW * files.len() as f64, |pen, top| {
        let most = files.iter().map(|file| fates(file).iter().sum::<u64>()).max().unwrap_or(1);
        let x = Scale::new((0.0, most as f64), (0.0, WIDTH - 3.0 * COLUMN - 12.0));
        for (column, (heading, ink)) in FATES.into_iter().zip([TEAL, GREY, OCHRE]).enumerate() {
            pen.text((column_right(column), top + 8.0), heading, STRONG, ink, Align::Right)?;
        }
        files.iter().enumerate().try_for_each(|(row, file)| draw_row(pen, &x, top + 22.0 + ROW * row as f64, file))
    })
}

fn fates(file: &FileAccount) -> [u64; 3] {
    [file.rows_kept, file.rows_duplicate, file.rows_rejected]
}

fn described(files: &[FileAccount]) -> String {
    let rows = files.iter().map(|file| {
        let [kept, duplicate, rejected] = fates(file).map(count);
        format!("{}: {kept} kept, {duplicate} duplicate, {rejected} rejected.", file.file)
    });
    rows.collect::<Vec<_>>().join(" ")
}

fn column_right(column: usize) -> f64 {
    WIDTH - (2.0 - column as f64) * COLUMN
}

fn draw_row(pen: &Pen<'_, '_>, x: &Scale, top: f64, file: &FileAccount) -> Result<(), FigureError> {
    pen.text((0.0, top + 8.0), &file.file, SMALL, BLACK, Align::Left)?;
    let mut so_far = 0;
    for (column, (rows, ink)) in fates(file).into_iter().zip([TEAL, GREY, OCHRE]).enumerate() {
        let (from, to) = (x.at(so_far as f64), x.at((so_far + rows) as f64));
        if rows > 0 {
            let gap = if so_far > 0 { 1.0 } else { 0.0 }; // paper between neighbours, for grey printing
            pen.bar((from + gap, top + 18.0), (to.max(from + gap + 1.5), top + 25.0), ink)?;
        }
        so_far += rows;
        pen.text((column_right(column), top + 21.0), &count(rows), LABEL, ink, Align::Right)?;
    }
    Ok(())
}
