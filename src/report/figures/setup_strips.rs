//! A parameter's values by site: quantiles as nested bars, with what the standard asks.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::spread;
use super::pen::{Align, BLACK, GREY, GREY_TINT, OCHRE, Pen, RULE, TEAL_DEEP, TEAL_MID, TEAL_TINT};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{count, decimal, setup_figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct SetupStrips {
    /// The parameter with its unit.
    pub axis: String,
    /// Symbol of the unit.
    pub unit: String,
    /// Decimals for people.
    pub decimals: usize,
    /// What the standard asks: aim, least, most; absent when it asks for nothing, or for several things.
    pub asked: Option<(f64, f64, f64)>,
    /// What it asks where that differs by position: word and aim.
    pub aims: Vec<(String, f64)>,
    /// The group, then the sites.
    pub rows: Vec<StripRow>,
}

/// One row.
#[derive(Clone, PartialEq, Debug)]
pub struct StripRow {
    /// Its name.
    pub name: String,
    /// Visits.
    pub visits: u32,
    /// 5, 10, 25, 50, 75, 90, 95 %; absent when withheld.
    pub quantiles: Option<[f64; 7]>,
    /// Whether it is the whole group.
    pub is_group: bool,
    /// Whether a finding is about it.
    pub stands_out: bool,
}

const ROW: f64 = 24.0;
const NUMBERS: f64 = 58.0;
const HEAD: f64 = 34.0;
/// First and last quantile of a bar, half its height, and its ink.
const BARS: [(usize, usize, f64, plotters::style::RGBColor); 3] =
    [(0, 6, 4.0, TEAL_TINT), (1, 5, 5.5, TEAL_MID), (2, 4, 7.0, TEAL_DEEP)];

/// Draws the strips.
pub fn setup_strips(text: &FigureText, data: &SetupStrips) -> Result<Figure, FigureError> {
    let height = HEAD + ROW * data.rows.len() as f64 + 40.0;
    framed(text, &words::describe_strips(data), height, |pen, top| {
        let widest = data.rows.iter().map(|row| STRONG.width(&row.name)).fold(0.0, f64::max);
        let (left, right) = (widest.min(170.0) + 16.0, WIDTH - NUMBERS);
        let (first, bottom) = (top + HEAD, top + HEAD + ROW * data.rows.len() as f64);
        let values = data.rows.iter().filter_map(|row| row.quantiles).flatten();
        let asked = data.asked.iter().flat_map(|(aim, low, high)| [*aim, *low, *high]);
        let aims = data.aims.iter().map(|(_, aim)| *aim);
        let ends = (f64::NEG_INFINITY, f64::INFINITY);
        let x = Scale::new(round_domain(values.chain(asked).chain(aims), 5, ends), (left, right));
        if let Some((_, low, high)) = data.asked {
            pen.bar((x.at(low), first), (x.at(high), bottom), GREY_TINT)?;
        }
        let ticks = x.ticks(6);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], RULE, 0.6)?;
            pen.text((x.at(tick), bottom + 12.0), &decimal(tick, decimals), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 29.0), &data.axis, SMALL, GREY, Align::Middle)?;
        draw_asked(pen, data, &x, (first, bottom))?;
        pen.text((WIDTH, first - 12.0), words::VISITS, SMALL, GREY, Align::Right)?;
        for (position, row) in data.rows.iter().enumerate() {
            let y = first + ROW * (position as f64 + 0.5);
            let (face, ink) = match (row.stands_out, row.is_group) {
                (true, _) => (STRONG, OCHRE),
                (false, true) => (STRONG, BLACK),
                (false, false) => (LABEL, BLACK),
            };
            pen.text((0.0, y), &row.name, face, ink, Align::Left)?;
            let Some(q) = row.quantiles else {
                pen.text((WIDTH, y), words::WITHHELD, SMALL, GREY, Align::Right)?;
                continue;
            };
            for (low, high, half, tint) in BARS {
                if let (Some(low), Some(high)) = (q.get(low), q.get(high)) {
                    pen.bar((x.at(*low), y - half), (x.at(*high).max(x.at(*low) + 1.0), y + half), tint)?;
                }
            }
            let median = x.at(q[3]);
            pen.line(&[(median, y - 9.0), (median, y + 9.0)], if row.stands_out { OCHRE } else { BLACK }, 2.4)?;
            pen.text((WIDTH, y), &count(u64::from(row.visits)), SMALL, GREY, Align::Right)?;
        }
        Ok(())
    })
}

/// The standard's aim as a line, with the edges of its tolerance, named above the rows.
fn draw_asked(
    pen: &Pen<'_, '_>,
    data: &SetupStrips,
    x: &Scale,
    (first, bottom): (f64, f64),
) -> Result<(), FigureError> {
    let mut marks: Vec<(f64, String)> = data.aims.iter().map(|(word, aim)| (*aim, word.clone())).collect();
    if let Some((aim, low, high)) = data.asked {
        for edge in [low, high] {
            if (edge - aim).abs() > 1e-9 {
                pen.line(&[(x.at(edge), first - 4.0), (x.at(edge), bottom)], GREY, 0.7)?;
                marks.push((edge, decimal(edge, data.decimals)));
            }
        }
        marks.push((aim, words::aim(aim, data.decimals)));
    }
    for (_, aim) in &data.aims {
        pen.dashes(&[(x.at(*aim), first - 4.0), (x.at(*aim), bottom)], BLACK, 1.0, 4.0, 3.0)?;
    }
    if let Some((aim, _, _)) = data.asked {
        pen.line(&[(x.at(aim), first - 4.0), (x.at(aim), bottom)], BLACK, 1.0)?;
    }
    let wanted: Vec<(f64, f64)> = marks
        .iter()
        .map(|(value, label)| {
            let width = SMALL.width(label);
            (x.at(*value) - width / 2.0, width)
        })
        .collect();
    let lefts = spread(&wanted, 7.0, WIDTH - NUMBERS + 10.0);
    for (((_, label), left), (_, width)) in marks.iter().zip(lefts).zip(wanted) {
        pen.text((left + width / 2.0, first - 12.0), label, SMALL, BLACK, Align::Middle)?;
    }
    Ok(())
}
