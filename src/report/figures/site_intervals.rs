//! Sites before and after adjustment, and their estimates drawn towards the group, in rows.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::funnel::SiteAxis;
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{count, site_figures as words};

/// Sites before and after adjustment.
#[derive(Clone, PartialEq, Debug)]
pub struct BeforeAfter {
    /// The value.
    pub axis: SiteAxis,
    /// The group's value.
    pub group: f64,
    /// Sites in the order drawn.
    pub sites: Vec<AdjustedSite>,
}

/// One site.
#[derive(Clone, PartialEq, Debug)]
pub struct AdjustedSite {
    /// Its name.
    pub site: String,
    /// Before, after adjustment, and episodes when they may be shown; absent when withheld.
    pub shown: Option<(f64, f64, Option<u32>)>,
}

/// Estimates drawn towards the group.
#[derive(Clone, PartialEq, Debug)]
pub struct Shrunken {
    /// The value.
    pub axis: SiteAxis,
    /// The group's value.
    pub group: f64,
    /// Sites in the order drawn.
    pub sites: Vec<ShrunkenSite>,
}

/// One site.
#[derive(Clone, PartialEq, Debug)]
pub struct ShrunkenSite {
    /// Its name.
    pub site: String,
    /// Estimate with its 95 % interval, and the adjusted value before it was drawn; absent when withheld.
    pub shown: Option<(f64, (f64, f64), f64)>,
    /// Whether it is called above or below.
    pub stands_out: bool,
}

const ROW: f64 = 27.0;
const NUMBERS: f64 = 76.0;

/// Draws the sites before (ring) and after (dot) adjustment.
pub fn before_after(text: &FigureText, data: &BeforeAfter) -> Result<Figure, FigureError> {
    let values = data.sites.iter().filter_map(|site| site.shown).flat_map(|(before, after, _)| [before, after]);
    let names: Vec<&str> = data.sites.iter().map(|site| site.site.as_str()).collect();
    let rows = Rows { axis: &data.axis, group: data.group, names: &names };
    rows.draw(text, &words::describe_before_after(data), values, |pen, x, first| {
        let labels = [(words::BEFORE_DOT, true), (words::AFTER_DOT, false)];
        let mut right = WIDTH - NUMBERS - 14.0;
        for (label, is_before) in labels.into_iter().rev() {
            pen.text_on_white((right, first - 14.0), label, SMALL, TEAL, Align::Right)?;
            let dot = (right - SMALL.width(label) - 9.0, first - 14.0);
            if is_before {
                pen.ring(dot, 4.0, TEAL)?
            } else {
                pen.dot(dot, 4.0, TEAL)?
            }
            right = dot.0 - 22.0;
        }
        pen.text((WIDTH, first - 14.0), "n", SMALL, GREY, Align::Right)?;
        for (row, site) in data.sites.iter().enumerate() {
            let y = first + ROW * (row as f64 + 0.5);
            let Some((before, after, episodes)) = site.shown else {
                pen.text((WIDTH, y), words::WITHHELD, SMALL, GREY, Align::Right)?;
                continue;
            };
            pen.line(&[(x.at(before), y), (x.at(after), y)], OCHRE, 1.6)?;
            pen.ring((x.at(before), y), 4.6, TEAL)?;
            pen.dot((x.at(after), y), 4.6, TEAL)?;
            let episodes = episodes.map_or(words::NO_COUNT.to_owned(), |n| count(u64::from(n)));
            pen.text((WIDTH, y), &episodes, SMALL, GREY, Align::Right)?;
        }
        Ok(())
    })
}

/// Draws the estimates drawn towards the group, with the adjusted value as a ring.
pub fn shrunken(text: &FigureText, data: &Shrunken) -> Result<Figure, FigureError> {
    let ends = data.sites.iter().filter_map(|site| site.shown).flat_map(|(_, (low, high), raw)| [low, high, raw]);
    let names: Vec<&str> = data.sites.iter().map(|site| site.site.as_str()).collect();
    let rows = Rows { axis: &data.axis, group: data.group, names: &names };
    rows.draw(text, &words::describe_shrunken(data), ends, |pen, x, first| {
        pen.text((WIDTH, first - 14.0), words::ESTIMATE, SMALL, TEAL, Align::Right)?;
        for (row, site) in data.sites.iter().enumerate() {
            let y = first + ROW * (row as f64 + 0.5);
            let Some((value, (low, high), adjusted)) = site.shown else {
                pen.text((WIDTH, y), words::WITHHELD, SMALL, GREY, Align::Right)?;
                continue;
            };
            let ink = if site.stands_out { OCHRE } else { TEAL };
            pen.line(&[(x.at(low), y), (x.at(high), y)], ink, 2.4)?;
            pen.ring((x.at(adjusted), y), 3.6, GREY)?;
            pen.dot((x.at(value), y), 4.8, ink)?;
            pen.text((WIDTH, y), &words::value(value, &data.axis, 1), STRONG, ink, Align::Right)?;
        }
        Ok(())
    })
}

/// Rows of sites over one axis.
struct Rows<'a> {
    axis: &'a SiteAxis,
    group: f64,
    names: &'a [&'a str],
}

impl Rows<'_> {
    fn draw(
        &self,
        text: &FigureText,
        description: &str,
        values: impl Iterator<Item = f64>,
        inside: impl FnOnce(&Pen<'_, '_>, &Scale, f64) -> Result<(), FigureError>,
    ) -> Result<Figure, FigureError> {
        let height = 40.0 + ROW * self.names.len() as f64 + 42.0;
        framed(text, description, height, |pen, top| {
            let widest = self.names.iter().map(|name| LABEL.width(name)).fold(0.0, f64::max);
            let (left, right) = (widest.min(170.0) + 16.0, WIDTH - NUMBERS);
            let first = top + 40.0;
            let bottom = first + ROW * self.names.len() as f64;
            let ends = if self.axis.is_share { (0.0, 1.0) } else { (f64::NEG_INFINITY, f64::INFINITY) };
            let x = Scale::new(round_domain(values.chain([self.group]), 4, ends), (left, right));
            let ticks = x.ticks(6);
            let decimals = tick_decimals(&ticks);
            for &tick in &ticks {
                pen.line(&[(x.at(tick), first), (x.at(tick), bottom)], RULE, 0.7)?;
                let label = words::value(tick, self.axis, decimals);
                pen.text((x.at(tick), bottom + 12.0), &label, SMALL, GREY, Align::Middle)?;
            }
            pen.text(((left + right) / 2.0, bottom + 30.0), &self.axis.title, SMALL, GREY, Align::Middle)?;
            pen.line(&[(x.at(self.group), first - 2.0), (x.at(self.group), bottom)], BLACK, 1.2)?;
            let half = SMALL.width(words::GROUP) / 2.0;
            let place = x.at(self.group).clamp(left + half, right - half);
            pen.text((place, first - 32.0), words::GROUP, SMALL, BLACK, Align::Middle)?;
            pen.line(&[(x.at(self.group), first - 24.0), (x.at(self.group), first - 2.0)], BLACK, 0.6)?;
            for (row, name) in self.names.iter().enumerate() {
                pen.text((0.0, first + ROW * (row as f64 + 0.5)), name, LABEL, BLACK, Align::Left)?;
            }
            inside(pen, &x, first)
        })
    }
}
