//! A parameter over time: small control charts side by side, with the change that was found.

use super::frame::{SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, Face, GREY, GREY_TINT, OCHRE, Pen, RULE, TEAL, TEAL_FAINT};
use super::scale::{Scale, equal_domains, span, tick_decimals};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{decimal, percent, setup_figures as words};
use chrono::{Datelike, NaiveDate};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct SetupCharts {
    /// The parameter with its unit, or what the share is of.
    pub axis: String,
    /// Symbol of the unit; `share` for shares.
    pub unit: String,
    /// Decimals for people.
    pub decimals: usize,
    /// The charts.
    pub panels: Vec<ChartPanel>,
}

/// One chart.
#[derive(Clone, PartialEq, Debug)]
pub struct ChartPanel {
    /// Its name.
    pub name: String,
    /// Points in order of time.
    pub points: Vec<ChartPoint>,
    /// Centre line.
    pub centre: f64,
    /// The change that was found.
    pub change: Option<ChartChange>,
}

/// One week.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ChartPoint {
    /// Its first day.
    pub day: NaiveDate,
    /// Mean or share.
    pub value: f64,
    /// Limits of three standard deviations.
    pub limits: (f64, f64),
    /// Whether a rule signals.
    pub signals: bool,
}

/// A change.
#[derive(Clone, PartialEq, Debug)]
pub struct ChartChange {
    /// Likeliest day, earliest, latest.
    pub since: (NaiveDate, NaiveDate, NaiveDate),
    /// The level before.
    pub before: f64,
    /// The level just after it began.
    pub from: f64,
    /// The level on the last day.
    pub to: f64,
    /// The day, as written.
    pub label: String,
}

impl ChartPanel {
    /// The least and the largest number drawn; 0 and 0 without a point.
    fn span(&self) -> (f64, f64) {
        let points = self.points.iter().flat_map(|p| [p.value, p.limits.0, p.limits.1]);
        let changes = self.change.iter().flat_map(|change| [change.before, change.from, change.to]);
        span(points.chain(changes)).unwrap_or_default()
    }
}

const PANEL: f64 = 116.0;
const HEAD: f64 = 20.0;
const FOOT: f64 = 20.0;
const LEFT: f64 = 42.0;
const GAP: f64 = 16.0;
const NAME: Face = STRONG;
/// Days within which a line is drawn from one point to the next.
const LONGEST_STEP: i64 = 15;

/// Draws the charts, in two columns, in three where there are many. A step is as long on all, but each stands around its own
/// values: whether a site keeps to its level is what is asked here, not where the level is.
pub fn setup_charts(text: &FigureText, data: &SetupCharts) -> Result<Figure, FigureError> {
    let columns = match data.panels.len() {
        0 | 1 => 1,
        2..=8 => 2,
        _ => 3,
    };
    let rows = data.panels.len().div_ceil(columns).max(1);
    let panel = if columns == 1 { 1.4 * PANEL } else { PANEL };
    let height = rows as f64 * (HEAD + panel + FOOT) + 4.0;
    framed(text, &words::describe_charts(data), height, |pen, top| {
        let points = || data.panels.iter().flat_map(|panel| &panel.points);
        let ends = if data.unit == "share" { (0.0, 1.0) } else { (f64::NEG_INFINITY, f64::INFINITY) };
        let domains = equal_domains(&data.panels.iter().map(ChartPanel::span).collect::<Vec<_>>(), 4, ends);
        let (Some(first), Some(last)) = (points().map(|p| p.day).min(), points().map(|p| p.day).max()) else {
            return Ok(());
        };
        let width = (WIDTH - GAP * (columns - 1) as f64) / columns as f64 - LEFT;
        for (position, (chart, domain)) in data.panels.iter().zip(domains).enumerate() {
            let (row, column) = (position / columns, position % columns);
            let left = LEFT + column as f64 * (LEFT + width + GAP);
            let upper = top + row as f64 * (HEAD + panel + FOOT) + HEAD;
            let place = Place {
                x: Scale::new((0.0, (last - first).num_days() as f64), (left, left + width)),
                y: Scale::new(domain, (upper + panel, upper)),
                first,
                last,
                is_first: position == 0,
            };
            place.draw(pen, data, chart)?;
        }
        Ok(())
    })
}

/// Where one chart stands.
struct Place {
    x: Scale,
    y: Scale,
    first: NaiveDate,
    last: NaiveDate,
    is_first: bool,
}

impl Place {
    fn at(&self, day: NaiveDate) -> f64 {
        self.x.at((day - self.first).num_days() as f64)
    }

    fn sides(&self) -> (f64, f64, f64, f64) {
        let ((a, b), (low, high)) = (self.x.domain(), self.y.domain());
        (self.x.at(a), self.x.at(b), self.y.at(high), self.y.at(low))
    }

    fn draw(&self, pen: &Pen<'_, '_>, data: &SetupCharts, chart: &ChartPanel) -> Result<(), FigureError> {
        let (left, right, upper, lower) = self.sides();
        self.limits(pen, chart)?;
        let ticks = self.y.ticks(6);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            pen.line(&[(left, self.y.at(tick)), (right, self.y.at(tick))], RULE, 0.6)?;
            let label = if data.unit == "share" { percent(tick) } else { decimal(tick, decimals) };
            pen.text((left - 6.0, self.y.at(tick)), &label, SMALL, GREY, Align::Right)?;
        }
        for day in quarter_starts(self.first, self.last) {
            let x = self.at(day);
            pen.line(&[(x, lower), (x, lower + 3.0)], GREY, 0.7)?;
            let label = words::month(day);
            let half = SMALL.width(&label) / 2.0;
            pen.text((x.clamp(left + half, right - half), lower + 11.0), &label, SMALL, GREY, Align::Middle)?;
        }
        let ink = if chart.change.is_some() { OCHRE } else { BLACK };
        pen.text((left, upper - 10.0), &chart.name, NAME, ink, Align::Left)?;
        pen.line(&[(left, self.y.at(chart.centre)), (right, self.y.at(chart.centre))], BLACK, 0.8)?;
        if self.is_first {
            pen.text((right, upper - 10.0), words::CENTRE_AND_LIMITS, SMALL, GREY, Align::Right)?;
        }
        for pair in chart.points.windows(2) {
            if let [a, b] = pair
                && (b.day - a.day).num_days() <= LONGEST_STEP
            {
                pen.line(&[self.of(a), self.of(b)], TEAL, 0.7)?;
            }
        }
        for point in &chart.points {
            if point.signals {
                pen.ring(self.of(point), 3.6, OCHRE)?;
            }
            pen.dot(self.of(point), 1.7, TEAL)?;
        }
        chart.change.as_ref().map_or(Ok(()), |change| self.change(pen, chart, change))
    }

    fn of(&self, point: &ChartPoint) -> (f64, f64) {
        (self.at(point.day), self.y.at(point.value))
    }

    /// The limits as a light area with an edge; on it when a change is likely to have begun.
    fn limits(&self, pen: &Pen<'_, '_>, chart: &ChartPanel) -> Result<(), FigureError> {
        let edge = |of: fn(&ChartPoint) -> f64| -> Vec<(f64, f64)> {
            chart.points.iter().map(|point| (self.at(point.day), self.y.at(of(point)))).collect()
        };
        let (upper, lower) = (edge(|p| p.limits.1), edge(|p| p.limits.0));
        if upper.len() < 2 {
            return Ok(());
        }
        let area: Vec<(f64, f64)> = upper.iter().copied().chain(lower.iter().rev().copied()).collect();
        pen.area(&area, TEAL_FAINT)?;
        if let Some(change) = &chart.change {
            let (_, _, top, bottom) = self.sides();
            let (_, earliest, latest) = change.since;
            let (from, to) = (self.at(earliest), self.at(latest).max(self.at(earliest) + 2.0));
            pen.bar((from, top), (to, bottom), GREY_TINT)?;
        }
        pen.dashes(&upper, GREY, 0.6, 3.0, 2.0)?;
        pen.dashes(&lower, GREY, 0.6, 3.0, 2.0)
    }

    /// The level before and the line after, with the day.
    fn change(&self, pen: &Pen<'_, '_>, chart: &ChartPanel, change: &ChartChange) -> Result<(), FigureError> {
        let (left, right, upper, lower) = self.sides();
        let start = chart.points.first().map_or(left, |point| self.at(point.day));
        let end = chart.points.last().map_or(right, |point| self.at(point.day));
        let at = self.at(change.since.0);
        pen.line(&[(start, self.y.at(change.before)), (at, self.y.at(change.before))], OCHRE, 2.0)?;
        pen.line(&[(at, self.y.at(change.from)), (end, self.y.at(change.to))], OCHRE, 2.0)?;
        pen.dashes(&[(at, upper), (at, lower)], OCHRE, 1.0, 3.0, 2.0)?;
        let half = SMALL.width(&change.label) / 2.0;
        let on_top = (self.y.at(change.before).min(self.y.at(change.from)) - upper) > (lower - upper) / 2.0;
        let y = if on_top { upper + 8.0 } else { lower - 8.0 };
        pen.text_on_white(
            (at.clamp(left + half + 2.0, right - half - 2.0), y),
            &change.label,
            SMALL,
            OCHRE,
            Align::Middle,
        )
    }
}

/// First days of quarters; of half-years where there are many.
fn quarter_starts(first: NaiveDate, last: NaiveDate) -> Vec<NaiveDate> {
    let is_long = (last - first).num_days() > 500;
    let starts: Vec<NaiveDate> = (first.year()..=last.year())
        .flat_map(|year| [1, 4, 7, 10].into_iter().filter_map(move |month| NaiveDate::from_ymd_opt(year, month, 1)))
        .filter(|day| (first..=last).contains(day) && (!is_long || day.month() % 6 == 1))
        .collect();
    let keep = starts.len().div_ceil(4).max(1);
    starts.into_iter().step_by(keep).collect()
}
