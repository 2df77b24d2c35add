//! Funnel: each site's adjusted value against its number of episodes, with what chance alone gives.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::labels::spread;
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, RULE, TEAL, TEAL_FAINT, TEAL_TINT};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Drawn, FigureError, comparison};
use crate::findings::bulletin::Period;
use crate::findings::sites::{Call, FunnelAt, SiteComparison, SiteRow};
use crate::models::sites::cases::Quantity;
use crate::report::edition::Edition;
use crate::report::lookup::shown;
use crate::report::wording::{count, site_figures as words};

/// How to read it.
pub(in crate::report) const READ: &str = "Each dot is a site, at its number of episodes and at the value it would have with the group's case \
     mix. Inside the tinted funnel chance alone can explain where it stands: the inner tint holds 95\u{a0}% and the outer 99.8\u{a0}% of \
     sites that do not differ. Sites whose difference remains after allowing for the number of comparisons are in the second ink.";

/// What its name ends in.
pub(in crate::report) const KIND: &str = "funnel";

const EPISODES: &str = "episodes of the site";
const HEIGHT: f64 = 300.0;
const RIGHT: f64 = 104.0;

/// A site that may be shown.
struct Dot<'r> {
    row: &'r SiteRow,
    episodes: u32,
    value: f64,
}

impl<'r> Dot<'r> {
    fn of(row: &'r SiteRow) -> Option<Self> {
        Some(Self { row, episodes: shown(&row.episodes)?, value: shown(&row.adjusted)? })
    }

    fn described(&self, quantity: Quantity) -> String {
        format!(
            "{}: {} at {} episodes{}.",
            self.row.site,
            words::value(self.value, quantity, 1),
            count(u64::from(self.episodes)),
            if self.row.stands_out() { ", beyond chance" } else { "" }
        )
    }
}

/// Draws the funnel over all periods; none where fewer than two sites may be shown.
pub(in crate::report) fn draw(edition: &Edition<'_>, compared: &SiteComparison) -> Drawn {
    let (quantity, limits) = (compared.quantity, &compared.funnel);
    let Some(group) = shown(&compared.overall) else { return Ok(None) };
    let dots: Vec<Dot<'_>> = comparison::rows(compared, &Period::All).filter_map(Dot::of).collect();
    if dots.len() < comparison::FEWEST_SITES {
        return Ok(None);
    }
    let sites = dots.iter().map(|dot| dot.described(quantity));
    let description = comparison::described(compared, group, sites);
    let text = comparison::text(edition, compared, KIND, title(compared));
    framed(&text, &description, HEIGHT, |pen, top| {
        let (left, right) = (46.0, WIDTH - RIGHT);
        let (first, bottom) = (top + 8.0, top + HEIGHT - 40.0);
        let most = limits.last().map_or(1.0, |last| last.episodes);
        let limit_values = limits.iter().flat_map(|at| [at.limits_998.0, at.limits_998.1]);
        let values = limit_values.chain(dots.iter().map(|dot| dot.value));
        let domain = round_domain(values, 5, comparison::ends(quantity));
        let (x, y) = (Scale::new((0.0, most), (left, right)), Scale::new(domain, (bottom, first)));
        let band = |of: fn(&FunnelAt) -> (f64, f64)| -> Vec<(f64, f64)> {
            let upper = limits.iter().map(|at| (x.at(at.episodes), y.at(of(at).1)));
            let lower = limits.iter().rev().map(|at| (x.at(at.episodes), y.at(of(at).0)));
            upper.chain(lower).collect()
        };
        pen.area(&band(|at| at.limits_998), TEAL_FAINT)?;
        pen.area(&band(|at| at.limits_95), TEAL_TINT)?;
        let ticks = y.ticks(5);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            pen.line(&[(left, y.at(tick)), (right, y.at(tick))], RULE, 0.6)?;
            pen.text((left - 6.0, y.at(tick)), &words::value(tick, quantity, decimals), SMALL, GREY, Align::Right)?;
        }
        for tick in x.ticks(5) {
            pen.line(&[(x.at(tick), bottom), (x.at(tick), bottom + 4.0)], GREY, 0.8)?;
            pen.text((x.at(tick), bottom + 13.0), &count(tick.round() as u64), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 30.0), EPISODES, SMALL, GREY, Align::Middle)?;
        pen.line(&[(left, y.at(group)), (right, y.at(group))], BLACK, 1.2)?;
        label_bands(pen, limits.last(), group, &x, &y)?;
        label_sites(pen, &dots, &x, &y, (first, bottom))?;
        for dot in &dots {
            let at = (x.at(f64::from(dot.episodes)), y.at(dot.value));
            if dot.row.stands_out() { pen.dot(at, 5.0, OCHRE)? } else { pen.dot(at, 4.2, TEAL)? }
        }
        Ok(())
    })
    .map(Some)
}

/// Who stands out, and on which side.
fn title(compared: &SiteComparison) -> String {
    let what = match compared.quantity {
        Quantity::Response => "response",
        Quantity::Change => "fall of burden",
        Quantity::FollowedUp => "follow-up",
    };
    let names = |call: Call| {
        let rows = comparison::rows(compared, &Period::All).filter(|row| row.call == call);
        rows.map(|row| row.site.as_str()).collect::<Vec<_>>().join(", ")
    };
    match (names(Call::Above).as_str(), names(Call::Below).as_str()) {
        ("", "") => format!("No site's {what} differs by more than chance explains"),
        (above, "") => format!("{above}: {what} above what chance explains"),
        ("", below) => format!("{below}: {what} below what chance explains"),
        (above, below) => format!("{what} above chance at {above}, below it at {below}"),
    }
}

/// Names the group's line and both bands at their right end.
fn label_bands(
    pen: &Pen<'_, '_>,
    last: Option<&FunnelAt>,
    group: f64,
    x: &Scale,
    y: &Scale,
) -> Result<(), FigureError> {
    let Some(last) = last else { return Ok(()) };
    let place = x.at(last.episodes) + 6.0;
    let labels = [
        (last.limits_998.1, words::LIMIT_998, GREY),
        (last.limits_95.1, words::LIMIT_95, GREY),
        (group, words::GROUP, BLACK),
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
    dots: &[Dot<'_>],
    x: &Scale,
    y: &Scale,
    (first, bottom): (f64, f64),
) -> Result<(), FigureError> {
    let wanted: Vec<(f64, f64)> = dots.iter().map(|dot| (y.at(dot.value) - 8.0, 16.0)).collect();
    let tops = spread(&wanted, 0.0, bottom);
    let middle = (x.at(x.domain().0) + x.at(x.domain().1)) / 2.0;
    for (site, top) in dots.iter().zip(tops) {
        let dot = x.at(f64::from(site.episodes));
        let (face, ink) = if site.row.stands_out() { (STRONG, OCHRE) } else { (LABEL, TEAL) };
        let at = top.max(first - 4.0) + 8.0;
        let dot_y = y.at(site.value);
        let (place, align) = if dot > middle { (dot - 9.0, Align::Right) } else { (dot + 9.0, Align::Left) };
        if (at - dot_y).abs() > 6.0 {
            pen.line(&[(dot, dot_y), (place, at)], RULE, 0.8)?;
        }
        pen.text_on_white((place, at), &site.row.site, face, ink, align)?;
    }
    Ok(())
}
