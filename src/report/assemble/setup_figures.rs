//! Findings on setups as figures; `None` where too little may be shown.

use crate::findings::setups::{
    About, AskedTarget, ParameterFindings, SetupFindings, TableOpening, TimeChart, Variation, Where,
};
use crate::findings::sites::Call;
use crate::report::edition::Edition;
use crate::report::figures::Drawn;
use crate::report::figures::{
    ChartChange, ChartPanel, ChartPoint, FigureText, FunnelMark, LevelRow, LimitsAtVisits, OpeningRow, SetupCharts,
    SetupFunnel, SetupLevels, SetupOpenings, SetupStrips, SetupWords, StripRow, WordsRow, setup_charts, setup_funnel,
    setup_levels, setup_openings, setup_strips, setup_words,
};
use crate::report::file_names::file_name;
use crate::report::wording::{setup_figures as words, setup_parameters as names};

/// Fewest sites that a figure compares.
const FEWEST_SITES: usize = 2;

/// Name of a figure about a parameter.
pub(super) fn name(about: About, kind: &str) -> String {
    format!("setup_{}_{}_{kind}", file_name(about.parameter.key()), about.region.key())
}

/// Name of the figure of the tables' openings.
pub(super) const OPENINGS: &str = "setup_tables_openings";

fn text(edition: &Edition<'_>, of: &ParameterFindings, kind: &str, title: String) -> FigureText {
    FigureText {
        name: name(of.about, kind),
        title,
        subtitle: format!("{}; {}", names::heading(of.about), names::visits_of_patients(of.recorded, of.patients)),
        source: edition.source(None),
    }
}

fn is_site(place: &Where) -> bool {
    place.clinician.is_none() && place.table.is_none()
}

/// Whether a finding is about a parameter at a whole site.
fn stands_out(setups: &SetupFindings, about: About, site: Option<&str>) -> bool {
    setups
        .findings
        .iter()
        .any(|found| found.about == Some(about) && is_site(&found.place) && Some(found.place.site.as_str()) == site)
}

/// The values by site: quantiles of a number, shares of words.
pub(super) fn values(edition: &Edition<'_>, setups: &SetupFindings, of: &ParameterFindings) -> Drawn {
    if names::is_number(of.about.parameter) { strips(edition, setups, of) } else { shares(edition, setups, of) }
}

fn strips(edition: &Edition<'_>, setups: &SetupFindings, of: &ParameterFindings) -> Drawn {
    let mut medians: Vec<(&str, f64)> =
        of.strips.iter().filter_map(|strip| Some((strip.site.as_deref()?, strip.quantiles?[3]))).collect();
    medians.sort_by(|a, b| a.1.total_cmp(&b.1));
    let group = of.strips.iter().find(|strip| strip.site.is_none()).and_then(|strip| strip.quantiles);
    let title = match (medians.first(), medians.last(), group) {
        (Some(&low), Some(&high), _) if medians.len() >= FEWEST_SITES => {
            words::strips_title(of.about, low, high, &of.unit, of.decimals)
        }
        (_, _, Some(group)) => words::strips_title_of_one(of.about, group[3], &of.unit, of.decimals),
        _ => return Ok(None),
    };
    let numbers: Vec<_> = of
        .asked
        .iter()
        .filter_map(|item| match item.target {
            AskedTarget::Number { aim, low, high } => Some((item.position, (aim, low, high))),
            AskedTarget::YesNo(_) | AskedTarget::Word(_) => None,
        })
        .collect();
    let (asked, aims) = match numbers.as_slice() {
        [] => (None, Vec::new()),
        [(_, first), rest @ ..] if rest.iter().all(|(_, other)| other == first) => (Some(*first), Vec::new()),
        all => {
            let aims = all.iter().map(|(position, (aim, _, _))| (words::aim_at(*position, *aim, of.decimals), *aim));
            (None, aims.collect())
        }
    };
    let rows = of.strips.iter().map(|strip| StripRow {
        name: strip.site.clone().unwrap_or_else(|| words::GROUP.to_owned()),
        visits: strip.visits,
        quantiles: strip.quantiles,
        is_group: strip.site.is_none(),
        stands_out: stands_out(setups, of.about, strip.site.as_deref()),
    });
    let data = SetupStrips {
        axis: names::axis(of.about.parameter, &of.unit),
        unit: of.unit.clone(),
        decimals: of.decimals,
        asked,
        aims,
        rows: rows.collect(),
    };
    setup_strips(&text(edition, of, "values", title), &data).map(Some)
}

/// How to read the values.
pub(super) fn read_values(of: &ParameterFindings) -> &'static str {
    let numbers = || of.asked.iter().filter(|item| matches!(item.target, AskedTarget::Number { .. }));
    let Some(first) = numbers().next() else {
        return if names::is_number(of.about.parameter) { words::READ_STRIPS_UNASKED } else { words::READ_WORDS };
    };
    if numbers().all(|item| item.target == first.target) { words::READ_STRIPS } else { words::READ_STRIPS_BY_POSITION }
}

fn shares(edition: &Edition<'_>, setups: &SetupFindings, of: &ParameterFindings) -> Drawn {
    let Some(known) = of.words.iter().find_map(|row| row.shares.as_ref()) else { return Ok(None) };
    let asked = of.asked.first().map(|item| match item.target {
        AskedTarget::YesNo(true) => "yes",
        AskedTarget::YesNo(false) => "no",
        AskedTarget::Word(word) => word,
        AskedTarget::Number { .. } => "",
    });
    let mut order: Vec<&'static str> = known.iter().map(|(word, _)| *word).collect();
    let first = asked.or_else(|| order.contains(&"yes").then_some("yes"));
    order.sort_by_key(|word| Some(*word) != first);
    let share_of = |shares: &[(&'static str, f64)], word: &str| {
        shares.iter().find(|(of, _)| *of == word).map_or(0.0, |(_, share)| *share)
    };
    let Some(&leading) = order.first() else { return Ok(None) };
    let mut by_site: Vec<(&str, f64)> = of
        .words
        .iter()
        .filter_map(|row| Some((row.site.as_deref()?, share_of(row.shares.as_ref()?, leading))))
        .collect();
    by_site.sort_by(|a, b| a.1.total_cmp(&b.1));
    let group = (words::GROUP, share_of(known, leading));
    let (least, most) = match (by_site.first(), by_site.last()) {
        (Some(&least), Some(&most)) if by_site.len() >= FEWEST_SITES => (least, most),
        _ => (group, group),
    };
    let rows = of.words.iter().map(|row| WordsRow {
        name: row.site.clone().unwrap_or_else(|| words::GROUP.to_owned()),
        visits: row.visits,
        shares: row.shares.as_ref().map(|shares| order.iter().map(|word| share_of(shares, word)).collect()),
        is_group: row.site.is_none(),
        stands_out: stands_out(setups, of.about, row.site.as_deref()),
    });
    let data = SetupWords { words: order.iter().map(|word| (*word).to_owned()).collect(), rows: rows.collect() };
    setup_words(&text(edition, of, "values", words::words_title(of.about, leading, least, most)), &data).map(Some)
}

/// Where the variation sits.
pub(super) fn levels(edition: &Edition<'_>, of: &ParameterFindings) -> Drawn {
    let Variation::Levels(levels) = &of.variation else { return Ok(None) };
    let Some(largest) = levels.iter().max_by(|a, b| a.share.value.total_cmp(&b.share.value)) else { return Ok(None) };
    let rows = levels.iter().map(|level| LevelRow {
        name: words::level(level.level).to_owned(),
        groups: words::groups(level.level, level.groups),
        share: (level.share.value, level.share.low, level.share.high),
    });
    let title = words::levels_title(of.about, words::level(largest.level), largest.share.value);
    setup_levels(&text(edition, of, "variation", title), &SetupLevels { levels: rows.collect() }).map(Some)
}

/// Kind in the name of a conformance's funnel.
fn funnel_kind(position: Option<&str>) -> String {
    position.map_or_else(|| "funnel".to_owned(), |position| format!("funnel-{}", file_name(position)))
}

/// How often an item is met, as a funnel.
pub(super) fn funnel(edition: &Edition<'_>, of: &ParameterFindings, item: usize) -> Drawn {
    let (Some(met), Some(asked)) = (of.conformance.get(item), of.asked.get(item)) else { return Ok(None) };
    let marks: Vec<FunnelMark> = met
        .lines
        .iter()
        .filter_map(|line| {
            Some(FunnelMark {
                name: names::place_at_site(&line.place),
                is_site: is_site(&line.place),
                visits: line.visits,
                share: line.share?,
                stands_out: matches!(line.call, Call::Above | Call::Below),
            })
        })
        .collect();
    if marks.iter().filter(|mark| mark.is_site).count() < FEWEST_SITES {
        return Ok(None);
    }
    let called = |call: Call| -> Vec<String> {
        let lines = met.lines.iter().filter(|line| line.call == call && is_site(&line.place));
        lines.map(|line| line.place.site.clone()).collect()
    };
    let title = words::funnel_title(of.about, &called(Call::Below), &called(Call::Above));
    let mut text = text(edition, of, &funnel_kind(asked.position), title);
    text.subtitle = format!(
        "{}{}; {}",
        names::heading(of.about),
        asked.position.map_or(String::new(), |position| format!(", {position}")),
        names::visits_counted(met.visits)
    );
    let limits =
        met.funnel.iter().map(|&(visits, limits_95, limits_998)| LimitsAtVisits { visits, limits_95, limits_998 });
    let data = SetupFunnel { group: met.group, limits: limits.collect(), marks };
    setup_funnel(&text, &data).map(Some)
}

/// The charts of the sites, week by week.
pub(super) fn site_charts(edition: &Edition<'_>, of: &ParameterFindings) -> Drawn {
    let charts: Vec<&TimeChart> = of.charts.iter().filter(|chart| is_site(&chart.place)).collect();
    charts_of(edition, of, "charts", &charts)
}

/// The charts of tables and clinicians with a change.
pub(super) fn change_charts(edition: &Edition<'_>, of: &ParameterFindings) -> Drawn {
    let charts: Vec<&TimeChart> =
        of.charts.iter().filter(|chart| !is_site(&chart.place) && chart.change.is_some()).collect();
    charts_of(edition, of, "changes", &charts)
}

fn charts_of(edition: &Edition<'_>, of: &ParameterFindings, kind: &str, charts: &[&TimeChart]) -> Drawn {
    let Some(first) = charts.iter().find(|chart| !chart.points.is_empty()) else { return Ok(None) };
    let panels: Vec<ChartPanel> = charts
        .iter()
        .filter(|chart| !chart.points.is_empty() && chart.is_share == first.is_share)
        .map(|chart| ChartPanel {
            name: names::place(&chart.place),
            points: chart
                .points
                .iter()
                .map(|p| ChartPoint { day: p.day, value: p.value, limits: p.limits, signals: p.signals })
                .collect(),
            centre: chart.centre,
            change: chart.change.map(|change| ChartChange {
                since: (change.since.day, change.since.earliest, change.since.latest),
                before: change.before,
                from: change.from,
                to: change.to,
                label: names::day_short(change.since.day),
            }),
        })
        .collect();
    let changed: Vec<String> =
        panels.iter().filter(|panel| panel.change.is_some()).map(|panel| panel.name.clone()).collect();
    let mut text = text(edition, of, kind, words::charts_title(of.about, &changed));
    // a chart of shares shows those that say yes
    let asks_yes = of.asked.iter().any(|item| item.target == AskedTarget::YesNo(true));
    let axis = words::chart_axis(of.about.parameter, &of.unit, first.is_share, asks_yes);
    text.subtitle = format!("{axis}; {}", names::region(of.about.region));
    let unit = if first.is_share { "share".to_owned() } else { of.unit.clone() };
    setup_charts(&text, &SetupCharts { axis, unit, decimals: of.decimals, panels }).map(Some)
}

/// The tables by their opening at equal tension.
pub(super) fn openings(edition: &Edition<'_>, tables: &[TableOpening]) -> Drawn {
    if tables.len() < FEWEST_SITES {
        return Ok(None);
    }
    let rows: Vec<OpeningRow> = tables
        .iter()
        .map(|table| {
            let opening = table.at_equal_tension;
            OpeningRow {
                name: names::table(&table.place),
                visits: table.visits,
                opening: (opening.value, opening.low, opening.high),
                siblings: table.siblings,
                stands_out: table.stands_out,
            }
        })
        .collect();
    let standing_out: Vec<String> = rows.iter().filter(|row| row.stands_out).map(|row| row.name.clone()).collect();
    let text = FigureText {
        name: OPENINGS.to_owned(),
        title: words::openings_title(&standing_out),
        subtitle: words::OPENINGS_SUBTITLE.to_owned(),
        source: edition.source(None),
    };
    setup_openings(&text, &SetupOpenings { rows }).map(Some)
}
