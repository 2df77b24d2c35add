//! Every possible threshold at once: the share of patients who improved at least so much.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::lines;
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL};
use super::scale::{Scale, tick_decimals};
use super::{Drawn, FigureError, FigureText, score_axis};
use crate::findings::bulletin::{ConditionFindings, OutcomeFindings, Period};
use crate::report::edition::Edition;
use crate::report::lookup::{change_row, shown};
use crate::report::wording::{self, decimal, figures as words, percent, phrases};

/// How to read it.
pub(in crate::report) const READ: &str =
    "Choose a threshold below; the height of the line is the share that improved by that much or more.";

const NO_CHANGE: &str = "no change";
const WORST_CASE: &str = "all, the missing counted as not improved";

const PLOT_HEIGHT: f64 = 230.0;
const LEFT: f64 = 48.0;
const RIGHT: f64 = WIDTH - 14.0;

/// (improvement, share of those with an endpoint who improved at least so much, the same with every missing endpoint
/// counted as no improvement).
type Point = (f64, f64, f64);

/// Draws the distribution of change; none where no threshold is told that half of the patients reach.
pub(in crate::report) fn draw(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
) -> Drawn {
    let mut points = outcome.cumulative.clone();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(&typical) = points.iter().rev().find(|point| point.1 >= 0.5) else { return Ok(None) };
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "distribution"),
        title: title(typical.0, outcome),
        subtitle: words::due_episodes(condition, outcome, &Period::All),
        source: edition.source(None),
    };
    let episodes = change_row(outcome, &Period::All, None).and_then(|row| shown(&row.episodes));
    let with_endpoint_label = match episodes {
        Some(n) => format!("{} episodes with both readings", wording::count(u64::from(n))),
        None => "episodes with both readings".to_string(),
    };
    let axis = format!("improved by at least so much: {}", score_axis::change(outcome));
    let description = format!("{axis}. {}.", described(&points, outcome.decimals));
    framed(&text, &description, 30.0 + PLOT_HEIGHT + 40.0, |pen, top| {
        let (top, bottom) = (top + 30.0, top + 30.0 + PLOT_HEIGHT);
        let ends = points.iter().map(|p| p.0).chain([0.0]);
        let domain = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let x = Scale::new(domain, (LEFT, RIGHT));
        let y = Scale::new((0.0, 1.0), (bottom, top));
        axes(pen, &x, &y, &axis, bottom)?;
        no_change(pen, &x, &y, top)?;
        mark(pen, &x, &y, &half_reach(typical.0, outcome.decimals), typical.0, top)?;
        let with_endpoint = steps(points.iter().map(|p| (x.at(p.0), y.at(p.1))));
        let worst = steps(points.iter().map(|p| (x.at(p.0), y.at(p.2))));
        pen.dashes(&worst, OCHRE, 1.5, 5.0, 2.5)?;
        pen.line(&with_endpoint, TEAL, 2.2)?;
        let at = (x.at(typical.0), y.at(typical.1));
        pen.dot(at, 4.2, TEAL)?;
        pen.text_on_white((at.0 + 9.0, at.1 - 9.0), &percent(typical.1), STRONG, TEAL, Align::Left)?;
        line_labels(pen, &with_endpoint, &worst, &with_endpoint_label, (top, bottom))
    })
    .map(Some)
}

/// `typical`: what half of the patients reach.
fn title(typical: f64, outcome: &OutcomeFindings) -> String {
    if typical > 0.0 {
        let unit = phrases::unit_of_change(&outcome.unit);
        format!("Half of those with both readings improved by {} {unit} or more", decimal(typical, outcome.decimals))
    } else {
        "Half of those with both readings did not improve".to_string()
    }
}

fn half_reach(typical: f64, places: usize) -> String {
    format!("half reach {}", decimal(typical, places))
}

fn described(points: &[Point], places: usize) -> String {
    let about_twenty = points.len().div_ceil(20).max(1);
    let points = points.iter().step_by(about_twenty).map(|(improvement, share, worst)| {
        format!("{} or more: {}, worst case {}", decimal(*improvement, places), percent(*share), percent(*worst))
    });
    points.collect::<Vec<_>>().join("; ")
}

fn axes(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, title: &str, bottom: f64) -> Result<(), FigureError> {
    for tick in y.ticks(5) {
        pen.line(&[(LEFT, y.at(tick)), (RIGHT, y.at(tick))], RULE, 0.7)?;
        pen.text((LEFT - 8.0, y.at(tick)), &percent(tick), SMALL, GREY, Align::Right)?;
    }
    let ticks = x.ticks(8);
    let decimals = tick_decimals(&ticks);
    for &tick in &ticks {
        let at = x.at(tick);
        pen.line(&[(at, bottom), (at, bottom + 4.0)], GREY, 0.8)?;
        pen.text((at, bottom + 14.0), &decimal(tick, decimals), LABEL, BLACK, Align::Middle)?;
    }
    pen.text(((LEFT + RIGHT) / 2.0, bottom + 32.0), title, SMALL, GREY, Align::Middle)
}

fn no_change(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, top: f64) -> Result<(), FigureError> {
    let zero = x.at(0.0);
    pen.line(&[(zero, y.at(0.0)), (zero, top - 6.0)], GREY, 0.8)?;
    pen.text((zero - 4.0, top - 14.0), NO_CHANGE, SMALL, GREY, Align::Middle)
}

/// A threshold, its name to the right of that of zero.
fn mark(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, label: &str, at: f64, top: f64) -> Result<(), FigureError> {
    let (zero, at) = (x.at(0.0), x.at(at));
    pen.line(&[(at, y.at(0.0)), (at, top - 6.0)], GREY, 0.8)?;
    let left = (at - 8.0).min(WIDTH - SMALL.width(label)).max(zero + SMALL.width(NO_CHANGE) / 2.0 + 12.0);
    pen.text((left, top - 14.0), label, SMALL, BLACK, Align::Left)
}

/// The share is drawn as constant from just above one improvement up to the next, and falls there; below the first it is not told.
fn steps(points: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut line: Vec<(f64, f64)> = Vec::new();
    for (x, y) in points {
        let from = line.last().map_or(x, |last| last.0);
        line.push((from, y));
        line.push((x, y));
    }
    line
}

/// Above the upper line and below the lower one the paper is free: a falling line leaves both corners empty.
fn line_labels(
    pen: &Pen<'_, '_>,
    upper: &[(f64, f64)],
    lower: &[(f64, f64)],
    with_endpoint_label: &str,
    (top, bottom): (f64, f64),
) -> Result<(), FigureError> {
    let step = SMALL.line_height();
    let height = bottom - top;
    if let Some(&(x, y)) = upper.iter().find(|p| p.1 > top + 0.7 * height) {
        let label = lines(with_endpoint_label, SMALL, 112.0);
        let left = (x + 11.0).min(WIDTH - 112.0);
        for (row, line) in label.iter().enumerate() {
            let at = (left, y - 9.0 - step * (label.len() - 1 - row) as f64);
            pen.text_on_white(at, line, SMALL, TEAL, Align::Left)?;
        }
    }
    if let Some(&(x, y)) = lower.iter().find(|p| p.1 > top + 0.6 * height) {
        let label = lines(WORST_CASE, SMALL, 150.0);
        let right = (x - 12.0).max(LEFT + 150.0);
        for (row, line) in label.iter().enumerate() {
            pen.text_on_white((right, y + 10.0 + step * row as f64), line, SMALL, OCHRE, Align::Right)?;
        }
    }
    Ok(())
}
