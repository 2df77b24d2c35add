//! Who responded, by each definition, and what the patients without an endpoint could do to it.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, GREY_TINT, Pen, RULE, TEAL};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{self, figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct Responders {
    /// One row a definition.
    pub definitions: Vec<ResponderDefinition>,
}

/// One definition of a response.
#[derive(Clone, PartialEq, Debug)]
pub struct ResponderDefinition {
    /// The definition in words.
    pub label: String,
    /// `n of N with an endpoint`.
    pub denominator: String,
    /// Share of those with an endpoint, 0 to 1, with its Wilson interval.
    pub rate: (f64, f64, f64),
    /// Every missing endpoint counted as no response.
    pub worst_case: f64,
    /// Every missing endpoint counted as a response.
    pub best_case: f64,
}

const ROW: f64 = 66.0;
const LEFT: f64 = 6.0;
const RIGHT: f64 = WIDTH - 6.0;

/// Draws the responders.
pub fn responders(text: &FigureText, data: &Responders) -> Result<Figure, FigureError> {
    let height = ROW * data.definitions.len() as f64 + 34.0;
    framed(text, &words::describe_responders(data), height, |pen, top| {
        let x = Scale::new((0.0, 1.0), (LEFT, RIGHT));
        let bottom = top + ROW * data.definitions.len() as f64;
        for tick in x.ticks(5) {
            pen.line(&[(x.at(tick), top + 20.0), (x.at(tick), bottom)], RULE, 0.7)?;
            let label = wording::percent(tick);
            let align = match tick {
                t if t < 0.01 => Align::Left,
                t if t > 0.99 => Align::Right,
                _ => Align::Middle,
            };
            let at = if align == Align::Middle { x.at(tick) } else if tick < 0.5 { 0.0 } else { WIDTH };
            pen.text((at, bottom + 12.0), &label, SMALL, GREY, align)?;
        }
        pen.text((WIDTH / 2.0, bottom + 28.0), words::RESPONDERS_AXIS, SMALL, GREY, Align::Middle)?;
        for (row, definition) in data.definitions.iter().enumerate() {
            draw_row(pen, &x, top + ROW * row as f64, definition, row == 0)?;
        }
        Ok(())
    })
}

fn draw_row(
    pen: &Pen<'_, '_>,
    x: &Scale,
    top: f64,
    definition: &ResponderDefinition,
    is_first: bool,
) -> Result<(), FigureError> {
    pen.bar((0.0, top), (WIDTH, top + 19.0), super::pen::WHITE)?;
    pen.text((0.0, top + 9.0), &definition.label, LABEL, BLACK, Align::Left)?;
    pen.text((WIDTH, top + 9.0), &definition.denominator, SMALL, GREY, Align::Right)?;
    let middle = top + 45.0;
    let (worst, best) = (x.at(definition.worst_case), x.at(definition.best_case));
    pen.bar((worst, middle - 6.0), (best, middle + 6.0), GREY_TINT)?;
    pen.interval((worst, middle), (best, middle), 6.0, GREY, 1.0)?;
    let (rate, low, high) = definition.rate;
    pen.line(&[(x.at(low), middle), (x.at(high), middle)], TEAL, 5.0)?;
    pen.dot((x.at(rate), middle), 5.0, TEAL)?;
    pen.text_on_white((x.at(rate), middle - 15.0), &wording::percent(rate), STRONG, TEAL, Align::Middle)?;
    let (worst_label, best_label) = words::worst_and_best(definition.worst_case, definition.best_case, is_first);
    end_label(pen, worst - 5.0, middle, &worst_label, Align::Right)?;
    end_label(pen, best + 5.0, middle, &best_label, Align::Left)
}

/// A label beside the end of the bracket, or under it where the edge of the figure is too near.
fn end_label(pen: &Pen<'_, '_>, x: f64, middle: f64, label: &str, align: Align) -> Result<(), FigureError> {
    let width = SMALL.width(label);
    let fits = match align {
        Align::Right => x - width >= 0.0,
        _ => x + width <= WIDTH,
    };
    if fits {
        return pen.text_on_white((x, middle), label, SMALL, GREY, align);
    }
    let edge = if align == Align::Right { 0.0 } else { WIDTH };
    let inward = if align == Align::Right { Align::Left } else { Align::Right };
    pen.text_on_white((edge, middle + 14.0), label, SMALL, GREY, inward)
}
