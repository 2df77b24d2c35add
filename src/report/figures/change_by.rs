//! Before-and-after change by site or by quarter, with the whole group as the line to compare with.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, Pen, RULE, TEAL};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Figure, FigureError, FigureText, ScoreAxis};
use crate::report::wording::{self, figures as words};

/// What the figure shows. Change = endpoint - baseline, in the score's own unit.
#[derive(Clone, PartialEq, Debug)]
pub struct ChangeBy {
    /// The score.
    pub axis: ScoreAxis,
    /// Sites or quarters, in the order drawn.
    pub rows: Vec<ChangeOf>,
    /// Mean change of the whole group.
    pub group: f64,
    /// What to write at it.
    pub group_label: String,
}

/// One site or quarter.
#[derive(Clone, PartialEq, Debug)]
pub struct ChangeOf {
    /// Its name.
    pub label: String,
    /// Its change; absent when withheld.
    pub shown: Option<ChangeShown>,
}

/// A mean change with its 95 % interval.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ChangeShown {
    /// Mean.
    pub mean: f64,
    /// 95 % interval.
    pub low: f64,
    /// 95 % interval.
    pub high: f64,
    /// Episodes with both readings.
    pub episodes: u64,
}

const ROW: f64 = 27.0;
const NUMBERS: f64 = 112.0;
const EPISODES_RIGHT: f64 = WIDTH;
const CHANGE_RIGHT: f64 = WIDTH - 48.0;

/// Draws the change by site or quarter.
pub fn change_by(text: &FigureText, data: &ChangeBy) -> Result<Figure, FigureError> {
    let height = 26.0 + ROW * data.rows.len() as f64 + 42.0;
    framed(text, &words::describe_change_by(data), height, |pen, top| {
        let widest = data.rows.iter().map(|r| LABEL.width(&r.label)).fold(0.0, f64::max);
        let (left, right) = (widest.min(170.0) + 16.0, WIDTH - NUMBERS);
        let first = top + 26.0;
        let bottom = first + ROW * data.rows.len() as f64;
        let values = data.rows.iter().filter_map(|r| r.shown).flat_map(|s| [s.low, s.high]);
        let domain = round_domain(values.chain([0.0, data.group]), 4, (f64::NEG_INFINITY, f64::INFINITY));
        let x = Scale::new(domain, (left, right));

        let ticks = x.ticks(6);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            let is_zero = tick.abs() < 1e-9;
            let (ink, width) = if is_zero { (GREY, 1.2) } else { (RULE, 0.7) };
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], ink, width)?;
            pen.text((x.at(tick), bottom + 12.0), &wording::signed(tick, decimals), SMALL, GREY, Align::Middle)?;
        }
        let axis = words::change_axis(&data.axis);
        pen.text(((left + right) / 2.0, bottom + 30.0), &axis, SMALL, GREY, Align::Middle)?;
        pen.line(&[(x.at(data.group), first - 6.0), (x.at(data.group), bottom)], BLACK, 1.2)?;
        let half = SMALL.width(&data.group_label) / 2.0;
        let place = x.at(data.group).clamp(left + half, right - half);
        pen.text((place, first - 15.0), &data.group_label, SMALL, BLACK, Align::Middle)?;
        pen.text((EPISODES_RIGHT, first - 15.0), "n", SMALL, GREY, Align::Right)?;
        pen.text((CHANGE_RIGHT, first - 15.0), words::CHANGE, SMALL, TEAL, Align::Right)?;
        for (row, change) in data.rows.iter().enumerate() {
            draw_row(pen, &x, first + ROW * (row as f64 + 0.5), change, &data.axis)?;
        }
        Ok(())
    })
}

fn draw_row(pen: &Pen<'_, '_>, x: &Scale, y: f64, row: &ChangeOf, axis: &ScoreAxis) -> Result<(), FigureError> {
    pen.text((0.0, y), &row.label, LABEL, BLACK, Align::Left)?;
    let Some(shown) = row.shown else {
        return pen.text((EPISODES_RIGHT, y), words::WITHHELD_ROW, SMALL, GREY, Align::Right);
    };
    pen.text((EPISODES_RIGHT, y), &wording::count(shown.episodes), SMALL, GREY, Align::Right)?;
    pen.text((CHANGE_RIGHT, y), &wording::signed(shown.mean, axis.decimals), STRONG, TEAL, Align::Right)?;
    pen.line(&[(x.at(shown.low), y), (x.at(shown.high), y)], TEAL, 2.4)?;
    pen.dot((x.at(shown.mean), y), 4.8, TEAL)
}
