//! Small cells: which counts of a condition's sheets are withheld, and with them every number made from them.
//!
//! **What is small.** Inside the group, counts of 1 to 4; for release, 1 to 10 (CMS cell size suppression policy). A zero
//! may be shown. Protected are the published counts and the non-responders; for release also who was left out or lost: the
//! episodes without a baseline, without an endpoint, or with a baseline too low to respond.
//!
//! **Why the sheets cannot be combined.** Each count has its own table (period by site) and its own pattern, closed as
//! told in [`super::complementary`]. The counts are chosen so that none is a sum or difference of others: episodes E, with
//! endpoint F, with baseline B and, for each definition, with outcome W, responders R and denominator L. A system of
//! equations over independent unknowns falls apart into one system for each, so a count that its own table hides stays
//! hidden. Differences are hidden as soon as one side is: E - B, E - F, B - F, F - W, L - W, W - R, E - L. The two
//! counts that are such differences (baseline too low E - L, baseline missing E - B) are shown where both sides are.
//!
//! **Equal counts.** Patterns are nested along what may coincide: E in F, F in B and W, W in R and L, and from one definition
//! to the next; and a count that a shown one equals does not hide a small one.
//!
//! **Sums.** One who knows what is small narrows no part down by any one sum: of sites, of quarters, of parts and their whole (see
//! [`super::open_sums`]).
//!
//! **Definitions.** Differences between two definitions (improved by 30 % but not by 50 %) are looked after in [`super::definitions`].

use super::bounds::{self, Relation};
use super::complementary::{Count, Pattern, close, close_further};
use super::open_sums::{Sum, leaves_open};
use super::shown::Shown;
use crate::group::settings::Audience;
use crate::models::completeness::Completeness;
use crate::models::grid::{Cell, Table};
use crate::models::ordinal::OrdinalChange;
use crate::models::responders::Responders;
use std::ops::RangeInclusive;

/// Which counts are small.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Rule {
    /// The largest count that is withheld.
    pub up_to: u32,
    /// Whether counts of those left out or lost are protected too.
    pub also_left_out: bool,
}

impl Rule {
    /// The rule for an audience.
    pub fn of(audience: Audience) -> Self {
        match audience {
            Audience::Internal => Self { up_to: 4, also_left_out: false },
            Audience::Release => Self { up_to: 10, also_left_out: true },
        }
    }

    /// Whether a count must be withheld.
    pub fn is_small(self, count: u32) -> bool {
        (1..=self.up_to).contains(&count)
    }

    /// What a reader knows of a count that is shown. Of a release: what is left of it wherever the borders between fives lie, which he does not
    /// know.
    fn seen(self, count: u32) -> RangeInclusive<u32> {
        let five = count - count % 5;
        match (self.also_left_out, count, count % 5) {
            (false, ..) => count..=count,
            (true, 0..=16, _) => self.up_to + 1..=18, // the least that is shown is 15
            (true, _, 0 | 1) => five - 3..=five + 3,
            (true, _, 2 | 3) => five + 2..=five + 3,
            (true, ..) => five + 2..=five + 8,
        }
    }

    /// Whether a count of episodes left out or lost must be withheld.
    fn is_small_loss(self, count: u32) -> bool {
        self.also_left_out && self.is_small(count)
    }
}

/// The counts of one outcome of a condition, all over the same grid.
#[derive(Clone, PartialEq, Debug)]
pub struct OutcomeCounts {
    /// Episodes, with baseline, with endpoint.
    pub completeness: Table<Completeness>,
    /// By definition.
    pub definitions: Vec<Table<Responders>>,
    /// Pairs of definitions of which whoever meets the second also meets the first.
    pub nested: Vec<(usize, usize)>,
    /// Of an ordinal measure.
    pub ordinal: Option<Table<OrdinalChange>>,
}

/// What is withheld of a condition.
#[derive(Clone, PartialEq, Debug)]
pub struct ConditionPatterns {
    /// Due episodes; the same for every outcome.
    pub episodes: Pattern,
    /// By outcome, in the order given.
    pub outcomes: Vec<OutcomePatterns>,
}

/// What is withheld of one outcome.
#[derive(Clone, PartialEq, Debug)]
pub struct OutcomePatterns {
    /// Episodes with an endpoint: also their share, and all of the change sheet.
    pub with_endpoint: Pattern,
    /// Episodes with a baseline.
    pub with_baseline: Pattern,
    /// By definition, in the order given.
    pub definitions: Vec<DefinitionPatterns>,
    /// Better, same and worse of an ordinal measure.
    pub ordinal: Option<Pattern>,
}

/// What is withheld of one definition.
#[derive(Clone, PartialEq, Debug)]
pub struct DefinitionPatterns {
    /// Episodes with an outcome.
    pub with_outcome: Pattern,
    /// Responders, and their rate.
    pub responders: Pattern,
    /// The denominator, and those too low; with the responders also worst and best case.
    pub denominator: Pattern,
}

/// What is withheld of a condition's due episodes and of the counts of each outcome.
pub fn patterns(rule: Rule, episodes: &Table<u32>, outcomes: &[OutcomeCounts]) -> ConditionPatterns {
    let mut counts = vec![Count {
        counts: episodes.clone(),
        sensitive: episodes.map(|count| rule.is_small(*count)),
        within: Vec::new(),
        may_equal: Vec::new(),
    }];
    let places: Vec<Places> = outcomes.iter().map(|outcome| outcome.place(rule, &mut counts)).collect();
    let sums: Vec<Sum> = places.iter().flat_map(|places| places.sums(rule)).collect();
    let mut patterns = close(&counts, &sums, rule.up_to);
    let mut relations = Vec::new();
    places.iter().for_each(|places| places.relations(rule, &counts, &mut relations));
    if let Some(mut reader) = bounds::Reader::new(&counts, &relations) {
        while bounds::widen(&mut reader, &relations, rule.up_to, |count| rule.seen(count), &mut patterns) {
            close_further(&counts, &sums, rule.up_to, &mut patterns);
        }
    }
    let at = |place: usize| patterns.get(place).cloned().unwrap_or_else(|| Pattern::of(&episodes.map(|_| true)));
    let definition = |[with_outcome, denominator, responders]: &[usize; 3]| DefinitionPatterns {
        with_outcome: at(*with_outcome),
        responders: at(*responders),
        denominator: at(*denominator),
    };
    let outcome = |places: &Places| OutcomePatterns {
        with_endpoint: at(places.with_endpoint),
        with_baseline: at(places.with_baseline),
        definitions: places.definitions.iter().map(definition).collect(),
        ordinal: places.ordinal.map(at),
    };
    ConditionPatterns { episodes: at(0), outcomes: places.iter().map(outcome).collect() }
}

/// Where the counts of an outcome stand in the list that is closed.
struct Places {
    with_endpoint: usize,
    with_baseline: usize,
    /// With outcome, denominator, responders.
    definitions: Vec<[usize; 3]>,
    nested: Vec<(usize, usize)>,
    ordinal: Option<usize>,
}

impl Places {
    /// Which counts are parts of which, where what is left of the whole is protected.
    fn sums(&self, rule: Rule) -> Vec<Sum> {
        let part = |whole: usize, part: usize| Sum { whole, parts: vec![part] };
        let (endpoint, baseline) = (self.with_endpoint, self.with_baseline);
        let mut sums = Vec::new();
        for [with_outcome, denominator, responders] in self.definitions.iter().copied() {
            sums.push(part(with_outcome, responders));
            if rule.also_left_out {
                sums.extend([part(endpoint, with_outcome), part(denominator, with_outcome), part(0, denominator)]);
            }
        }
        if rule.also_left_out {
            sums.extend([part(baseline, endpoint), part(0, endpoint), part(0, baseline)]);
        }
        sums.extend(self.ordinal.map(|first| Sum { whole: endpoint, parts: (first..first + 3).collect() }));
        sums
    }

    /// Appends all that is known of how the counts hang together.
    fn relations(&self, rule: Rule, counts: &[Count], list: &mut Vec<Relation>) {
        let (endpoint, baseline, left_out) = (self.with_endpoint, self.with_baseline, rule.also_left_out);
        relate(0, endpoint, left_out, counts, list);
        let without_baseline = relate(0, baseline, left_out, counts, list);
        relate(baseline, endpoint, left_out, counts, list);
        for [with_outcome, denominator, responders] in self.definitions.iter().copied() {
            relate(with_outcome, responders, true, counts, list);
            let too_low = relate(0, denominator, left_out, counts, list);
            let lost = relate(denominator, with_outcome, left_out, counts, list);
            let too_low_at_the_end = relate(endpoint, with_outcome, left_out, counts, list);
            relate(with_outcome, endpoint, false, counts, list);
            // those too low have a baseline, and some of them an endpoint, too
            for (whole, part) in [(too_low, too_low_at_the_end), (lost, without_baseline)] {
                if let (Some(whole), Some(part)) = (whole, part) {
                    list.push(Relation { whole, parts: vec![part], protects_rest: false });
                }
            }
        }
        for (wide, strict) in &self.nested {
            if let (Some(wide), Some(strict)) = (self.definitions.get(*wide), self.definitions.get(*strict)) {
                relate(wide[RESPONDERS], strict[RESPONDERS], left_out, counts, list);
            }
        }
        let definitions = || self.definitions.iter().enumerate();
        for ((_, one), (_, other)) in
            definitions().flat_map(|a| definitions().map(move |b| (a, b))).filter(|(a, b)| a.0 < b.0)
        {
            for (one, other) in [(one[WITH_OUTCOME], other[WITH_OUTCOME]), (one[DENOMINATOR], other[DENOMINATOR])] {
                let values = |place: usize| counts.get(place).map(|count| &count.counts);
                if values(one) == values(other) {
                    relate(one, other, false, counts, list);
                }
            }
        }
        if let Some(first) = self.ordinal {
            list.push(Relation { whole: endpoint, parts: (first..first + 3).collect(), protects_rest: false });
        }
    }
}

/// Appends what two counts, one within the other in every cell, tell of each other; the place of what is left.
fn relate(whole: usize, part: usize, protects_rest: bool, counts: &[Count], list: &mut Vec<Relation>) -> Option<usize> {
    let values = |place: usize| counts.get(place).map_or(&[][..], |count| count.counts.values());
    let holds = values(whole).iter().zip(values(part)).all(|(whole, part)| whole >= part);
    holds.then(|| {
        list.push(Relation { whole, parts: vec![part], protects_rest });
        counts.len() + list.len() - 1
    })
}

const WITH_OUTCOME: usize = 0;
const DENOMINATOR: usize = 1;
const RESPONDERS: usize = 2;

impl OutcomeCounts {
    /// Appends the counts to the list, which begins with the condition's episodes.
    fn place(&self, rule: Rule, list: &mut Vec<Count>) -> Places {
        let completeness = &self.completeness;
        let with_endpoint = push(
            list,
            Count {
                counts: completeness.map(|c| c.with_endpoint),
                sensitive: completeness
                    .map(|c| rule.is_small(c.with_endpoint) || rule.is_small_loss(c.episodes - c.with_endpoint)),
                within: vec![0],
                may_equal: vec![0],
            },
        );
        let with_baseline = push(
            list,
            Count {
                counts: completeness.map(|c| c.with_baseline),
                sensitive: completeness.map(|c| {
                    rule.is_small(c.with_baseline)
                        || rule.is_small_loss(c.episodes - c.with_baseline)
                        || rule.is_small_loss(c.with_baseline.abs_diff(c.with_endpoint))
                }),
                within: vec![with_endpoint],
                may_equal: vec![0, with_endpoint],
            },
        );
        Places {
            with_endpoint,
            with_baseline,
            definitions: self.place_definitions(rule, with_endpoint, with_baseline, list),
            nested: self.nested.clone(),
            ordinal: self.ordinal.as_ref().map(|table| place_ordinal(rule, table, with_endpoint, list)),
        }
    }

    /// Nested from the definition with the fewest sensitive cells to the one with the most, those of the whole group
    /// first.
    fn place_definitions(
        &self,
        rule: Rule,
        with_endpoint: usize,
        with_baseline: usize,
        list: &mut Vec<Count>,
    ) -> Vec<[usize; 3]> {
        let mut order: Vec<_> =
            self.definitions.iter().map(|table| (table, sensitive(rule, &self.completeness, table))).zip(0..).collect();
        order.sort_by_key(|((_, sensitive), i)| (weight(sensitive), *i));
        let mut places = vec![[0; 3]; self.definitions.len()];
        // all with outcome, then all denominators, then all responders: each may equal any before it
        let start = list.len();
        for kind in [WITH_OUTCOME, DENOMINATOR, RESPONDERS] {
            let mut before = None;
            for ((table, sensitive), i) in &order {
                let (Some(sensitive), Some(places)) = (sensitive.get(kind), places.get_mut(*i)) else { continue };
                let part_of = if kind == WITH_OUTCOME { with_endpoint } else { places[WITH_OUTCOME] };
                let place = push(
                    list,
                    Count {
                        counts: table.map(|r| [r.with_outcome, r.denominator, r.responders][kind]),
                        sensitive: sensitive.clone(),
                        within: std::iter::once(part_of).chain(before).collect(),
                        may_equal: [0, with_endpoint, with_baseline].into_iter().chain(start..list.len()).collect(),
                    },
                );
                places[kind] = place;
                before = Some(place);
            }
        }
        places
    }
}

fn push(list: &mut Vec<Count>, count: Count) -> usize {
    list.push(count);
    list.len() - 1
}

/// The cells of a definition that must be withheld for their own sake: of with outcome, denominator, responders.
fn sensitive(rule: Rule, completeness: &Table<Completeness>, table: &Table<Responders>) -> [Table<bool>; 3] {
    // where nobody is too low, the denominator is all due episodes and hides nothing; the outcomes must
    let with_outcome = completeness.values().iter().zip(table.values()).map(|(c, r)| {
        rule.is_small(r.with_outcome)
            || rule.is_small_loss(c.with_endpoint.abs_diff(r.with_outcome))
            || (r.baseline_too_low == 0 && rule.is_small_loss(r.denominator - r.with_outcome))
    });
    let denominator = table.map(|r| {
        // all that have a baseline are too low: the denominator is the number of those without
        let only_missing = r.denominator == r.baseline_missing;
        rule.is_small(r.denominator)
            || rule.is_small_loss(r.baseline_too_low)
            || (r.baseline_too_low > 0 && (only_missing || rule.is_small_loss(r.denominator - r.with_outcome)))
    });
    [
        Table::new(table.columns(), with_outcome.collect()),
        denominator,
        table.map(|r| rule.is_small(r.responders) || rule.is_small(r.with_outcome - r.responders)),
    ]
}

/// First whether the whole group is concerned, then how many cells are.
fn weight(tables: &[Table<bool>; 3]) -> (bool, usize) {
    let whole = tables.iter().any(|table| table.get(Cell::WHOLE) == Some(&true));
    (whole, tables.iter().flat_map(|table| table.values()).filter(|sensitive| **sensitive).count())
}

/// Better, same and worse add up to those with an endpoint, so they are withheld together; the place of one of them.
fn place_ordinal(rule: Rule, table: &Table<OrdinalChange>, with_endpoint: usize, list: &mut Vec<Count>) -> usize {
    let first = list.len();
    let sensitive = table.map(|o| [o.better, o.same, o.worse].into_iter().any(|count| rule.is_small(count)));
    for counts in [table.map(|o| o.better), table.map(|o| o.same), table.map(|o| o.worse)] {
        list.push(Count {
            counts,
            sensitive: sensitive.clone(),
            within: vec![with_endpoint, first, first + 1, first + 2],
            may_equal: vec![0, with_endpoint],
        });
    }
    first
}

/// Which of the counts that add up to a total are withheld, and whether the total is. `total_also` withholds the
/// total for another reason.
pub fn line_pattern(rule: Rule, parts: &[u32], total_also: bool) -> (Vec<bool>, bool) {
    let total: u32 = parts.iter().sum();
    let line: Vec<u32> = std::iter::once(total).chain(parts.iter().copied()).collect();
    let columns = line.len();
    let mut withheld: Vec<bool> = line.iter().map(|count| rule.is_small(*count)).collect();
    if let Some(first) = withheld.first_mut() {
        *first |= total_also && total > 0;
    }
    loop {
        let unknown = |i: usize| withheld.get(i) == Some(&true);
        let chosen = (0..columns).filter(|i| unknown(*i)).count();
        let parts: Vec<u64> =
            (1..columns).filter(|i| unknown(*i)).filter_map(|i| line.get(i).copied().map(u64::from)).collect();
        let alone = chosen == 1 || (!unknown(0) && !leaves_open(&parts, rule.up_to.into()));
        let further = (1..columns).chain([0]).filter(|i| !unknown(*i) && line.get(*i).is_some_and(|count| *count > 0));
        match further.min_by_key(|i| (*i == 0, line.get(*i).copied())) {
            Some(i) if alone => {
                if let Some(cell) = withheld.get_mut(i) {
                    *cell = true;
                }
            }
            _ => break,
        }
    }
    let whole = withheld.first().copied().unwrap_or(false);
    (withheld.split_off(1.min(columns)), whole)
}

/// A count as it may be shown. A zero may always be.
pub fn count(withheld: bool, count: u32) -> Shown<u32> {
    if withheld && count > 0 { Shown::Withheld } else { Shown::Value(count) }
}

/// A number made from counts as it may be shown, when it exists.
pub fn number<T>(withheld: bool, number: Option<T>) -> Shown<T> {
    match number {
        _ if withheld => Shown::Withheld,
        Some(number) => Shown::Value(number),
        None => Shown::Missing,
    }
}

#[cfg(test)]
#[path = "withhold_tests.rs"]
mod tests;
