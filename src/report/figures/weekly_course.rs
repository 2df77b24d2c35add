//! The course week by week: the fitted mean with its interval, the band of single readings, observed medians on top,
//! published cohorts beside it. Without a curve, the observed means.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::{lines, spread};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL, TEAL_FAINT, TEAL_MID, TEAL_TINT, WHITE};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Figure, FigureError, FigureText, ScoreAxis};
use crate::report::wording::{self, course_figure as words, figures::direction};
use plotters::style::RGBColor;

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct WeeklyCourse {
    /// The score.
    pub axis: ScoreAxis,
    /// Observed weeks, in order; weeks with too few patients are left out.
    pub weeks: Vec<Week>,
    /// The fitted curve, when there is one.
    pub curve: Option<CurveLine>,
    /// Published cohorts on the same scale, weeks from study entry.
    pub natural_course: Option<PublishedCohort>,
}

/// The readings of a week.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Week {
    /// Weeks since the first treated visit.
    pub week: u32,
    /// Episodes behind it.
    pub episodes: u64,
    /// Mean.
    pub mean: f64,
    /// 95 % interval of the mean.
    pub low: f64,
    /// 95 % interval of the mean.
    pub high: f64,
    /// Median.
    pub median: f64,
}

/// A fitted curve, already evaluated.
#[derive(Clone, PartialEq, Debug)]
pub struct CurveLine {
    /// The curve, in order of week.
    pub points: Vec<CurveAt>,
    /// The level approached, and what to write at it.
    pub plateau: Option<(f64, String)>,
    /// Weeks until half of the way to the plateau, and what to write at it.
    pub half_time: Option<(f64, String)>,
    /// When the mean has improved by the minimal important change.
    pub important_change: Option<ReachedAt>,
}

/// A fitted curve at a moment.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct CurveAt {
    /// Weeks since the first treated visit.
    pub week: f64,
    /// Mean.
    pub mean: f64,
    /// 95 % interval of the mean.
    pub low: f64,
    /// 95 % interval of the mean.
    pub high: f64,
    /// Where 80 % of single readings of single patients are expected.
    pub band: (f64, f64),
}

/// A moment with its interval.
#[derive(Clone, PartialEq, Debug)]
pub struct ReachedAt {
    /// Weeks.
    pub week: f64,
    /// 95 % interval, weeks.
    pub low: f64,
    /// 95 % interval, weeks.
    pub high: f64,
    /// What to write at it.
    pub label: String,
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

const PLOT_HEIGHT: f64 = 270.0;
const LEFT: f64 = 38.0;
const RIGHT: f64 = WIDTH - 124.0;
const LABEL_LEFT: f64 = RIGHT + 14.0;
const WEEKS_JOINED: u32 = 2;
/// So that published and observed points of one week stand side by side.
const ASIDE: f64 = 5.0;
const LAST_WEEK_AT_LEAST: u32 = 6; // one published point and a course can be seen
const ABOVE: f64 = 18.0; // the name of the score
const ABOVE_WITH_MARK: f64 = 36.0; // and the label of the important change

struct Plot<'d> {
    data: &'d WeeklyCourse,
    x: Scale,
    y: Scale,
    top: f64,
    bottom: f64,
}

/// Draws the course.
pub fn weekly_course(text: &FigureText, data: &WeeklyCourse) -> Result<Figure, FigureError> {
    let is_marked = data.curve.as_ref().is_some_and(|curve| curve.important_change.is_some());
    let above = if is_marked { ABOVE_WITH_MARK } else { ABOVE };
    framed(text, &words::describe(data), above + PLOT_HEIGHT + 58.0, |pen, top| {
        let plot = Plot::new(data, top + above);
        match &data.curve {
            Some(curve) => plot.tints(pen, curve)?,
            None => plot.observed_band(pen)?,
        }
        plot.axes(pen, top + 6.0)?;
        plot.cohort(pen)?;
        match &data.curve {
            Some(curve) => {
                plot.curve(pen, curve)?;
                plot.observed_medians(pen)?;
            }
            None => plot.observed_means(pen)?,
        }
        plot.cohort_label(pen)?;
        plot.labels_at_the_right(pen)
    })
}

impl<'d> Plot<'d> {
    fn new(data: &'d WeeklyCourse, top: f64) -> Self {
        let last = data.weeks.iter().map(|w| w.week).max().unwrap_or(0).max(LAST_WEEK_AT_LEAST);
        let bottom = top + PLOT_HEIGHT;
        let x = Scale::new((-0.3, f64::from(last) + 0.3), (LEFT, RIGHT));
        let from_zero = (data.axis.range.0 == 0.0).then_some(0.0);
        let drawn = data.curve.iter().flat_map(|c| &c.points).filter(|p| x.holds(p.week));
        let curve = drawn.flat_map(|p| [p.mean, p.low, p.high, p.band.0, p.band.1]);
        let plateau = data.curve.iter().filter_map(|c| c.plateau.as_ref()).map(|p| p.0);
        let published = visible(data, last).flat_map(|p| [p.low, p.high]);
        let observed = data.weeks.iter().flat_map(|w| match data.curve {
            Some(_) => [w.median, w.median],
            None => [w.low, w.high],
        });
        let values = observed.chain(published).chain(curve).chain(plateau).chain(from_zero);
        let domain = round_domain(values, 5, data.axis.range);
        Self { data, x, y: Scale::new(domain, (bottom, top)), top, bottom }
    }

    fn axes(&self, pen: &Pen<'_, '_>, heading: f64) -> Result<(), FigureError> {
        let (data, bottom) = (self.data, self.bottom);
        let direction = direction(data.axis.lower_is_better);
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

    fn observed_medians(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let half = (0.35 * (self.x.at(1.0) - self.x.at(0.0))).clamp(1.5, 6.0);
        for week in &self.data.weeks {
            let (x, y) = (self.x.at(f64::from(week.week)), self.y.at(week.median));
            pen.line(&[(x - half, y), (x + half, y)], BLACK, 2.8)?;
        }
        Ok(())
    }

    /// The points of the curve within the weeks shown.
    fn drawn<'c>(&self, curve: &'c CurveLine) -> Vec<&'c CurveAt> {
        curve.points.iter().filter(|p| self.x.holds(p.week)).collect()
    }

    /// The band of single readings with an edge, and on it the interval of the mean.
    fn tints(&self, pen: &Pen<'_, '_>, curve: &CurveLine) -> Result<(), FigureError> {
        let points = self.drawn(curve);
        let line = |value: fn(&CurveAt) -> f64| -> Vec<(f64, f64)> {
            points.iter().map(|p| (self.x.at(p.week), self.y.at(value(p)))).collect()
        };
        let area = |upper: &[(f64, f64)], lower: &[(f64, f64)], ink| {
            pen.area(&upper.iter().chain(lower.iter().rev()).copied().collect::<Vec<_>>(), ink)
        };
        let (upper, lower) = (line(|p| p.band.1), line(|p| p.band.0));
        area(&upper, &lower, TEAL_FAINT)?;
        pen.line(&upper, TEAL_MID, 1.0)?;
        pen.line(&lower, TEAL_MID, 1.0)?;
        area(&line(|p| p.high), &line(|p| p.low), TEAL_MID)
    }

    fn curve(&self, pen: &Pen<'_, '_>, curve: &CurveLine) -> Result<(), FigureError> {
        let line: Vec<_> = self.drawn(curve).iter().map(|p| (self.x.at(p.week), self.y.at(p.mean))).collect();
        if let Some((plateau, _)) = &curve.plateau {
            let plateau = self.y.at(*plateau);
            pen.dashes(&[(LEFT, plateau), (RIGHT, plateau)], TEAL, 1.0, 3.0, 3.0)?;
        }
        pen.line(&line, TEAL, 2.2)?;
        if let Some((half_time, label)) = &curve.half_time {
            self.half_time(pen, curve, *half_time, label)?;
        }
        match &curve.important_change {
            Some(reached) => self.important_change(pen, curve, reached),
            None => Ok(()),
        }
    }

    /// From the curve down to a label above the weeks.
    fn half_time(&self, pen: &Pen<'_, '_>, curve: &CurveLine, week: f64, label: &str) -> Result<(), FigureError> {
        let Some(level) = level_at(&curve.points, week).filter(|_| self.x.holds(week)) else { return Ok(()) };
        let (x, y) = (self.x.at(week), self.y.at(level));
        let end = self.bottom - 14.0;
        pen.line(&[(x, y), (x, end - 8.0)], TEAL, 1.0)?;
        pen.ring((x, y), 4.6, TEAL)?;
        pen.text_on_white((within(x, STRONG.width(label)), end), label, STRONG, TEAL, Align::Middle)
    }

    /// From the curve up to a label over the plot, with the interval of the day along the curve's level.
    fn important_change(&self, pen: &Pen<'_, '_>, curve: &CurveLine, at: &ReachedAt) -> Result<(), FigureError> {
        let Some(level) = level_at(&curve.points, at.week).filter(|_| self.x.holds(at.week)) else { return Ok(()) };
        let (x, y) = (self.x.at(at.week), self.y.at(level));
        pen.line(&[(x, y), (x, self.top - 5.0)], OCHRE, 1.0)?;
        pen.interval((self.x.at(at.low), y), (self.x.at(at.high), y), 3.5, OCHRE, 1.1)?;
        pen.ring((x, y), 4.6, OCHRE)?;
        let place = (within(x, STRONG.width(&at.label)), self.top - 12.0);
        pen.text(place, &at.label, STRONG, OCHRE, Align::Middle)
    }

    fn cohort(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        for point in visible(self.data, self.last_week()) {
            let x = self.x.at(point.week) + ASIDE;
            pen.interval((x, self.y.at(point.low)), (x, self.y.at(point.high)), 3.5, GREY, 1.1)?;
            pen.ring((x, self.y.at(point.mean)), 3.6, GREY)?;
        }
        Ok(())
    }

    /// What the published points are, over whatever line passes there.
    fn cohort_label(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let Some(cohort) = &self.data.natural_course else { return Ok(()) };
        let Some(point) = visible(self.data, self.last_week()).last() else { return Ok(()) };
        let label = lines(&cohort.label, SMALL, 150.0);
        let step = SMALL.line_height();
        let x = self.x.at(point.week) + ASIDE + 9.0;
        let lowest = self.y.at(point.high) + 6.0 + step * label.len() as f64;
        let mut y = lowest.max(self.top + step * label.len() as f64) - step * label.len() as f64;
        let widest = label.iter().map(|line| SMALL.width(line)).fold(0.0, f64::max);
        pen.bar((x - 2.0, y - step / 2.0), (x + widest + 2.0, y + step * (label.len() as f64 - 0.5)), WHITE)?;
        for line in &label {
            pen.text((x, y), line, SMALL, GREY, Align::Left)?;
            y += step;
        }
        Ok(())
    }

    fn labels_at_the_right(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let step = SMALL.line_height();
        let labels: Vec<_> =
            self.ends().into_iter().map(|(y, l, ink)| (y, lines(l, SMALL, WIDTH - LABEL_LEFT), ink)).collect();
        let wanted: Vec<(f64, f64)> = labels
            .iter()
            .map(|(y, label, _)| {
                let height = step * label.len() as f64;
                (y - height / 2.0, height)
            })
            .collect();
        let tops = spread(&wanted, 5.0, self.bottom + 4.0);
        for (((y, label, ink), (_, height)), top) in labels.iter().zip(&wanted).zip(tops) {
            pen.line(&[(RIGHT + 2.0, *y), (LABEL_LEFT - 3.0, top + height / 2.0)], RULE, 0.9)?;
            for (row, line) in label.iter().enumerate() {
                pen.text((LABEL_LEFT, top + step * (row as f64 + 0.5)), line, SMALL, *ink, Align::Left)?;
            }
        }
        Ok(())
    }

    /// What ends at the right: the height, its label, the ink.
    fn ends(&self) -> Vec<(f64, &str, RGBColor)> {
        let mut ends = Vec::new();
        let last_week = self.data.weeks.last();
        let Some(curve) = &self.data.curve else {
            ends.extend(last_week.map(|week| (self.y.at(week.mean), words::OBSERVED_MEAN, BLACK)));
            return ends;
        };
        if let Some(last) = self.drawn(curve).last() {
            ends.push((self.y.at(last.band.1), words::UPPER_EDGE, TEAL));
            ends.push((self.y.at(last.mean), words::FITTED_MEAN, TEAL));
            ends.push((self.y.at(last.band.0), words::LOWER_EDGE, TEAL));
        }
        ends.extend(last_week.map(|week| (self.y.at(week.median), words::OBSERVED_MEDIAN, BLACK)));
        ends.extend(curve.plateau.as_ref().map(|(level, label)| (self.y.at(*level), label.as_str(), TEAL)));
        ends
    }
}

/// The middle of a text as near to `x` as the plot's sides allow.
fn within(x: f64, width: f64) -> f64 {
    let half = width / 2.0 + 3.0;
    x.min(RIGHT - half).max(LEFT + half)
}

fn visible(data: &WeeklyCourse, last: u32) -> impl Iterator<Item = &PublishedPoint> {
    let points = data.natural_course.as_ref().map_or(&[][..], |c| c.points.as_slice());
    points.iter().filter(move |p| p.week <= f64::from(last))
}

/// The mean of a drawn curve at a week, between its points.
fn level_at(points: &[CurveAt], week: f64) -> Option<f64> {
    points.windows(2).find_map(|pair| match pair {
        [a, b] if a.week <= week && week <= b.week && b.week > a.week => {
            Some(a.mean + (week - a.week) / (b.week - a.week) * (b.mean - a.mean))
        }
        _ => None,
    })
}
