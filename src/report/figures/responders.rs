//! Who responded, by each definition, and what the patients without an endpoint could do to it.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::lines;
use super::pen::{Align, BLACK, GREY, GREY_TINT, OCHRE, Pen, RULE, TEAL, WHITE};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{self, figures as words, imputation as words_of_imputation};

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
    /// `n of N`: responders of those with an endpoint.
    pub denominator: String,
    /// Share of those with an endpoint, 0 to 1, with its Wilson interval.
    pub rate: (f64, f64, f64),
    /// Every missing endpoint counted as no response.
    pub worst_case: f64,
    /// Every missing endpoint counted as a response.
    pub best_case: f64,
    /// The rate with the missing imputed, with its interval; shares 0 to 1.
    pub imputed: Option<(f64, f64, f64)>,
}

const LEFT: f64 = 6.0;
const RIGHT: f64 = WIDTH - 6.0;
const NUMBERS: f64 = 86.0;
const BELOW_LABEL: f64 = 48.0;
const IMPUTED: f64 = 20.0; // below the rate, and more room for it

/// Draws the responders.
pub fn responders(text: &FigureText, data: &Responders) -> Result<Figure, FigureError> {
    let labels: Vec<Vec<String>> = data.definitions.iter().map(|d| lines(&d.label, LABEL, WIDTH - NUMBERS)).collect();
    let row_height = |(row, label): (&ResponderDefinition, &Vec<String>)| {
        let imputed = if row.imputed.is_some() { IMPUTED } else { 0.0 };
        label.len() as f64 * LABEL.line_height() + BELOW_LABEL + imputed
    };
    let rows_height: f64 = data.definitions.iter().zip(&labels).map(row_height).sum();
    framed(text, &words::describe_responders(data), 16.0 + rows_height + 34.0, |pen, top| {
        let x = Scale::new((0.0, 1.0), (LEFT, RIGHT));
        let first = top + 16.0;
        let bottom = first + rows_height;
        pen.text((WIDTH, top + 4.0), words::OF_THOSE_WITH_ENDPOINT, SMALL, GREY, Align::Right)?;
        for tick in x.ticks(5) {
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], RULE, 0.7)?;
            let (at, align) = match tick {
                t if t < 0.01 => (0.0, Align::Left),
                t if t > 0.99 => (WIDTH, Align::Right),
                t => (x.at(t), Align::Middle),
            };
            pen.text((at, bottom + 12.0), &wording::percent(tick), SMALL, GREY, align)?;
        }
        pen.text((WIDTH / 2.0, bottom + 28.0), words::RESPONDERS_AXIS, SMALL, GREY, Align::Middle)?;
        let mut row_top = first;
        for (row, (definition, label)) in data.definitions.iter().zip(&labels).enumerate() {
            draw_row(pen, &x, row_top, definition, label, row == 0)?;
            row_top += row_height((definition, label));
        }
        Ok(())
    })
}

fn draw_row(
    pen: &Pen<'_, '_>,
    x: &Scale,
    top: f64,
    definition: &ResponderDefinition,
    label: &[String],
    is_first: bool,
) -> Result<(), FigureError> {
    let step = LABEL.line_height();
    let below = top + step * label.len() as f64;
    pen.bar((0.0, top), (WIDTH, below + 2.0), WHITE)?;
    for (row, line) in label.iter().enumerate() {
        pen.text((0.0, top + step * (row as f64 + 0.5)), line, LABEL, BLACK, Align::Left)?;
    }
    pen.text((WIDTH, top + step * 0.5), &definition.denominator, SMALL, GREY, Align::Right)?;
    let middle = below + 27.0;
    let (worst, best) = (x.at(definition.worst_case), x.at(definition.best_case));
    pen.bar((worst, middle - 6.0), (best, middle + 6.0), GREY_TINT)?;
    pen.interval((worst, middle), (best, middle), 6.0, GREY, 1.0)?;
    let (rate, low, high) = definition.rate;
    pen.line(&[(x.at(low), middle), (x.at(high), middle)], TEAL, 5.0)?;
    pen.dot((x.at(rate), middle), 5.0, TEAL)?;
    pen.text_on_white((x.at(rate), middle - 15.0), &wording::percent(rate), STRONG, TEAL, Align::Middle)?;
    let (worst_label, best_label) = words::worst_and_best(definition.worst_case, definition.best_case, is_first);
    end_label(pen, worst.min(x.at(low)) - 5.0, middle, &worst_label, Align::Right)?;
    end_label(pen, best.max(x.at(high)) + 5.0, middle, &best_label, Align::Left)?;
    match definition.imputed {
        Some(rate) => imputed(pen, x, middle + IMPUTED, rate, is_first),
        None => Ok(()),
    }
}

/// The imputed rate under the one seen, its label towards the middle of the figure, away from those at the edges.
fn imputed(
    pen: &Pen<'_, '_>,
    x: &Scale,
    y: f64,
    (rate, low, high): (f64, f64, f64),
    is_first: bool,
) -> Result<(), FigureError> {
    pen.line(&[(x.at(low), y), (x.at(high), y)], OCHRE, 1.6)?;
    pen.ring((x.at(rate), y), 4.4, OCHRE)?;
    let label = words_of_imputation::label(rate, is_first);
    match rate < 0.5 {
        true => pen.text_on_white((x.at(high) + 7.0, y), &label, SMALL, OCHRE, Align::Left),
        false => pen.text_on_white((x.at(low) - 7.0, y), &label, SMALL, OCHRE, Align::Right),
    }
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
