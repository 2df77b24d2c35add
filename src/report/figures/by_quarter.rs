//! A site's rate quarter by quarter on a control chart: centre line, limits of chance, signals.

use super::frame::{SMALL, STRONG, WIDTH, framed};
use super::funnel::SiteAxis;
use super::pen::{Align, BLACK, GREY, OCHRE, RULE, TEAL};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::site_figures as words;

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct ByQuarter {
    /// The value.
    pub axis: SiteAxis,
    /// The site's value over all its quarters.
    pub centre: f64,
    /// The group's value over all its quarters.
    pub group: f64,
    /// Quarters, oldest first.
    pub quarters: Vec<QuarterOf>,
}

/// One quarter.
#[derive(Clone, PartialEq, Debug)]
pub struct QuarterOf {
    /// Its name.
    pub label: String,
    /// What is shown; absent when withheld.
    pub shown: Option<QuarterShown>,
}

/// One quarter's value.
#[derive(Clone, PartialEq, Debug)]
pub struct QuarterShown {
    /// The value.
    pub value: f64,
    /// Limits of chance, three standard deviations.
    pub limits: (f64, f64),
    /// Episodes, as written.
    pub episodes: String,
    /// Whether a rule signals here.
    pub signals: bool,
}

const HEIGHT: f64 = 232.0;
const RIGHT: f64 = 92.0;

/// Draws the chart.
pub fn by_quarter(text: &FigureText, data: &ByQuarter) -> Result<Figure, FigureError> {
    framed(text, &words::describe_by_quarter(data), HEIGHT, |pen, top| {
        let (left, right) = (46.0, WIDTH - RIGHT);
        let (first, bottom) = (top + 8.0, top + HEIGHT - 44.0);
        let shown = || data.quarters.iter().filter_map(|quarter| quarter.shown.as_ref());
        let values = shown().flat_map(|q| [q.value, q.limits.0, q.limits.1]);
        let ends = if data.axis.is_share { (0.0, 1.0) } else { (f64::NEG_INFINITY, f64::INFINITY) };
        let domain = round_domain(values.chain([data.centre, data.group]), 4, ends);
        let y = Scale::new(domain, (bottom, first));
        let step = (right - left) / data.quarters.len().max(1) as f64;
        let x = |quarter: usize| left + step * (quarter as f64 + 0.5);
        let ticks = y.ticks(5);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            pen.line(&[(left, y.at(tick)), (right, y.at(tick))], RULE, 0.6)?;
            pen.text((left - 6.0, y.at(tick)), &words::value(tick, &data.axis, decimals), SMALL, GREY, Align::Right)?;
        }
        pen.line(&[(left, y.at(data.centre)), (right, y.at(data.centre))], TEAL, 1.4)?;
        pen.dashes(&[(left, y.at(data.group)), (right, y.at(data.group))], GREY, 1.0, 4.0, 3.0)?;
        let apart = (y.at(data.centre) - y.at(data.group)).abs() < 14.0;
        let shift = match (apart, data.centre >= data.group) {
            (false, _) => 0.0,
            (true, true) => 7.0,
            (true, false) => -7.0,
        };
        pen.text((right + 6.0, y.at(data.centre) - shift), words::THIS_SITE, STRONG, TEAL, Align::Left)?;
        pen.text((right + 6.0, y.at(data.group) + shift), words::GROUP, SMALL, GREY, Align::Left)?;
        let mut last: Option<(f64, f64)> = None;
        for (position, quarter) in data.quarters.iter().enumerate() {
            let place = x(position);
            pen.text((place, bottom + 13.0), &quarter.label, SMALL, GREY, Align::Middle)?;
            let Some(shown) = &quarter.shown else {
                pen.text((place, bottom + 28.0), words::WITHHELD, SMALL, GREY, Align::Middle)?;
                last = None;
                continue;
            };
            for limit in [shown.limits.0, shown.limits.1] {
                pen.line(&[(place - 0.38 * step, y.at(limit)), (place + 0.38 * step, y.at(limit))], BLACK, 1.0)?;
            }
            let at = (place, y.at(shown.value));
            if let Some(before) = last {
                pen.line(&[before, at], TEAL, 1.2)?;
            }
            last = Some(at);
            pen.text((place, bottom + 28.0), &shown.episodes, SMALL, GREY, Align::Middle)?;
        }
        for (position, shown) in data.quarters.iter().enumerate().filter_map(|(i, q)| Some((i, q.shown.as_ref()?))) {
            let at = (x(position), y.at(shown.value));
            if shown.signals { pen.dot(at, 5.4, OCHRE)? } else { pen.dot(at, 4.4, TEAL)? }
        }
        Ok(())
    })
}
