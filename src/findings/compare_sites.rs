//! Every comparison of sites of a run, one Benjamini-Hochberg step over all of them, and what may be shown.
//!
//! **Family.** All sites, conditions, measures, quantities and both periods (everything, and the quarter reported) go through one
//! step at a false discovery rate of 5 %. Where no site differs, any call is a false discovery, so the chance of even one call in a
//! report is at most 5 %.
//!
//! **Small cells.** A line about one condition repeats counts of the other sheets and is withheld where they are. A line over all
//! conditions is a sum of such counts (one outcome an episode). Where all of them are shown elsewhere it tells nothing new and is shown
//! whole. Where two or more are withheld, which together are not few, its rates are shown rounded to whole percent and its episodes to
//! whole tens: what is left of a sum known so roughly does not tell the parts. Where one is withheld, or several that are few, nothing is.

use super::bulletin::{ConditionFindings, OutcomeFindings};
use super::outcome::title_of;
use super::shown::{Estimate, Period, Shown, as_count};
use super::sites::{ALL_CONDITIONS, Call, FunnelAt, SiteComparison, SiteRow};
use super::sources::Sources;
use super::withhold::Rule;
use super::{FALSE_DISCOVERY_RATE, NOT_RECORDED};
use crate::catalogue::measure::Domain;
use crate::models::fitted_course::RESPONSE;
use crate::models::grid::Grid;
use crate::models::sites::cases::{Quantity, Reader, Scope};
use crate::models::sites::comparison::{Comparison, Line, Part, Quarters, compare};
use crate::models::sites::null_model::Discrimination;
use mendcurve_stats::Interval;
use mendcurve_stats::multiplicity::benjamini_hochberg;
use rayon::prelude::*;
use std::collections::BTreeSet;

/// Compares the sites of a run. `conditions`: what the other sheets show of it.
pub(super) fn compare_sites(
    sources: &Sources<'_>,
    reader: &Reader<'_>,
    rule: Rule,
    grid: &Grid,
    conditions: &[ConditionFindings],
) -> Vec<SiteComparison> {
    let compared = compared(sources, reader, grid);
    let p: Vec<f64> = compared.iter().flat_map(|c| &c.lines).filter_map(|line| line.p).collect();
    let mut q = benjamini_hochberg(&p).unwrap_or_default().into_iter();
    let shown = Shows { sources, rule, conditions };
    compared.iter().map(|comparison| shown.comparison(comparison, &mut q)).collect()
}

/// All comparisons, those over all conditions first.
fn compared(sources: &Sources<'_>, reader: &Reader<'_>, grid: &Grid) -> Vec<Comparison> {
    let conditions: BTreeSet<_> = reader.outcomes().map(|(condition, _)| condition).collect();
    let mut wanted = Vec::new();
    if conditions.len() > 1 {
        for domain in [Domain::Pain, Domain::Disability] {
            for quantity in [Quantity::Response, Quantity::Change, Quantity::FollowedUp] {
                wanted.push((Scope::All(domain), quantity));
            }
        }
    }
    for (condition, outcome) in reader.outcomes() {
        wanted.push((Scope::One(condition, outcome), Quantity::Response));
        wanted.push((Scope::One(condition, outcome), Quantity::Change));
        if conditions.len() == 1 {
            wanted.push((Scope::One(condition, outcome), Quantity::FollowedUp));
        }
    }
    let quarters = Quarters { reported: sources.records.period, all: grid.quarters() };
    wanted.into_par_iter().filter_map(|(scope, quantity)| compare(reader, scope, quantity, quarters)).collect()
}

/// How much of a line may be shown.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Extent {
    Everything,
    /// Rates, means and limits, rounded, and the episodes to whole tens; nothing that tells a count.
    Rates,
    Nothing,
}

impl Extent {
    /// A count, or what tells one.
    fn count<T>(self, value: T) -> Shown<T> {
        if self == Self::Everything { Shown::Value(value) } else { Shown::Withheld }
    }

    /// Episodes; beside rates alone to whole tens.
    fn episodes(self, episodes: usize) -> Shown<u32> {
        match self {
            Self::Everything => Shown::Value(as_count(episodes)),
            Self::Rates => Shown::Value(as_count((episodes + 5) / 10 * 10)),
            Self::Nothing => Shown::Withheld,
        }
    }

    /// A rate, or points of burden.
    fn rate(self, quantity: Quantity, value: f64) -> Shown<f64> {
        match self {
            Self::Everything => Shown::Value(value),
            Self::Rates => Shown::Value(rounded(quantity, value)),
            Self::Nothing => Shown::Withheld,
        }
    }
}

/// To whole percent, or whole points of burden.
fn rounded(quantity: Quantity, value: f64) -> f64 {
    if quantity == Quantity::Change { value.round() } else { (100.0 * value).round() / 100.0 }
}

/// Decides what of a comparison may be shown.
struct Shows<'a> {
    sources: &'a Sources<'a>,
    rule: Rule,
    conditions: &'a [ConditionFindings],
}

impl Shows<'_> {
    /// `q`: the adjusted p values of its lines that have one, and of those to come.
    fn comparison(&self, from: &Comparison, q: &mut impl Iterator<Item = f64>) -> SiteComparison {
        let records = &self.sources.records;
        let (condition, condition_title, measure, measure_title) = match from.scope {
            Scope::One(condition, outcome) => {
                let known = condition.map(|id| records.conditions.get(id));
                (
                    known.map_or(NOT_RECORDED.to_owned(), |condition| condition.key.clone()),
                    known.map_or("Condition not recorded".to_owned(), |condition| condition.title.clone()),
                    outcome.key(records.measures),
                    title_of(records.measures.get(outcome.measure), outcome.pain_site),
                )
            }
            Scope::All(domain) => (
                ALL_CONDITIONS.to_owned(),
                "All conditions".to_owned(),
                domain.key().to_owned(),
                if domain == Domain::Pain { "Pain" } else { "Disability" }.to_owned(),
            ),
        };
        let whole = self.extent(from, &Period::All, None, &from.parts);
        let (mut rows, mut by_quarter) = (Vec::new(), Vec::new());
        for line in &from.lines {
            let row = self.row(from, line, line.p.and_then(|_| q.next()));
            if line.quarter.is_some() && matches!(from.scope, Scope::All(_)) {
                by_quarter.push(row.clone());
            }
            if line.is_tested {
                rows.push(row);
            }
        }
        for rows in [&mut rows, &mut by_quarter] {
            rows.sort_by(|a, b| (&a.period, &a.site).cmp(&(&b.period, &b.site)));
        }
        SiteComparison {
            condition,
            condition_title,
            measure,
            measure_title,
            quantity: from.quantity,
            episodes: whole.episodes(from.episodes),
            has_hidden_parts: whole != Extent::Everything,
            overall: whole.rate(from.quantity, from.overall),
            entered: from
                .entered
                .iter()
                .map(|(covariate, lacking)| (*covariate, Shown::Value(as_count(*lacking))))
                .collect(),
            left_out: from.left_out.clone(),
            discrimination: from.quality.discrimination.map(|Discrimination { value, interval }| {
                let Interval { low, high } = interval.unwrap_or(Interval { low: value, high: value });
                Estimate { value, low, high }
            }),
            calibration_slope: from.quality.calibration_slope,
            penalised: from.penalised,
            between_sd: from.between.as_ref().map(|between| between.sd),
            funnel: from.funnel.iter().filter(|_| whole != Extent::Nothing).map(funnel_at).collect(),
            rows,
            by_quarter,
        }
    }

    fn row(&self, from: &Comparison, line: &Line, q: Option<f64>) -> SiteRow {
        let site = self.sources.records.names.sites.get(line.site);
        let period = line.quarter.map_or(Period::All, Period::Quarter);
        let extent = self.extent(from, &period, Some(site), &line.parts);
        let rate = |value: f64| extent.rate(from.quantity, value);
        let limits = |interval: Interval| match (rate(interval.low), rate(interval.high)) {
            (Shown::Value(low), Shown::Value(high)) => Shown::Value((low, high)),
            _ => Shown::Withheld,
        };
        let is_ratio = from.quantity != Quantity::Change && line.expected > 0.0;
        let shrunken =
            line.shrunken.map(|(value, interval)| match (rate(value), rate(interval.low), rate(interval.high)) {
                (Shown::Value(value), Shown::Value(low), Shown::Value(high)) => {
                    Shown::Value(Estimate { value, low, high })
                }
                _ => Shown::Withheld,
            });
        SiteRow {
            site: site.to_owned(),
            period,
            episodes: extent.episodes(line.episodes),
            observed: extent.count(line.observed),
            expected: extent.count(line.expected),
            ratio: if is_ratio { extent.count(line.observed / line.expected) } else { Shown::Missing },
            raw: rate(line.raw),
            expected_rate: rate(line.expected / line.episodes.max(1) as f64),
            adjusted: rate(line.adjusted),
            shrunken: shrunken.unwrap_or(Shown::Missing),
            limits_95: limits(line.limits_95),
            limits_998: limits(line.limits_998),
            score: line.score.map_or(Shown::Missing, |score| extent.count(score)),
            q,
            call: match (line.score, q) {
                (Some(score), Some(q)) if q <= FALSE_DISCOVERY_RATE => {
                    if score > 0.0 {
                        Call::Above
                    } else {
                        Call::Below
                    }
                }
                (Some(_), Some(_)) => Call::Within,
                _ => Call::TooFew,
            },
        }
    }

    /// How much of these parts may be shown; no site is the whole group.
    fn extent(&self, from: &Comparison, period: &Period, site: Option<&str>, parts: &[Part]) -> Extent {
        let hidden: Vec<&Part> =
            parts.iter().filter(|part| self.is_part_hidden(from.quantity, period, site, part)).collect();
        match (hidden.len(), from.scope) {
            (0, _) => Extent::Everything,
            (1, _) | (_, Scope::One(..)) => Extent::Nothing,
            _ if self.is_few(from.quantity, hidden) => Extent::Nothing,
            _ => Extent::Rates,
        }
    }

    /// Whether parts together are few: episodes, and for a yes or no those who did and those who did not; those not followed up only
    /// where those left out are protected, as in the sheet of completeness.
    fn is_few<'p>(&self, quantity: Quantity, parts: impl IntoIterator<Item = &'p Part>) -> bool {
        let (episodes, observed) =
            parts.into_iter().fold((0, 0.0), |(n, sum), part| (n + part.episodes, sum + part.observed));
        let few = |count: f64| count > 0.5 && count < f64::from(self.rule.up_to) + 0.5;
        let (yes, no) = match quantity {
            Quantity::Change => (false, false),
            Quantity::Response => (true, true),
            Quantity::FollowedUp => (true, self.rule.also_left_out),
        };
        self.rule.is_small(as_count(episodes)) || (yes && few(observed)) || (no && few(episodes as f64 - observed))
    }

    /// Whether another sheet withholds what a part counts.
    fn is_part_hidden(&self, quantity: Quantity, period: &Period, site: Option<&str>, part: &Part) -> bool {
        let records = &self.sources.records;
        let key = part.condition.map_or(NOT_RECORDED, |id| records.conditions.get(id).key.as_str());
        let measure = part.outcome.key(records.measures);
        let condition = self.conditions.iter().find(|condition| condition.key == key);
        let outcome = condition.and_then(|condition| condition.outcomes.iter().find(|o| o.key == measure));
        outcome.is_none_or(|outcome| is_row_withheld(outcome, quantity, period, site))
    }
}

fn funnel_at(from: &crate::models::sites::comparison::FunnelAt) -> FunnelAt {
    let of = |interval: Interval| (interval.low, interval.high);
    FunnelAt { episodes: from.episodes, limits_95: of(from.limits_95), limits_998: of(from.limits_998) }
}

fn is_row_withheld(outcome: &OutcomeFindings, quantity: Quantity, period: &Period, site: Option<&str>) -> bool {
    let here = |row_period: &Period, row_site: &Option<String>| row_period == period && row_site.as_deref() == site;
    match quantity {
        Quantity::Response => outcome
            .responders
            .iter()
            .find(|row| here(&row.period, &row.site) && row.definition == RESPONSE)
            .is_none_or(|row| row.rate == Shown::Withheld || row.with_outcome == Shown::Withheld),
        Quantity::Change => outcome
            .change
            .iter()
            .find(|row| here(&row.period, &row.site))
            .is_none_or(|row| row.episodes == Shown::Withheld || row.change == Shown::Withheld),
        Quantity::FollowedUp => outcome
            .completeness
            .iter()
            .find(|row| here(&row.period, &row.site))
            .is_none_or(|row| row.with_endpoint == Shown::Withheld || row.episodes == Shown::Withheld),
    }
}
