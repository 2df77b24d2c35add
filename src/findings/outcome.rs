//! One outcome of a condition: first everything worked out, then shown as far as it may be.

use super::about::{About, Numbered};
use super::bulletin::{ChangeRow, CompletenessRow, OrdinalRow, OutcomeFindings, ResponderRow, WeekPoint};
use super::complementary::Pattern;
use super::curve::{CurveOutcome, TimeToResponse};
use super::curve_findings;
use super::definitions::{few_between, nested, rough_step};
use super::imputed_rates::{ImputedRates, imputed_rates};
use super::natural_course::natural_course;
use super::rounding::Step;
use super::shown::{Estimate, Period, Shown, as_count};
use super::sources::Sources;
use super::withhold::{DefinitionPatterns, OutcomeCounts, OutcomePatterns, Rule, count, number};
use crate::catalogue::measure::{Domain, Measure};
use crate::catalogue::{ConditionId, Definition, PainSite};
use crate::models::change::Change;
use crate::models::completeness::Completeness;
use crate::models::cumulative::cumulative;
use crate::models::fitted_course::FittedCourse;
use crate::models::followed::Followed;
use crate::models::grid::{Cell, Grid, Table};
use crate::models::ordinal::OrdinalChange;
use crate::models::responders::Responders;
use crate::models::weekly_course::{Trail, Week, weekly_course};
use crate::readings::reading::Outcome;
use crate::rows::when::Quarter;

/// The definition by which a quarter is held against an earlier one.
pub(super) const HEADLINE: &str = "minimal_important";

/// Thresholds of improvement at most on the way from one end of a scale to the other.
const THRESHOLDS: f64 = 20.0;

/// What is followed, and through what.
pub(super) struct Follow<'a> {
    pub(super) sources: &'a Sources<'a>,
    pub(super) about: &'a About,
    pub(super) grid: &'a Grid,
    pub(super) condition: Option<ConditionId>,
    pub(super) outcome: Outcome,
}

/// One outcome with everything worked out, whether or not it may be shown.
pub(super) struct Evaluated<'a> {
    pub(super) follow: Follow<'a>,
    measure: &'a Measure,
    pub(super) definitions: Vec<Definition>,
    pub(super) followed: Vec<Followed>,
    trails: Vec<Trail>,
    started: &'a [Numbered<'a>],
    imputed: Vec<ImputedRates>,
    completeness: Table<Completeness>,
    pub(super) responders: Vec<Table<Responders>>,
    ordinal: Option<Table<OrdinalChange>>,
}

impl<'a> Follow<'a> {
    /// `started`: every episode of the condition; `due`: those of them that are due.
    pub(super) fn evaluate(self, started: &'a [Numbered<'a>], due: &[Numbered<'_>]) -> Evaluated<'a> {
        let measure = self.sources.records.measures.get(self.outcome.measure);
        let definitions = measure.definitions(self.about.radicular);
        let (followed, trails): (Vec<Followed>, Vec<Trail>) = due.iter().map(|episode| self.read(*episode)).unzip();
        let cells = self.grid.sort(&followed);
        let completeness = cells.map(|cell| Completeness::of(cell, looks_back(measure)));
        let responders: Vec<Table<Responders>> =
            definitions.iter().map(|definition| cells.map(|cell| Responders::of(cell, definition))).collect();
        let ordinal = (measure.ordinal && !looks_back(measure))
            .then(|| cells.map(|cell| OrdinalChange::of(cell, measure.direction)));
        let imputed = self
            .sources
            .imputed
            .get(self.condition, self.outcome)
            .map(|outcome| imputed_rates(&outcome.imputed, self.grid, &definitions, &responders))
            .unwrap_or_default();
        Evaluated {
            follow: self,
            measure,
            definitions,
            followed,
            trails,
            started,
            imputed,
            completeness,
            responders,
            ordinal,
        }
    }

    /// The fitted course, for a measure that has one.
    fn fitted(&self) -> Option<&'a FittedCourse> {
        self.sources.fitted.get(self.condition, self.outcome)
    }

    /// What an episode has of the outcome.
    fn read(&self, (id, episode): Numbered<'_>) -> (Followed, Trail) {
        let records = &self.sources.records;
        let list = &records.readings.list;
        let course = records.courses.get(id, self.outcome);
        let bare = Followed { quarter: episode.due, site: episode.site, baseline: None, endpoint: None };
        let followed = records.followed(id, self.outcome).unwrap_or(bare);
        let readings = course.and_then(|c| list.get(c.readings.start as usize..c.readings.end as usize));
        let readings =
            readings.unwrap_or_default().iter().filter_map(|reading| Some((reading.day()?, reading.value))).collect();
        (followed, Trail { baseline: followed.baseline, readings })
    }
}

/// A measure for people, with the place of pain where it has one.
pub(super) fn title_of(measure: &Measure, pain_site: PainSite) -> String {
    match pain_site {
        PainSite::Unspecified => measure.title.clone(),
        site => format!("{}, {}", measure.title, site.label()),
    }
}

/// Whether the measure asks, at the end, how things have changed, and so has no baseline.
fn looks_back(measure: &Measure) -> bool {
    measure.domain == Domain::Change
}

impl Evaluated<'_> {
    pub(super) fn outcome(&self) -> Outcome {
        self.follow.outcome
    }

    /// Share of the due episodes with an endpoint, 0 without episodes.
    pub(super) fn share(&self) -> f64 {
        self.completeness.get(Cell::WHOLE).and_then(|c| c.share()).unwrap_or(0.0)
    }

    pub(super) fn counts(&self) -> OutcomeCounts {
        OutcomeCounts {
            completeness: self.completeness.clone(),
            definitions: self.responders.clone(),
            nested: nested(&self.definitions),
            ordinal: self.ordinal.clone(),
        }
    }

    /// What may be shown.
    pub(super) fn show(&self, rule: Rule, episodes: &Pattern, own: &OutcomePatterns) -> OutcomeFindings {
        let measure = self.measure;
        let weeks = self.weeks(rule, own);
        let fitted = self.fitted();
        let behind = fitted.map_or(0, |course| as_count(course.fitted_to().len()));
        let without = as_count(self.started.len()).saturating_sub(behind);
        let last_day = weeks.last().map_or(0.0, |week| week.day.round());
        OutcomeFindings {
            key: self.follow.outcome.key(self.follow.sources.records.measures),
            title: self.title(),
            unit: measure.unit.clone(),
            decimals: measure.decimals.into(),
            range: (measure.low, measure.high),
            lower_is_better: measure.improvement(1.0, 0.0) > 0.0,
            ordinal: measure.ordinal,
            completeness: self.completeness_rows(episodes, own),
            change: self.change_rows(own),
            ordinal_change: self.ordinal_rows(own),
            responders: self.responder_rows(rule, own),
            definitions: self.definitions.iter().map(|d| (d.key.clone(), d.label.clone())).collect(),
            curve_patients: count(rule.is_small(behind) || (rule.also_left_out && rule.is_small(without)), behind),
            curve_readings: fitted.map_or(0, |course| as_count(course.fitted_to().readings())),
            curve: self.curve(last_day),
            time_to_response: self.times_to_response(rule, own),
            backtest: fitted.and_then(|course| curve_findings::backtest(course, rule)),
            natural_course: natural_course(
                self.follow.sources.natural_courses,
                measure,
                self.follow.outcome.pain_site,
                self.follow.about.region,
                self.follow.about.onset,
            ),
            cumulative: self.cumulative(rule, own),
            against_previous: self.against(own, Quarter::previous),
            against_year_ago: self.against(own, Quarter::a_year_before),
            weeks: weeks.iter().map(|week| week_point(rule, week)).collect(),
        }
    }

    /// For people: with the place of pain where the measure has one.
    fn title(&self) -> String {
        title_of(self.measure, self.follow.outcome.pain_site)
    }

    /// Whether means of the outcome make sense.
    pub(super) fn is_averaged(&self) -> bool {
        !self.measure.ordinal && !looks_back(self.measure)
    }

    /// The cells that have a line, with their period and site.
    fn lines(&self) -> impl Iterator<Item = (Cell, Period, Option<String>)> {
        let grid = self.follow.grid;
        let names = &self.follow.sources.records.names.sites;
        grid.published().map(move |cell| {
            let period = grid.quarter(cell).map_or(Period::All, Period::Quarter);
            (cell, period, grid.site(cell).map(|site| names.get(site).to_owned()))
        })
    }

    fn completeness_rows(&self, episodes: &Pattern, own: &OutcomePatterns) -> Vec<CompletenessRow> {
        let row = |(cell, period, site)| {
            let counts = self.completeness.get(cell).filter(|counts| counts.episodes > 0)?;
            let withheld = own.with_baseline.has(cell);
            let (baseline, baseline_share) = match looks_back(self.measure) {
                true => (Shown::Missing, Shown::Missing),
                false => (count(withheld, counts.with_baseline), number(withheld, counts.baseline_share())),
            };
            Some(CompletenessRow {
                period,
                site,
                condition: self.follow.about.key.clone(),
                measure: self.key(),
                episodes: count(episodes.has(cell), counts.episodes),
                with_baseline: baseline,
                with_endpoint: count(own.with_endpoint.has(cell), counts.with_endpoint),
                share: number(own.with_endpoint.has(cell), counts.share()),
                baseline_share,
            })
        };
        self.lines().filter_map(row).collect()
    }

    fn change_rows(&self, own: &OutcomePatterns) -> Vec<ChangeRow> {
        if !self.is_averaged() {
            return Vec::new();
        }
        let changes = self.follow.grid.sort(&self.followed).map(|cell| Change::of(cell, self.measure.direction));
        let row = |(cell, period, site)| {
            let change = changes.get(cell).filter(|change| change.episodes > 0)?;
            let withheld = own.with_endpoint.has(cell);
            Some(ChangeRow {
                period,
                site,
                condition: self.follow.about.key.clone(),
                measure: self.key(),
                episodes: count(withheld, change.episodes),
                baseline_mean: number(withheld, change.baseline_mean),
                baseline_sd: number(withheld, change.baseline_sd),
                endpoint_mean: number(withheld, change.endpoint_mean),
                endpoint_sd: number(withheld, change.endpoint_sd),
                change: number(withheld, change.change.map(Estimate::from)),
                change_sd: number(withheld, change.change_sd),
                effect_size: number(withheld, change.effect_size),
            })
        };
        self.lines().filter_map(row).collect()
    }

    fn ordinal_rows(&self, own: &OutcomePatterns) -> Vec<OrdinalRow> {
        let (Some(table), Some(pattern)) = (&self.ordinal, &own.ordinal) else { return Vec::new() };
        let row = |(cell, period, site)| {
            let ordinal = table.get(cell).filter(|ordinal| ordinal.episodes > 0)?;
            let withheld = own.with_endpoint.has(cell);
            Some(OrdinalRow {
                period,
                site,
                condition: self.follow.about.key.clone(),
                measure: self.key(),
                episodes: count(withheld, ordinal.episodes),
                baseline_median: number(withheld, ordinal.baseline_median),
                endpoint_median: number(withheld, ordinal.endpoint_median),
                better: count(pattern.has(cell), ordinal.better),
                same: count(pattern.has(cell), ordinal.same),
                worse: count(pattern.has(cell), ordinal.worse),
            })
        };
        self.lines().filter_map(row).collect()
    }

    fn responder_rows(&self, rule: Rule, own: &OutcomePatterns) -> Vec<ResponderRow> {
        let mut rows = Vec::new();
        let few = few_between(rule, &self.definitions, &self.responders);
        for (cell, period, site) in self.lines() {
            let by_definition = self.definitions.iter().zip(&self.responders).zip(&own.definitions).enumerate();
            for (position, ((definition, table), pattern)) in by_definition {
                let Some(counts) = table.get(cell) else { continue };
                if counts.denominator + counts.baseline_too_low > 0 {
                    rows.push(self.responder_row(
                        cell,
                        (period.clone(), site.clone()),
                        (position, definition, self.imputed.get(position)),
                        counts,
                        (rule, pattern, own),
                        few.get(position) == Some(&true),
                    ));
                }
            }
        }
        rows
    }

    fn responder_row(
        &self,
        cell: Cell,
        (period, site): (Period, Option<String>),
        (position, definition, imputed): (usize, &Definition, Option<&ImputedRates>),
        counts: &Responders,
        (rule, pattern, own): (Rule, &DefinitionPatterns, &OutcomePatterns),
        few_between: bool,
    ) -> ResponderRow {
        let responders = few_between || pattern.responders.has(cell);
        let denominator = pattern.denominator.has(cell);
        let cases = responders || denominator;
        let rate = counts.rate().map(|(value, interval)| Estimate { value, low: interval.low, high: interval.high });
        let baseline_missing = match looks_back(self.measure) {
            true => None,
            false => Some(counts.baseline_missing),
        };
        let imputed_rate = imputed.and_then(|i| *i.rates.get(cell)?).map(Estimate::from);
        let row = ResponderRow {
            period,
            site,
            condition: self.follow.about.key.clone(),
            measure: self.key(),
            definition: definition.key.clone(),
            denominator: match definition.needs_baseline() {
                true => "due episodes less those with a baseline too low to respond",
                false => "due episodes",
            },
            episodes: count(denominator, counts.denominator),
            with_outcome: count(pattern.with_outcome.has(cell), counts.with_outcome),
            responders: count(responders, counts.responders),
            // differences of two counts: a zero would give one away
            baseline_too_low: number(denominator, Some(counts.baseline_too_low)),
            baseline_missing: number(denominator || own.with_baseline.has(cell), baseline_missing),
            rate: number(responders, rate),
            worst_case: number(cases, counts.worst_case()),
            best_case: number(cases, counts.best_case()),
            imputed: number(cases, imputed_rate),
            tipping: imputed.and_then(|imputed| imputed.tipping).filter(|_| cell == Cell::WHOLE && !cases),
        };
        let is_small = rule.is_small(counts.responders) || rule.is_small(counts.with_outcome - counts.responders);
        let hides_more = denominator || pattern.with_outcome.has(cell) || is_small;
        let step = match cell == Cell::WHOLE && few_between && !hides_more {
            true => rough_step(rule, *counts, &self.earlier_of_its_table(position)),
            false => None,
        };
        match (step, rate) {
            (Some(step), Some(rate)) => roughly(row, step, (*counts, rate, imputed_rate)),
            _ => row,
        }
    }

    /// The responders of the whole group by earlier definitions that this one is nested with, and whether whoever meets this one meets them.
    fn earlier_of_its_table(&self, position: usize) -> Vec<(u32, bool)> {
        let Some(own) = self.definitions.get(position) else { return Vec::new() };
        let earlier = self.definitions.iter().zip(&self.responders).take(position);
        let nested = earlier.filter_map(|(other, table)| {
            let responders = table.get(Cell::WHOLE)?.responders;
            let includes = own.asks_as_much_as(other);
            (includes || other.asks_as_much_as(own)).then_some((responders, includes))
        });
        nested.collect()
    }

    /// The weeks that may be shown; week 0 counts the episodes with a baseline.
    fn weeks(&self, rule: Rule, own: &OutcomePatterns) -> Vec<Week> {
        if !self.is_averaged() || own.with_endpoint.has(Cell::WHOLE) {
            return Vec::new();
        }
        let mut weeks = weekly_course(&self.trails, rule.up_to);
        weeks.retain(|week| week.week > 0 || !own.with_baseline.has(Cell::WHOLE));
        weeks
    }

    /// The fitted course, for a measure that has one.
    fn fitted(&self) -> Option<&FittedCourse> {
        self.follow.fitted()
    }

    fn curve(&self, last_day: f64) -> CurveOutcome {
        if self.measure.ordinal {
            return CurveOutcome::NotIdentifiable("the words of the scale have an order but no distances".to_owned());
        }
        if looks_back(self.measure) {
            return CurveOutcome::NotIdentifiable("the measure looks back and has no value at the start".to_owned());
        }
        let response = &self.measure.response;
        let important = match &response.absolute_with_radiculopathy {
            Some(with) if self.follow.about.radicular => Some(with),
            _ => response.absolute.as_ref(),
        };
        match self.fitted() {
            Some(course) => curve_findings::curve(course, important.map(|change| change.value), last_day),
            None => CurveOutcome::TooFewReadings,
        }
    }

    /// By the definition of a minimal important change, seen once and at two readings in a row.
    fn times_to_response(&self, rule: Rule, own: &OutcomePatterns) -> Vec<TimeToResponse> {
        let definition = self.definitions.iter().find(|definition| definition.key == HEADLINE);
        let (Some(definition), Some(course)) = (definition, self.fitted()) else { return Vec::new() };
        if !self.is_averaged() || own.with_endpoint.has(Cell::WHOLE) {
            return Vec::new();
        }
        let window_begins = self.follow.sources.records.windows.endpoint_days.0;
        let mut found = curve_findings::times_to_response(course, self.started, definition, window_begins, rule);
        found.retain(|found| found.episodes != Shown::Withheld);
        found
    }

    fn cumulative(&self, rule: Rule, own: &OutcomePatterns) -> Vec<(f64, f64, f64)> {
        if !self.is_averaged() || own.with_endpoint.has(Cell::WHOLE) {
            return Vec::new();
        }
        let everyone: Vec<&Followed> = self.followed.iter().collect();
        let Some(apart) = Step::at_least((self.measure.high - self.measure.low) / THRESHOLDS) else {
            return Vec::new();
        };
        let points = cumulative(&everyone, self.measure.direction, apart.width(), rule.up_to);
        points.iter().map(|point| (point.improvement, point.share_with_endpoint, point.share_of_due)).collect()
    }

    fn key(&self) -> String {
        self.follow.outcome.key(self.follow.sources.records.measures)
    }
}

/// A line with its rates told roughly, and no counts of responders.
fn roughly(
    row: ResponderRow,
    step: Step,
    (counts, rate, imputed): (Responders, Estimate, Option<Estimate>),
) -> ResponderRow {
    let to =
        |of: Estimate| Estimate { value: step.round(of.value), low: step.round(of.low), high: step.round(of.high) };
    let case = |share: Option<f64>| share.map_or(Shown::Missing, |share| Shown::Value(step.round(share)));
    ResponderRow {
        rate: Shown::Value(to(rate)),
        worst_case: case(counts.worst_case()),
        best_case: case(counts.best_case()),
        imputed: imputed.map_or(Shown::Missing, |imputed| Shown::Value(to(imputed))),
        ..row
    }
}

fn week_point(rule: Rule, week: &Week) -> WeekPoint {
    WeekPoint {
        week: week.week,
        day: week.day,
        episodes: week.episodes,
        mean: week.mean.into(),
        // a tenth of the episodes lie beyond either end
        band: Some(week.band).filter(|_| week.episodes / 10 > rule.up_to),
        median: week.median,
    }
}
