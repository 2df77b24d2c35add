//! Where a parameter's variation sits: the share of each level with its interval.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, RULE, TEAL, TEAL_TINT};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{percent, setup_figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct SetupLevels {
    /// The levels, the widest first.
    pub levels: Vec<LevelRow>,
}

/// One level.
#[derive(Clone, PartialEq, Debug)]
pub struct LevelRow {
    /// Its name, as `between sites`.
    pub name: String,
    /// How many groups there are, in words.
    pub groups: String,
    /// Share of the variance with its 95 % interval.
    pub share: (f64, f64, f64),
}

const ROW: f64 = 25.0;
const NUMBERS: f64 = 134.0;

/// Draws the levels.
pub fn setup_levels(text: &FigureText, data: &SetupLevels) -> Result<Figure, FigureError> {
    let height = 8.0 + ROW * data.levels.len() as f64 + 40.0;
    framed(text, &words::describe_levels(data), height, |pen, top| {
        let widest = data.levels.iter().map(|level| LABEL.width(&level.name)).fold(0.0, f64::max);
        let (left, right) = (widest.min(230.0) + 16.0, WIDTH - NUMBERS);
        let (first, bottom) = (top + 8.0, top + 8.0 + ROW * data.levels.len() as f64);
        let x = Scale::new((0.0, 1.0), (left, right));
        for tick in x.ticks(4) {
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], RULE, 0.7)?;
            pen.text((x.at(tick), bottom + 12.0), &percent(tick), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 29.0), words::SHARE_OF_VARIANCE, SMALL, GREY, Align::Middle)?;
        for (position, level) in data.levels.iter().enumerate() {
            let y = first + ROW * (position as f64 + 0.5);
            let (share, low, high) = level.share;
            pen.text((0.0, y), &level.name, LABEL, BLACK, Align::Left)?;
            pen.bar((x.at(0.0), y - 6.0), (x.at(share), y + 6.0), TEAL_TINT)?;
            pen.interval((x.at(low), y), (x.at(high), y), 3.5, TEAL, 1.4)?;
            pen.dot((x.at(share), y), 4.4, TEAL)?;
            pen.text((WIDTH - 86.0, y), &percent(share), STRONG, TEAL, Align::Right)?;
            pen.text((WIDTH, y), &level.groups, SMALL, GREY, Align::Right)?;
        }
        Ok(())
    })
}
