//! How often the standard is met, against the number of visits: sites large, their clinicians and tables small.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::spread;
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL, TEAL_FAINT, TEAL_TINT};
use super::scale::{Scale, round_domain};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{count, percent, setup_figures as words, site_figures};

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct SetupFunnel {
    /// Share of the group's visits.
    pub group: f64,
    /// Limits of chance by number of visits, ascending.
    pub limits: Vec<LimitsAtVisits>,
    /// Sites, clinicians and tables.
    pub marks: Vec<FunnelMark>,
}

/// Limits of chance for a number of visits.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct LimitsAtVisits {
    /// Visits.
    pub visits: f64,
    /// 95 %.
    pub limits_95: (f64, f64),
    /// 99.8 %.
    pub limits_998: (f64, f64),
}

/// A site, clinician or traction table.
#[derive(Clone, PartialEq, Debug)]
pub struct FunnelMark {
    /// Its name or code.
    pub name: String,
    /// Whether it is a whole site.
    pub is_site: bool,
    /// Visits.
    pub visits: u32,
    /// Share that meets the standard.
    pub share: f64,
    /// Whether it is called above or below.
    pub stands_out: bool,
}

const HEIGHT: f64 = 286.0;
const RIGHT: f64 = 104.0;

/// Draws the funnel.
pub fn setup_funnel(text: &FigureText, data: &SetupFunnel) -> Result<Figure, FigureError> {
    framed(text, &words::describe_funnel(data), HEIGHT, |pen, top| {
        let (left, right) = (46.0, WIDTH - RIGHT);
        let (first, bottom) = (top + 8.0, top + HEIGHT - 40.0);
        let largest = data.marks.iter().map(|mark| f64::from(mark.visits)).fold(1.0, f64::max);
        let most = data.limits.last().map_or(largest, |last| last.visits.max(largest));
        // the limits of the smallest would stretch the axis beyond what is drawn
        let limits =
            data.limits.iter().filter(|at| at.visits > 0.06 * most).flat_map(|at| [at.limits_998.0, at.limits_998.1]);
        let domain = round_domain(limits.chain(data.marks.iter().map(|m| m.share)).chain([data.group]), 5, (0.0, 1.0));
        let (x, y) = (Scale::new((0.0, most), (left, right)), Scale::new(domain, (bottom, first)));
        let band = |of: fn(&LimitsAtVisits) -> (f64, f64)| -> Vec<(f64, f64)> {
            let upper = data.limits.iter().map(|at| (x.at(at.visits), y.at(of(at).1)));
            let lower = data.limits.iter().rev().map(|at| (x.at(at.visits), y.at(of(at).0)));
            upper.chain(lower).collect()
        };
        pen.area(&band(|at| at.limits_998), TEAL_FAINT)?;
        pen.area(&band(|at| at.limits_95), TEAL_TINT)?;
        for &tick in &y.ticks(5) {
            pen.line(&[(left, y.at(tick)), (right, y.at(tick))], RULE, 0.6)?;
            pen.text((left - 6.0, y.at(tick)), &percent(tick), SMALL, GREY, Align::Right)?;
        }
        for tick in x.ticks(5) {
            pen.line(&[(x.at(tick), bottom), (x.at(tick), bottom + 4.0)], GREY, 0.8)?;
            pen.text((x.at(tick), bottom + 13.0), &count(tick.round() as u64), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 30.0), words::FUNNEL_VISITS, SMALL, GREY, Align::Middle)?;
        pen.line(&[(left, y.at(data.group)), (right, y.at(data.group))], BLACK, 1.2)?;
        label_bands(pen, data, &x, &y)?;
        label_marks(pen, data, &x, &y, (first, bottom))?;
        for mark in data.marks.iter().filter(|mark| !mark.is_site) {
            let at = (x.at(f64::from(mark.visits)), y.at(mark.share));
            pen.ring(at, 3.2, if mark.stands_out { OCHRE } else { GREY })?;
        }
        for mark in data.marks.iter().filter(|mark| mark.is_site) {
            let at = (x.at(f64::from(mark.visits)), y.at(mark.share));
            if mark.stands_out { pen.dot(at, 5.2, OCHRE)? } else { pen.dot(at, 4.4, TEAL)? }
        }
        Ok(())
    })
}

/// Names the group's line and both bands at their right end.
fn label_bands(pen: &Pen<'_, '_>, data: &SetupFunnel, x: &Scale, y: &Scale) -> Result<(), FigureError> {
    let Some(last) = data.limits.last() else { return Ok(()) };
    let place = x.at(x.domain().1) + 6.0;
    let labels = [
        (last.limits_998.1, site_figures::LIMIT_998, GREY),
        (last.limits_95.1, site_figures::LIMIT_95, GREY),
        (data.group, site_figures::GROUP, BLACK),
    ];
    let wanted: Vec<(f64, f64)> = labels.iter().map(|(value, _, _)| (y.at(*value) - 7.0, 14.0)).collect();
    for ((_, label, ink), top) in labels.iter().zip(spread(&wanted, 0.0, f64::INFINITY)) {
        pen.text((place, top + 7.0), label, SMALL, *ink, Align::Left)?;
    }
    Ok(())
}

/// Names every site, and the clinicians and tables that stand out, where there is room beside their marks.
fn label_marks(
    pen: &Pen<'_, '_>,
    data: &SetupFunnel,
    x: &Scale,
    y: &Scale,
    (first, bottom): (f64, f64),
) -> Result<(), FigureError> {
    let place = |mark: &FunnelMark| (x.at(f64::from(mark.visits)), y.at(mark.share));
    let (left, right) = (x.at(x.domain().0), x.at(x.domain().1));
    let mut taken: Vec<Area> = data.marks.iter().map(|mark| Area::around(place(mark), 6.0, 6.0)).collect();
    let line = Area { left, right, top: y.at(data.group) - 1.0, bottom: y.at(data.group) + 1.0 };
    let inside = Area { left, right: right + 2.0, top: first - 6.0, bottom };
    let mut named: Vec<&FunnelMark> = data.marks.iter().filter(|mark| mark.is_site || mark.stands_out).collect();
    named.sort_by_key(|mark| (!mark.is_site, !mark.stands_out)); // sites first: the others give way
    for mark in named {
        let dot = place(mark);
        let (face, ink) = match (mark.is_site, mark.stands_out) {
            (true, true) => (STRONG, OCHRE),
            (true, false) => (LABEL, TEAL),
            (false, _) => (SMALL, OCHRE),
        };
        let width = face.width(&mark.name);
        let is_left = dot.0 > (left + right) / 2.0;
        let spots: Vec<Area> = NEARBY
            .iter()
            .flat_map(|dy| [is_left, !is_left].map(|on_left| (on_left, *dy)))
            .map(|(on_left, dy)| {
                let middle = if on_left { dot.0 - 9.0 - width / 2.0 } else { dot.0 + 9.0 + width / 2.0 };
                Area::around((middle, dot.1 + dy), width / 2.0 + 2.0, 7.0)
            })
            .collect();
        let fits = |spot: &&Area| spot.is_within(&inside) && !taken.iter().any(|other| spot.meets(other));
        let free = spots.iter().filter(fits).find(|spot| !spot.meets(&line));
        let Some(spot) = free.or_else(|| spots.iter().find(fits)).or(spots.first()).copied() else { continue };
        let middle = ((spot.left + spot.right) / 2.0, (spot.top + spot.bottom) / 2.0);
        if (middle.1 - dot.1).abs() > 10.0 {
            let end = if middle.0 < dot.0 { spot.right } else { spot.left };
            pen.line(&[dot, (end, middle.1)], GREY, 0.6)?;
        }
        pen.text(middle, &mark.name, face, ink, Align::Middle)?;
        taken.push(spot);
    }
    Ok(())
}

/// How far above or below its mark a name may stand, the nearest first.
const NEARBY: [f64; 9] = [0.0, -13.0, 13.0, -26.0, 26.0, -39.0, 39.0, -52.0, 52.0];

/// A rectangle of the figure.
#[derive(Clone, Copy, Debug)]
struct Area {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

impl Area {
    fn around((x, y): (f64, f64), half_width: f64, half_height: f64) -> Self {
        Self { left: x - half_width, right: x + half_width, top: y - half_height, bottom: y + half_height }
    }

    fn meets(&self, other: &Self) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }

    fn is_within(&self, other: &Self) -> bool {
        self.left >= other.left && self.right <= other.right && self.top >= other.top && self.bottom <= other.bottom
    }
}
