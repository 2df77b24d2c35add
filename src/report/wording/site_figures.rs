//! Words of the figures about sites, and their text alternatives.

use super::{count, decimal, percent, range};
use crate::models::sites::cases::Quantity;
use crate::report::figures::{BeforeAfter, ByQuarter, Funnel, Shrunken, SiteAxis};

/// Under the funnel.
pub const FUNNEL_EPISODES: &str = "episodes of the site";
/// At the group's line.
pub const GROUP: &str = "whole group";
/// At the outer limits.
pub const LIMIT_998: &str = "chance, 99.8\u{a0}%";
/// At the inner limits.
pub const LIMIT_95: &str = "chance, 95\u{a0}%";
/// Over the rings.
pub const BEFORE_DOT: &str = "as it is";
/// Over the dots.
pub const AFTER_DOT: &str = "at the group's case mix";
/// Over the estimates.
pub const ESTIMATE: &str = "estimate";
/// At the site's centre line.
pub const THIS_SITE: &str = "this site";
/// In place of a count that is withheld.
pub const NO_COUNT: &str = "–";
/// In place of numbers that are withheld.
pub const WITHHELD: &str = "– withheld";

/// What sites are compared on, as an axis.
pub fn axis(quantity: Quantity, measure: &str) -> SiteAxis {
    match quantity {
        Quantity::Response => {
            SiteAxis { title: format!("share with a minimal important change, {measure}"), is_share: true }
        }
        Quantity::Change => SiteAxis { title: format!("fall of burden, {measure}, points of 100"), is_share: false },
        Quantity::FollowedUp => {
            SiteAxis { title: format!("share with baseline and endpoint, {measure}"), is_share: true }
        }
    }
}

/// A value on its axis.
pub fn value(value: f64, axis: &SiteAxis, decimals: usize) -> String {
    if axis.is_share { percent(value) } else { decimal(value, decimals) }
}

/// Two values on their axis.
pub fn between(limits: (f64, f64), axis: &SiteAxis) -> String {
    if axis.is_share { format!("{} to {}", percent(limits.0), percent(limits.1)) } else { range(limits.0, limits.1, 1) }
}

/// Under the funnel.
pub const READ_FUNNEL: &str = "Each dot is a site, at its number of episodes and at the value it would have with the group's case \
     mix. Inside the tinted funnel chance alone can explain where it stands: the inner tint holds 95\u{a0}% and the outer 99.8\u{a0}% of \
     sites that do not differ. Sites whose difference remains after allowing for the number of comparisons are in the second ink.";
/// Under the sites before and after.
pub const READ_BEFORE_AFTER: &str = "The ring is what was observed, the dot what would be observed at the group's case mix. A \
     long line means that the site's patients differ from the others' in ways known before treatment.";
/// Under the estimates.
pub const READ_SHRUNKEN: &str = "The dot is the best guess of what the whole group's patients would do at this site, with its \
     95\u{a0}% interval; the ring is the adjusted value before it was drawn towards the group. The fewer episodes a site \
     has, the further it is drawn.";
/// Under the chart by quarter.
pub const READ_BY_QUARTER: &str = "The line is the site's own rate over all quarters. The short strokes are three standard \
     deviations of chance around it for that quarter's number of episodes. Rules that signal: one quarter beyond the strokes; two of \
     three beyond two standard deviations on one side; four of five beyond one; eight in a row on one side.";

/// Text alternative of the funnel.
pub fn describe_funnel(data: &Funnel) -> String {
    let sites = data.sites.iter().map(|site| {
        format!(
            "{}: {} at {} episodes{}.",
            site.site,
            value(site.value, &data.axis, 1),
            count(u64::from(site.episodes)),
            if site.stands_out { ", beyond chance" } else { "" }
        )
    });
    let sites = sites.collect::<Vec<_>>().join(" ");
    format!("{}. Whole group: {}. {sites}", data.axis.title, value(data.group, &data.axis, 1))
}

/// Text alternative of the sites before and after adjustment.
pub fn describe_before_after(data: &BeforeAfter) -> String {
    let sites = data.sites.iter().map(|site| match site.shown {
        Some((before, after, episodes)) => format!(
            "{}: {} as it is, {} adjusted{}.",
            site.site,
            value(before, &data.axis, 1),
            value(after, &data.axis, 1),
            episodes.map_or(String::new(), |n| format!(", n {}", count(u64::from(n))))
        ),
        None => format!("{}: withheld.", site.site),
    });
    let sites = sites.collect::<Vec<_>>().join(" ");
    format!("{}. Whole group: {}. {sites}", data.axis.title, value(data.group, &data.axis, 1))
}

/// Text alternative of the estimates drawn towards the group.
pub fn describe_shrunken(data: &Shrunken) -> String {
    let sites = data.sites.iter().map(|site| match site.shown {
        Some((estimate, limits, adjusted)) => format!(
            "{}: {} ({}), adjusted value {}.",
            site.site,
            value(estimate, &data.axis, 1),
            between(limits, &data.axis),
            value(adjusted, &data.axis, 1)
        ),
        None => format!("{}: withheld.", site.site),
    });
    let sites = sites.collect::<Vec<_>>().join(" ");
    format!("{}. Whole group: {}. {sites}", data.axis.title, value(data.group, &data.axis, 1))
}

/// Episodes of a quarter: to whole tens where counts are withheld.
pub fn episodes_of_quarter(episodes: u32, is_rounded: bool) -> String {
    let number = count(u64::from(episodes));
    if is_rounded { format!("n\u{a0}≈\u{a0}{number}") } else { format!("n\u{a0}{number}") }
}

/// Text alternative of the chart by quarter.
pub fn describe_by_quarter(data: &ByQuarter) -> String {
    let quarters = data.quarters.iter().map(|quarter| match &quarter.shown {
        Some(shown) => format!(
            "{}: {} (chance {}), {}{}.",
            quarter.label,
            value(shown.value, &data.axis, 1),
            between(shown.limits, &data.axis),
            shown.episodes,
            if shown.signals { ", signals" } else { "" }
        ),
        None => format!("{}: withheld.", quarter.label),
    });
    let quarters = quarters.collect::<Vec<_>>().join(" ");
    format!(
        "{}. This site: {}. Whole group: {}. {quarters}",
        data.axis.title,
        value(data.centre, &data.axis, 1),
        value(data.group, &data.axis, 1)
    )
}

/// Under a course.
pub const WEEKS: &str = "weeks since the first treated visit";
/// Under a site's course.
pub const READ_COURSE: &str = "Mean burden by week with its 95\u{a0}% interval, of those who were asked that week: 0 is best and 100 is \
     worst. It is not adjusted for who was treated, and late weeks hold only those who were still asked.";

/// Text alternative of a site's course.
pub fn describe_site_course(data: &crate::report::figures::CourseOfSite) -> String {
    let weeks = data.weeks.iter().map(|week| {
        format!(
            "Week {}: {} ({}), n {}.",
            decimal(week.week, 0),
            decimal(week.mean, 1),
            range(week.interval.0, week.interval.1, 1),
            count(u64::from(week.episodes))
        )
    });
    let group = data.group.iter().map(|week| format!("week {} {}", decimal(week.week, 0), decimal(week.mean, 1)));
    format!(
        "Mean burden, {}. {}: {} Whole group: {}.",
        data.axis,
        data.site,
        weeks.collect::<Vec<_>>().join(" "),
        group.collect::<Vec<_>>().join(", ")
    )
}
