//! What each site's page says beside the comparison: its course beside the group's, its quarters on a control chart, who was
//! lost and what they could do, how care ended.

use super::NOT_RECORDED;
use super::bulletin::ConditionFindings;
use super::shown::{Estimate, Period, Shown};
use super::sites::{
    Ended, QuarterPoint, QuartersOf, SeenAndLost, SiteComparison, SiteCourse, SiteFindings, SiteRow, SiteWeek,
};
use super::sources::Sources;
use super::withhold::{Rule, count, line_pattern};
use crate::catalogue::measure::Domain;
use crate::models::responders::Responders;
use crate::models::sites::cases::{Quantity, Reader};
use crate::models::sites::course::{SiteCourses, site_courses};
use crate::models::sites::lost::{Lost, SeenAndImputed, lost};
use crate::models::weekly_course::Week;
use crate::rows::row::{EndedHow, NameId};
use mendcurve_stats::control_chart::{Dispersal, WESTERN_ELECTRIC, p_chart};
use rayon::prelude::*;
use std::collections::BTreeSet;

/// Domains a site is followed in.
pub const DOMAINS: [Domain; 2] = [Domain::Pain, Domain::Disability];

/// Who was lost in the whole group by domain, and the pages.
#[derive(Default)]
pub(super) struct SitesFound {
    pub(super) whole: Vec<SeenAndLost>,
    pub(super) sites: Vec<SiteFindings>,
}

/// Works out the pages of the sites given, in order.
pub(super) fn site_pages(
    sources: &Sources<'_>,
    reader: &Reader<'_>,
    rule: Rule,
    sites: &[NameId],
    compared: &[SiteComparison],
    conditions: &[ConditionFindings],
) -> SitesFound {
    let courses: Vec<SiteCourses> =
        DOMAINS.par_iter().map(|domain| site_courses(reader, *domain, rule.up_to)).collect();
    let losses: Vec<Lost> = DOMAINS.par_iter().filter_map(|domain| lost(reader, sources.imputed, *domain)).collect();
    let pages = Pages { sources, rule, compared };
    let ended = pages.how_care_ended(sites, conditions);
    SitesFound {
        whole: losses.iter().map(|lost| pages.seen_and_lost(lost.domain, None, &lost.whole)).collect(),
        sites: sites.iter().zip(ended).map(|(site, ended)| pages.site(*site, &courses, &losses, ended)).collect(),
    }
}

struct Pages<'a> {
    sources: &'a Sources<'a>,
    rule: Rule,
    compared: &'a [SiteComparison],
}

impl Pages<'_> {
    fn site(&self, site: NameId, courses: &[SiteCourses], losses: &[Lost], ended: Ended) -> SiteFindings {
        let name = self.sources.records.names.sites.get(site);
        let lost = losses.iter().filter_map(|lost| {
            let (_, found) = lost.sites.iter().find(|(of, _)| *of == site)?;
            Some(self.seen_and_lost(lost.domain, Some(name), found))
        });
        SiteFindings {
            site: name.to_owned(),
            courses: courses.iter().filter_map(|courses| course(courses, site)).collect(),
            lost: lost.collect(),
            quarters: DOMAINS.iter().filter_map(|domain| self.quarters(*domain, name)).collect(),
            ended,
        }
    }

    /// The comparison over all conditions of a domain.
    fn over_all(&self, domain: Domain, quantity: Quantity) -> Option<&SiteComparison> {
        self.compared.iter().find(|c| c.is_over_all() && c.measure == domain.key() && c.quantity == quantity)
    }

    /// Counts and rates are shown where the comparisons of the same episodes show theirs.
    fn seen_and_lost(&self, domain: Domain, site: Option<&str>, from: &SeenAndImputed) -> SeenAndLost {
        let hides = |quantity, hides: fn(&SiteRow) -> bool, group: fn(&SiteComparison) -> bool| match (
            self.over_all(domain, quantity),
            site,
        ) {
            (Some(compared), Some(site)) => compared.row(&Period::All, site).is_none_or(hides),
            (Some(compared), None) => group(compared),
            (None, _) => true,
        };
        let no_rate = |compared: &SiteComparison| compared.overall == Shown::Withheld;
        let counts =
            hides(Quantity::FollowedUp, SiteRow::hides_counts, |compared| compared.episodes == Shown::Withheld);
        let share = hides(Quantity::FollowedUp, SiteRow::hides_rates, no_rate);
        let rates = share || hides(Quantity::Response, SiteRow::hides_rates, no_rate);
        // where the counts are not shown the rates are rounded, as in the comparison
        let whole = |value: f64| if counts { (100.0 * value).round() / 100.0 } else { value };
        let of = |withheld: bool, value: Option<f64>| match value {
            _ if withheld => Shown::Withheld,
            Some(value) => Shown::Value(whole(value)),
            None => Shown::Missing,
        };
        let estimate = |value: f64, low: f64, high: f64| {
            Shown::Value(Estimate { value: whole(value), low: whole(low), high: whole(high) })
        };
        let seen: Responders = from.seen;
        SeenAndLost {
            domain,
            due: count(counts, from.due),
            followed_up: count(counts, from.followed_up),
            share: of(share, (from.due > 0).then(|| f64::from(from.followed_up) / f64::from(from.due))),
            seen: match seen.rate() {
                _ if rates => Shown::Withheld,
                Some((value, interval)) => estimate(value, interval.low, interval.high),
                None => Shown::Missing,
            },
            imputed: match from.imputed {
                _ if rates => Shown::Withheld,
                Some(e) => estimate(e.value, e.interval.low, e.interval.high),
                None => Shown::Missing,
            },
            gap: of(
                self.rule.is_small(from.due) || self.rule.is_small(seen.with_outcome),
                seen.rate()
                    .zip(from.imputed)
                    .map(|((rate, _), imputed)| (100.0 * (rate - imputed.value)).round() / 100.0),
            ),
        }
    }

    /// The response rate by quarter on a control chart around the site's own rate.
    fn quarters(&self, domain: Domain, site: &str) -> Option<QuartersOf> {
        let compared = self.over_all(domain, Quantity::Response)?;
        let Shown::Value(group) = compared.overall else { return None };
        let rows: Vec<&SiteRow> = compared.by_quarter.iter().filter(|row| row.site == site).collect();
        // rate and episodes, rounded where counts are withheld: near enough for a chart, too rough to tell a count
        let of = |row: &SiteRow| match (row.raw, row.episodes) {
            (Shown::Value(rate), Shown::Value(episodes)) if episodes > 0 => Some((rate, episodes)),
            _ => None,
        };
        let shown = rows.iter().filter_map(|row| of(row)).map(|(rate, n)| (rate * f64::from(n), f64::from(n)));
        let (observed, episodes): (Vec<f64>, Vec<f64>) = shown.unzip();
        let chart = p_chart(&observed, &episodes, Dispersal::CountsAlone).ok()?;
        let signals = chart.signals(&observed, &episodes, &WESTERN_ELECTRIC).ok()?;
        let mut position = 0;
        let quarters = rows.iter().filter_map(|row| {
            let Period::Quarter(quarter) = row.period else { return None };
            let Some((value, episodes)) = of(row) else { return Some((quarter, None)) };
            let limits = chart.limits(f64::from(episodes)).ok()?.interval;
            let signals = signals.iter().any(|signal| signal.index == position);
            position += 1;
            Some((
                quarter,
                Some(QuarterPoint {
                    value,
                    limits: (limits.low, limits.high),
                    episodes,
                    is_rounded: row.hides_counts(),
                    signals,
                }),
            ))
        });
        Some(QuartersOf { domain, centre: chart.centre, group, quarters: quarters.collect() })
    }

    /// How care ended at each site.
    fn how_care_ended(&self, sites: &[NameId], conditions: &[ConditionFindings]) -> Vec<Ended> {
        let of = |site: &NameId| self.ended(&self.ended_counts(*site), self.due_is_hidden(*site, conditions));
        sites.iter().map(of).collect()
    }

    /// Whether a site's due episodes are withheld for any condition that it treats: their sum over all conditions is then withheld too.
    fn due_is_hidden(&self, site: NameId, conditions: &[ConditionFindings]) -> bool {
        let records = &self.sources.records;
        let name = records.names.sites.get(site);
        let treated: BTreeSet<&str> = records
            .episodes
            .list
            .iter()
            .filter(|episode| episode.is_due && episode.site == site)
            .map(|episode| episode.condition.map_or(NOT_RECORDED, |id| records.conditions.get(id).key.as_str()))
            .collect();
        conditions.iter().filter(|condition| treated.contains(condition.key.as_str())).any(|condition| {
            let rows = condition.outcomes.first().map(|outcome| outcome.completeness.as_slice()).unwrap_or_default();
            let row = rows.iter().find(|row| row.period == Period::All && row.site.as_deref() == Some(name));
            !row.is_some_and(|row| matches!(row.episodes, Shown::Value(_)))
        })
    }

    /// As planned, stopped early, referred on, lost, not recorded or ongoing.
    fn ended_counts(&self, site: NameId) -> [u32; 5] {
        let mut counts = [0_u32; 5];
        for episode in self.sources.records.episodes.list.iter().filter(|e| e.is_due && e.site == site) {
            let place = match episode.ended_how {
                Some(EndedHow::Completed) => 0,
                Some(EndedHow::StoppedEarly) => 1,
                Some(EndedHow::ReferredOn) => 2,
                Some(EndedHow::Lost) => 3,
                Some(EndedHow::Ongoing) | None => 4,
            };
            if let Some(count) = counts.get_mut(place) {
                *count += 1;
            }
        }
        counts
    }

    fn ended(&self, counts: &[u32; 5], all_withheld: bool) -> Ended {
        let (withheld, whole) = line_pattern(self.rule, counts, all_withheld);
        let of = |place: usize| {
            let n = counts.get(place).copied().unwrap_or(0);
            count(all_withheld || withheld.get(place).copied().unwrap_or(true), n)
        };
        Ended {
            due: count(whole || all_withheld, counts.iter().sum()),
            completed: of(0),
            stopped_early: of(1),
            referred_on: of(2),
            lost: of(3),
            not_recorded: of(4),
        }
    }
}

/// A site's course beside the group's; `None` where it has no week to show.
fn course(courses: &SiteCourses, site: NameId) -> Option<SiteCourse> {
    let (_, weeks) = courses.sites.iter().find(|(of, _)| *of == site)?;
    let of = |week: &Week| SiteWeek { week: week.week, day: week.day, mean: week.mean.into(), episodes: week.episodes };
    (!weeks.is_empty()).then(|| SiteCourse {
        domain: courses.domain,
        site: weeks.iter().map(of).collect(),
        group: courses.whole.iter().map(of).collect(),
    })
}
