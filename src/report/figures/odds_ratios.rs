//! Odds ratios in rows on a scale of ratios, with their E-values in the margin.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::report::wording::dose_figures as words;

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct OddsRatios {
    /// Exposures in the order drawn.
    pub rows: Vec<OddsRow>,
}

/// An exposure.
#[derive(Clone, PartialEq, Debug)]
pub struct OddsRow {
    /// Its name.
    pub exposure: String,
    /// The step that the odds ratios are for.
    pub step: String,
    /// Its outcomes.
    pub outcomes: Vec<OddsOf>,
}

/// An outcome.
#[derive(Clone, PartialEq, Debug)]
pub struct OddsOf {
    /// Its name.
    pub outcome: String,
    /// Odds ratio, positive.
    pub ratio: f64,
    /// Its limits, positive.
    pub limits: (f64, f64),
    /// E-value of the estimate and of the nearer limit.
    pub e_values: (f64, f64),
    /// Whether it is more than chance explains.
    pub stands_out: bool,
}

const HEADING: f64 = 22.0;
const ROW: f64 = 19.0;
const ABOVE: f64 = 24.0;
const UNDER: f64 = 42.0;
const LEFT: f64 = 84.0;
/// Where the odds ratios end, and the plot some way before them.
const ODDS_END: f64 = WIDTH - 58.0;
const PLOT_END: f64 = WIDTH - 184.0;
/// The widest scale, as a ratio to either side of 1.
const WIDEST: f64 = 8.0;
/// Ticks of narrow and of wide scales, from the narrowest.
const TICKS: [(f64, &[f64]); 4] = [
    (1.25, &[0.8, 0.9, 1.0, 1.1, 1.25]),
    (2.0, &[0.5, 0.7, 1.0, 1.4, 2.0]),
    (4.0, &[0.25, 0.5, 1.0, 2.0, 4.0]),
    (WIDEST, &[0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0]),
];

/// Draws the rows.
pub fn odds_ratios(text: &FigureText, data: &OddsRatios) -> Result<Figure, FigureError> {
    let inside: f64 = data.rows.iter().map(|row| HEADING + ROW * row.outcomes.len() as f64).sum();
    framed(text, &words::describe_odds(data), ABOVE + inside + UNDER, |pen, top| {
        let (first, bottom) = (top + ABOVE, top + ABOVE + inside);
        let (reach, ticks) = reach(data);
        let x = Scale::new((-reach.ln(), reach.ln()), (LEFT, PLOT_END));
        for tick in ticks {
            let place = x.at(tick.ln());
            pen.line(&[(place, first), (place, bottom)], RULE, 0.7)?;
            pen.text((place, bottom + 12.0), &words::ratio_tick(*tick), SMALL, GREY, Align::Middle)?;
        }
        pen.line(&[(x.at(0.0), first - 4.0), (x.at(0.0), bottom)], BLACK, 1.2)?;
        pen.text((x.at(0.0) - 6.0, bottom + 29.0), words::LESS, SMALL, GREY, Align::Right)?;
        pen.text((x.at(0.0) + 6.0, bottom + 29.0), words::MORE, SMALL, GREY, Align::Left)?;
        pen.text((ODDS_END, top + 9.0), words::ODDS_RATIO, SMALL, GREY, Align::Right)?;
        pen.text((WIDTH, top + 9.0), words::E_VALUE, SMALL, GREY, Align::Right)?;
        let mut y = first;
        for row in &data.rows {
            let middle = y + HEADING / 2.0 + 2.0;
            pen.text_on_white((0.0, middle), &row.exposure, STRONG, BLACK, Align::Left)?;
            pen.text_on_white((STRONG.width(&row.exposure) + 8.0, middle), &row.step, SMALL, GREY, Align::Left)?;
            y += HEADING;
            for of in &row.outcomes {
                draw_row(pen, of, &x, y + ROW / 2.0)?;
                y += ROW;
            }
        }
        Ok(())
    })
}

fn draw_row(pen: &Pen<'_, '_>, of: &OddsOf, x: &Scale, y: f64) -> Result<(), FigureError> {
    let (face, ink) = if of.stands_out { (STRONG, OCHRE) } else { (SMALL, TEAL) };
    pen.text((10.0, y), &of.outcome, LABEL, BLACK, Align::Left)?;
    pen.line(&[(x.at(of.limits.0.ln()), y), (x.at(of.limits.1.ln()), y)], ink, 2.2)?;
    if x.holds(of.ratio.ln()) {
        pen.dot((x.at(of.ratio.ln()), y), 4.4, ink)?;
    }
    pen.text((ODDS_END, y), &words::odds(of), face, ink, Align::Right)?;
    pen.text((WIDTH, y), &words::e_values(of), SMALL, GREY, Align::Right)
}

/// The narrowest scale that holds all limits, with its ticks.
fn reach(data: &OddsRatios) -> (f64, &'static [f64]) {
    let limits = data.rows.iter().flat_map(|row| &row.outcomes).flat_map(|of| [of.limits.0, of.limits.1]);
    let furthest = limits.map(|limit| limit.max(1.0 / limit)).filter(|limit| limit.is_finite()).fold(1.0, f64::max);
    TICKS.into_iter().find(|(reach, _)| *reach >= furthest).unwrap_or((WIDEST, TICKS[3].1))
}
