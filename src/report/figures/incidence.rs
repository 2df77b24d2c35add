//! How many have responded by each day, and how many had stopped care before they could.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::{lines, spread};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL, TEAL_TINT};
use super::scale::Scale;
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{self, time_to_response as words};
use plotters::style::RGBColor;

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct Incidence {
    /// The share that has responded by the ends of weeks, in order of day; zero on day 0.
    pub points: Vec<IncidenceAt>,
    /// Day and share that stopped early before a response, likewise.
    pub stopped: Vec<(f64, f64)>,
    /// The median time to a response, when it was reached.
    pub median: Option<MedianDay>,
}

/// Shares at a day, 0 to 1.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct IncidenceAt {
    /// Days since the first treated visit.
    pub day: f64,
    /// Share that has responded.
    pub response: f64,
    /// 95 % interval of it.
    pub low: f64,
    /// 95 % interval of it.
    pub high: f64,
}

/// A median with its limits; one that is absent was not reached.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct MedianDay {
    /// Days.
    pub day: f64,
    /// Lower 95 % limit.
    pub low: Option<f64>,
    /// Upper 95 % limit.
    pub high: Option<f64>,
}

const PLOT_HEIGHT: f64 = 220.0;
const ABOVE: f64 = 46.0; // the median and its interval stand over the plot
const LEFT: f64 = 48.0;
const RIGHT: f64 = WIDTH - 124.0;
const LABEL_LEFT: f64 = RIGHT + 14.0;
const SHORTEST: f64 = 28.0; // days on the axis at least

/// Draws the cumulative incidence.
pub fn incidence(text: &FigureText, data: &Incidence) -> Result<Figure, FigureError> {
    framed(text, &words::describe(data), ABOVE + PLOT_HEIGHT + 40.0, |pen, top| {
        let (top, bottom) = (top + ABOVE, top + ABOVE + PLOT_HEIGHT);
        let days = data.points.iter().map(|point| point.day).chain(data.stopped.iter().map(|(day, _)| *day));
        let last = days.fold(SHORTEST, f64::max);
        let x = Scale::new((0.0, last), (LEFT, RIGHT));
        let y = Scale::new((0.0, 1.0), (bottom, top));
        let line = |value: fn(&IncidenceAt) -> f64| joined(data, &x, &y, value);
        let (low, high) = (line(|p| p.low), line(|p| p.high));
        pen.area(&high.iter().chain(low.iter().rev()).copied().collect::<Vec<_>>(), TEAL_TINT)?;
        axes(pen, &x, &y, bottom)?;
        median(pen, &x, data.median.as_ref(), top)?;
        let stopped = data.stopped.iter().map(|(day, share)| (x.at(*day), y.at(*share)));
        let stopped: Vec<_> = std::iter::once((x.at(0.0), y.at(0.0))).chain(stopped).collect();
        pen.dashes(&stopped, OCHRE, 1.6, 5.0, 2.5)?;
        pen.line(&line(|p| p.response), TEAL, 2.2)?;
        labels(pen, &x, &y, data, bottom)
    })
}

/// From nothing on the first day through the points given: what happened on the days between is not known here.
fn joined(data: &Incidence, x: &Scale, y: &Scale, value: fn(&IncidenceAt) -> f64) -> Vec<(f64, f64)> {
    let points = data.points.iter().map(|point| (x.at(point.day), y.at(value(point))));
    std::iter::once((x.at(0.0), y.at(0.0))).chain(points).collect()
}

fn axes(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, bottom: f64) -> Result<(), FigureError> {
    for tick in y.ticks(5) {
        pen.line(&[(LEFT, y.at(tick)), (RIGHT, y.at(tick))], RULE, 0.7)?;
        pen.text((LEFT - 8.0, y.at(tick)), &wording::percent(tick), SMALL, GREY, Align::Right)?;
    }
    let last = x.domain().1;
    let room = |every: &u32| x.at(f64::from(*every)) - x.at(0.0) >= LABEL.width("000") + 8.0;
    let every = [7, 14, 28, 56, 91, 182, 364].into_iter().find(room).unwrap_or(728);
    for day in (0..=last as u32).step_by(every as usize) {
        let at = x.at(f64::from(day));
        pen.line(&[(at, bottom), (at, bottom + 4.0)], GREY, 0.8)?;
        pen.text((at, bottom + 14.0), &day.to_string(), LABEL, BLACK, Align::Middle)?;
    }
    pen.text(((LEFT + RIGHT) / 2.0, bottom + 32.0), words::DAYS_AXIS, SMALL, GREY, Align::Middle)
}

/// The median over the plot, on the same days; an open end where a limit was not reached.
fn median(pen: &Pen<'_, '_>, x: &Scale, median: Option<&MedianDay>, top: f64) -> Result<(), FigureError> {
    let (text_at, line_at) = (top - 38.0, top - 18.0);
    let label = words::median_label(median);
    let Some(median) = median else {
        return pen.text((0.0, line_at), &label, SMALL, BLACK, Align::Left);
    };
    pen.text((0.0, text_at), &label, SMALL, BLACK, Align::Left)?;
    let (low, high) = (x.at(median.low.unwrap_or(0.0)), median.high.map_or(RIGHT, |high| x.at(high)));
    pen.line(&[(low, line_at), (high, line_at)], BLACK, 1.1)?;
    for (end, is_reached) in [(low, median.low.is_some()), (high, median.high.is_some())] {
        if is_reached {
            pen.line(&[(end, line_at - 3.5), (end, line_at + 3.5)], BLACK, 1.1)?;
        }
    }
    pen.dot((x.at(median.day), line_at), 4.0, BLACK)
}

fn labels(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, data: &Incidence, bottom: f64) -> Result<(), FigureError> {
    let (Some(last), Some(stopped)) = (data.points.last(), data.stopped.last()) else { return Ok(()) };
    let ends: [((f64, f64), &str, RGBColor); 2] =
        [((last.day, last.response), words::RESPONDED, TEAL), (*stopped, words::STOPPED, OCHRE)];
    let texts = ends.map(|(_, label, _)| lines(label, SMALL, WIDTH - LABEL_LEFT));
    let height = |text: &Vec<String>| LABEL.line_height() + SMALL.line_height() * text.len() as f64;
    let wanted: Vec<(f64, f64)> =
        ends.iter().zip(&texts).map(|(end, text)| (y.at(end.0.1) - LABEL.line_height() / 2.0, height(text))).collect();
    let tops = spread(&wanted, 6.0, bottom + 4.0);
    for ((((day, share), _, ink), text), top) in ends.iter().zip(&texts).zip(tops) {
        let first = top + LABEL.line_height() / 2.0;
        pen.line(&[(x.at(*day) + 2.0, y.at(*share)), (LABEL_LEFT - 3.0, first)], RULE, 0.9)?;
        pen.text((LABEL_LEFT, first), &wording::percent(*share), STRONG, *ink, Align::Left)?;
        for (row, line) in text.iter().enumerate() {
            let at = top + LABEL.line_height() + SMALL.line_height() * (row as f64 + 0.5);
            pen.text((LABEL_LEFT, at), line, SMALL, *ink, Align::Left)?;
        }
    }
    Ok(())
}
