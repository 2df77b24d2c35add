//! What figures of rows share: a name at the left of each, numbers at the right, one axis between.

use super::FigureError;
use super::frame::{LABEL, SMALL, WIDTH};
use super::pen::{Align, GREY, Pen, RULE};
use super::scale::{Scale, tick_decimals};

/// Room under the last row for the axis.
pub(super) const UNDER: f64 = 42.0;

const WIDEST_NAME: f64 = 170.0;
const WITHHELD: &str = "– withheld";

/// Where rows stand.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rows {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) first: f64,
    pub(super) bottom: f64,
    row: f64,
}

impl Rows {
    /// Rows of one height below `first`, with `numbers` points kept free at the right.
    pub(super) fn new<'n>(names: impl Iterator<Item = &'n str>, first: f64, row: f64, numbers: f64) -> Self {
        let (count, widest) = names.fold((0_usize, 0.0_f64), |(n, w), name| (n + 1, w.max(LABEL.width(name))));
        let bottom = first + row * count as f64;
        Self { left: widest.min(WIDEST_NAME) + 16.0, right: WIDTH - numbers, first, bottom, row }
    }

    pub(super) fn middle_of(&self, row: usize) -> f64 {
        self.first + self.row * (row as f64 + 0.5)
    }

    pub(super) fn scale(&self, domain: (f64, f64)) -> Scale {
        Scale::new(domain, (self.left, self.right))
    }

    /// A line through all rows at each tick, `print`ed below with the decimals that ticks need; zero may stand out.
    pub(super) fn grid(
        &self,
        pen: &Pen<'_, '_>,
        x: &Scale,
        wanted: usize,
        marks_zero: bool,
        print: impl Fn(f64, usize) -> String,
    ) -> Result<(), FigureError> {
        let ticks = x.ticks(wanted);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            let (ink, width) = if marks_zero && tick.abs() < 1e-9 { (GREY, 1.2) } else { (RULE, 0.7) };
            pen.line(&[(x.at(tick), self.first), (x.at(tick), self.bottom)], ink, width)?;
            pen.text((x.at(tick), self.bottom + 12.0), &print(tick, decimals), SMALL, GREY, Align::Middle)?;
        }
        Ok(())
    }

    pub(super) fn axis_title(&self, pen: &Pen<'_, '_>, title: &str) -> Result<(), FigureError> {
        pen.text(((self.left + self.right) / 2.0, self.bottom + 30.0), title, SMALL, GREY, Align::Middle)
    }
}

/// In place of the numbers of a row.
pub(super) fn withheld(pen: &Pen<'_, '_>, y: f64) -> Result<(), FigureError> {
    pen.text((WIDTH, y), WITHHELD, SMALL, GREY, Align::Right)
}
