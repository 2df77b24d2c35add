//! A score against the days, in plain characters.

use crate::findings::bulletin::Estimate;
use crate::findings::worklist::OutcomeOnTrack;
use crate::report::wording::{decimal, on_track::day};

/// Lines of the plot.
const HEIGHT: usize = 11;
/// Columns of the plot: more would not tell more.
const WIDEST: usize = 72;
const NARROWEST: usize = 20;

const READING: char = '●';
const BEFORE: char = '┊';
const TO_COME: char = '░';
const GOOD_NEWS: char = '◇';
/// Before the numbers under the plot.
const DAY: &str = "day";
/// What the characters mean.
pub(super) const KEY: &str = "●\u{a0}reading  ┊\u{a0}80\u{a0}%\u{a0}band expected before it  ░\u{a0}80\u{a0}%\u{a0}band to come  ◇\u{a0}good news";

/// The plot with its axes, `width` characters at most (and no fewer than about thirty), each line ended.
pub(super) fn chart(outcome: &OutcomeOnTrack, width: usize) -> String {
    let (low, high) = outcome.range;
    let labels = [high, (low + high) / 2.0, low].map(|value| decimal(value, places(outcome)));
    let margin = labels.iter().map(|label| label.chars().count()).max().unwrap_or(0).max(DAY.len());
    let columns = width.saturating_sub(margin + 2).clamp(NARROWEST, WIDEST);
    let plot = Plot::of(outcome, columns);
    let mut text = String::new();
    for (row, line) in plot.cells.iter().enumerate() {
        let label = match row {
            0 => labels[0].as_str(),
            row if row == HEIGHT / 2 => labels[1].as_str(),
            row if row == HEIGHT - 1 => labels[2].as_str(),
            _ => "",
        };
        let tick = if label.is_empty() { '│' } else { '┤' };
        let line: String = line.iter().collect();
        text.push_str(&format!("{label:>margin$} {tick}{}\n", line.trim_end()));
    }
    text.push_str(&plot.axis(margin));
    text
}

/// Decimals that tell the middle of the scale from its ends.
fn places(outcome: &OutcomeOnTrack) -> usize {
    usize::from((outcome.range.0 + outcome.range.1) % 2.0 != 0.0)
}

struct Plot {
    cells: Vec<Vec<char>>,
    days: (f64, f64),
    range: (f64, f64),
    columns: usize,
}

impl Plot {
    fn of(outcome: &OutcomeOnTrack, columns: usize) -> Self {
        let readings = outcome.readings.iter().map(|r| f64::from(r.day));
        let to_come = outcome.to_come.iter().map(|p| p.0).chain(outcome.next.iter().map(|n| n.day));
        let finite = readings.chain(to_come).filter(|day| day.is_finite());
        let days = finite.fold((0.0_f64, 7.0_f64), |(first, last), day| (first.min(day), last.max(day)));
        let mut plot = Self { cells: vec![vec![' '; columns]; HEIGHT], days, range: outcome.range, columns };
        for column in 0..columns {
            if let Some((low, high)) = band_at(&outcome.to_come, plot.day_of(column)) {
                plot.upright(column, low, high, TO_COME);
            }
        }
        for reading in &outcome.readings {
            if let Some(expected) = &reading.expected {
                plot.upright(plot.column(f64::from(reading.day)), expected.low, expected.high, BEFORE);
            }
        }
        if let Some(next) = &outcome.next {
            plot.put(plot.column(next.day), next.good_news, GOOD_NEWS);
        }
        for reading in &outcome.readings {
            plot.put(plot.column(f64::from(reading.day)), reading.value, READING);
        }
        plot
    }

    fn day_of(&self, column: usize) -> f64 {
        self.days.0 + column as f64 / (self.columns - 1) as f64 * (self.days.1 - self.days.0)
    }

    fn column(&self, day: f64) -> usize {
        let share = ((day - self.days.0) / (self.days.1 - self.days.0)).clamp(0.0, 1.0);
        (share * (self.columns - 1) as f64).round() as usize
    }

    /// The best value of a scale of pain and the worst of a scale of function stand low: the score is drawn as it is.
    fn row(&self, value: f64) -> usize {
        let share = ((self.range.1 - value) / (self.range.1 - self.range.0)).clamp(0.0, 1.0);
        (share * (HEIGHT - 1) as f64).round() as usize
    }

    fn put(&mut self, column: usize, value: f64, character: char) {
        if value.is_finite() {
            self.write(self.row(value), column, character);
        }
    }

    fn upright(&mut self, column: usize, low: f64, high: f64, character: char) {
        if low.is_finite() && high.is_finite() {
            (self.row(high)..=self.row(low)).for_each(|row| self.write(row, column, character));
        }
    }

    fn write(&mut self, row: usize, column: usize, character: char) {
        if let Some(cell) = self.cells.get_mut(row).and_then(|line| line.get_mut(column)) {
            *cell = character;
        }
    }

    /// The rule under the plot, and the days under it.
    fn axis(&self, margin: usize) -> String {
        let span = self.days.1 - self.days.0;
        let steps = [1, 2, 7, 14, 28, 56, 91, 182, 364, 728];
        let step = steps.into_iter().find(|step| f64::from(*step) / span * self.columns as f64 >= 6.0).unwrap_or(1820);
        let (mut rule, mut numbers) = (vec!['─'; self.columns], String::new());
        let (first, last) =
            ((self.days.0 / f64::from(step)).ceil() as i64, (self.days.1 / f64::from(step)).floor() as i64);
        for number in (first..=last).map(|k| k as f64 * f64::from(step)) {
            let column = self.column(number);
            if let Some(cell) = rule.get_mut(column) {
                *cell = '┴';
            }
            let text = day(number);
            let length = text.chars().count();
            let start = column.saturating_sub(length / 2).min(self.columns.saturating_sub(length));
            let written = numbers.chars().count();
            if start > written || written == 0 {
                numbers.push_str(&" ".repeat(start - written));
                numbers.push_str(&text);
            }
        }
        let rule: String = rule.into_iter().collect();
        format!("{:margin$} └{rule}\n{DAY:>margin$}  {numbers}\n", "")
    }
}

/// The band at a day, between the days it is given for.
fn band_at(to_come: &[(f64, Estimate)], day: f64) -> Option<(f64, f64)> {
    to_come.windows(2).find_map(|pair| match pair {
        [(from, a), (to, b)] if *from <= day && day <= *to && to > from => {
            let share = (day - from) / (to - from);
            Some((a.low + share * (b.low - a.low), a.high + share * (b.high - a.high)))
        }
        _ => None,
    })
}
