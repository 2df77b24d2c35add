//! An outcome's findings as the figures that show them; `None` where nothing may be shown.

use super::edition::{Edition, axis};
use super::pick::{change_row, completeness_row, responder_row, shown};
use crate::findings::bulletin::{ConditionFindings, OutcomeFindings, Period};
use crate::report::figures::{
    ChangeBy, ChangeOf, ChangeShown, CompletenessBySite, DistributionMark, DistributionOfChange, Figure, FigureError,
    FigureText, ResponderDefinition, Responders, SharesShown, SiteCompleteness, change_by, completeness_by_site,
    distribution_of_change, responders,
};
use crate::report::wording::{self, figures as words, phrases};

pub(super) type Drawn = Result<Option<Figure>, FigureError>;

pub(super) fn responder_rates(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
    period: &Period,
) -> Drawn {
    let mut definitions = Vec::new();
    let mut title = None;
    for (key, label) in &outcome.definitions {
        let Some(row) = responder_row(outcome, period, None, key) else { continue };
        let (Some(rate), Some(worst), Some(best)) = (shown(&row.rate), shown(&row.worst_case), shown(&row.best_case))
        else {
            continue;
        };
        let denominator = match (shown(&row.responders), shown(&row.with_outcome)) {
            (Some(responders), Some(with)) => words::of(u64::from(responders), u64::from(with)),
            _ => wording::WITHHELD.to_string(),
        };
        title.get_or_insert_with(|| words::responders_title(rate.value, &phrases::reached(key, label), worst, best));
        definitions.push(ResponderDefinition {
            label: phrases::definition(key, label),
            denominator,
            rate: (rate.value, rate.low, rate.high),
            worst_case: worst,
            best_case: best,
            imputed: shown(&row.imputed).map(|rate| (rate.value, rate.low, rate.high)),
        });
    }
    let Some(title) = title else { return Ok(None) };
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "responders"),
        title,
        subtitle: words::of_measure(&condition.title, &phrases::within(&outcome.title), &phrases::period(period)),
        source: edition.source(None),
    };
    responders(&text, &Responders { definitions }).map(Some)
}

/// Change by site (over everything) or by quarter (of the whole group).
pub(super) fn change(
    edition: &Edition<'_>,
    condition: &ConditionFindings,
    outcome: &OutcomeFindings,
    kind: &str,
    parts: &[(String, Period, Option<String>)],
) -> Drawn {
    let Some(group) = change_row(outcome, &Period::All, None).and_then(|row| shown(&row.change)) else {
        return Ok(None);
    };
    let rows: Vec<ChangeOf> = parts
        .iter()
        .map(|(label, period, site)| ChangeOf {
            label: label.clone(),
            shown: change_row(outcome, period, site.as_deref()).and_then(|row| {
                let (change, episodes) = (shown(&row.change)?, shown(&row.episodes)?);
                Some(ChangeShown {
                    mean: change.value,
                    low: change.low,
                    high: change.high,
                    episodes: u64::from(episodes),
                })
            }),
        })
        .collect();
    let mut means: Vec<(&str, f64)> =
        rows.iter().filter_map(|row| row.shown.map(|s| (row.label.as_str(), s.mean))).collect();
    means.sort_by(|a, b| a.1.total_cmp(&b.1));
    let places = outcome.decimals;
    let title = match (means.first(), means.last()) {
        (Some(&most), Some(&least)) if means.len() > 1 => words::change_by_title(most, least, places),
        (Some(&(label, mean)), _) => words::change_by_title_of_one(label, mean, places),
        _ => return Ok(None),
    };
    let text = FigureText {
        name: edition.figure_name(condition, outcome, kind),
        title,
        subtitle: words::change_by_subtitle(&condition.title, &phrases::within(&outcome.title)),
        source: edition.source(None),
    };
    let data =
        ChangeBy { axis: axis(outcome), rows, group: group.value, group_label: words::group_line(group.value, places) };
    change_by(&text, &data).map(Some)
}

pub(super) fn distribution(edition: &Edition<'_>, condition: &ConditionFindings, outcome: &OutcomeFindings) -> Drawn {
    let mut points = outcome.cumulative.clone();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(&(typical, share, _)) = points.iter().rev().find(|p| p.1 >= 0.5) else { return Ok(None) };
    let places = outcome.decimals;
    let unit = phrases::unit_of_change(&outcome.unit);
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "distribution"),
        title: words::distribution_title(typical, unit, places),
        subtitle: words::of_measure(&condition.title, &phrases::within(&outcome.title), &phrases::period(&Period::All)),
        source: edition.source(None),
    };
    let episodes = change_row(outcome, &Period::All, None).and_then(|row| shown(&row.episodes)).map(u64::from);
    let data = DistributionOfChange {
        axis: axis(outcome),
        points,
        with_endpoint_label: words::both_readings_line(episodes),
        worst_case_label: words::WORST_CASE_LINE.to_string(),
        marks: vec![DistributionMark { at: typical, label: words::half_reach(typical, places), share }],
    };
    distribution_of_change(&text, &data).map(Some)
}

/// Completeness of the outcome by site, over everything.
pub(super) fn completeness(edition: &Edition<'_>, condition: &ConditionFindings, outcome: &OutcomeFindings) -> Drawn {
    let sites: Vec<SiteCompleteness> = edition
        .bulletin
        .sites
        .iter()
        .map(|site| SiteCompleteness { site: site.clone(), shown: shares(outcome, site) })
        .collect();
    let mut both: Vec<(&str, f64)> =
        sites.iter().filter_map(|s| s.shown.as_ref().map(|shares| (s.site.as_str(), shares.with_endpoint))).collect();
    both.sort_by(|a, b| b.1.total_cmp(&a.1));
    let title = match (both.first(), both.last()) {
        (Some(&best), Some(&worst)) if both.len() > 1 => words::completeness_title(best, worst),
        (Some(&only), _) => words::completeness_title_of_one(only),
        _ => return Ok(None),
    };
    let text = FigureText {
        name: edition.figure_name(condition, outcome, "completeness"),
        title,
        subtitle: words::of_measure(&condition.title, &phrases::within(&outcome.title), &phrases::period(&Period::All)),
        source: edition.source(None),
    };
    completeness_by_site(&text, &CompletenessBySite { sites }).map(Some)
}

fn shares(outcome: &OutcomeFindings, site: &str) -> Option<SharesShown> {
    let row = completeness_row(outcome, &Period::All, Some(site))?;
    let (due, both) = (shown(&row.episodes)?, shown(&row.with_endpoint)?);
    Some(SharesShown {
        with_baseline: shown(&row.baseline_share)?,
        with_endpoint: shown(&row.share)?,
        denominator: words::of(u64::from(both), u64::from(due)),
    })
}
