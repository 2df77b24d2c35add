//! Words of the figures about setups: titles, labels, how to read them, and their text alternatives.

use super::setup_parameters::{amount, amounts, day, title};
use super::{count, counted, decimal, percent};
use crate::catalogue::parameter::Parameter;
use crate::findings::setups::About;
use crate::report::figures::{SetupCharts, SetupFunnel, SetupLevels, SetupOpenings, SetupStrips, SetupWords};
use chrono::{Datelike, NaiveDate};

/// Over the numbers of visits.
pub const VISITS: &str = "visits";
/// In place of numbers that are withheld.
pub const WITHHELD: &str = "– withheld";
/// The row of the whole group.
pub const GROUP: &str = "Whole group";
/// Under the variation.
pub const SHARE_OF_VARIANCE: &str = "share of the variance";
/// Under the funnel of conformance.
pub const FUNNEL_VISITS: &str = "visits of the site, clinician or table";
/// At the first chart.
pub const CENTRE_AND_LIMITS: &str = "centre and limits";
/// Under the tables' openings.
pub const OPENING_AXIS: &str = "opening of the split at the group's mean return tension, mm";
/// At the siblings' tick.
pub const SIBLINGS_TICK: &str = "its siblings at the site";
/// At a table that stands out.
pub const LOOK_AT_IT: &str = "have it looked at";

/// At the line of what is asked.
pub fn aim(aim: f64, decimals: usize) -> String {
    format!("asked: {}", decimal(aim, decimals))
}

/// At the line of what is asked in one position.
pub fn aim_at(position: Option<&str>, aim: f64, decimals: usize) -> String {
    format!("{} {}", position.unwrap_or("otherwise"), decimal(aim, decimals))
}

/// Subtitle of the tables' openings.
pub const OPENINGS_SUBTITLE: &str =
    "Opening of the split at peak pull, low back, as it would be at equal return tension";

/// Under the time axis: the month, with the year in January.
pub fn month(day: NaiveDate) -> String {
    if day.month() == 1 { day.format("Jan\u{a0}%Y").to_string() } else { day.format("%b").to_string() }
}

/// Title of the strips: the sites whose medians lie farthest apart.
pub fn strips_title(about: About, lowest: (&str, f64), highest: (&str, f64), unit: &str, decimals: usize) -> String {
    let (low, high) = (amount(lowest.1, unit, decimals), amount(highest.1, unit, decimals));
    let title = title(about.parameter);
    if low == high {
        format!("{title}: the median is {low} at every site")
    } else {
        format!("{title}: the median runs from {low} ({}) to {high} ({})", lowest.0, highest.0)
    }
}

/// Title of the strips where fewer than two sites may be shown.
pub fn strips_title_of_one(about: About, median: f64, unit: &str, decimals: usize) -> String {
    format!("{}: the median is {}", title(about.parameter), amount(median, unit, decimals))
}

/// Title of the shares by word.
pub fn words_title(about: About, word: &str, least: (&str, f64), most: (&str, f64)) -> String {
    let what = match word {
        "yes" => title(about.parameter).to_owned(),
        word => format!("{}, {word}", title(about.parameter)),
    };
    if percent(least.1) == percent(most.1) {
        format!("{what}: recorded for {} of visits everywhere", percent(most.1))
    } else {
        format!("{what}: from {} of visits ({}) to {} ({})", percent(least.1), least.0, percent(most.1), most.0)
    }
}

/// Title of the variation: where the most of it sits.
pub fn levels_title(about: About, level: &str, share: f64) -> String {
    format!("{}: the largest part of the variation lies {level}, {}", title(about.parameter), percent(share))
}

/// A level for people.
pub fn level(level: &str) -> &'static str {
    match level {
        "site" => "between sites",
        "table" => "between tables of a site",
        "clinician" => "between clinicians of a site",
        "patient" => "between patients",
        _ => "from visit to visit of a patient",
    }
}

/// Groups of a level.
pub fn groups(level: &str, groups: u32) -> String {
    let n = u64::from(groups);
    match level {
        "site" => counted(n, "site", "sites"),
        "table" => counted(n, "table", "tables"),
        "clinician" => counted(n, "clinician", "clinicians"),
        "patient" => counted(n, "patient", "patients"),
        _ => counted(n, "visit", "visits"),
    }
}

/// Title of the funnel of conformance.
pub fn funnel_title(about: About, below: &[String], above: &[String]) -> String {
    let title = title(about.parameter);
    match (below.is_empty(), above.is_empty()) {
        (true, true) => format!("{title}: no site meets the standard more or less often than chance explains"),
        (false, true) => format!("{title}: the standard is met less often at {}", below.join(", ")),
        (true, false) => format!("{title}: the standard is met more often at {}", above.join(", ")),
        (false, false) => {
            format!(
                "{title}: the standard is met less often at {}, more often at {}",
                below.join(", "),
                above.join(", ")
            )
        }
    }
}

/// Title of the charts over time: which changed.
pub fn charts_title(about: About, changed: &[String]) -> String {
    let title = title(about.parameter);
    if changed.is_empty() {
        format!("{title} week by week: no lasting change of a whole site was found")
    } else {
        format!("{title} week by week: changed at {}", changed.join("; "))
    }
}

/// Title of the tables' openings.
pub fn openings_title(standing_out: &[String]) -> String {
    if standing_out.is_empty() {
        "At equal tension no table opens unlike its siblings beyond chance and tolerance".to_owned()
    } else {
        format!("At equal tension {} opens unlike the other tables of its site", standing_out.join(" and "))
    }
}

/// Under the strips.
pub const READ_STRIPS: &str = "The light bar holds the middle 90\u{a0}% of visits, the middle one 80\u{a0}%, the dark one the middle half; the \
     tick is the median. The grey band is what the standard lets pass, the line what it asks for.";
/// Under the strips without a standard.
pub const READ_STRIPS_UNASKED: &str = "The light bar holds the middle 90\u{a0}% of visits, the middle one 80\u{a0}%, the dark one the middle half; \
     the tick is the median.";
/// Under the strips whose standard differs by position.
pub const READ_STRIPS_BY_POSITION: &str = "The light bar holds the middle 90\u{a0}% of visits, the middle one 80\u{a0}%, the dark one the middle \
     half; the tick is the median. The broken lines are what the standard asks for by position.";
/// Under the shares.
pub const READ_WORDS: &str = "Each bar is all visits of a site that record it.";
/// Under the variation.
pub const READ_LEVELS: &str =
    "Bars add up to the whole. The stroke is the 95\u{a0}% interval of the share. At the right: how many there are.";
/// Under the funnel.
pub const READ_FUNNEL: &str = "Dots are sites, small rings their clinicians and tables. Inside the tinted funnel chance alone can explain \
     where they stand; a patient's visits are alike, so that a place with few patients may stray further. In the second ink: what remains \
     after allowing for that and for the number of comparisons.";
/// Under the charts of means and shares.
pub const READ_CHARTS: &str = "A point is a week. Each chart stands around its own level; a step is as long on all \
     of them. The broken edges of the tint are three standard deviations around the centre line. Points \
     where a rule of the chart signals are ringed: they are where to look, and are not findings. A lasting change that was found is \
     drawn as the level before and the line after; the grey strip is when it is likely to have begun.";
/// Under the charts of tables and clinicians.
pub const READ_CHANGES: &str = "Only tables and clinicians with a lasting change are drawn: the level before and the line after. The grey strip is \
     when the change is likely to have begun.";
/// Under the openings.
pub const READ_OPENINGS: &str = "The dot is the mean opening a table would have at the group's mean return tension, with its 95\u{a0}% interval; \
     the tick is that of the other tables of the site.";

/// Text alternative of the strips.
pub fn describe_strips(data: &SetupStrips) -> String {
    let say = |value: f64| amount(value, &data.unit, data.decimals);
    let rows = data.rows.iter().map(|row| match row.quantiles {
        Some([q5, q10, q25, q50, q75, q90, q95]) => format!(
            "{}: median {}, middle half {}, middle 80\u{a0}% {}, middle 90\u{a0}% {}, {} visits.",
            row.name,
            say(q50),
            amounts(q25, q75, &data.unit, data.decimals),
            amounts(q10, q90, &data.unit, data.decimals),
            amounts(q5, q95, &data.unit, data.decimals),
            count(u64::from(row.visits))
        ),
        None => format!("{}: withheld.", row.name),
    });
    let mut text = format!("{}. ", data.axis);
    if let Some((aim, low, high)) = data.asked {
        text.push_str(&format!("Asked: {}, {} being right. ", say(aim), amounts(low, high, &data.unit, data.decimals)));
    }
    for (position, aim) in &data.aims {
        text.push_str(&format!("Asked, {position}: {}. ", say(*aim)));
    }
    text + &rows.collect::<Vec<_>>().join(" ")
}

/// Text alternative of the shares.
pub fn describe_words(data: &SetupWords) -> String {
    let rows = data.rows.iter().map(|row| match &row.shares {
        Some(shares) => {
            let parts: Vec<String> =
                data.words.iter().zip(shares).map(|(word, share)| format!("{word} {}", percent(*share))).collect();
            format!("{}: {}, {} visits.", row.name, parts.join(", "), count(u64::from(row.visits)))
        }
        None => format!("{}: withheld.", row.name),
    });
    rows.collect::<Vec<_>>().join(" ")
}

/// Text alternative of the variation.
pub fn describe_levels(data: &SetupLevels) -> String {
    let rows = data.levels.iter().map(|level| {
        let (share, low, high) = level.share;
        format!(
            "{}: {} of the variance ({}), {}.",
            level.name,
            percent(share),
            amounts(low, high, "share", 0),
            level.groups
        )
    });
    rows.collect::<Vec<_>>().join(" ")
}

/// Text alternative of the funnel.
pub fn describe_funnel(data: &SetupFunnel) -> String {
    let marks = data.marks.iter().filter(|mark| mark.is_site || mark.stands_out).map(|mark| {
        let beyond = if mark.stands_out { ", beyond chance" } else { "" };
        format!("{}: {} of {} visits{beyond}.", mark.name, percent(mark.share), count(u64::from(mark.visits)))
    });
    format!("As the standard asks: whole group {}. {}", percent(data.group), marks.collect::<Vec<_>>().join(" "))
}

/// Text alternative of the charts.
pub fn describe_charts(data: &SetupCharts) -> String {
    let say = |value: f64| amount(value, &data.unit, data.decimals);
    let panels = data.panels.iter().map(|panel| {
        let signals = panel.points.iter().filter(|point| point.signals).count();
        let mut text = format!(
            "{}: {}, centre {}, {}.",
            panel.name,
            counted(panel.points.len() as u64, "week", "weeks"),
            say(panel.centre),
            counted(signals as u64, "signal", "signals")
        );
        if let Some(change) = &panel.change {
            text.push_str(&format!(
                " {} until {}, then from {} to {}.",
                say(change.before),
                day(change.since.0),
                say(change.from),
                say(change.to)
            ));
        }
        text
    });
    format!("{}. {}", data.axis, panels.collect::<Vec<_>>().join(" "))
}

/// Text alternative of the openings.
pub fn describe_openings(data: &SetupOpenings) -> String {
    let rows = data.rows.iter().map(|row| {
        let (value, low, high) = row.opening;
        format!(
            "{}: {} ({}){}{}, {} visits.",
            row.name,
            amount(value, "mm", 1),
            amounts(low, high, "mm", 1),
            row.siblings.map_or(String::new(), |siblings| format!(", siblings {}", amount(siblings, "mm", 1))),
            if row.stands_out { ", have it looked at" } else { "" },
            count(u64::from(row.visits))
        )
    });
    rows.collect::<Vec<_>>().join(" ")
}

/// What the charts of a parameter follow.
pub fn chart_axis(parameter: Parameter, unit: &str, is_share: bool, is_asked: bool) -> String {
    match (is_share, is_asked) {
        (true, true) => format!("{}, share of visits as the standard asks", title(parameter)),
        (true, false) => format!("{}, share of visits", title(parameter)),
        (false, _) => format!("{}, weekly mean", super::setup_parameters::axis(parameter, unit)),
    }
}
