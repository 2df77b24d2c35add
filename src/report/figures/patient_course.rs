//! One patient's course: each score with the band expected before each reading, and dose and setup below, on one
//! time axis.

use super::frame::{SMALL, STRONG, WIDTH, framed};
use super::labels::{lines, spread};
use super::pen::{Align, BLACK, Face, GREY, OCHRE, Pen, RULE, TEAL, TEAL_TINT};
use super::scale::{Scale, round_domain, span, tick_decimals};
use super::{Figure, FigureError, FigureText};
use crate::findings::bulletin::Estimate;
use crate::findings::worklist::{Channel, OutcomeOnTrack, PatientOnTrack};
use crate::report::wording::{self, on_track, patient_course as words};

const LEFT: f64 = 38.0;
const RIGHT: f64 = WIDTH - 114.0;
const LABEL_LEFT: f64 = RIGHT + 10.0;
const LABEL_WIDTH: f64 = WIDTH - LABEL_LEFT;
const PANEL_HEADING: f64 = 24.0;
const PANEL_PLOT: f64 = 138.0;
const PANEL_GAP: f64 = 12.0;
const STRIP_HEADING: f64 = 13.0;
const STRIP_PLOT: f64 = 17.0;
const STRIP_GAP: f64 = 9.0;
const AXIS: f64 = 50.0;
const TINY: Face = Face::plain(10.0);
const SIDE: f64 = 8.0; // room left and right of the first and last day

type Drawn = Result<(), FigureError>;

/// Draws an episode's course. An episode without a reading or a channel gives an empty axis.
pub fn patient_course(text: &FigureText, patient: &PatientOnTrack) -> Result<Figure, FigureError> {
    let panel = PANEL_HEADING + PANEL_PLOT + PANEL_GAP;
    let strip = STRIP_HEADING + STRIP_PLOT + STRIP_GAP;
    let (panels, strips) = (patient.outcomes.len() as f64 * panel, patient.channels.len() as f64 * strip);
    framed(text, &words::describe_course(patient), panels + strips + AXIS, |pen, top| {
        let time = Time::of(patient);
        let ticks = time.ticks(patient.first_visit.is_some());
        for (i, outcome) in patient.outcomes.iter().enumerate() {
            let at = top + i as f64 * panel + PANEL_HEADING;
            Panel::new(outcome, time, at).draw(pen, &ticks)?;
        }
        for (i, channel) in patient.channels.iter().enumerate() {
            draw_strip(pen, channel, time, &ticks, top + panels + i as f64 * strip)?;
        }
        time.axis(pen, patient, &ticks, top + panels + strips)
    })
}

/// The days that all parts share.
#[derive(Clone, Copy)]
struct Time {
    x: Scale,
}

impl Time {
    fn of(patient: &PatientOnTrack) -> Self {
        let of_outcome = |outcome: &OutcomeOnTrack| {
            let readings = outcome.readings.iter().map(|r| f64::from(r.day));
            let to_come = outcome.to_come.iter().map(|p| p.0).chain(outcome.next.iter().map(|n| n.day));
            readings.chain(to_come).collect::<Vec<f64>>()
        };
        let of_channels = patient.channels.iter().flat_map(|channel| &channel.points).map(|p| f64::from(p.0));
        let days = patient.outcomes.iter().flat_map(of_outcome).chain(of_channels).filter(|day| day.is_finite());
        let (first, last) = days.fold((0.0_f64, 7.0_f64), |(first, last), day| (first.min(day), last.max(day)));
        Self { x: Scale::new((first, last), (LEFT + SIDE, RIGHT - SIDE)) }
    }

    fn at(&self, day: f64) -> f64 {
        self.x.at(day)
    }

    /// Days to mark: whole weeks where the axis is longer than two, as many as have room for their number or date.
    fn ticks(&self, has_dates: bool) -> Vec<i64> {
        let widest = if has_dates { SMALL.width("30 Sep") } else { SMALL.width("000") } + 8.0;
        let room = |step: &i64| self.at(*step as f64) - self.at(0.0) >= widest;
        let (first, last) = self.x.domain();
        let steps = [1, 2, 7, 14, 28, 56, 91, 182, 364, 728, 1820];
        let step = steps.into_iter().find(|step| *step as f64 > last - first || room(step)).unwrap_or(3640);
        let (first, last) = ((first / step as f64).ceil() as i64, (last / step as f64).floor() as i64);
        (first..=last).map(|k| k * step).collect()
    }

    fn grid(&self, pen: &Pen<'_, '_>, ticks: &[i64], top: f64, bottom: f64) -> Drawn {
        ticks.iter().try_for_each(|&day| {
            let x = self.at(day as f64);
            pen.line(&[(x, top), (x, bottom)], RULE, 0.5)
        })
    }

    fn axis(&self, pen: &Pen<'_, '_>, patient: &PatientOnTrack, ticks: &[i64], top: f64) -> Drawn {
        pen.line(&[(LEFT, top), (RIGHT, top)], GREY, 0.8)?;
        for &day in ticks {
            let x = self.at(day as f64);
            pen.line(&[(x, top), (x, top + 4.0)], GREY, 0.8)?;
            pen.text((x, top + 13.0), &wording::decimal(day as f64, 0), SMALL, BLACK, Align::Middle)?;
            if let Some(date) = patient.first_visit.and_then(|first| words::short_date(first, day)) {
                pen.text((x, top + 27.0), &date, TINY, GREY, Align::Middle)?;
            }
        }
        let below = if patient.first_visit.is_some() { 43.0 } else { 31.0 };
        pen.text(((LEFT + RIGHT) / 2.0, top + below), words::DAYS_AXIS, SMALL, GREY, Align::Middle)
    }
}

/// The part of one score.
struct Panel<'p> {
    outcome: &'p OutcomeOnTrack,
    time: Time,
    y: Scale,
    top: f64,
    bottom: f64,
}

impl<'p> Panel<'p> {
    fn new(outcome: &'p OutcomeOnTrack, time: Time, top: f64) -> Self {
        let bottom = top + PANEL_PLOT;
        let values = outcome.readings.iter().map(|r| r.value);
        let before = outcome.readings.iter().filter_map(|r| r.expected);
        let to_come = outcome.to_come.iter().map(|p| p.1).chain(outcome.next.iter().map(|n| n.expected));
        let bands = before.chain(to_come).flat_map(|e| [e.low, e.high]);
        let good_news = outcome.next.iter().map(|n| n.good_news);
        let from_zero = (outcome.range.0 == 0.0).then_some(0.0);
        let domain = round_domain(values.chain(bands).chain(good_news).chain(from_zero), 5, outcome.range);
        Self { outcome, time, y: Scale::new(domain, (bottom, top)), top, bottom }
    }

    fn draw(&self, pen: &Pen<'_, '_>, ticks: &[i64]) -> Drawn {
        self.time.grid(pen, ticks, self.top, self.bottom)?;
        self.axis(pen)?;
        self.to_come(pen)?;
        self.expected_before(pen)?;
        self.good_news(pen)?;
        self.readings(pen)?;
        self.labels(pen)
    }

    fn axis(&self, pen: &Pen<'_, '_>) -> Drawn {
        let outcome = self.outcome;
        let unit = if outcome.unit.is_empty() { String::new() } else { format!(", {}", outcome.unit) };
        let heading = (0.0, self.top - 14.0);
        pen.text(heading, &outcome.title, STRONG, BLACK, Align::Left)?;
        let beside = format!("{unit}; {}", wording::figures::direction(outcome.lower_is_better));
        pen.text(
            (STRONG.width(&outcome.title) + 4.0, heading.1),
            beside.trim_start_matches([',', ';', ' ']),
            SMALL,
            GREY,
            Align::Left,
        )?;
        let ticks = self.y.ticks(5);
        let decimals = tick_decimals(&ticks);
        for tick in ticks {
            let y = self.y.at(tick);
            pen.line(&[(LEFT, y), (RIGHT, y)], RULE, 0.7)?;
            pen.text((LEFT - 8.0, y), &wording::decimal(tick, decimals), SMALL, GREY, Align::Right)?;
        }
        Ok(())
    }

    fn place(&self, day: f64, value: f64) -> (f64, f64) {
        (self.time.at(day), self.y.at(value))
    }

    fn to_come(&self, pen: &Pen<'_, '_>) -> Drawn {
        let to_come = &self.outcome.to_come;
        let edge = |of: fn(&Estimate) -> f64| to_come.iter().map(move |(day, e)| self.place(*day, of(e)));
        match to_come.as_slice() {
            [] => self.outcome.next.as_ref().map_or(Ok(()), |next| self.bar(pen, next.day, &next.expected)),
            [(day, alone)] => self.bar(pen, *day, alone),
            _ => {
                let outline: Vec<_> = edge(|e| e.high).chain(edge(|e| e.low).rev()).collect();
                pen.area(&outline, TEAL_TINT)?;
                pen.dashes(&edge(|e| e.value).collect::<Vec<_>>(), TEAL, 1.2, 4.0, 3.0)
            }
        }
    }

    fn expected_before(&self, pen: &Pen<'_, '_>) -> Drawn {
        self.outcome
            .readings
            .iter()
            .filter_map(|reading| Some((reading.day, reading.expected?)))
            .try_for_each(|(day, expected)| self.bar(pen, f64::from(day), &expected))
    }

    fn bar(&self, pen: &Pen<'_, '_>, day: f64, expected: &Estimate) -> Drawn {
        let half = self.half_width_of_bars();
        let ((x, high), low) = (self.place(day, expected.high), self.y.at(expected.low));
        pen.bar((x - half, high), (x + half, low), TEAL_TINT)?;
        let middle = self.y.at(expected.value);
        pen.line(&[(x - half, middle), (x + half, middle)], TEAL, 1.2)
    }

    /// Bars of neighbouring readings do not touch, as long as they can be seen at all.
    fn half_width_of_bars(&self) -> f64 {
        let gaps = self.outcome.readings.windows(2).filter_map(|pair| match pair {
            [a, b] if b.day > a.day => Some(self.time.at(f64::from(b.day)) - self.time.at(f64::from(a.day))),
            _ => None,
        });
        (0.36 * gaps.fold(f64::INFINITY, f64::min)).clamp(1.2, 6.0)
    }

    fn readings(&self, pen: &Pen<'_, '_>) -> Drawn {
        let places: Vec<(f64, f64)> =
            self.outcome.readings.iter().map(|r| self.place(f64::from(r.day), r.value)).collect();
        pen.line(&places, BLACK, 0.8)?;
        let radius = if self.half_width_of_bars() < 2.5 { 2.0 } else { 3.2 };
        places.iter().try_for_each(|&at| pen.dot(at, radius, BLACK))
    }

    fn good_news(&self, pen: &Pen<'_, '_>) -> Drawn {
        let Some(next) = &self.outcome.next else { return Ok(()) };
        let at = self.place(next.day, next.good_news);
        pen.dashes(&[at, (RIGHT + 6.0, at.1)], TEAL, 0.8, 2.0, 2.0)?;
        pen.ring(at, 3.8, TEAL)
    }

    fn labels(&self, pen: &Pen<'_, '_>) -> Drawn {
        let outcome = self.outcome;
        let mut labels = Vec::new();
        if outcome.last_value.is_finite() && !outcome.readings.is_empty() {
            labels.push((self.y.at(outcome.last_value), words::last_reading(outcome), STRONG, BLACK));
        }
        if let Some(next) = &outcome.next {
            labels.push((self.y.at(next.good_news), words::good_news(next.good_news, outcome), SMALL, TEAL));
        }
        if let [_, .., (_, end)] = outcome.to_come.as_slice() {
            labels.push((self.y.at(end.high) + 6.0, words::TO_COME.to_string(), SMALL, TEAL));
        }
        let step = SMALL.line_height();
        let broken: Vec<Vec<String>> = labels.iter().map(|l| lines(&l.1, l.2, LABEL_WIDTH)).collect();
        let wanted: Vec<(f64, f64)> =
            labels.iter().zip(&broken).map(|(label, rows)| (label.0, rows.len() as f64 * step)).collect();
        let tops = spread(&wanted, 2.0, self.bottom + 4.0);
        for ((label, rows), top) in labels.iter().zip(&broken).zip(tops) {
            for (row, line) in rows.iter().enumerate() {
                pen.text((LABEL_LEFT, top + row as f64 * step), line, label.2, label.3, Align::Left)?;
            }
        }
        Ok(())
    }
}

/// A quantity of dose or setup, stepped from visit to visit, its changes marked with their new value.
fn draw_strip(pen: &Pen<'_, '_>, channel: &Channel, time: Time, ticks: &[i64], top: f64) -> Drawn {
    let points: Vec<(f64, f64)> =
        channel.points.iter().filter(|p| p.1.is_finite()).map(|p| (f64::from(p.0), p.1)).collect();
    let (above, below) = (top + STRIP_HEADING, top + STRIP_HEADING + STRIP_PLOT);
    time.grid(pen, ticks, top, below)?;
    pen.line(&[(LEFT, below + 3.0), (RIGHT, below + 3.0)], RULE, 0.7)?;
    let values = span(points.iter().map(|p| p.1));
    let (Some((low, high)), Some(first), Some(last)) = (values, points.first(), points.last()) else { return Ok(()) };
    // a quantity that never changes runs through the middle
    let y = if high > low {
        Scale::new((low, high), (below, above + 3.0))
    } else {
        Scale::new((low - 1.0, low + 1.0), (below, above))
    };
    let mut stepped = Vec::with_capacity(2 * points.len());
    let mut level = first.1;
    for &(day, value) in &points {
        stepped.extend([(time.at(day), y.at(level)), (time.at(day), y.at(value))]);
        level = value;
    }
    pen.line(&stepped, GREY, 1.2)?;
    let mut free_from = f64::NEG_INFINITY;
    let mut mark = |day: f64, value: f64, is_change: bool| -> Drawn {
        let x = time.at(day);
        let ink = if is_change { OCHRE } else { GREY };
        pen.dot((x, y.at(value)), 2.2, ink)?;
        let number = wording::decimal(value, channel.decimals);
        let half = TINY.width(&number) / 2.0;
        if x - half >= free_from {
            pen.text_on_white((x, y.at(value) - 9.0), &number, TINY, ink, Align::Middle)?;
            free_from = x + half + 4.0;
        }
        Ok(())
    };
    mark(first.0, first.1, false)?;
    for &(day, _, after) in channel.changes.iter().filter(|change| change.2.is_finite()) {
        mark(f64::from(day), after, true)?;
    }
    let said = format!("{} {}", channel.label, on_track::channel_value(channel, last.1));
    let said = lines(&said, SMALL, LABEL_WIDTH);
    let mut at = below - 5.0 - (said.len().saturating_sub(1)) as f64 * SMALL.line_height();
    for line in &said {
        pen.text((LABEL_LEFT, at), line, SMALL, BLACK, Align::Left)?;
        at += SMALL.line_height();
    }
    Ok(())
}
