//! Funnel: each site's adjusted value against its number of episodes, with what chance alone gives.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::spread;
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL, TEAL_FAINT, TEAL_TINT};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{count, site_figures as words};

/// What sites are compared on.
#[derive(Clone, PartialEq, Debug)]
pub struct SiteAxis {
    /// Name with unit.
    pub title: String,
    /// Whether it is a share, written in percent.
    pub is_share: bool,
}

/// What the figure shows.
#[derive(Clone, PartialEq, Debug)]
pub struct Funnel {
    /// The value.
    pub axis: SiteAxis,
    /// The group's value.
    pub group: f64,
    /// Limits by number of episodes, ascending.
    pub limits: Vec<LimitsAt>,
    /// Sites.
    pub sites: Vec<FunnelSite>,
}

/// Limits of chance for a number of episodes.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct LimitsAt {
    /// Episodes.
    pub episodes: f64,
    /// 95 %.
    pub limits_95: (f64, f64),
    /// 99.8 %.
    pub limits_998: (f64, f64),
}

/// One site.
#[derive(Clone, PartialEq, Debug)]
pub struct FunnelSite {
    /// Its name.
    pub site: String,
    /// Its episodes.
    pub episodes: u32,
    /// Its value.
    pub value: f64,
    /// Whether it is called above or below.
    pub stands_out: bool,
}

const HEIGHT: f64 = 300.0;
const RIGHT: f64 = 104.0;

/// Draws the funnel.
pub fn funnel(text: &FigureText, data: &Funnel) -> Result<Figure, FigureError> {
    framed(text, &words::describe_funnel(data), HEIGHT, |pen, top| {
        let (left, right) = (46.0, WIDTH - RIGHT);
        let (first, bottom) = (top + 8.0, top + HEIGHT - 40.0);
        let most = data.limits.last().map_or(1.0, |last| last.episodes);
        let limit_values = data.limits.iter().flat_map(|at| [at.limits_998.0, at.limits_998.1]);
        let ends = if data.axis.is_share { (0.0, 1.0) } else { (f64::NEG_INFINITY, f64::INFINITY) };
        let domain = round_domain(limit_values.chain(data.sites.iter().map(|s| s.value)), 5, ends);
        let (x, y) = (Scale::new((0.0, most), (left, right)), Scale::new(domain, (bottom, first)));
        let band = |of: fn(&LimitsAt) -> (f64, f64)| -> Vec<(f64, f64)> {
            let upper = data.limits.iter().map(|at| (x.at(at.episodes), y.at(of(at).1)));
            let lower = data.limits.iter().rev().map(|at| (x.at(at.episodes), y.at(of(at).0)));
            upper.chain(lower).collect()
        };
        pen.area(&band(|at| at.limits_998), TEAL_FAINT)?;
        pen.area(&band(|at| at.limits_95), TEAL_TINT)?;
        let ticks = y.ticks(5);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            pen.line(&[(left, y.at(tick)), (right, y.at(tick))], RULE, 0.6)?;
            pen.text((left - 6.0, y.at(tick)), &words::value(tick, &data.axis, decimals), SMALL, GREY, Align::Right)?;
        }
        for tick in x.ticks(5) {
            pen.line(&[(x.at(tick), bottom), (x.at(tick), bottom + 4.0)], GREY, 0.8)?;
            pen.text((x.at(tick), bottom + 13.0), &count(tick.round() as u64), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 30.0), words::FUNNEL_EPISODES, SMALL, GREY, Align::Middle)?;
        pen.line(&[(left, y.at(data.group)), (right, y.at(data.group))], BLACK, 1.2)?;
        label_bands(pen, data, &x, &y)?;
        label_sites(pen, data, &x, &y, (first, bottom))?;
        for site in &data.sites {
            let at = (x.at(f64::from(site.episodes)), y.at(site.value));
            if site.stands_out { pen.dot(at, 5.0, OCHRE)? } else { pen.dot(at, 4.2, TEAL)? }
        }
        Ok(())
    })
}

/// Names the group's line and both bands at their right end.
fn label_bands(pen: &Pen<'_, '_>, data: &Funnel, x: &Scale, y: &Scale) -> Result<(), FigureError> {
    let Some(last) = data.limits.last() else { return Ok(()) };
    let place = x.at(last.episodes) + 6.0;
    let labels = [
        (last.limits_998.1, words::LIMIT_998, GREY),
        (last.limits_95.1, words::LIMIT_95, GREY),
        (data.group, words::GROUP, BLACK),
    ];
    let wanted: Vec<(f64, f64)> = labels.iter().map(|(value, _, _)| (y.at(*value) - 7.0, 14.0)).collect();
    let tops = spread(&wanted, 0.0, f64::INFINITY);
    for ((_, label, ink), top) in labels.iter().zip(tops) {
        pen.text((place, top + 7.0), label, SMALL, *ink, Align::Left)?;
    }
    Ok(())
}

/// Names the sites beside their dots, to the left in the right half, moved apart.
fn label_sites(
    pen: &Pen<'_, '_>,
    data: &Funnel,
    x: &Scale,
    y: &Scale,
    (first, bottom): (f64, f64),
) -> Result<(), FigureError> {
    let wanted: Vec<(f64, f64)> = data.sites.iter().map(|site| (y.at(site.value) - 8.0, 16.0)).collect();
    let tops = spread(&wanted, 0.0, bottom);
    let middle = (x.at(x.domain().0) + x.at(x.domain().1)) / 2.0;
    for (site, top) in data.sites.iter().zip(tops) {
        let dot = x.at(f64::from(site.episodes));
        let (face, ink) = if site.stands_out { (STRONG, OCHRE) } else { (LABEL, TEAL) };
        let at = top.max(first - 4.0) + 8.0;
        let dot_y = y.at(site.value);
        let (place, align) = if dot > middle { (dot - 9.0, Align::Right) } else { (dot + 9.0, Align::Left) };
        if (at - dot_y).abs() > 6.0 {
            pen.line(&[(dot, dot_y), (place, at)], RULE, 0.8)?;
        }
        pen.text_on_white((place, at), &site.site, face, ink, align)?;
    }
    Ok(())
}
