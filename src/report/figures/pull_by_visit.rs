//! Pull as percent of body weight by number of the visit: median and middle half, a panel a condition.

use super::frame::{SMALL, STRONG, WIDTH, framed};
use super::labels::lines;
use super::pen::{Align, BLACK, GREY, Pen, RULE, TEAL, TEAL_TINT};
use super::scale::{Scale, round_domain};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::dose_figures as words;

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct PullByVisit {
    /// Panels in the order drawn.
    pub panels: Vec<PullPanel>,
}

/// One condition.
#[derive(Clone, PartialEq, Debug)]
pub struct PullPanel {
    /// Its title.
    pub title: String,
    /// What the scale must hold, percent of body weight; the same for panels to be compared.
    pub highest: f64,
    /// Visits that may be shown, in order.
    pub visits: Vec<PullAt>,
}

/// One visit.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PullAt {
    /// Its number.
    pub visit: u32,
    /// Median.
    pub median: f64,
    /// Quartiles.
    pub quartiles: (f64, f64),
}

const COLUMNS: usize = 2;
const GAP: f64 = 22.0;
const LEFT: f64 = 34.0;
const RIGHT: f64 = 44.0;
const PLOT: f64 = 118.0;
const UNDER: f64 = 30.0;
/// Last visit of every panel.
const LAST: f64 = 12.0;
const FEWEST_TO_LABEL: usize = 5;

/// Draws the panels.
pub fn pull_by_visit(text: &FigureText, data: &PullByVisit) -> Result<Figure, FigureError> {
    let columns = if data.panels.len() > 1 { COLUMNS } else { 1 };
    let width = (WIDTH - GAP * (columns - 1) as f64) / columns as f64;
    let titles: Vec<Vec<String>> = data.panels.iter().map(|panel| lines(&panel.title, STRONG, width)).collect();
    let title_lines = titles.iter().map(Vec::len).max().unwrap_or(0);
    let above = title_lines as f64 * STRONG.line_height() + 6.0;
    let rows = data.panels.len().div_ceil(columns);
    let height = rows as f64 * (above + PLOT + UNDER) + 18.0;
    framed(text, &words::describe_by_visit(data), height, |pen, top| {
        for (place, (panel, title)) in data.panels.iter().zip(&titles).enumerate() {
            let left = (place % columns) as f64 * (width + GAP);
            let row_top = top + (place / columns) as f64 * (above + PLOT + UNDER);
            for (line, words) in title.iter().enumerate() {
                let y = row_top + (line as f64 + 0.5) * STRONG.line_height();
                pen.text((left, y), words, STRONG, BLACK, Align::Left)?;
            }
            let corner = (left, row_top + above);
            draw_panel(pen, panel, corner, width, place == 0)?;
        }
        pen.text((WIDTH / 2.0, top + height - 9.0), words::VISIT_NUMBER, SMALL, GREY, Align::Middle)
    })
}

fn draw_panel(
    pen: &Pen<'_, '_>,
    panel: &PullPanel,
    (left, top): (f64, f64),
    width: f64,
    is_first: bool,
) -> Result<(), FigureError> {
    let (from, to, bottom) = (left + LEFT, left + width - RIGHT, top + PLOT);
    let x = Scale::new((1.0, LAST), (from, to));
    let y = Scale::new(round_domain([0.0, panel.highest].into_iter(), 4, (0.0, f64::INFINITY)), (bottom, top));
    for tick in y.ticks(4) {
        pen.line(&[(from - 4.0, y.at(tick)), (to, y.at(tick))], RULE, 0.7)?;
        pen.text((from - 7.0, y.at(tick)), &words::tick(tick), SMALL, GREY, Align::Right)?;
    }
    for visit in [1.0, 4.0, 8.0, 12.0] {
        pen.text((x.at(visit), bottom + 12.0), &words_of(visit), SMALL, GREY, Align::Middle)?;
    }
    let at = |of: &PullAt, percent: f64| (x.at(f64::from(of.visit)), y.at(percent));
    for pair in panel.visits.windows(2) {
        let [a, b] = pair else { continue };
        if b.visit == a.visit + 1 {
            let outline = [at(a, a.quartiles.0), at(b, b.quartiles.0), at(b, b.quartiles.1), at(a, a.quartiles.1)];
            pen.area(&outline, TEAL_TINT)?;
        }
    }
    for pair in panel.visits.windows(2) {
        let [a, b] = pair else { continue };
        if b.visit == a.visit + 1 {
            pen.line(&[at(a, a.median), at(b, b.median)], TEAL, 1.8)?;
        }
    }
    for of in &panel.visits {
        pen.dot(at(of, of.median), 2.8, TEAL)?;
    }
    if let Some(last) = panel.visits.last() {
        let (place, height) = at(last, last.median);
        pen.text((place + 7.0, height), &words::tick(last.median), STRONG, TEAL, Align::Left)?;
    }
    if is_first && panel.visits.len() >= FEWEST_TO_LABEL {
        let lowest = panel.visits.iter().map(|of| of.quartiles.0).fold(f64::INFINITY, f64::min);
        let under = (y.at(lowest) + 13.0).min(bottom - 8.0);
        pen.text_on_white((to, under), words::MIDDLE_HALF, SMALL, TEAL, Align::Right)?;
    }
    Ok(())
}

fn words_of(visit: f64) -> String {
    crate::report::wording::decimal(visit, 0)
}
