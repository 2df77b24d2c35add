//! Sites before and after adjustment, and their estimates drawn towards the group, in rows.

use super::frame::{LABEL, SMALL, STRONG, WIDTH, framed};
use super::pen::{Align, BLACK, GREY, OCHRE, Pen, TEAL};
use super::rows::{Rows, UNDER, withheld};
use super::scale::{Scale, round_domain};
use super::{Drawn, Figure, FigureError, FigureText, comparison};
use crate::findings::bulletin::{Estimate, Period};
use crate::findings::sites::{SiteComparison, SiteRow};
use crate::models::sites::cases::Quantity;
use crate::report::edition::Edition;
use crate::report::lookup::shown;
use crate::report::wording::{WITHHELD, count, decimal, site_figures as words};

/// How to read the sites before and after.
pub(in crate::report) const READ_BEFORE_AFTER: &str = "The ring is what was observed, the dot what would be observed at the group's case mix. A \
     long line means that the site's patients differ from the others' in ways known before treatment.";
/// How to read the estimates.
pub(in crate::report) const READ_SHRUNKEN: &str = "The dot is the best guess of what the whole group's patients would do at this site, with its \
     95\u{a0}% interval; the ring is the adjusted value before it was drawn towards the group. The fewer episodes a site \
     has, the further it is drawn.";

const BEFORE_DOT: &str = "as it is";
const AFTER_DOT: &str = "at the group's case mix";
const ESTIMATE: &str = "estimate";

const HEAD: f64 = 40.0;
const ROW: f64 = 27.0;
const NUMBERS: f64 = 76.0;

/// Draws the sites before (ring) and after (dot) adjustment.
pub(in crate::report) fn before_after(edition: &Edition<'_>, compared: &SiteComparison) -> Drawn {
    let before_and_after = |row: &SiteRow| shown(&row.raw).zip(shown(&row.adjusted));
    let known = || rows(compared).filter_map(|row| Some((row, before_and_after(row)?)));
    let Some(group) = shown(&compared.overall).filter(|_| known().count() >= comparison::FEWEST_SITES) else {
        return Ok(None);
    };
    let value = |number: f64| words::value(number, compared.quantity, 1);
    let sites = rows(compared).map(|row| match before_and_after(row) {
        Some((before, after)) => {
            let n = shown(&row.episodes).map_or(String::new(), |n| format!(", n {}", count(u64::from(n))));
            format!("{}: {} as it is, {} adjusted{n}.", row.site, value(before), value(after))
        }
        None => format!("{}: withheld.", row.site),
    });
    let shifts = known().map(|(row, (before, after))| (row.site.as_str(), after - before));
    let title = before_after_title(shifts.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())), compared.quantity);
    let text = comparison::text(edition, compared, "before-after", title);
    let description = comparison::described(compared, group, sites);
    let values = known().flat_map(|(_, (before, after))| [before, after]);
    in_rows(compared, group, &text, &description, values, |pen, x, place| {
        let mut right = WIDTH - NUMBERS - 14.0;
        for (label, is_before) in [(AFTER_DOT, false), (BEFORE_DOT, true)] {
            pen.text_on_white((right, place.first - 14.0), label, SMALL, TEAL, Align::Right)?;
            let dot = (right - SMALL.width(label) - 9.0, place.first - 14.0);
            if is_before {
                pen.ring(dot, 4.0, TEAL)?
            } else {
                pen.dot(dot, 4.0, TEAL)?
            }
            right = dot.0 - 22.0;
        }
        pen.text((WIDTH, place.first - 14.0), "n", SMALL, GREY, Align::Right)?;
        rows(compared).enumerate().try_for_each(|(row, site)| {
            let y = place.middle_of(row);
            let Some((before, after)) = before_and_after(site) else { return withheld(pen, y) };
            pen.line(&[(x.at(before), y), (x.at(after), y)], OCHRE, 1.6)?;
            pen.ring((x.at(before), y), 4.6, TEAL)?;
            pen.dot((x.at(after), y), 4.6, TEAL)?;
            let episodes = shown(&site.episodes).map_or(WITHHELD.to_owned(), |n| count(u64::from(n)));
            pen.text((WIDTH, y), &episodes, SMALL, GREY, Align::Right)
        })
    })
    .map(Some)
}

/// `largest`: the site that adjustment moves most, and by how much.
fn before_after_title(largest: Option<(&str, f64)>, quantity: Quantity) -> String {
    let Some((site, shift)) = largest else { return "Sites as they are and at the group's case mix".to_owned() };
    let by = match quantity {
        Quantity::Change => format!("{} points of burden", decimal(shift.abs(), 1)),
        Quantity::Response | Quantity::FollowedUp => format!("{} points", decimal(100.0 * shift.abs(), 1)),
    };
    let way = if shift > 0.0 { "up" } else { "down" };
    format!("Allowing for case mix moves {site} most: {way} by {by}")
}

/// Draws the estimates drawn towards the group, with the adjusted value as a ring.
pub(in crate::report) fn shrunken(edition: &Edition<'_>, compared: &SiteComparison) -> Drawn {
    let estimate = |row: &SiteRow| shown(&row.shrunken).zip(shown(&row.adjusted));
    let known = || rows(compared).filter_map(estimate);
    let Some(group) = shown(&compared.overall).filter(|_| known().count() >= comparison::FEWEST_SITES) else {
        return Ok(None);
    };
    let value = |number: f64| words::value(number, compared.quantity, 1);
    let sites = rows(compared).map(|row| match estimate(row) {
        Some((Estimate { value: middle, low, high }, adjusted)) => format!(
            "{}: {} ({}), adjusted value {}.",
            row.site,
            value(middle),
            words::between((low, high), compared.quantity),
            value(adjusted)
        ),
        None => format!("{}: withheld.", row.site),
    });
    let title = shrunken_title(compared.between_sd, compared.quantity);
    let text = comparison::text(edition, compared, "estimates", title);
    let description = comparison::described(compared, group, sites);
    let ends = known().flat_map(|(estimate, adjusted)| [estimate.low, estimate.high, adjusted]);
    in_rows(compared, group, &text, &description, ends, |pen, x, place| {
        pen.text((WIDTH, place.first - 14.0), ESTIMATE, SMALL, TEAL, Align::Right)?;
        rows(compared).enumerate().try_for_each(|(row, site)| {
            let y = place.middle_of(row);
            let Some((estimate, adjusted)) = estimate(site) else { return withheld(pen, y) };
            let ink = if site.stands_out() { OCHRE } else { TEAL };
            pen.line(&[(x.at(estimate.low), y), (x.at(estimate.high), y)], ink, 2.4)?;
            pen.ring((x.at(adjusted), y), 3.6, GREY)?;
            pen.dot((x.at(estimate.value), y), 4.8, ink)?;
            pen.text((WIDTH, y), &value(estimate.value), STRONG, ink, Align::Right)
        })
    })
    .map(Some)
}

fn shrunken_title(sd: Option<f64>, quantity: Quantity) -> String {
    match (sd, quantity) {
        (Some(0.0), _) => "The sites do not differ beyond chance and case mix".to_owned(),
        (Some(sd), Quantity::Change) => {
            format!("Beyond chance and case mix the sites lie {} points of burden apart (SD)", decimal(sd, 1))
        }
        (Some(sd), _) => {
            format!("Beyond chance and case mix the sites lie {} apart in log odds (SD)", decimal(sd, 2))
        }
        (None, _) => "Sites drawn towards the group".to_owned(),
    }
}

fn rows(compared: &SiteComparison) -> impl Iterator<Item = &SiteRow> {
    comparison::rows(compared, &Period::All)
}

/// The rows of sites over one axis with the group's line, and what `inside` draws on them.
fn in_rows(
    compared: &SiteComparison,
    group: f64,
    text: &FigureText,
    description: &str,
    values: impl Iterator<Item = f64>,
    inside: impl FnOnce(&Pen<'_, '_>, &Scale, &Rows) -> Result<(), FigureError>,
) -> Result<Figure, FigureError> {
    let quantity = compared.quantity;
    framed(text, description, HEAD + ROW * rows(compared).count() as f64 + UNDER, |pen, top| {
        let place = Rows::new(rows(compared).map(|row| row.site.as_str()), top + HEAD, ROW, NUMBERS);
        let x = place.scale(round_domain(values.chain([group]), 4, comparison::ends(quantity)));
        place.grid(pen, &x, 6, false, |tick, decimals| words::value(tick, quantity, decimals))?;
        place.axis_title(pen, &comparison::axis(compared))?;
        let (at, first) = (x.at(group), place.first);
        pen.line(&[(at, first - 2.0), (at, place.bottom)], BLACK, 1.2)?;
        let half = SMALL.width(words::GROUP) / 2.0;
        let label = at.clamp(place.left + half, place.right - half);
        pen.text((label, first - 32.0), words::GROUP, SMALL, BLACK, Align::Middle)?;
        pen.line(&[(at, first - 24.0), (at, first - 2.0)], BLACK, 0.6)?;
        for (row, site) in rows(compared).enumerate() {
            pen.text((0.0, place.middle_of(row)), &site.site, LABEL, BLACK, Align::Left)?;
        }
        inside(pen, &x, &place)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_title_names_the_site_that_case_mix_moves_most() {
        let title = before_after_title(Some(("A", -0.034)), Quantity::Response);
        assert_eq!(title, "Allowing for case mix moves A most: down by 3.4 points");
    }
}
