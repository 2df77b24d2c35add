//! One parameter of one region as the page shows it; likewise the rules of what is possible and the traction tables.

use super::setup_answers::{Answer, Asked};
use super::setup_scales::{ReadingScale, items, may_be_shown, place, to_percent, to_tens};
use super::setup_values::{FEWEST_FOR_QUANTILES, strips, words};
use super::setups::{
    self, AskedTarget, Changed, Conformance, ConformanceLine, LevelVariation, ParameterFindings, RuleFindings, Since,
    TableOpening, TimeChart, TimePoint, Variation, Within,
};
use super::shown::Estimate;
use super::sites::{Call, Limits};
use super::withhold::Rule as SmallCells;
use crate::catalogue::parameter::Nature;
use crate::catalogue::possible_rules::PossibleRules;
use crate::catalogue::rule::Rule;
use crate::catalogue::setup_standard::{SetupStandard, StandardItem, Target};
use crate::models::setups::changes::{Change, series};
use crate::models::setups::charts::{Chart, charts};
use crate::models::setups::column::Column;
use crate::models::setups::conformance::ItemShares;
use crate::models::setups::openings::Opening;
use crate::models::setups::possible::RuleShares;
use crate::models::setups::shares::Shares;
use crate::models::setups::tested::Question;
use crate::models::setups::variation::{self, variation};
use crate::models::setups::visits::{Level, SetupVisits};
use crate::models::setups::within::within;
use crate::rows::names::Names;
use crate::rows::when::date_of;
use mendcurve_stats::Level as Confidence;
use mendcurve_stats::funnel::{Interpolation, proportion_limits};

/// Steps of the funnel's limits.
const FUNNEL_STEPS: usize = 40;

/// A parameter with what the answers about it say, which are known only when all are.
pub(super) fn parameter_findings(
    visits: &SetupVisits<'_>,
    of: &Asked,
    names: &Names,
    small: SmallCells,
    confidence: Confidence,
) -> ParameterFindings {
    let conformance = of.items.iter().map(|item| conformance(visits, of, item, names, small, confidence)).collect();
    let called = of.called_changes(small);
    let is_of_site = |change: &Change| of.of_sites.iter().any(|site| site.unit == change.unit);
    let narrower = match called.iter().all(|change| is_of_site(change)) {
        true => Vec::new(),
        false => {
            let column = Column::of(visits, of.about);
            [Level::Clinician, Level::Table].into_iter().flat_map(|level| series(&column, level, &[])).collect()
        }
    };
    ParameterFindings {
        conformance,
        charts: charts(of.about, &of.of_sites, &narrower, &called)
            .into_iter()
            .filter_map(|chart| shown_chart(visits, chart, of.scale, names, small))
            .collect(),
        ..of.recorded.clone()
    }
}

/// What a column says by itself: everything but `conformance` and `charts`.
pub(super) fn as_recorded(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    standard: &SetupStandard,
    names: &Names,
    small: SmallCells,
    confidence: Confidence,
) -> ParameterFindings {
    let (scale, nature) = (ReadingScale::of(column.about, standard), column.about.parameter.nature());
    ParameterFindings {
        about: column.about,
        unit: scale.symbol.to_owned(),
        decimals: scale.decimals,
        visits: column.of,
        recorded: column.values.len() as u32,
        patients: column.patients(),
        asked: items(standard, column.about).map(|(_, item)| asked(item, scale, nature)).collect(),
        strips: if matches!(nature, Nature::Number { .. }) {
            strips(visits, column, scale, names, small)
        } else {
            Vec::new()
        },
        words: match nature {
            Nature::Number { .. } => Vec::new(),
            Nature::YesNo => words(visits, column, &["no", "yes"], names, small),
            Nature::Word(all) => words(visits, column, all, names, small),
        },
        variation: levels(variation(column, confidence), scale),
        conformance: Vec::new(),
        charts: Vec::new(),
        within: within(column).map(|steps| Within {
            steps: steps.steps,
            changed: f64::from(steps.changed) / f64::from(steps.steps.max(1)),
            how_far: steps.how_far.map(|(median, most)| (scale.read(median), scale.read(most))),
        }),
    }
}

fn asked(item: &StandardItem, scale: ReadingScale, nature: Nature) -> setups::Asked {
    let target = match (item.target, nature) {
        (Target::Number { aim, low, high }, _) => {
            AskedTarget::Number { aim: scale.read(aim), low: scale.read(low), high: scale.read(high) }
        }
        (Target::YesNo(yes), _) => AskedTarget::YesNo(yes),
        (Target::Word(position), Nature::Word(words)) => AskedTarget::Word(words.get(position).copied().unwrap_or("")),
        (Target::Word(_), _) => AskedTarget::Word(""),
    };
    setups::Asked {
        position: item.position,
        target,
        grade: item.grade,
        source: item.source.clone(),
        note: item.note.clone(),
    }
}

fn levels(found: variation::Variation, scale: ReadingScale) -> Variation {
    match found {
        variation::Variation::Untold(why) => Variation::Untold(why),
        variation::Variation::Levels(levels, visits) => Variation::Levels(
            levels
                .into_iter()
                .map(|level| LevelVariation {
                    level: level.level,
                    groups: level.groups as u32,
                    variance: scale.read(scale.read(level.variance)),
                    share: Estimate {
                        value: level.share,
                        low: level.interval.map_or(0.0, |interval| interval.low),
                        high: level.interval.map_or(1.0, |interval| interval.high),
                    },
                    visits,
                })
                .collect(),
        ),
    }
}

fn conformance(
    visits: &SetupVisits<'_>,
    of: &Asked,
    item: &ItemShares,
    names: &Names,
    small: SmallCells,
    confidence: Confidence,
) -> Conformance {
    let group = 1.0 - item.missed.group.share();
    let lines = item.missed.units.iter().filter(|unit| unit.patients > small.up_to).map(|unit| {
        let shown = may_be_shown(unit, small);
        let answer = of.on_item(item.item, unit.unit);
        let interval = unit.interval(confidence).map(|(low, high)| (1.0 - high, 1.0 - low));
        ConformanceLine {
            place: place(visits, unit.unit, names),
            visits: to_tens(unit.visits),
            share: shown.then(|| 1.0 - unit.share()),
            interval: interval.filter(|_| shown),
            q: answer.map(|answer| answer.q),
            call: match answer {
                None => Call::TooFew,
                Some(answer) if answer.is_finding(small) => Call::Below,
                Some(_) => Call::Within,
            },
        }
    });
    let mut lines: Vec<ConformanceLine> = lines.collect();
    lines.sort_by(|a, b| a.place.cmp(&b.place));
    let funnel = funnel(&item.missed, group);
    let shown = lines.iter_mut().filter_map(|line| Some((line.share.as_mut()?, line.interval.as_mut())));
    let hides = item.missed.units.iter().any(|unit| !may_be_shown(unit, small));
    let group = if hides { to_percent(group) } else { group };
    for (share, interval) in shown.filter(|_| hides) {
        *share = to_percent(*share);
        if let Some((low, high)) = interval {
            (*low, *high) = (to_percent(*low), to_percent(*high));
        }
    }
    Conformance { group, visits: to_tens(item.missed.group.visits), lines, funnel }
}

/// Limits of chance around the group's share, by number of visits; each visit counting as little as the average design effect says.
fn funnel(missed: &Shares, group: f64) -> Vec<(f64, Limits, Limits)> {
    let largest = missed.units.iter().map(|unit| unit.visits).max().unwrap_or(0);
    let effects: Vec<f64> = missed.units.iter().map(|unit| unit.design_effect).collect();
    let effect = mendcurve_stats::sum::mean(&effects).unwrap_or(1.0);
    let limits = |step: usize| {
        let visits = f64::from(largest) * (step as f64 / FUNNEL_STEPS as f64).powi(2);
        let independent = (visits / effect).round() as u64;
        let at = |level| {
            let limits = proportion_limits(group, independent, level, Interpolation::Inside).ok()?;
            Some((limits.interval.low, limits.interval.high))
        };
        Some((visits, at(Confidence::NINETY_FIVE)?, at(Confidence::NINETY_NINE_POINT_EIGHT)?))
    };
    (1..=FUNNEL_STEPS).filter_map(limits).collect()
}

fn shown_chart(
    visits: &SetupVisits<'_>,
    chart: Chart,
    scale: ReadingScale,
    names: &Names,
    small: SmallCells,
) -> Option<TimeChart> {
    if chart.series.patients < FEWEST_FOR_QUANTILES.max(small.up_to + 1) {
        return None;
    }
    let points =
        chart.series.weeks.iter().zip(&chart.limits).zip(&chart.signals).filter_map(|((week, limits), signals)| {
            Some(TimePoint {
                day: date_of(week.monday())?,
                value: scale.read(week.value),
                limits: (scale.read(limits.0), scale.read(limits.1)),
                signals: *signals,
            })
        });
    let change = chart.change.as_ref().and_then(|change| {
        let (day, earliest, latest) = change.tested.since?;
        let (before, from, to) = change.levels();
        Some(Changed {
            since: Since { day: date_of(day)?, earliest: date_of(earliest)?, latest: date_of(latest)? },
            before: scale.read(before),
            from: scale.read(from),
            to: scale.read(to),
        })
    });
    Some(TimeChart {
        place: place(visits, chart.series.unit, names),
        is_share: scale.symbol.is_empty(),
        points: points.collect(),
        centre: scale.read(chart.centre),
        widened: chart.widened,
        change,
    })
}

/// The rules, those that are off and those that nobody records enough for as well.
pub(super) fn rule_findings(
    visits: &SetupVisits<'_>,
    shares: &[RuleShares],
    rules: &PossibleRules,
    names: &Names,
    small: SmallCells,
) -> Vec<RuleFindings> {
    let of = |rule: Rule| {
        let found = shares.iter().find(|of| of.rule == rule).map(|of| &of.broken);
        let sites = found.map_or(Vec::new(), |broken| {
            let at_sites = visits.units.at(Level::Site).filter_map(|site| broken.unit(site));
            at_sites
                .map(|site| {
                    let shown = may_be_shown(site, small);
                    (place(visits, site.unit, names).site, shown.then(|| site.share()))
                })
                .collect()
        });
        let hides = sites.iter().any(|(_, share): &(String, Option<f64>)| share.is_none());
        let sites = sites
            .into_iter()
            .map(|(site, share)| (site, share.map(|share| if hides { to_percent(share) } else { share })));
        let text = rules.text(rule);
        RuleFindings {
            key: rule.key().to_owned(),
            title: text.title.clone(),
            explanation: text.explanation.clone(),
            source: text.source.clone(),
            is_on: rules.is_on(rule),
            visits: to_tens(found.map_or(0, |broken| broken.group.visits)),
            broken: match found {
                None => Some(0),
                // to tens, and not below: a site that is withheld must not follow from the sum
                Some(broken) if broken.group.hits == 0 => Some(0),
                Some(broken) => Some(to_tens(broken.group.hits))
                    .filter(|_| broken.group.hits >= 10 && may_be_shown(&broken.group, small)),
            },
            sites: sites.collect(),
        }
    };
    Rule::ALL.into_iter().map(of).collect()
}

/// The traction tables with patients enough.
pub(super) fn table_openings(
    visits: &SetupVisits<'_>,
    tables: &[Opening],
    answers: &[Answer],
    names: &Names,
    small: SmallCells,
) -> Vec<TableOpening> {
    let shown = tables.iter().filter(|table| table.patients > small.up_to).map(|table| {
        let answer = answers
            .iter()
            .find(|answer| answer.tested.unit == table.table && answer.tested.question == Question::Opening);
        TableOpening {
            place: place(visits, table.table, names),
            visits: table.visits,
            recorded: table.recorded_mm,
            at_equal_tension: Estimate {
                value: table.at_equal_tension_mm,
                low: table.interval_mm.0,
                high: table.interval_mm.1,
            },
            siblings: table.beside.map(|beside| beside.reference),
            q: answer.map(|answer| answer.q),
            stands_out: answer.is_some_and(|answer| answer.is_finding(small)),
        }
    });
    shown.collect()
}
