//! Every possible threshold at once: the share of patients who improved at least so much.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::lines;
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL};
use super::scale::{Scale, tick_decimals};
use super::{Figure, FigureError, FigureText, ScoreAxis};
use crate::report::wording::{self, figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct DistributionOfChange {
    /// The score; improvement is counted in its unit.
    pub axis: ScoreAxis,
    /// (improvement, share of those with an endpoint who improved at least so much, the same with every missing
    /// endpoint counted as no improvement), by rising improvement; shares 0 to 1.
    pub points: Vec<(f64, f64, f64)>,
    /// What to write at the first line.
    pub with_endpoint_label: String,
    /// What to write at the second line.
    pub worst_case_label: String,
    /// Thresholds worth a line of their own.
    pub marks: Vec<DistributionMark>,
}

/// A threshold on the axis.
#[derive(Clone, PartialEq, Debug)]
pub struct DistributionMark {
    /// Improvement.
    pub at: f64,
    /// Its name.
    pub label: String,
    /// Share of those with an endpoint who reach it.
    pub share: f64,
}

const PLOT_HEIGHT: f64 = 230.0;
const LEFT: f64 = 48.0;
const RIGHT: f64 = WIDTH - 14.0;

/// Draws the distribution of change.
pub fn distribution_of_change(text: &FigureText, data: &DistributionOfChange) -> Result<Figure, FigureError> {
    framed(text, &words::describe_distribution(data), 30.0 + PLOT_HEIGHT + 40.0, |pen, top| {
        let (top, bottom) = (top + 30.0, top + 30.0 + PLOT_HEIGHT);
        let ends = data.points.iter().map(|p| p.0).chain(data.marks.iter().map(|m| m.at)).chain([0.0]);
        let domain = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let x = Scale::new(domain, (LEFT, RIGHT));
        let y = Scale::new((0.0, 1.0), (bottom, top));
        axes(pen, &x, &y, data, bottom)?;
        marks(pen, &x, &y, data, top)?;
        let with_endpoint = steps(data.points.iter().map(|p| (x.at(p.0), y.at(p.1))));
        let worst = steps(data.points.iter().map(|p| (x.at(p.0), y.at(p.2))));
        pen.dashes(&worst, OCHRE, 1.5, 5.0, 2.5)?;
        pen.line(&with_endpoint, TEAL, 2.2)?;
        for mark in &data.marks {
            let at = (x.at(mark.at), y.at(mark.share));
            pen.dot(at, 4.2, TEAL)?;
            pen.text_on_white((at.0 + 9.0, at.1 - 9.0), &wording::percent(mark.share), STRONG, TEAL, Align::Left)?;
        }
        line_labels(pen, &with_endpoint, &worst, data, (top, bottom))
    })
}

fn axes(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, data: &DistributionOfChange, bottom: f64) -> Result<(), FigureError> {
    for tick in y.ticks(5) {
        pen.line(&[(LEFT, y.at(tick)), (RIGHT, y.at(tick))], RULE, 0.7)?;
        pen.text((LEFT - 8.0, y.at(tick)), &wording::percent(tick), SMALL, GREY, Align::Right)?;
    }
    let ticks = x.ticks(8);
    let decimals = tick_decimals(&ticks);
    for &tick in &ticks {
        let at = x.at(tick);
        pen.line(&[(at, bottom), (at, bottom + 4.0)], GREY, 0.8)?;
        pen.text((at, bottom + 14.0), &wording::decimal(tick, decimals), LABEL, BLACK, Align::Middle)?;
    }
    pen.text(((LEFT + RIGHT) / 2.0, bottom + 32.0), &words::improvement_axis(&data.axis), SMALL, GREY, Align::Middle)
}

fn marks(pen: &Pen<'_, '_>, x: &Scale, y: &Scale, data: &DistributionOfChange, top: f64) -> Result<(), FigureError> {
    let zero = x.at(0.0);
    pen.line(&[(zero, y.at(0.0)), (zero, top - 6.0)], GREY, 0.8)?;
    pen.text((zero - 4.0, top - 14.0), words::NO_CHANGE, SMALL, GREY, Align::Middle)?;
    for mark in &data.marks {
        let at = x.at(mark.at);
        pen.line(&[(at, y.at(0.0)), (at, top - 6.0)], GREY, 0.8)?;
        let width = SMALL.width(&mark.label);
        let left = (at - 8.0).min(WIDTH - width).max(zero + SMALL.width(words::NO_CHANGE) / 2.0 + 12.0);
        pen.text((left, top - 14.0), &mark.label, SMALL, BLACK, Align::Left)?;
    }
    Ok(())
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
    data: &DistributionOfChange,
    (top, bottom): (f64, f64),
) -> Result<(), FigureError> {
    let step = SMALL.line_height();
    let height = bottom - top;
    if let Some(&(x, y)) = upper.iter().find(|p| p.1 > top + 0.7 * height) {
        let label = lines(&data.with_endpoint_label, SMALL, 112.0);
        let left = (x + 11.0).min(WIDTH - 112.0);
        for (row, line) in label.iter().enumerate() {
            let at = (left, y - 9.0 - step * (label.len() - 1 - row) as f64);
            pen.text_on_white(at, line, SMALL, TEAL, Align::Left)?;
        }
    }
    if let Some(&(x, y)) = lower.iter().find(|p| p.1 > top + 0.6 * height) {
        let label = lines(&data.worst_case_label, SMALL, 150.0);
        let right = (x - 12.0).max(LEFT + 150.0);
        for (row, line) in label.iter().enumerate() {
            pen.text_on_white((right, y + 10.0 + step * row as f64), line, SMALL, OCHRE, Align::Right)?;
        }
    }
    Ok(())
}
