//! A comparison of sites as figures; `None` where too little may be shown.

use super::drawings::Drawn;
use super::edition::Edition;
use super::pick::shown;
use crate::findings::bulletin::Period;
use crate::findings::sites::{QuartersOf, SiteComparison, SiteCourse, SiteWeek};
use crate::models::sites::cases::Quantity;
use crate::report::figures::{
    AdjustedSite, BeforeAfter, ByQuarter, CourseOfSite, CourseWeek, FigureText, Funnel, FunnelSite, LimitsAt,
    QuarterOf, QuarterShown, Shrunken, ShrunkenSite, before_after, by_quarter, funnel, shrunken, site_course,
};
use crate::report::wording::{phrases, site_figures as words, sites};

/// Fewest sites that a figure compares.
const FEWEST_SITES: usize = 2;
const DAYS_A_WEEK: f64 = 7.0;

/// Name of a comparison's funnel.
pub(super) fn funnel_name(edition: &Edition<'_>, comparison: &SiteComparison) -> String {
    edition.comparison_name(comparison, "funnel")
}

fn text(edition: &Edition<'_>, comparison: &SiteComparison, kind: &str, title: String) -> FigureText {
    FigureText {
        name: edition.comparison_name(comparison, kind),
        title,
        subtitle: sites::subtitle(comparison, &phrases::period(&Period::All)),
        source: edition.source(None),
    }
}

/// The funnel over all periods.
pub(super) fn funnel_of(edition: &Edition<'_>, comparison: &SiteComparison) -> Drawn {
    let Some(group) = shown(&comparison.overall) else { return Ok(None) };
    let rows = || comparison.rows.iter().filter(|row| row.period == Period::All);
    let dots: Vec<FunnelSite> = rows()
        .filter_map(|row| {
            Some(FunnelSite {
                site: row.site.clone(),
                episodes: shown(&row.episodes)?,
                value: shown(&row.adjusted)?,
                stands_out: row.stands_out(),
            })
        })
        .collect();
    if dots.len() < FEWEST_SITES {
        return Ok(None);
    }
    let called: Vec<_> = rows().map(|row| (row.site.as_str(), row.call)).collect();
    let limits = comparison.funnel.iter().map(|at| LimitsAt {
        episodes: at.episodes,
        limits_95: at.limits_95,
        limits_998: at.limits_998,
    });
    let data = Funnel {
        axis: words::axis(comparison.quantity, &phrases::within(&comparison.measure_title)),
        group,
        limits: limits.collect(),
        sites: dots,
    };
    let title = sites::funnel_title(comparison, &called);
    funnel(&text(edition, comparison, "funnel", title), &data).map(Some)
}

/// The sites before and after adjustment.
pub(super) fn before_after_of(edition: &Edition<'_>, comparison: &SiteComparison) -> Drawn {
    let Some(group) = shown(&comparison.overall) else { return Ok(None) };
    let rows = comparison.rows.iter().filter(|row| row.period == Period::All);
    let sites_of: Vec<AdjustedSite> = rows
        .map(|row| AdjustedSite {
            site: row.site.clone(),
            shown: shown(&row.raw).zip(shown(&row.adjusted)).map(|(a, b)| (a, b, shown(&row.episodes))),
        })
        .collect();
    let known = || sites_of.iter().filter_map(|site| Some((site.site.as_str(), site.shown?)));
    if known().count() < FEWEST_SITES {
        return Ok(None);
    }
    let shift = known().map(|(site, (before, after, _))| (site, after - before));
    let largest = shift.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    let axis = words::axis(comparison.quantity, &phrases::within(&comparison.measure_title));
    let title = sites::before_after_title(largest, axis.is_share);
    let data = BeforeAfter { axis, group, sites: sites_of };
    before_after(&text(edition, comparison, "before-after", title), &data).map(Some)
}

/// The estimates drawn towards the group.
pub(super) fn shrunken_of(edition: &Edition<'_>, comparison: &SiteComparison) -> Drawn {
    let Some(group) = shown(&comparison.overall) else { return Ok(None) };
    let rows = comparison.rows.iter().filter(|row| row.period == Period::All);
    let sites_of: Vec<ShrunkenSite> = rows
        .map(|row| ShrunkenSite {
            site: row.site.clone(),
            shown: shown(&row.shrunken)
                .zip(shown(&row.adjusted))
                .map(|(e, adjusted)| (e.value, (e.low, e.high), adjusted)),
            stands_out: row.stands_out(),
        })
        .collect();
    if sites_of.iter().filter(|site| site.shown.is_some()).count() < FEWEST_SITES {
        return Ok(None);
    }
    let axis = words::axis(comparison.quantity, &phrases::within(&comparison.measure_title));
    let title = sites::shrunken_title(comparison.between_sd, comparison.quantity);
    shrunken(&text(edition, comparison, "estimates", title), &Shrunken { axis, group, sites: sites_of }).map(Some)
}

/// A site's response rate by quarter.
pub(super) fn quarters_of(edition: &Edition<'_>, site: &str, of: &QuartersOf) -> Drawn {
    let quarters: Vec<QuarterOf> = of
        .quarters
        .iter()
        .map(|(quarter, point)| QuarterOf {
            label: phrases::quarter_short(*quarter),
            shown: point.map(|point| QuarterShown {
                value: point.value,
                limits: point.limits,
                episodes: words::episodes_of_quarter(point.episodes, point.is_rounded),
                signals: point.signals,
            }),
        })
        .collect();
    let signals = quarters.iter().filter(|quarter| quarter.shown.as_ref().is_some_and(|shown| shown.signals)).count();
    if quarters.iter().all(|quarter| quarter.shown.is_none()) {
        return Ok(None);
    }
    let measure = sites::domain(of.domain);
    let text = FigureText {
        name: edition.site_figure_name(site, of.domain.key(), "quarters"),
        title: sites::by_quarter_title(site, signals),
        subtitle: sites::by_quarter_subtitle(measure),
        source: edition.source(None),
    };
    let data =
        ByQuarter { axis: words::axis(Quantity::Response, measure), centre: of.centre, group: of.group, quarters };
    by_quarter(&text, &data).map(Some)
}

/// A site's course beside the group's.
pub(super) fn course_of(edition: &Edition<'_>, site: &str, course: &SiteCourse) -> Drawn {
    let week = |week: &SiteWeek| CourseWeek {
        week: week.day / DAYS_A_WEEK,
        mean: week.mean.value,
        interval: (week.mean.low, week.mean.high),
        episodes: week.episodes,
    };
    let measure = sites::domain(course.domain);
    let (Some(first), Some(last)) = (course.site.first(), course.site.last()) else { return Ok(None) };
    let text = FigureText {
        name: edition.site_figure_name(site, course.domain.key(), "course"),
        title: sites::course_title(site, measure, (first.mean.value, last.mean.value), last.week),
        subtitle: sites::course_subtitle(measure),
        source: edition.source(None),
    };
    let data = CourseOfSite {
        axis: measure.to_owned(),
        site: site.to_owned(),
        weeks: course.site.iter().map(week).collect(),
        group: course.group.iter().map(week).collect(),
    };
    site_course(&text, &data).map(Some)
}
