//! Who responded, by each definition, and what the patients without an endpoint could do to it.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::lines;
use super::pen::{Align, BLACK, GREY, GREY_TINT, OCHRE, Pen, RULE, TEAL, WHITE};
use super::scale::Scale;
use super::{Drawn, FigureError, FigureText};
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings, Period, ResponderRow};
use crate::report::edition::Edition;
use crate::report::lookup::{responder_row, shown};
use crate::report::wording::{WITHHELD, figures as words, percent, percent_with_interval, phrases};

const OF_THOSE_WITH_ENDPOINT: &str = "responders of those with an outcome";
const AXIS: &str = "share that responded";

const LEFT: f64 = 6.0;
const RIGHT: f64 = WIDTH - 6.0;
const NUMBERS: f64 = 86.0;
const BELOW_LABEL: f64 = 48.0;
const IMPUTED: f64 = 20.0; // below the rate, and more room for it

/// How to read it.
pub(in crate::report) fn read(is_imputed: bool) -> String {
    let mut text = String::from(
        "Dot and bar: rate among those with an outcome and its 95\u{a0}% interval. Bracket: from every missing outcome \
         counted as a failure to every one counted as a success.",
    );
    if is_imputed {
        text.push_str(" Open ring and ochre line: the rate with the missing imputed, and its 95\u{a0}% interval.");
    }
    text
}

/// A definition of a response, with what may be shown by it.
struct Row<'o> {
    key: &'o str,
    label: &'o str,
    row: &'o ResponderRow,
    rate: Estimate,
    worst: f64,
    best: f64,
    imputed: Option<Estimate>,
}

impl<'o> Row<'o> {
    fn of(outcome: &'o OutcomeFindings, period: &Period, (key, label): &'o (String, String)) -> Option<Self> {
        let row = responder_row(outcome, period, None, key)?;
        let (rate, imputed) = (shown(&row.rate)?, shown(&row.imputed));
        Some(Self { key, label, row, rate, worst: shown(&row.worst_case)?, best: shown(&row.best_case)?, imputed })
    }

    fn name(&self) -> String {
        phrases::definition(self.key, self.label)
    }

    /// `n of N`: responders of those with an endpoint.
    fn denominator(&self) -> String {
        match (shown(&self.row.responders), shown(&self.row.with_outcome)) {
            (Some(responders), Some(with)) => words::of(u64::from(responders), u64::from(with)),
            _ => WITHHELD.to_string(),
        }
    }

    fn described(&self) -> String {
        let with_interval = |rate: &Estimate| percent_with_interval(rate.value, rate.low, rate.high);
        let imputed = self.imputed.map(|rate| format!("; with the missing imputed {}", with_interval(&rate)));
        format!(
            "{}: {}, {} with an outcome; worst case {}, best case {}{}.",
            self.name(),
            with_interval(&self.rate),
            self.denominator(),
            percent(self.worst),
            percent(self.best),
            imputed.unwrap_or_default()
        )
    }
}

/// Draws the responders; none where no definition may be shown.
pub(in crate::report) fn draw(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
    period: &Period,
) -> Drawn {
    let rows: Vec<Row<'_>> = outcome.definitions.iter().filter_map(|of| Row::of(outcome, period, of)).collect();
    let Some(first) = rows.first() else { return Ok(None) };
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "responders"),
        title: format!(
            "{} of those with both readings {}; of all between {} and {}",
            percent(first.rate.value),
            phrases::reached(first.key, first.label),
            percent(first.worst),
            percent(first.best)
        ),
        subtitle: words::due_episodes(condition, outcome, period),
        source: edition.source(None),
    };
    let labels: Vec<Vec<String>> = rows.iter().map(|row| lines(&row.name(), LABEL, WIDTH - NUMBERS)).collect();
    let row_height = |(row, label): (&Row<'_>, &Vec<String>)| {
        let imputed = if row.imputed.is_some() { IMPUTED } else { 0.0 };
        label.len() as f64 * LABEL.line_height() + BELOW_LABEL + imputed
    };
    let rows_height: f64 = rows.iter().zip(&labels).map(row_height).sum();
    let description = rows.iter().map(Row::described).collect::<Vec<_>>().join(" ");
    framed(&text, &description, 16.0 + rows_height + 34.0, |pen, top| {
        let x = Scale::new((0.0, 1.0), (LEFT, RIGHT));
        let first = top + 16.0;
        let bottom = first + rows_height;
        pen.text((WIDTH, top + 4.0), OF_THOSE_WITH_ENDPOINT, SMALL, GREY, Align::Right)?;
        for tick in x.ticks(5) {
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], RULE, 0.7)?;
            let (at, align) = match tick {
                t if t < 0.01 => (0.0, Align::Left),
                t if t > 0.99 => (WIDTH, Align::Right),
                t => (x.at(t), Align::Middle),
            };
            pen.text((at, bottom + 12.0), &percent(tick), SMALL, GREY, align)?;
        }
        pen.text((WIDTH / 2.0, bottom + 28.0), AXIS, SMALL, GREY, Align::Middle)?;
        let mut row_top = first;
        for (position, (row, label)) in rows.iter().zip(&labels).enumerate() {
            draw_row(pen, &x, row_top, row, label, position == 0)?;
            row_top += row_height((row, label));
        }
        Ok(())
    })
    .map(Some)
}

fn draw_row(
    pen: &Pen<'_, '_>,
    x: &Scale,
    top: f64,
    row: &Row<'_>,
    label: &[String],
    is_first: bool,
) -> Result<(), FigureError> {
    let step = LABEL.line_height();
    let below = top + step * label.len() as f64;
    pen.bar((0.0, top), (WIDTH, below + 2.0), WHITE)?;
    for (position, line) in label.iter().enumerate() {
        pen.text((0.0, top + step * (position as f64 + 0.5)), line, LABEL, BLACK, Align::Left)?;
    }
    pen.text((WIDTH, top + step * 0.5), &row.denominator(), SMALL, GREY, Align::Right)?;
    let middle = below + 27.0;
    let (worst, best) = (x.at(row.worst), x.at(row.best));
    pen.bar((worst, middle - 6.0), (best, middle + 6.0), GREY_TINT)?;
    pen.interval((worst, middle), (best, middle), 6.0, GREY, 1.0)?;
    let Estimate { value: rate, low, high } = row.rate;
    pen.line(&[(x.at(low), middle), (x.at(high), middle)], TEAL, 5.0)?;
    pen.dot((x.at(rate), middle), 5.0, TEAL)?;
    pen.text_on_white((x.at(rate), middle - 15.0), &percent(rate), STRONG, TEAL, Align::Middle)?;
    let (worst_label, best_label) = worst_and_best(row, is_first);
    end_label(pen, worst.min(x.at(low)) - 5.0, middle, &worst_label, Align::Right)?;
    end_label(pen, best.max(x.at(high)) + 5.0, middle, &best_label, Align::Left)?;
    match row.imputed {
        Some(rate) => imputed(pen, x, middle + IMPUTED, rate, is_first),
        None => Ok(()),
    }
}

/// The imputed rate under the one seen, its label towards the middle of the figure, away from those at the edges.
fn imputed(
    pen: &Pen<'_, '_>,
    x: &Scale,
    y: f64,
    Estimate { value: rate, low, high }: Estimate,
    is_first: bool,
) -> Result<(), FigureError> {
    pen.line(&[(x.at(low), y), (x.at(high), y)], OCHRE, 1.6)?;
    pen.ring((x.at(rate), y), 4.4, OCHRE)?;
    let share = percent(rate);
    let label = if is_first { format!("missing imputed {share}") } else { share };
    match rate < 0.5 {
        true => pen.text_on_white((x.at(high) + 7.0, y), &label, SMALL, OCHRE, Align::Left),
        false => pen.text_on_white((x.at(low) - 7.0, y), &label, SMALL, OCHRE, Align::Right),
    }
}

/// What stands at the ends of the bracket; the first row says what they are.
fn worst_and_best(row: &Row<'_>, is_first: bool) -> (String, String) {
    let (worst, best) = (percent(row.worst), percent(row.best));
    if is_first { (format!("worst case {worst}"), format!("best case {best}")) } else { (worst, best) }
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
