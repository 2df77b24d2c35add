//! Pull at the first and at the last visit by site, in rows under each region.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, Pen, RULE, TEAL};
use super::scale::{Scale, round_domain};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{dose, dose_figures as words};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct FirstAndLast {
    /// Regions in the order drawn.
    pub groups: Vec<PullGroup>,
}

/// A region.
#[derive(Clone, PartialEq, Debug)]
pub struct PullGroup {
    /// Its name.
    pub label: String,
    /// Rows in the order drawn.
    pub sites: Vec<PullOfSite>,
}

/// A site, or the whole group.
#[derive(Clone, PartialEq, Debug)]
pub struct PullOfSite {
    /// Its name.
    pub site: String,
    /// Mean pull at first and last visit, percent of body weight; absent when withheld or not recorded.
    pub pulls: Option<(f64, f64)>,
    /// Whether it is absent since it is withheld.
    pub is_withheld: bool,
    /// Progression, points of body weight a visit.
    pub progression: Option<f64>,
    /// Whether it is the whole group.
    pub is_whole: bool,
}

const ROW: f64 = 24.0;
const HEADING: f64 = 24.0;
const ABOVE: f64 = 26.0;
const UNDER: f64 = 40.0;
const NUMBERS: f64 = 92.0;

/// Draws the rows.
pub fn first_and_last(text: &FigureText, data: &FirstAndLast) -> Result<Figure, FigureError> {
    let inside: f64 = data.groups.iter().map(|group| HEADING + ROW * group.sites.len() as f64).sum();
    framed(text, &words::describe_first_last(data), ABOVE + inside + UNDER, |pen, top| {
        let sites = || data.groups.iter().flat_map(|group| &group.sites);
        let widest = sites().map(|site| LABEL.width(&site.site)).fold(0.0, f64::max);
        let (left, right) = (widest.min(170.0) + 16.0, WIDTH - NUMBERS);
        let (first, bottom) = (top + ABOVE, top + ABOVE + inside);
        let ends = sites().filter_map(|site| site.pulls).flat_map(|(first, last)| [first, last]);
        let x = Scale::new(round_domain(ends.chain([0.0]), 5, (0.0, f64::INFINITY)), (left, right));
        for tick in x.ticks(6) {
            pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], RULE, 0.7)?;
            pen.text((x.at(tick), bottom + 12.0), &words::tick(tick), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 30.0), words::BODY_WEIGHT, SMALL, GREY, Align::Middle)?;
        label_marks(pen, (right, top + 10.0))?;
        pen.text((WIDTH, top + 10.0), words::PROGRESSION, SMALL, GREY, Align::Right)?;
        let mut y = first;
        for group in &data.groups {
            pen.text_on_white((0.0, y + HEADING / 2.0), &group.label, STRONG, BLACK, Align::Left)?;
            y += HEADING;
            for site in &group.sites {
                draw_row(pen, site, &x, y + ROW / 2.0)?;
                y += ROW;
            }
        }
        Ok(())
    })
}

/// Names ring and dot, ending at a place.
fn label_marks(pen: &Pen<'_, '_>, (mut right, y): (f64, f64)) -> Result<(), FigureError> {
    for (label, is_ring) in [(words::LAST_VISIT, false), (words::FIRST_VISIT, true)] {
        pen.text((right, y), label, SMALL, TEAL, Align::Right)?;
        let dot = (right - SMALL.width(label) - 9.0, y);
        if is_ring {
            pen.ring(dot, 4.0, TEAL)?
        } else {
            pen.dot(dot, 4.0, TEAL)?
        }
        right = dot.0 - 20.0;
    }
    Ok(())
}

fn draw_row(pen: &Pen<'_, '_>, site: &PullOfSite, x: &Scale, y: f64) -> Result<(), FigureError> {
    let (face, ink) = if site.is_whole { (STRONG, BLACK) } else { (LABEL, TEAL) };
    pen.text((0.0, y), &site.site, face, BLACK, Align::Left)?;
    let Some((first, last)) = site.pulls else {
        let words = if site.is_withheld { words::WITHHELD } else { words::NONE };
        return pen.text((WIDTH, y), words, SMALL, GREY, Align::Right);
    };
    pen.line(&[(x.at(first), y), (x.at(last), y)], ink, 2.0)?;
    pen.ring((x.at(first), y), 4.6, ink)?;
    pen.dot((x.at(last), y), 4.6, ink)?;
    match site.progression {
        Some(points) => pen.text((WIDTH, y), &dose::progression(points), face, ink, Align::Right),
        None => Ok(()),
    }
}
