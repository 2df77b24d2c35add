//! A site's rate quarter by quarter on a control chart: centre line, limits of chance, signals.

use super::frame::{SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, OCHRE, RULE, TEAL};
use super::scale::{Scale, round_domain, tick_decimals};
use super::{Drawn, FigureText, comparison};
use crate::findings::sites::{QuarterPoint, QuartersOf};
use crate::models::sites::cases::Quantity;
use crate::report::edition::Edition;
use crate::report::wording::phrases::quarter_short;
use crate::report::wording::{count, counted, site_figures as words, sites};

/// How to read it.
pub(in crate::report) const READ: &str = "The line is the site's own rate over all quarters. The short strokes are three standard \
     deviations of chance around it for that quarter's number of episodes. Rules that signal: one quarter beyond the strokes; two of \
     three beyond two standard deviations on one side; four of five beyond one; eight in a row on one side.";

const THIS_SITE: &str = "this site";
const WITHHELD: &str = "– withheld";
const SHOWN: Quantity = Quantity::Response;
const HEIGHT: f64 = 232.0;
const RIGHT: f64 = 92.0;

/// Draws a site's response rate by quarter; none where every quarter is withheld.
pub(in crate::report) fn draw(edition: &Edition<'_>, site: &str, of: &QuartersOf) -> Drawn {
    let shown = || of.quarters.iter().filter_map(|(_, point)| point.as_ref());
    if shown().next().is_none() {
        return Ok(None);
    }
    let measure = sites::domain(of.domain);
    let text = FigureText {
        name: edition.site_figure_name(site, of.domain.key(), "quarters"),
        title: title(site, shown().filter(|point| point.signals).count()),
        subtitle: format!(
            "Share with a minimal important change, {measure}, all conditions, of those with both readings"
        ),
        source: edition.source(None),
    };
    framed(&text, &described(of), HEIGHT, |pen, top| {
        let (left, right) = (46.0, WIDTH - RIGHT);
        let (first, bottom) = (top + 8.0, top + HEIGHT - 44.0);
        let values = shown().flat_map(|q| [q.value, q.limits.0, q.limits.1]);
        let domain = round_domain(values.chain([of.centre, of.group]), 4, comparison::ends(SHOWN));
        let y = Scale::new(domain, (bottom, first));
        let step = (right - left) / of.quarters.len().max(1) as f64;
        let x = |quarter: usize| left + step * (quarter as f64 + 0.5);
        let ticks = y.ticks(5);
        let decimals = tick_decimals(&ticks);
        for &tick in &ticks {
            pen.line(&[(left, y.at(tick)), (right, y.at(tick))], RULE, 0.6)?;
            pen.text((left - 6.0, y.at(tick)), &words::value(tick, SHOWN, decimals), SMALL, GREY, Align::Right)?;
        }
        pen.line(&[(left, y.at(of.centre)), (right, y.at(of.centre))], TEAL, 1.4)?;
        pen.dashes(&[(left, y.at(of.group)), (right, y.at(of.group))], GREY, 1.0, 4.0, 3.0)?;
        let apart = (y.at(of.centre) - y.at(of.group)).abs() < 14.0;
        let shift = match (apart, of.centre >= of.group) {
            (false, _) => 0.0,
            (true, true) => 7.0,
            (true, false) => -7.0,
        };
        pen.text((right + 6.0, y.at(of.centre) - shift), THIS_SITE, STRONG, TEAL, Align::Left)?;
        pen.text((right + 6.0, y.at(of.group) + shift), words::GROUP, SMALL, GREY, Align::Left)?;
        let mut last: Option<(f64, f64)> = None;
        for (position, (quarter, point)) in of.quarters.iter().enumerate() {
            let place = x(position);
            pen.text((place, bottom + 13.0), &quarter_short(*quarter), SMALL, GREY, Align::Middle)?;
            let Some(point) = point else {
                pen.text((place, bottom + 28.0), WITHHELD, SMALL, GREY, Align::Middle)?;
                last = None;
                continue;
            };
            for limit in [point.limits.0, point.limits.1] {
                pen.line(&[(place - 0.38 * step, y.at(limit)), (place + 0.38 * step, y.at(limit))], BLACK, 1.0)?;
            }
            let at = (place, y.at(point.value));
            if let Some(before) = last {
                pen.line(&[before, at], TEAL, 1.2)?;
            }
            last = Some(at);
            pen.text((place, bottom + 28.0), &episodes(point), SMALL, GREY, Align::Middle)?;
        }
        for (position, point) in of.quarters.iter().enumerate().filter_map(|(i, q)| Some((i, q.1.as_ref()?))) {
            let at = (x(position), y.at(point.value));
            if point.signals { pen.dot(at, 5.4, OCHRE)? } else { pen.dot(at, 4.4, TEAL)? }
        }
        Ok(())
    })
    .map(Some)
}

fn title(site: &str, signals: usize) -> String {
    match signals {
        0 => format!("{site}: the response rate varies from quarter to quarter as chance does"),
        n => {
            format!("{site}: {} of the response rate beyond what chance does", counted(n as u64, "quarter", "quarters"))
        }
    }
}

/// Episodes of a quarter: to whole tens where counts are withheld.
fn episodes(point: &QuarterPoint) -> String {
    let number = count(u64::from(point.episodes));
    if point.is_rounded { format!("n\u{a0}≈\u{a0}{number}") } else { format!("n\u{a0}{number}") }
}

fn described(of: &QuartersOf) -> String {
    let quarters = of.quarters.iter().map(|(quarter, point)| match point {
        Some(point) => format!(
            "{}: {} (chance {}), {}{}.",
            quarter_short(*quarter),
            words::value(point.value, SHOWN, 1),
            words::between(point.limits, SHOWN),
            episodes(point),
            if point.signals { ", signals" } else { "" }
        ),
        None => format!("{}: withheld.", quarter_short(*quarter)),
    });
    let quarters = quarters.collect::<Vec<_>>().join(" ");
    format!(
        "{}. This site: {}. Whole group: {}. {quarters}",
        words::axis(SHOWN, sites::domain(of.domain)),
        words::value(of.centre, SHOWN, 1),
        words::value(of.group, SHOWN, 1)
    )
}
