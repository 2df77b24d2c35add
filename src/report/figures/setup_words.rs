//! A yes or no, or words, by site: shares of visits as one bar a row.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::spread;
use super::pen::{Align, BLACK, GREY, GREY_TINT, OCHRE, RULE, TEAL, TEAL_MID, TEAL_TINT, WHITE};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{count, percent, setup_figures as words};
use plotters::style::RGBColor;

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct SetupWords {
    /// The words, in the order drawn; what the standard asks first.
    pub words: Vec<String>,
    /// The group, then the sites.
    pub rows: Vec<WordsRow>,
}

/// One row.
#[derive(Clone, PartialEq, Debug)]
pub struct WordsRow {
    /// Its name.
    pub name: String,
    /// Visits.
    pub visits: u32,
    /// Share of each word; absent when withheld.
    pub shares: Option<Vec<f64>>,
    /// Whether it is the whole group.
    pub is_group: bool,
    /// Whether a finding is about it.
    pub stands_out: bool,
}

const ROW: f64 = 25.0;
const NUMBERS: f64 = 58.0;
const HEAD: f64 = 32.0;
const TINTS: [RGBColor; 4] = [TEAL, TEAL_MID, TEAL_TINT, GREY_TINT];
/// A narrower part has no number in it.
const NARROWEST: f64 = 34.0;

/// Draws the shares.
pub fn setup_words(text: &FigureText, data: &SetupWords) -> Result<Figure, FigureError> {
    let height = HEAD + ROW * data.rows.len() as f64 + 24.0;
    framed(text, &words::describe_words(data), height, |pen, top| {
        let widest = data.rows.iter().map(|row| STRONG.width(&row.name)).fold(0.0, f64::max);
        let (left, right) = (widest.min(170.0) + 16.0, WIDTH - NUMBERS);
        let (first, bottom) = (top + HEAD, top + HEAD + ROW * data.rows.len() as f64);
        let x = Scale::new((0.0, 1.0), (left, right));
        for tick in x.ticks(4) {
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom + 3.0)], RULE, 0.7)?;
            pen.text((x.at(tick), bottom + 13.0), &percent(tick), SMALL, GREY, Align::Middle)?;
        }
        pen.text((WIDTH, first - 12.0), words::VISITS, SMALL, GREY, Align::Right)?;
        if let Some(shares) = data.rows.iter().find_map(|row| row.shares.as_ref()) {
            let mut from = 0.0;
            let wanted: Vec<(f64, f64)> = data
                .words
                .iter()
                .zip(shares)
                .map(|(word, share)| {
                    let middle = x.at(from + share / 2.0);
                    from += share;
                    (middle - STRONG.width(word) / 2.0, STRONG.width(word))
                })
                .collect();
            let lefts = spread(&wanted, 12.0, right + 12.0);
            for (position, ((word, at), (_, width))) in data.words.iter().zip(lefts).zip(wanted).enumerate() {
                let (face, ink) = if position == 0 { (STRONG, TEAL) } else { (SMALL, GREY) };
                pen.text((at.max(left) + width / 2.0, first - 12.0), word, face, ink, Align::Middle)?;
            }
        }
        for (position, row) in data.rows.iter().enumerate() {
            let y = first + ROW * (position as f64 + 0.5);
            let (face, ink) = match (row.stands_out, row.is_group) {
                (true, _) => (STRONG, OCHRE),
                (false, true) => (STRONG, BLACK),
                (false, false) => (LABEL, BLACK),
            };
            pen.text((0.0, y), &row.name, face, ink, Align::Left)?;
            let Some(shares) = &row.shares else {
                pen.text((WIDTH, y), words::WITHHELD, SMALL, GREY, Align::Right)?;
                continue;
            };
            let mut from = 0.0;
            for (part, share) in shares.iter().enumerate() {
                let (start, end) = (x.at(from), x.at(from + share));
                from += share;
                let tint = TINTS.get(part).copied().unwrap_or(GREY_TINT);
                pen.bar((start, y - 8.0), (end, y + 8.0), tint)?;
                pen.line(&[(end, y - 8.0), (end, y + 8.0)], WHITE, 1.2)?;
                if end - start > NARROWEST {
                    let ink = if part == 0 { WHITE } else { BLACK };
                    pen.text(((start + end) / 2.0, y), &percent(*share), SMALL, ink, Align::Middle)?;
                }
            }
            pen.text((WIDTH, y), &count(u64::from(row.visits)), SMALL, GREY, Align::Right)?;
        }
        Ok(())
    })
}
