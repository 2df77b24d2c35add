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
    /// Limits of chance by number of visits: (visits, 95 %, 99.8 %), ascending.
    pub limits: Vec<(f64, (f64, f64), (f64, f64))>,
    /// Sites, clinicians and tables.
    pub marks: Vec<FunnelMark>,
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
        let most = data.limits.last().map_or(largest, |last| last.0.max(largest));
        // the limits of the smallest would stretch the axis beyond what is drawn
        let limits = data.limits.iter().filter(|at| at.0 > 0.06 * most).flat_map(|at| [at.2.0, at.2.1]);
        let domain = round_domain(limits.chain(data.marks.iter().map(|m| m.share)).chain([data.group]), 5, (0.0, 1.0));
        let (x, y) = (Scale::new((0.0, most), (left, right)), Scale::new(domain, (bottom, first)));
        let band = |of: fn(&(f64, (f64, f64), (f64, f64))) -> (f64, f64)| -> Vec<(f64, f64)> {
            let upper = data.limits.iter().map(|at| (x.at(at.0), y.at(of(at).1)));
            let lower = data.limits.iter().rev().map(|at| (x.at(at.0), y.at(of(at).0)));
            upper.chain(lower).collect()
        };
        pen.area(&band(|at| at.2), TEAL_FAINT)?;
        pen.area(&band(|at| at.1), TEAL_TINT)?;
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
        (last.2.1, site_figures::LIMIT_998, GREY),
        (last.1.1, site_figures::LIMIT_95, GREY),
        (data.group, site_figures::GROUP, BLACK),
    ];
    let wanted: Vec<(f64, f64)> = labels.iter().map(|(value, _, _)| (y.at(*value) - 7.0, 14.0)).collect();
    for ((_, label, ink), top) in labels.iter().zip(spread(&wanted, 0.0, f64::INFINITY)) {
        pen.text((place, top + 7.0), label, SMALL, *ink, Align::Left)?;
    }
    Ok(())
}

/// Names every site, and the clinicians and tables that stand out, beside their marks.
fn label_marks(
    pen: &Pen<'_, '_>,
    data: &SetupFunnel,
    x: &Scale,
    y: &Scale,
    (first, bottom): (f64, f64),
) -> Result<(), FigureError> {
    let middle = (x.at(x.domain().0) + x.at(x.domain().1)) / 2.0;
    let is_left = |mark: &FunnelMark| x.at(f64::from(mark.visits)) > middle;
    for on_left in [true, false] {
        let named: Vec<&FunnelMark> =
            data.marks.iter().filter(|m| (m.is_site || m.stands_out) && is_left(m) == on_left).collect();
        let wanted: Vec<(f64, f64)> = named.iter().map(|mark| (y.at(mark.share) - 7.0, 14.0)).collect();
        for (mark, top) in named.iter().zip(spread(&wanted, 0.5, bottom)) {
            let dot = (x.at(f64::from(mark.visits)), y.at(mark.share));
            let at = top.max(first - 4.0) + 7.0;
            let (face, ink) = match (mark.is_site, mark.stands_out) {
                (true, true) => (STRONG, OCHRE),
                (true, false) => (LABEL, TEAL),
                (false, _) => (SMALL, OCHRE),
            };
            let (place, align) = if on_left { (dot.0 - 9.0, Align::Right) } else { (dot.0 + 9.0, Align::Left) };
            if (at - dot.1).abs() > 6.0 {
                pen.line(&[dot, (place, at)], GREY, 0.6)?;
            }
            pen.text(((place), at), &mark.name, face, ink, align)?;
        }
    }
    Ok(())
}
