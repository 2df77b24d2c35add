//! The observed mean week by week, the fitted curve, and published cohorts beside it.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::{lines, spread};
use super::pen::{Align, BLACK, GREY, Pen, RULE, TEAL, TEAL_TINT};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Figure, FigureError, FigureText, ScoreAxis};
use crate::report::wording::{self, figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct WeeklyCourse {
    /// The score.
    pub axis: ScoreAxis,
    /// Observed means, in order of week; weeks with too few patients are left out.
    pub weeks: Vec<Week>,
    /// The fitted curve, when there is one.
    pub curve: Option<CurveLine>,
    /// Published cohorts on the same scale, weeks from study entry.
    pub natural_course: Option<PublishedCohort>,
}

/// The observed mean of a week.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Week {
    /// Weeks since the first treated visit.
    pub week: u32,
    /// Episodes behind the mean.
    pub episodes: u64,
    /// Mean.
    pub mean: f64,
    /// 95 % interval of the mean.
    pub low: f64,
    /// 95 % interval of the mean.
    pub high: f64,
}

/// An exponential approach to a plateau, already evaluated.
#[derive(Clone, PartialEq, Debug)]
pub struct CurveLine {
    /// (week, mean), in order.
    pub points: Vec<(f64, f64)>,
    /// The level approached, and what to write at it.
    pub plateau: Option<(f64, String)>,
    /// Weeks until half of the way to the plateau, and what to write at it.
    pub half_time: Option<(f64, String)>,
}

/// Published means: points only, nothing between them.
#[derive(Clone, PartialEq, Debug)]
pub struct PublishedCohort {
    /// Who they are, in a few words.
    pub label: String,
    /// Published points; those beyond the last observed week are not drawn.
    pub points: Vec<PublishedPoint>,
}

/// A published mean with its 95 % interval.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PublishedPoint {
    /// Weeks since study entry.
    pub week: f64,
    /// Mean.
    pub mean: f64,
    /// 95 % interval.
    pub low: f64,
    /// 95 % interval.
    pub high: f64,
}

const PLOT_HEIGHT: f64 = 250.0;
const LEFT: f64 = 38.0;
const RIGHT: f64 = WIDTH - 114.0;
const LABEL_LEFT: f64 = RIGHT + 10.0;
const WEEKS_JOINED: u32 = 2;
const LAST_WEEK_AT_LEAST: u32 = 6; // one published point and a course can be seen

struct Plot<'d> {
    data: &'d WeeklyCourse,
    x: Scale,
    y: Scale,
    top: f64,
    bottom: f64,
}

/// Draws the weekly course.
pub fn weekly_course(text: &FigureText, data: &WeeklyCourse) -> Result<Figure, FigureError> {
    framed(text, &words::describe_weekly_course(data), 18.0 + PLOT_HEIGHT + 58.0, |pen, top| {
        let plot = Plot::new(data, top + 18.0);
        plot.axes(pen, top + 6.0)?;
        plot.observed_band(pen)?;
        plot.cohort(pen)?;
        plot.curve(pen)?;
        plot.observed_means(pen)?;
        plot.labels_at_the_right(pen)
    })
}

impl<'d> Plot<'d> {
    fn new(data: &'d WeeklyCourse, top: f64) -> Self {
        let last = data.weeks.iter().map(|w| w.week).max().unwrap_or(0).max(LAST_WEEK_AT_LEAST);
        let bottom = top + PLOT_HEIGHT;
        let x = Scale::new((-0.3, f64::from(last) + 0.3), (LEFT, RIGHT));
        let from_zero = (data.axis.range.0 == 0.0).then_some(0.0);
        let curve = data.curve.iter().flat_map(|c| c.points.iter().map(|p| p.1).chain(c.plateau.iter().map(|p| p.0)));
        let published = visible(data, last).flat_map(|p| [p.low, p.high]);
        let observed = data.weeks.iter().flat_map(|w| [w.low, w.high]);
        let domain = round_domain(observed.chain(published).chain(curve).chain(from_zero), 5, data.axis.range);
        Self { data, x, y: Scale::new(domain, (bottom, top)), top, bottom }
    }

    fn axes(&self, pen: &Pen<'_, '_>, heading: f64) -> Result<(), FigureError> {
        let (data, bottom) = (self.data, self.bottom);
        let direction = words::direction(data.axis.lower_is_better);
        pen.text((0.0, heading - 2.0), &format!("{}; {direction}", data.axis.title), SMALL, GREY, Align::Left)?;
        let ticks = self.y.ticks(5);
        let decimals = tick_decimals(&ticks);
        for tick in ticks {
            let y = self.y.at(tick);
            pen.line(&[(LEFT, y), (RIGHT, y)], RULE, 0.7)?;
            pen.text((LEFT - 8.0, y), &wording::decimal(tick, decimals), SMALL, GREY, Align::Right)?;
        }
        let last = self.last_week();
        let room = |step: &u32| self.x.at(f64::from(*step)) - self.x.at(0.0) >= LABEL.width("00") + 5.0;
        let every = [1, 2, 4, 8, 13, 26, 52].into_iter().find(room).unwrap_or(104);
        for week in (0..=last).step_by(every as usize) {
            let x = self.x.at(f64::from(week));
            pen.line(&[(x, bottom), (x, bottom + 4.0)], GREY, 0.8)?;
            pen.text((x, bottom + 14.0), &week.to_string(), LABEL, BLACK, Align::Middle)?;
        }
        self.episodes(pen, every == 1)?;
        let middle = (LEFT + RIGHT) / 2.0;
        pen.text((middle, bottom + 31.0), words::WEEKS_AXIS, SMALL, GREY, Align::Middle)?;
        pen.text((LEFT - 16.0, bottom + 48.0), "n", SMALL, GREY, Align::Right)
    }

    /// The episodes behind each week, as far as there is room; a dash where a week has none that may be shown.
    fn episodes(&self, pen: &Pen<'_, '_>, with_dashes: bool) -> Result<(), FigureError> {
        let mut free_from = f64::NEG_INFINITY;
        for week in 0..=self.last_week() {
            let known = self.data.weeks.iter().find(|w| w.week == week);
            let text = match known {
                Some(known) => wording::count(known.episodes),
                None if with_dashes => wording::WITHHELD.to_string(),
                None => continue,
            };
            let (x, half) = (self.x.at(f64::from(week)), SMALL.width(&text) / 2.0);
            if x - half >= free_from {
                pen.text((x, self.bottom + 48.0), &text, SMALL, GREY, Align::Middle)?;
                free_from = x + half + 3.0;
            }
        }
        Ok(())
    }

    fn last_week(&self) -> u32 {
        self.x.domain().1.floor() as u32
    }

    /// A tint over weeks that follow each other; an upright stroke at a week that stands alone, since nothing is known
    /// of the time between.
    fn observed_band(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let place = |week: &Week, value: f64| (self.x.at(f64::from(week.week)), self.y.at(value));
        for run in self.data.weeks.chunk_by(|a, b| b.week - a.week <= WEEKS_JOINED) {
            match run {
                [alone] => pen.line(&[place(alone, alone.low), place(alone, alone.high)], TEAL_TINT, 8.0)?,
                run => {
                    let upper = run.iter().map(|w| place(w, w.high));
                    let lower = run.iter().rev().map(|w| place(w, w.low));
                    pen.area(&upper.chain(lower).collect::<Vec<_>>(), TEAL_TINT)?;
                }
            }
        }
        Ok(())
    }

    fn observed_means(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        for week in &self.data.weeks {
            pen.dot((self.x.at(f64::from(week.week)), self.y.at(week.mean)), 3.2, BLACK)?;
        }
        Ok(())
    }

    fn curve(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let Some(curve) = &self.data.curve else { return Ok(()) };
        let line: Vec<_> =
            curve.points.iter().filter(|p| self.x.holds(p.0)).map(|p| (self.x.at(p.0), self.y.at(p.1))).collect();
        pen.line(&line, TEAL, 2.2)?;
        if let Some((plateau, _)) = &curve.plateau {
            let plateau = self.y.at(*plateau);
            pen.dashes(&[(LEFT, plateau), (RIGHT + 6.0, plateau)], TEAL, 1.0, 3.0, 3.0)?;
        }
        let Some((half_time, half_time_label)) = &curve.half_time else { return Ok(()) };
        if let Some(level) = level_at(&curve.points, *half_time).filter(|_| self.x.holds(*half_time)) {
            let (x, y) = (self.x.at(*half_time), self.y.at(level));
            let end = self.bottom - 14.0;
            pen.line(&[(x, y), (x, end - 8.0)], TEAL, 1.0)?;
            pen.ring((x, y), 4.6, TEAL)?;
            let half = STRONG.width(half_time_label) / 2.0;
            let at = (x.clamp(LEFT + half + 3.0, RIGHT - half - 3.0), end);
            pen.text_on_white(at, half_time_label, STRONG, TEAL, Align::Middle)?;
        }
        Ok(())
    }

    fn cohort(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let Some(cohort) = &self.data.natural_course else { return Ok(()) };
        let last = self.last_week();
        let aside = 5.0; // so that published and observed points of one week stand side by side
        for point in visible(self.data, last) {
            let x = self.x.at(point.week) + aside;
            pen.interval((x, self.y.at(point.low)), (x, self.y.at(point.high)), 3.5, GREY, 1.1)?;
            pen.ring((x, self.y.at(point.mean)), 3.6, GREY)?;
        }
        let Some(point) = visible(self.data, last).last() else { return Ok(()) };
        let label = lines(&cohort.label, SMALL, 150.0);
        let step = SMALL.line_height();
        let x = self.x.at(point.week) + aside + 9.0;
        let lowest = self.y.at(point.high) + 6.0 + step * label.len() as f64;
        let mut y = lowest.max(self.top + step * label.len() as f64) - step * label.len() as f64;
        for line in &label {
            pen.text_on_white((x, y), line, SMALL, GREY, Align::Left)?;
            y += step;
        }
        Ok(())
    }

    fn labels_at_the_right(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let width = WIDTH - LABEL_LEFT;
        let mut labels: Vec<(f64, Vec<String>, bool)> = Vec::new();
        if let Some(week) = self.data.weeks.last() {
            labels.push((self.y.at(week.high) - 10.0, lines(words::OBSERVED_LABEL, SMALL, width), false));
        }
        if let Some((plateau, label)) = self.data.curve.as_ref().and_then(|curve| curve.plateau.as_ref()) {
            labels.push((self.y.at(*plateau), lines(label, SMALL, width), true));
        }
        let step = SMALL.line_height();
        let tallest = labels.iter().map(|l| l.1.len()).max().unwrap_or(1) as f64;
        let wanted: Vec<f64> = labels.iter().map(|l| l.0).collect();
        let tops = spread(&wanted, tallest * step + 5.0, self.bottom - (tallest - 1.0) * step);
        for ((_, label, is_curve), top) in labels.iter().zip(tops) {
            let ink = if *is_curve { TEAL } else { BLACK };
            for (row, line) in label.iter().enumerate() {
                pen.text((LABEL_LEFT, top + row as f64 * step), line, SMALL, ink, Align::Left)?;
            }
        }
        Ok(())
    }
}

fn visible(data: &WeeklyCourse, last: u32) -> impl Iterator<Item = &PublishedPoint> {
    let points = data.natural_course.as_ref().map_or(&[][..], |c| c.points.as_slice());
    points.iter().filter(move |p| p.week <= f64::from(last))
}

/// The height of a drawn line at `x`, between its points.
fn level_at(points: &[(f64, f64)], x: f64) -> Option<f64> {
    points.windows(2).find_map(|pair| match *pair {
        [a, b] if a.0 <= x && x <= b.0 && b.0 > a.0 => Some(a.1 + (x - a.0) / (b.0 - a.0) * (b.1 - a.1)),
        _ => None,
    })
}
