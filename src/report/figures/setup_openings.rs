//! Traction tables by their opening at equal tension, beside their siblings.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, OCHRE, RULE, TEAL};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{count, decimal, setup_figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct SetupOpenings {
    /// The tables in the order drawn.
    pub rows: Vec<OpeningRow>,
}

/// One table.
#[derive(Clone, PartialEq, Debug)]
pub struct OpeningRow {
    /// Its site and code.
    pub name: String,
    /// Visits.
    pub visits: u32,
    /// Opening at equal tension with its 95 % interval, mm.
    pub opening: (f64, f64, f64),
    /// That of its siblings at the site, mm.
    pub siblings: Option<f64>,
    /// Whether it is a finding.
    pub stands_out: bool,
}

const ROW: f64 = 26.0;
const NUMBERS: f64 = 58.0;
const HEAD: f64 = 30.0;

/// Draws the tables.
pub fn setup_openings(text: &FigureText, data: &SetupOpenings) -> Result<Figure, FigureError> {
    let height = HEAD + ROW * data.rows.len() as f64 + 40.0;
    framed(text, &words::describe_openings(data), height, |pen, top| {
        let widest = data.rows.iter().map(|row| STRONG.width(&row.name)).fold(0.0, f64::max);
        let (left, right) = (widest.min(190.0) + 16.0, WIDTH - NUMBERS);
        let (first, bottom) = (top + HEAD, top + HEAD + ROW * data.rows.len() as f64);
        let values =
            data.rows.iter().flat_map(|row| [row.opening.1, row.opening.2, row.siblings.unwrap_or(row.opening.0)]);
        let x = Scale::new(round_domain(values, 4, (f64::NEG_INFINITY, f64::INFINITY)), (left, right));
        let ticks = x.ticks(6);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], RULE, 0.7)?;
            pen.text((x.at(tick), bottom + 12.0), &decimal(tick, decimals), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 29.0), words::OPENING_AXIS, SMALL, GREY, Align::Middle)?;
        pen.text((WIDTH, first - 13.0), words::VISITS, SMALL, GREY, Align::Right)?;
        if data.rows.iter().any(|row| row.siblings.is_some()) {
            let label = words::SIBLINGS_TICK;
            pen.text((right, first - 13.0), label, SMALL, BLACK, Align::Right)?;
            let tick = right - SMALL.width(label) - 8.0;
            pen.line(&[(tick, first - 20.0), (tick, first - 6.0)], BLACK, 2.0)?;
        }
        for (position, row) in data.rows.iter().enumerate() {
            let y = first + ROW * (position as f64 + 0.5);
            let (face, ink, mark) = if row.stands_out { (STRONG, OCHRE, OCHRE) } else { (LABEL, BLACK, TEAL) };
            let (value, low, high) = row.opening;
            pen.text((0.0, y), &row.name, face, ink, Align::Left)?;
            if let Some(siblings) = row.siblings {
                pen.line(&[(x.at(siblings), y - 8.0), (x.at(siblings), y + 8.0)], BLACK, 2.0)?;
            }
            pen.interval((x.at(low), y), (x.at(high), y), 3.5, mark, 1.8)?;
            pen.dot((x.at(value), y), 4.6, mark)?;
            if row.stands_out {
                let ends = (
                    x.at(low).min(x.at(row.siblings.unwrap_or(low))),
                    x.at(high).max(x.at(row.siblings.unwrap_or(high))),
                );
                let width = SMALL.width(words::LOOK_AT_IT);
                let (at, align) = if ends.1 + 10.0 + width < right {
                    (ends.1 + 10.0, Align::Left)
                } else {
                    (ends.0 - 10.0, Align::Right)
                };
                pen.text_on_white((at, y), words::LOOK_AT_IT, SMALL, OCHRE, align)?;
            }
            pen.text((WIDTH, y), &count(u64::from(row.visits)), SMALL, GREY, Align::Right)?;
        }
        Ok(())
    })
}
