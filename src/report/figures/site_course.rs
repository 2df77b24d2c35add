//! A site's mean burden by week beside the group's.

use super::frame::{SMALL, STRONG, WIDTH, framed};
use super::labels::spread;
use super::pen::{Align, BLACK, GREY, RULE, TEAL};
use super::scale::{Scale, round_domain};
use super::{DAYS_A_WEEK, Drawn, FigureText};
use crate::findings::sites::{SiteCourse, SiteWeek};
use crate::report::edition::Edition;
use crate::report::wording::{count, decimal, range, site_figures as words, sites};

/// How to read it.
pub(in crate::report) const READ: &str = "Mean burden by week with its 95\u{a0}% interval, of those who were asked that week: 0 is best and 100 is \
     worst. It is not adjusted for who was treated, and late weeks hold only those who were still asked.";

const WEEKS: &str = "weeks since the first treated visit";
const HEIGHT: f64 = 250.0;
const RIGHT: f64 = 96.0;

/// Draws a site's course beside the group's; none without a week of the site.
pub(in crate::report) fn draw(edition: &Edition<'_>, site: &str, course: &SiteCourse) -> Drawn {
    let measure = sites::domain(course.domain);
    let (Some(at_first), Some(at_last)) = (course.site.first(), course.site.last()) else { return Ok(None) };
    let text = FigureText {
        name: edition.site_figure_name(site, course.domain.key(), "course"),
        title: format!(
            "{site}: mean {measure} burden from {} at the start to {} in week {}",
            decimal(at_first.mean.value, 0),
            decimal(at_last.mean.value, 0),
            at_last.week
        ),
        subtitle: format!("Due episodes, {measure}, all conditions; 0 is best and 100 is worst"),
        source: edition.source(None),
    };
    framed(&text, &described(site, course), HEIGHT, |pen, top| {
        let (left, right) = (40.0, WIDTH - RIGHT);
        let (first, bottom) = (top + 8.0, top + HEIGHT - 40.0);
        let last = course.site.iter().map(week).fold(1.0, f64::max);
        let group: Vec<&SiteWeek> = course.group.iter().filter(|of| week(of) <= last + 0.5).collect();
        let values = course.site.iter().flat_map(|of| [of.mean.low, of.mean.high]);
        let domain = round_domain(values.chain(group.iter().map(|of| of.mean.value)).chain([0.0]), 5, (0.0, 100.0));
        let (x, y) = (Scale::new((0.0, last), (left, right)), Scale::new(domain, (bottom, first)));
        for tick in y.ticks(5) {
            pen.line(&[(left, y.at(tick)), (right, y.at(tick))], RULE, 0.6)?;
            pen.text((left - 6.0, y.at(tick)), &decimal(tick, 0), SMALL, GREY, Align::Right)?;
        }
        for tick in x.ticks(6) {
            pen.line(&[(x.at(tick), bottom), (x.at(tick), bottom + 4.0)], GREY, 0.8)?;
            pen.text((x.at(tick), bottom + 13.0), &decimal(tick, 0), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 30.0), WEEKS, SMALL, GREY, Align::Middle)?;
        let place = |of: &SiteWeek| (x.at(week(of)), y.at(of.mean.value));
        let line: Vec<(f64, f64)> = group.iter().map(|of| place(of)).collect();
        pen.line(&line, BLACK, 1.4)?;
        for of in &course.site {
            let x = x.at(week(of));
            pen.interval((x, y.at(of.mean.low)), (x, y.at(of.mean.high)), 2.5, TEAL, 1.0)?;
        }
        let line: Vec<(f64, f64)> = course.site.iter().map(place).collect();
        pen.line(&line, TEAL, 1.8)?;
        for at in line {
            pen.dot(at, 3.4, TEAL)?;
        }
        let ends = [
            (course.site.last().map(|of| of.mean.value), site, TEAL, STRONG),
            (group.last().map(|of| of.mean.value), words::GROUP, BLACK, SMALL),
        ];
        let labels: Vec<_> =
            ends.into_iter().filter_map(|(mean, name, ink, face)| Some((mean?, name, ink, face))).collect();
        let wanted: Vec<(f64, f64)> = labels.iter().map(|(mean, ..)| (y.at(*mean) - 8.0, 16.0)).collect();
        for ((_, name, ink, face), top) in labels.iter().zip(spread(&wanted, 0.0, bottom)) {
            pen.text((right + 8.0, top + 8.0), name, *face, *ink, Align::Left)?;
        }
        Ok(())
    })
    .map(Some)
}

/// When a week's readings were, by their mean day.
fn week(of: &SiteWeek) -> f64 {
    of.day / DAYS_A_WEEK
}

fn described(site: &str, course: &SiteCourse) -> String {
    let weeks = course.site.iter().map(|of| {
        format!(
            "Week {}: {} ({}), n {}.",
            decimal(week(of), 0),
            decimal(of.mean.value, 1),
            range(of.mean.low, of.mean.high, 1),
            count(u64::from(of.episodes))
        )
    });
    let group = course.group.iter().map(|of| format!("week {} {}", decimal(week(of), 0), decimal(of.mean.value, 1)));
    format!(
        "Mean burden, {}. {site}: {} Whole group: {}.",
        sites::domain(course.domain),
        weeks.collect::<Vec<_>>().join(" "),
        group.collect::<Vec<_>>().join(", ")
    )
}
