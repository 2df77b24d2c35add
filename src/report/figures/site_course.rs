//! A site's mean burden by week beside the group's.

use super::frame::{SMALL, STRONG, WIDTH, framed};
use super::labels::spread;
use super::pen::{Align, BLACK, GREY, RULE, TEAL};
use super::scale::{Scale, round_domain};
use super::{Figure, FigureError, FigureText};
use crate::report::wording::{decimal, site_figures as words};

/// What the figure shows: burden, 0 is best and 100 is worst.
#[derive(Clone, PartialEq, Debug)]
pub struct CourseOfSite {
    /// Name of the axis.
    pub axis: String,
    /// The site's name.
    pub site: String,
    /// The site by week, in order.
    pub weeks: Vec<CourseWeek>,
    /// The group by week, in order.
    pub group: Vec<CourseWeek>,
}

/// One week.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct CourseWeek {
    /// Weeks since the first treated visit, by the mean day of the readings.
    pub week: f64,
    /// Mean.
    pub mean: f64,
    /// Its 95 % interval.
    pub interval: (f64, f64),
    /// Episodes.
    pub episodes: u32,
}

const HEIGHT: f64 = 250.0;
const RIGHT: f64 = 96.0;

/// Draws the course.
pub fn site_course(text: &FigureText, data: &CourseOfSite) -> Result<Figure, FigureError> {
    framed(text, &words::describe_site_course(data), HEIGHT, |pen, top| {
        let (left, right) = (40.0, WIDTH - RIGHT);
        let (first, bottom) = (top + 8.0, top + HEIGHT - 40.0);
        let last = data.weeks.iter().map(|week| week.week).fold(1.0, f64::max);
        let group: Vec<&CourseWeek> = data.group.iter().filter(|week| week.week <= last + 0.5).collect();
        let values = data.weeks.iter().flat_map(|week| [week.interval.0, week.interval.1]);
        let domain = round_domain(values.chain(group.iter().map(|week| week.mean)).chain([0.0]), 5, (0.0, 100.0));
        let (x, y) = (Scale::new((0.0, last), (left, right)), Scale::new(domain, (bottom, first)));
        for tick in y.ticks(5) {
            pen.line(&[(left, y.at(tick)), (right, y.at(tick))], RULE, 0.6)?;
            pen.text((left - 6.0, y.at(tick)), &decimal(tick, 0), SMALL, GREY, Align::Right)?;
        }
        for tick in x.ticks(6) {
            pen.line(&[(x.at(tick), bottom), (x.at(tick), bottom + 4.0)], GREY, 0.8)?;
            pen.text((x.at(tick), bottom + 13.0), &decimal(tick, 0), SMALL, GREY, Align::Middle)?;
        }
        pen.text(((left + right) / 2.0, bottom + 30.0), words::WEEKS, SMALL, GREY, Align::Middle)?;
        let line: Vec<(f64, f64)> = group.iter().map(|week| (x.at(week.week), y.at(week.mean))).collect();
        pen.line(&line, BLACK, 1.4)?;
        for week in &data.weeks {
            let place = x.at(week.week);
            pen.interval((place, y.at(week.interval.0)), (place, y.at(week.interval.1)), 2.5, TEAL, 1.0)?;
        }
        let line: Vec<(f64, f64)> = data.weeks.iter().map(|week| (x.at(week.week), y.at(week.mean))).collect();
        pen.line(&line, TEAL, 1.8)?;
        for at in line {
            pen.dot(at, 3.4, TEAL)?;
        }
        let ends = [
            (data.weeks.last().map(|week| week.mean), data.site.as_str(), TEAL, STRONG),
            (group.last().map(|week| week.mean), words::GROUP, BLACK, SMALL),
        ];
        let labels: Vec<_> =
            ends.into_iter().filter_map(|(mean, name, ink, face)| Some((mean?, name, ink, face))).collect();
        let wanted: Vec<(f64, f64)> = labels.iter().map(|(mean, ..)| (y.at(*mean) - 8.0, 16.0)).collect();
        for ((_, name, ink, face), top) in labels.iter().zip(spread(&wanted, 0.0, bottom)) {
            pen.text((right + 8.0, top + 8.0), name, *face, *ink, Align::Left)?;
        }
        Ok(())
    })
}
