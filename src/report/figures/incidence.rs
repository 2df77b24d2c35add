//! How many have responded by each day, and how many had stopped care before they could.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::{lines, spread};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL, TEAL_TINT};
use super::scale::Scale;
use super::{Drawn, FigureError, FigureText};
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings};
use crate::findings::curve::{IncidencePoint, TimeToResponse};
use crate::report::edition::Edition;
use crate::report::lookup::shown;
use crate::report::wording::phrases::{capital, within};
use crate::report::wording::time_to_response::{defined, median};
use crate::report::wording::{counted, curve::UNCONTROLLED_IN_BRIEF, decimal, percent, percent_with_interval};
use plotters::style::RGBColor;

/// How to read it.
pub(in crate::report) const READ: &str = "Of all episodes that could respond, the share that had responded by the end of each week, and the \
     share whose care had stopped early before a response; the rest were still waiting or no longer seen. A response counts \
     from the day it was seen; it came some time after the reading before. Weeks in which too few responded or stopped are \
     passed over.";

const DAYS_AXIS: &str = "days since first treated visit";
const RESPONDED: &str = "had responded; tint: 95\u{a0}% interval";
const STOPPED: &str = "had stopped early, before a response";

const PLOT_HEIGHT: f64 = 220.0;
const ABOVE: f64 = 46.0; // the median and its interval stand over the plot
const LEFT: f64 = 48.0;
const RIGHT: f64 = WIDTH - 124.0;
const LABEL_LEFT: f64 = RIGHT + 14.0;
const SHORTEST: f64 = 28.0; // days on the axis at least

/// Draws the incidence by the first definition of which more than the first day may be shown.
pub(in crate::report) fn draw(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
) -> Drawn {
    let is_drawn = |found: &&TimeToResponse| found.incidence.last().is_some_and(|last| last.day > 0.0);
    let Some(found) = outcome.time_to_response.iter().find(is_drawn) else { return Ok(None) };
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "response"),
        title: title(found),
        subtitle: subtitle(&condition.title, &outcome.title, found),
        source: format!("{} {UNCONTROLLED_IN_BRIEF}", edition.source(None)),
    };
    framed(&text, &described(found), ABOVE + PLOT_HEIGHT + 40.0, |pen, top| {
        let (top, bottom) = (top + ABOVE, top + ABOVE + PLOT_HEIGHT);
        let days = found.incidence.iter().map(|point| point.day).chain(found.stopped_by.iter().map(|(day, _)| *day));
        let last = days.fold(SHORTEST, f64::max);
        let x = Scale::new((0.0, last), (LEFT, RIGHT));
        let y = Scale::new((0.0, 1.0), (bottom, top));
        let line = |value: fn(&Estimate) -> f64| joined(found, &x, &y, value);
        let (low, high) = (line(|p| p.low), line(|p| p.high));
        pen.area(&high.iter().chain(low.iter().rev()).copied().collect::<Vec<_>>(), TEAL_TINT)?;
        axes(pen, &x, &y, bottom)?;
        draw_median(pen, &x, found, top)?;
        let stopped = found.stopped_by.iter().map(|(day, share)| (x.at(*day), y.at(*share)));
        let stopped: Vec<_> = std::iter::once((x.at(0.0), y.at(0.0))).chain(stopped).collect();
        pen.dashes(&stopped, OCHRE, 1.6, 5.0, 2.5)?;
        pen.line(&line(|p| p.value), TEAL, 2.2)?;
        labels(pen, &x, &y, found, bottom)
    })
    .map(Some)
}

/// The shares at the last days told.
fn title(found: &TimeToResponse) -> String {
    let Some(last) = found.incidence.last() else { return String::new() };
    let responded = format!("{} had responded by day {}", percent(last.response.value), decimal(last.day, 0));
    match found.stopped_by.last() {
        None | Some((0.0, _)) => responded,
        Some((day, stopped)) if *day == last.day => {
            format!("{responded}, {} had stopped early before they could", percent(*stopped))
        }
        Some((day, stopped)) => {
            format!(
                "{responded}; {} had stopped early before they could by day {}",
                percent(*stopped),
                decimal(*day, 0)
            )
        }
    }
}

fn subtitle(condition: &str, measure: &str, found: &TimeToResponse) -> String {
    let episodes = shown(&found.episodes).map(u64::from);
    let who = episodes.map_or("episodes".to_string(), |n| counted(n, "episode", "episodes"));
    let definition = defined(&found.definition, &found.label);
    format!("{condition}, {}; {who} that could respond. {definition}", within(measure))
}

/// Over the plot.
fn median_label(found: &TimeToResponse) -> String {
    match found.median_day {
        Some(day) => format!(
            "median day {}, were those who stopped to go on like the others",
            median(Some(day), found.median_low, found.median_high)
        ),
        None => "median not reached, even were those who stopped to go on like the others".to_string(),
    }
}

fn described(found: &TimeToResponse) -> String {
    let mut said = format!("{}. ", capital(&median_label(found)));
    let told = |position: usize, of: usize| {
        let (every, last) = (of.div_ceil(10).max(1), of.saturating_sub(1));
        position.is_multiple_of(every) && position + every <= last || position == last
    };
    for (position, IncidencePoint { day, response }) in found.incidence.iter().enumerate() {
        if told(position, found.incidence.len()) {
            let share = percent_with_interval(response.value, response.low, response.high);
            said.push_str(&format!("By day {}: responded {share}. ", decimal(*day, 0)));
        }
    }
    for (position, (day, share)) in found.stopped_by.iter().enumerate() {
        if told(position, found.stopped_by.len()) {
            said.push_str(&format!("By day {}: stopped early {}. ", decimal(*day, 0), percent(*share)));
        }
    }
    said.trim_end().to_string()
}

/// From nothing on the first day through the points given: what happened on the days between is not known here.
fn joined(found: &TimeToResponse, x: &Scale, y: &Scale, value: fn(&Estimate) -> f64) -> Vec<(f64, f64)> {
    let points = found.incidence.iter().map(|point| (x.at(point.day), y.at(value(&point.response))));
    std::iter::once((x.at(0.0), y.at(0.0))).chain(points).collect()
}

fn axes(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, bottom: f64) -> Result<(), FigureError> {
    for tick in y.ticks(5) {
        pen.line(&[(LEFT, y.at(tick)), (RIGHT, y.at(tick))], RULE, 0.7)?;
        pen.text((LEFT - 8.0, y.at(tick)), &percent(tick), SMALL, GREY, Align::Right)?;
    }
    let last = x.domain().1;
    let room = |every: &u32| x.at(f64::from(*every)) - x.at(0.0) >= LABEL.width("000") + 8.0;
    let every = [7, 14, 28, 56, 91, 182, 364].into_iter().find(room).unwrap_or(728);
    for day in (0..=last as u32).step_by(every as usize) {
        let at = x.at(f64::from(day));
        pen.line(&[(at, bottom), (at, bottom + 4.0)], GREY, 0.8)?;
        pen.text((at, bottom + 14.0), &day.to_string(), LABEL, BLACK, Align::Middle)?;
    }
    pen.text(((LEFT + RIGHT) / 2.0, bottom + 32.0), DAYS_AXIS, SMALL, GREY, Align::Middle)
}

/// The median over the plot, on the same days; an open end where a limit was not reached.
fn draw_median(pen: &Pen<'_, '_>, x: &Scale, found: &TimeToResponse, top: f64) -> Result<(), FigureError> {
    let (text_at, line_at) = (top - 38.0, top - 18.0);
    let label = median_label(found);
    let Some(day) = found.median_day else {
        return pen.text((0.0, line_at), &label, SMALL, BLACK, Align::Left);
    };
    pen.text((0.0, text_at), &label, SMALL, BLACK, Align::Left)?;
    let (low, high) = (x.at(found.median_low.unwrap_or(0.0)), found.median_high.map_or(RIGHT, |high| x.at(high)));
    pen.line(&[(low, line_at), (high, line_at)], BLACK, 1.1)?;
    for (end, is_reached) in [(low, found.median_low.is_some()), (high, found.median_high.is_some())] {
        if is_reached {
            pen.line(&[(end, line_at - 3.5), (end, line_at + 3.5)], BLACK, 1.1)?;
        }
    }
    pen.dot((x.at(day), line_at), 4.0, BLACK)
}

fn labels(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, found: &TimeToResponse, bottom: f64) -> Result<(), FigureError> {
    let (Some(last), Some(stopped)) = (found.incidence.last(), found.stopped_by.last()) else { return Ok(()) };
    let ends: [((f64, f64), &str, RGBColor); 2] =
        [((last.day, last.response.value), RESPONDED, TEAL), (*stopped, STOPPED, OCHRE)];
    let texts = ends.map(|(_, label, _)| lines(label, SMALL, WIDTH - LABEL_LEFT));
    let height = |text: &Vec<String>| LABEL.line_height() + SMALL.line_height() * text.len() as f64;
    let wanted: Vec<(f64, f64)> =
        ends.iter().zip(&texts).map(|(end, text)| (y.at(end.0.1) - LABEL.line_height() / 2.0, height(text))).collect();
    let tops = spread(&wanted, 6.0, bottom + 4.0);
    for ((((day, share), _, ink), text), top) in ends.iter().zip(&texts).zip(tops) {
        let first = top + LABEL.line_height() / 2.0;
        pen.line(&[(x.at(*day) + 2.0, y.at(*share)), (LABEL_LEFT - 3.0, first)], RULE, 0.9)?;
        pen.text((LABEL_LEFT, first), &percent(*share), STRONG, *ink, Align::Left)?;
        for (row, line) in text.iter().enumerate() {
            let at = top + LABEL.line_height() + SMALL.line_height() * (row as f64 + 0.5);
            pen.text((LABEL_LEFT, at), line, SMALL, *ink, Align::Left)?;
        }
    }
    Ok(())
}
