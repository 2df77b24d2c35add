//! The course week by week: the fitted mean with its interval, the band of single readings, observed medians on top,
//! published cohorts beside it. Without a curve, the observed means.

mod words;

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::{lines, spread};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL, TEAL_FAINT, TEAL_MID, TEAL_TINT, WHITE};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{DAYS_A_WEEK, Drawn, FigureError, FigureText, score_axis};
use crate::findings::bulletin::{ConditionFindings, Estimate, OutcomeFindings, WeekPoint};
use crate::findings::curve::{Curve, CurvePoint};
use crate::report::edition::Edition;
use crate::report::wording::{self, curve::UNCONTROLLED_IN_BRIEF, figures::direction};
use plotters::style::RGBColor;
pub(in crate::report) use words::read;

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

struct Plot<'o> {
    outcome: &'o OutcomeFindings,
    curve: Option<&'o Curve>,
    x: Scale,
    y: Scale,
    top: f64,
    bottom: f64,
}

/// Draws the course; none where no week may be shown.
pub(in crate::report) fn draw(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
) -> Drawn {
    if outcome.weeks.is_empty() {
        return Ok(None);
    }
    let cited = outcome.natural_course.as_ref().map(|published| published.citation.as_str());
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "course"),
        title: words::title(outcome),
        subtitle: words::subtitle(condition, outcome),
        source: format!("{} {UNCONTROLLED_IN_BRIEF}", edition.source(cited)),
    };
    let curve = outcome.curve.fitted();
    let above = if curve.is_some_and(|curve| reached(curve).is_some()) { ABOVE_WITH_MARK } else { ABOVE };
    framed(&text, &words::described(outcome), above + PLOT_HEIGHT + 58.0, |pen, top| {
        let plot = Plot::new(outcome, top + above);
        match curve {
            Some(curve) => plot.tints(pen, curve)?,
            None => plot.observed_band(pen)?,
        }
        plot.axes(pen, top + 6.0)?;
        plot.cohort(pen)?;
        match curve {
            Some(curve) => {
                plot.curve(pen, curve)?;
                plot.observed_medians(pen)?;
            }
            None => plot.observed_means(pen)?,
        }
        plot.cohort_label(pen)?;
        plot.labels_at_the_right(pen)
    })
    .map(Some)
}

fn in_weeks(days: &Estimate) -> Estimate {
    Estimate { value: days.value / DAYS_A_WEEK, low: days.low / DAYS_A_WEEK, high: days.high / DAYS_A_WEEK }
}

/// The minimal important change with the day on which the mean has improved by it.
fn reached(curve: &Curve) -> Option<(f64, &Estimate)> {
    curve.important_change.zip(curve.day_of_important_change.as_ref())
}

impl<'o> Plot<'o> {
    fn new(outcome: &'o OutcomeFindings, top: f64) -> Self {
        let last = outcome.weeks.iter().map(|w| w.week).max().unwrap_or(0).max(LAST_WEEK_AT_LEAST);
        let bottom = top + PLOT_HEIGHT;
        let x = Scale::new((-0.3, f64::from(last) + 0.3), (LEFT, RIGHT));
        let curve = outcome.curve.fitted();
        let from_zero = (outcome.range.0 == 0.0).then_some(0.0);
        let drawn = curve.iter().flat_map(|c| &c.points).filter(|p| x.holds(p.day / DAYS_A_WEEK));
        let fitted = drawn.flat_map(|p| [p.mean.value, p.mean.low, p.mean.high, p.band.0, p.band.1]);
        let plateau = curve.iter().filter_map(|c| c.plateau).map(|p| p.value);
        let published = visible(outcome, last).flat_map(|(_, mean)| [mean.low, mean.high]);
        let observed = outcome.weeks.iter().flat_map(|w| match curve {
            Some(_) => [w.median, w.median],
            None => [w.mean.low, w.mean.high],
        });
        let values = observed.chain(published).chain(fitted).chain(plateau).chain(from_zero);
        let domain = round_domain(values, 5, outcome.range);
        Self { outcome, curve, x, y: Scale::new(domain, (bottom, top)), top, bottom }
    }

    fn axes(&self, pen: &Pen<'_, '_>, heading: f64) -> Result<(), FigureError> {
        let bottom = self.bottom;
        let heading_text = format!("{}; {}", score_axis::score(self.outcome), direction(self.outcome.lower_is_better));
        pen.text((0.0, heading - 2.0), &heading_text, SMALL, GREY, Align::Left)?;
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
            let known = self.outcome.weeks.iter().find(|w| w.week == week);
            let text = match known {
                Some(known) => wording::count(u64::from(known.episodes)),
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
        let place = |week: &WeekPoint, value: f64| (self.x.at(f64::from(week.week)), self.y.at(value));
        for run in self.outcome.weeks.chunk_by(|a, b| b.week - a.week <= WEEKS_JOINED) {
            match run {
                [alone] => pen.line(&[place(alone, alone.mean.low), place(alone, alone.mean.high)], TEAL_TINT, 8.0)?,
                run => {
                    let upper = run.iter().map(|w| place(w, w.mean.high));
                    let lower = run.iter().rev().map(|w| place(w, w.mean.low));
                    pen.area(&upper.chain(lower).collect::<Vec<_>>(), TEAL_TINT)?;
                }
            }
        }
        Ok(())
    }

    fn observed_means(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        for week in &self.outcome.weeks {
            pen.dot((self.x.at(f64::from(week.week)), self.y.at(week.mean.value)), 3.2, BLACK)?;
        }
        Ok(())
    }

    fn observed_medians(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let half = (0.35 * (self.x.at(1.0) - self.x.at(0.0))).clamp(1.5, 6.0);
        for week in &self.outcome.weeks {
            let (x, y) = (self.x.at(f64::from(week.week)), self.y.at(week.median));
            pen.line(&[(x - half, y), (x + half, y)], BLACK, 2.8)?;
        }
        Ok(())
    }

    /// The points of the curve within the weeks shown.
    fn drawn<'c>(&self, curve: &'c Curve) -> Vec<&'c CurvePoint> {
        curve.points.iter().filter(|p| self.x.holds(p.day / DAYS_A_WEEK)).collect()
    }

    /// The band of single readings with an edge, and on it the interval of the mean.
    fn tints(&self, pen: &Pen<'_, '_>, curve: &Curve) -> Result<(), FigureError> {
        let points = self.drawn(curve);
        let line = |value: fn(&CurvePoint) -> f64| -> Vec<(f64, f64)> {
            points.iter().map(|p| (self.x.at(p.day / DAYS_A_WEEK), self.y.at(value(p)))).collect()
        };
        let area = |upper: &[(f64, f64)], lower: &[(f64, f64)], ink| {
            pen.area(&upper.iter().chain(lower.iter().rev()).copied().collect::<Vec<_>>(), ink)
        };
        let (upper, lower) = (line(|p| p.band.1), line(|p| p.band.0));
        area(&upper, &lower, TEAL_FAINT)?;
        pen.line(&upper, TEAL_MID, 1.0)?;
        pen.line(&lower, TEAL_MID, 1.0)?;
        area(&line(|p| p.mean.high), &line(|p| p.mean.low), TEAL_MID)
    }

    fn curve(&self, pen: &Pen<'_, '_>, curve: &Curve) -> Result<(), FigureError> {
        let place = |p: &&CurvePoint| (self.x.at(p.day / DAYS_A_WEEK), self.y.at(p.mean.value));
        let line: Vec<_> = self.drawn(curve).iter().map(place).collect();
        if let Some(plateau) = &curve.plateau {
            let plateau = self.y.at(plateau.value);
            pen.dashes(&[(LEFT, plateau), (RIGHT, plateau)], TEAL, 1.0, 3.0, 3.0)?;
        }
        pen.line(&line, TEAL, 2.2)?;
        if let Some(half_time) = curve.half_time_days.as_ref().map(in_weeks) {
            self.half_time(pen, curve, &half_time)?;
        }
        match reached(curve) {
            Some((amount, day)) => self.important_change(pen, curve, amount, day),
            None => Ok(()),
        }
    }

    /// From the curve down to a label above the weeks.
    fn half_time(&self, pen: &Pen<'_, '_>, curve: &Curve, weeks: &Estimate) -> Result<(), FigureError> {
        let level = level_at(&curve.points, weeks.value).filter(|_| self.x.holds(weeks.value));
        let Some(level) = level else { return Ok(()) };
        let (x, y) = (self.x.at(weeks.value), self.y.at(level));
        let end = self.bottom - 14.0;
        let label = words::half_time(weeks);
        pen.line(&[(x, y), (x, end - 8.0)], TEAL, 1.0)?;
        pen.ring((x, y), 4.6, TEAL)?;
        pen.text_on_white((within(x, STRONG.width(&label)), end), &label, STRONG, TEAL, Align::Middle)
    }

    /// From the curve up to a label over the plot, with the interval of the day along the curve's level.
    fn important_change(
        &self,
        pen: &Pen<'_, '_>,
        curve: &Curve,
        amount: f64,
        day: &Estimate,
    ) -> Result<(), FigureError> {
        let at = in_weeks(day);
        let Some(level) = level_at(&curve.points, at.value).filter(|_| self.x.holds(at.value)) else { return Ok(()) };
        let (x, y) = (self.x.at(at.value), self.y.at(level));
        pen.line(&[(x, y), (x, self.top - 5.0)], OCHRE, 1.0)?;
        pen.interval((self.x.at(at.low), y), (self.x.at(at.high), y), 3.5, OCHRE, 1.1)?;
        pen.ring((x, y), 4.6, OCHRE)?;
        let label = words::important_change(amount, day, self.outcome.decimals);
        let place = (within(x, STRONG.width(&label)), self.top - 12.0);
        pen.text(place, &label, STRONG, OCHRE, Align::Middle)
    }

    fn cohort(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        for (week, mean) in visible(self.outcome, self.last_week()) {
            let x = self.x.at(week) + ASIDE;
            pen.interval((x, self.y.at(mean.low)), (x, self.y.at(mean.high)), 3.5, GREY, 1.1)?;
            pen.ring((x, self.y.at(mean.value)), 3.6, GREY)?;
        }
        Ok(())
    }

    /// What the published points are, over whatever line passes there.
    fn cohort_label(&self, pen: &Pen<'_, '_>) -> Result<(), FigureError> {
        let Some(cohort) = &self.outcome.natural_course else { return Ok(()) };
        let Some((week, mean)) = visible(self.outcome, self.last_week()).last() else { return Ok(()) };
        let label = lines(&cohort.label, SMALL, 150.0);
        let step = SMALL.line_height();
        let x = self.x.at(week) + ASIDE + 9.0;
        let lowest = self.y.at(mean.high) + 6.0 + step * label.len() as f64;
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
            self.ends().into_iter().map(|(y, l, ink)| (y, lines(&l, SMALL, WIDTH - LABEL_LEFT), ink)).collect();
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
    fn ends(&self) -> Vec<(f64, String, RGBColor)> {
        let mut ends = Vec::new();
        let mut end = |value: f64, label: &str, ink| ends.push((self.y.at(value), label.to_owned(), ink));
        let last_week = self.outcome.weeks.last();
        let Some(curve) = self.curve else {
            if let Some(week) = last_week {
                end(week.mean.value, words::OBSERVED_MEAN, BLACK);
            }
            return ends;
        };
        if let Some(last) = self.drawn(curve).last() {
            end(last.band.1, words::UPPER_EDGE, TEAL);
            end(last.mean.value, words::FITTED_MEAN, TEAL);
            end(last.band.0, words::LOWER_EDGE, TEAL);
        }
        if let Some(week) = last_week {
            end(week.median, words::OBSERVED_MEDIAN, BLACK);
        }
        if let Some(plateau) = &curve.plateau {
            end(plateau.value, &words::plateau(plateau, self.outcome.decimals), TEAL);
        }
        ends
    }
}

/// The middle of a text as near to `x` as the plot's sides allow.
fn within(x: f64, width: f64) -> f64 {
    let half = width / 2.0 + 3.0;
    x.min(RIGHT - half).max(LEFT + half)
}

/// Published weeks with their means, as far as the plot goes.
fn visible(outcome: &OutcomeFindings, last: u32) -> impl Iterator<Item = (f64, &Estimate)> {
    let points = outcome.natural_course.as_ref().map_or(&[][..], |published| published.points.as_slice());
    points.iter().map(|(day, mean)| (day / DAYS_A_WEEK, mean)).filter(move |(week, _)| *week <= f64::from(last))
}

/// The mean of a drawn curve at a week, between its points.
fn level_at(points: &[CurvePoint], week: f64) -> Option<f64> {
    let at = |point: &CurvePoint| point.day / DAYS_A_WEEK;
    points.windows(2).find_map(|pair| match pair {
        [a, b] if at(a) <= week && week <= at(b) && at(b) > at(a) => {
            Some(a.mean.value + (week - at(a)) / (at(b) - at(a)) * (b.mean.value - a.mean.value))
        }
        _ => None,
    })
}
