//! What a reader who knows every rule can work out of the withheld counts, all sums taken together: the least and the most each can be.
//!
//! **Facts.** Each fact says that a whole is the sum of its parts: the sites of a period and the group, the quarters of a site and all periods,
//! and, cell by cell, a count, the counts within it and what is left. A count that is shown is known as far as it is
//! shown; one that is withheld is at least 1, because a zero is shown.
//!
//! **Bounds.** From the bounds of the parts follow those of the whole, and from the bounds of the whole and the other parts those of each part; this is
//! repeated until nothing changes (bounds propagation; of tables: Buzzigoli & Giusti 1999, "the shuttle algorithm"). A linear
//! programme may narrow a count further: the tests of the sample attack the sheets with one.
//!
//! **Enough.** A small count may be known only to lie in a range of at least as many values as there are small counts: the
//! sliding protection level of Fischetti & Salazar 2000 (Management Science 47:1008-1027).
//!
//! **Repair.** Where a range is narrower, the cheapest shown count among the facts that make it so is withheld.

use super::complementary::{Count, OF_A_TOTAL, Pattern};
use super::open_sums::lines;
use std::collections::{BTreeSet, VecDeque};
use std::ops::RangeInclusive;

/// That some counts are parts of another one, in every cell.
#[derive(Clone, PartialEq, Debug)]
pub struct Relation {
    /// The whole: the position of a count or, after these, that of what is left in an earlier relation.
    pub whole: usize,
    /// Its parts, likewise.
    pub parts: Vec<usize>,
    /// Whether what is left of the whole is protected when it is small.
    pub protects_rest: bool,
}

/// Sweeps at most; bounds that would go on narrowing are as good as they need to be.
const SWEEPS: usize = 60;
/// More than any count.
const MANY: i64 = i64::MAX / 1_000_000;

/// An end of a range.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum End {
    Low,
    High,
}

impl End {
    fn other(self) -> Self {
        match self {
            Self::Low => Self::High,
            Self::High => Self::Low,
        }
    }
}

/// How many counts are withheld with each: itself, those within it, those within these.
fn withheld_with(counts: &[Count]) -> Vec<i64> {
    let mut with: Vec<BTreeSet<usize>> = (0..counts.len()).map(|kind| BTreeSet::from([kind])).collect();
    // a count stands after those that it is within, but for the words of a scale, which are within each other
    for (kind, count) in counts.iter().enumerate().rev() {
        let own = with.get(kind).cloned().unwrap_or_default();
        for outer in &count.within {
            if let Some(all) = with.get_mut(*outer) {
                all.extend(&own);
            }
        }
    }
    with.iter().map(|with| with.len() as i64).collect()
}

/// A whole and its parts, by the position of their variables.
struct Fact {
    whole: usize,
    parts: Vec<usize>,
}

/// Every count and every rest in every cell, what is known of it, and how it hangs together. The facts are gathered once, however often is looked.
pub(super) struct Reader<'a> {
    counts: &'a [Count],
    cells: usize,
    columns: usize,
    /// The true values, by variable.
    truth: Vec<i64>,
    /// The most that can be left in each relation and cell.
    most_left: Vec<i64>,
    low: Vec<i64>,
    high: Vec<i64>,
    facts: Vec<Fact>,
    /// The facts of each variable.
    facts_of: Vec<Vec<usize>>,
    /// By kind of count.
    withheld_with: Vec<i64>,
}

/// Withholds one shown count for each small one whose range is too narrow, one for each neighbourhood at a time; whether any was.
/// `seen`: what a reader knows of a count that is shown.
pub(super) fn widen(
    reader: &mut Reader<'_>,
    relations: &[Relation],
    up_to: u32,
    seen: impl Fn(u32) -> RangeInclusive<u32>,
    patterns: &mut [Pattern],
) -> bool {
    let counts = reader.counts;
    reader.look(patterns, seen);
    reader.narrow();
    let protected = counts.len() + relations.len();
    let is_protected = |kind: usize| {
        kind < counts.len()
            || kind.checked_sub(counts.len()).and_then(|i| relations.get(i)).is_some_and(|r| r.protects_rest)
    };
    let up_to = i64::from(up_to);
    let published = reader.cells - reader.columns;
    let mut touched = vec![false; reader.truth.len()];
    let mut added = false;
    for kind in (0..protected).filter(|kind| is_protected(*kind)) {
        for cell in 0..published {
            let variable = kind * reader.cells + cell;
            let is_small = reader.truth.get(variable).is_some_and(|truth| (1..=up_to).contains(truth));
            if !is_small || reader.width(variable) >= up_to - 1 || touched.get(variable) == Some(&true) {
                continue;
            }
            if let Some(hidden) = reader.cheapest(variable, patterns) {
                let pattern = patterns.get_mut(hidden / reader.cells);
                added |= pattern.is_some_and(|pattern| pattern.add(hidden % reader.cells));
                reader.touch(hidden, &mut touched);
            }
        }
    }
    added
}

impl<'a> Reader<'a> {
    pub(super) fn new(counts: &'a [Count], relations: &[Relation]) -> Option<Self> {
        let first = &counts.first()?.counts;
        let (rows, columns, cells) = (first.rows(), first.columns(), first.values().len());
        let mut truth: Vec<i64> = counts.iter().flat_map(|c| c.counts.values()).map(|n| i64::from(*n)).collect();
        let mut most_left = Vec::new();
        let mut facts = Vec::new();
        for relation in relations {
            let rest = truth.len();
            let at = |kind: usize, cell: usize| kind * cells + cell;
            let value = |kind: usize, cell: usize| truth.get(at(kind, cell)).copied().unwrap_or(0);
            let left: Vec<i64> = (0..cells)
                .map(|cell| {
                    let parts = relation.parts.iter().map(|part| value(*part, cell)).sum::<i64>();
                    value(relation.whole, cell) - parts
                })
                .collect();
            if left.iter().all(|left| *left >= 0) {
                facts.extend((0..cells).map(|cell| Fact {
                    whole: at(relation.whole, cell),
                    parts: relation.parts.iter().map(|part| at(*part, cell)).chain([rest + cell]).collect(),
                }));
            }
            // two counts that are the same in every cell are the same by their definitions
            let most = if left.iter().all(|left| *left == 0) { 0 } else { MANY };
            most_left.extend(std::iter::repeat_n(most, cells));
            truth.extend(left);
        }
        for kind in 0..counts.len() + relations.len() {
            for line in lines(rows, columns) {
                let Some((whole, parts)) = line.split_first() else { continue };
                let at = |cell: usize| kind * cells + cell;
                facts.push(Fact { whole: at(*whole), parts: parts.iter().map(|cell| at(*cell)).collect() });
            }
        }
        let mut facts_of = vec![Vec::new(); truth.len()];
        for (i, fact) in facts.iter().enumerate() {
            for variable in std::iter::once(&fact.whole).chain(&fact.parts) {
                if let Some(list) = facts_of.get_mut(*variable) {
                    list.push(i);
                }
            }
        }
        let (low, high) = (Vec::new(), Vec::new());
        let withheld_with = withheld_with(counts);
        Some(Self { counts, cells, columns, truth, most_left, low, high, facts, facts_of, withheld_with })
    }

    /// Sets the bounds to what the sheets show.
    fn look(&mut self, patterns: &[Pattern], seen: impl Fn(u32) -> RangeInclusive<u32>) {
        self.low.clear();
        self.high.clear();
        for (count, pattern) in self.counts.iter().zip(patterns) {
            for (cell, n) in count.counts.values().iter().enumerate() {
                let is_published = cell < self.cells - self.columns;
                let (least, most) = match *n {
                    0 => (0, 0),
                    n if is_published && !pattern.at(cell) => {
                        let range = seen(n);
                        (i64::from(*range.start()), i64::from(*range.end()))
                    }
                    _ => (i64::from(is_published), MANY),
                };
                self.low.push(least);
                self.high.push(most);
            }
        }
        self.low.extend(self.most_left.iter().map(|_| 0));
        self.high.extend(&self.most_left);
    }

    fn bounds(&self, variable: usize) -> (i64, i64) {
        let at = |list: &[i64]| list.get(variable).copied();
        (at(&self.low).unwrap_or(0), at(&self.high).unwrap_or(MANY))
    }

    fn width(&self, variable: usize) -> i64 {
        let (low, high) = self.bounds(variable);
        high - low
    }

    /// Narrows the bounds by every fact in turn until none narrows any.
    fn narrow(&mut self) {
        let mut waiting: VecDeque<usize> = (0..self.facts.len()).collect();
        let mut is_waiting = vec![true; self.facts.len()];
        let mut left = SWEEPS * self.facts.len();
        while let Some(fact) = waiting.pop_front() {
            if let Some(flag) = is_waiting.get_mut(fact) {
                *flag = false;
            }
            left = left.saturating_sub(1);
            if left == 0 {
                return;
            }
            for variable in self.narrow_by(fact) {
                for other in self.facts_of.get(variable).into_iter().flatten() {
                    if let Some(flag) = is_waiting.get_mut(*other)
                        && !*flag
                    {
                        *flag = true;
                        waiting.push_back(*other);
                    }
                }
            }
        }
    }

    /// Narrows the variables of one fact; those that were.
    fn narrow_by(&mut self, fact: usize) -> Vec<usize> {
        let Some(Fact { whole, parts }) = self.facts.get(fact) else { return Vec::new() };
        let (least, most) =
            parts.iter().map(|part| self.bounds(*part)).fold((0, 0), |(low, high), (l, h)| (low + l, high + h));
        let (whole_low, whole_high) = self.bounds(*whole);
        let mut narrowed = vec![(*whole, least, most)];
        for part in parts {
            let (low, high) = self.bounds(*part);
            narrowed.push((*part, whole_low - (most - high), whole_high - (least - low)));
        }
        narrowed.retain(|(variable, low, high)| {
            let bounds = self.bounds(*variable);
            *low > bounds.0 || *high < bounds.1
        });
        for (variable, least, most) in &narrowed {
            if let (Some(low), Some(high)) = (self.low.get_mut(*variable), self.high.get_mut(*variable)) {
                *low = (*low).max(*least);
                *high = (*high).min(*most);
            }
        }
        narrowed.into_iter().map(|(variable, ..)| variable).collect()
    }

    /// The shown count that is cheapest to withhold among those from which the bounds of a variable follow or, if none is shown, among
    /// those from which theirs follow, and so on; one over everything only if there is no other.
    fn cheapest(&self, variable: usize, patterns: &[Pattern]) -> Option<usize> {
        self.cheapest_of(variable, |other| self.is_shown(other, patterns) && !other.is_multiple_of(self.cells))
            .or_else(|| self.cheapest_of(variable, |other| self.is_shown(other, patterns)))
    }

    fn cheapest_of(&self, variable: usize, may_be: impl Fn(usize) -> bool) -> Option<usize> {
        let mut met = BTreeSet::new();
        let mut ring = vec![(variable, End::Low), (variable, End::High)];
        while !ring.is_empty() {
            let causes = ring.iter().flat_map(|(variable, end)| self.causes(*variable, *end));
            let next: Vec<(usize, End)> = causes.filter(|cause| met.insert(*cause)).collect();
            let shown = next.iter().map(|(other, _)| *other).filter(|other| may_be(*other));
            if let Some(cheapest) = shown.min_by_key(|other| (self.cost(*other), *other)) {
                return Some(cheapest);
            }
            ring = next;
        }
        None
    }

    /// The ends of other variables from which one end of a variable follows.
    fn causes(&self, variable: usize, end: End) -> Vec<(usize, End)> {
        let own = self.end(variable, end);
        let mut causes = Vec::new();
        for fact in self.facts_of.get(variable).into_iter().flatten().filter_map(|fact| self.facts.get(*fact)) {
            let parts = fact.parts.iter().copied();
            let (follows, ends): (i64, Vec<(usize, End)>) = if fact.whole == variable {
                (parts.clone().map(|part| self.end(part, end)).sum(), parts.map(|part| (part, end)).collect())
            } else {
                let others = parts.filter(|part| *part != variable).map(|part| (part, end.other()));
                let taken: i64 = others.clone().map(|(part, end)| self.end(part, end)).sum();
                (self.end(fact.whole, end) - taken, std::iter::once((fact.whole, end)).chain(others).collect())
            };
            if follows == own {
                causes.extend(ends);
            }
        }
        causes
    }

    fn end(&self, variable: usize, end: End) -> i64 {
        let (low, high) = self.bounds(variable);
        match end {
            End::Low => low,
            End::High => high,
        }
    }

    fn is_shown(&self, variable: usize, patterns: &[Pattern]) -> bool {
        let (kind, cell) = (variable / self.cells, variable % self.cells);
        let is_published = kind < self.counts.len() && cell < self.cells - self.columns;
        is_published
            && self.truth.get(variable).is_some_and(|n| *n > 0)
            && patterns.get(kind).is_some_and(|p| !p.at(cell))
    }

    /// Its count for each count that is withheld with it, more for a total.
    fn cost(&self, variable: usize) -> i64 {
        let (kind, cell) = (variable / self.cells, variable % self.cells);
        let totals = u32::from(cell < self.columns) + u32::from(cell.is_multiple_of(self.columns));
        let with_it = self.withheld_with.get(kind).copied().unwrap_or(1);
        (self.truth.get(variable).copied().unwrap_or(0) * with_it) << (OF_A_TOTAL * totals)
    }

    /// Marks everything that stands in a fact with a variable.
    fn touch(&self, variable: usize, touched: &mut [bool]) {
        let facts = self.facts_of.get(variable).into_iter().flatten().filter_map(|fact| self.facts.get(*fact));
        for other in facts.flat_map(|fact| std::iter::once(&fact.whole).chain(&fact.parts)) {
            if let Some(flag) = touched.get_mut(*other) {
                *flag = true;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::complementary::close;
    use super::*;
    use crate::models::grid::{Cell, Table};
    use proptest::prelude::*;

    const UP_TO: u32 = 4;

    /// A table with its totals in front; the last row, quarter not known, is empty.
    fn with_totals(inner: &[Vec<u32>]) -> Table<u32> {
        let rows: Vec<Vec<u32>> = inner.iter().map(|row| [&[row.iter().sum()], row.as_slice()].concat()).collect();
        let columns = rows[0].len();
        let all: Vec<u32> = (0..columns).map(|c| rows.iter().map(|row| row[c]).sum()).collect();
        Table::new(columns, [vec![all], rows, vec![vec![0; columns]]].concat().concat())
    }

    fn count(counts: &Table<u32>) -> Count {
        let sensitive = counts.map(|count| (1..=UP_TO).contains(count));
        Count { counts: counts.clone(), sensitive, within: Vec::new(), may_equal: Vec::new() }
    }

    fn exact(count: u32) -> RangeInclusive<u32> {
        count..=count
    }

    #[test]
    fn what_two_sums_tell_together_is_found() {
        // each site's rest of 5 or more is open by itself; that it is the same five that make up the quarter is not
        let counts = [count(&with_totals(&[vec![3, 40], vec![40, 50]]))];
        let mut patterns = vec![Pattern::of(&counts[0].sensitive)];
        assert!(widen(&mut Reader::new(&counts, &[]).unwrap(), &[], UP_TO, exact, &mut patterns));
        let withheld = |period, site| patterns[0].has(Cell { period, site });
        assert!(withheld(1, 1) && (withheld(1, 2) || withheld(2, 1)), "{patterns:?}");
    }

    #[test]
    fn what_is_left_of_a_whole_is_protected_where_it_is_asked_for() {
        let whole = count(&with_totals(&[vec![30, 40], vec![40, 50]]));
        let part = count(&with_totals(&[vec![28, 20], vec![20, 20]]));
        for protects_rest in [false, true] {
            let mut patterns = vec![Pattern::of(&whole.sensitive), Pattern::of(&part.sensitive)];
            let relations = [Relation { whole: 0, parts: vec![1], protects_rest }];
            let counts = [whole.clone(), part.clone()];
            let mut reader = Reader::new(&counts, &relations).unwrap();
            assert_eq!(widen(&mut reader, &relations, UP_TO, exact, &mut patterns), protects_rest);
        }
    }

    /// The least and the most a cell can be, by trying all tables of two quarters and two sites, and of a part within them.
    fn possible(whole: &Table<u32>, part: &Table<u32>, patterns: &[Pattern]) -> [Vec<(u32, u32)>; 2] {
        let sums = |[a, b, c, d]: [u32; 4]| [a + b + c + d, a + c, b + d, a + b, a, b, c + d, c, d];
        let fits = |table: &Table<u32>, pattern: &Pattern, other: &[u32; 9]| {
            (0..9).all(|cell| match table.values()[cell] {
                0 => other[cell] == 0,
                n if pattern.at(cell) => other[cell] > 0 && other[cell] <= 2 * MOST && n > 0,
                n => other[cell] == n,
            })
        };
        let all = |table: &Table<u32>, pattern: &Pattern| -> Vec<[u32; 9]> {
            let most: Vec<u32> = (0..9).map(|i| if pattern.at(i) { 2 * MOST } else { table.values()[i] }).collect();
            let mut found = Vec::new();
            for a in 0..=most[4] {
                for b in 0..=most[5] {
                    for c in 0..=most[7] {
                        for d in 0..=most[8] {
                            let cells = sums([a, b, c, d]);
                            if fits(table, pattern, &cells) {
                                found.push(cells);
                            }
                        }
                    }
                }
            }
            found
        };
        let (wholes, parts) = (all(whole, &patterns[0]), all(part, &patterns[1]));
        let mut bounds = [vec![(u32::MAX, 0); 9], vec![(u32::MAX, 0); 9]];
        for one in &wholes {
            for other in parts.iter().filter(|part| part.iter().zip(one).all(|(part, whole)| part <= whole)) {
                for (bounds, cells) in bounds.iter_mut().zip([one, other]) {
                    for (bound, value) in bounds.iter_mut().zip(cells) {
                        *bound = (bound.0.min(*value), bound.1.max(*value));
                    }
                }
            }
        }
        bounds
    }

    /// The largest inner count of the property test.
    const MOST: u32 = 9;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

        #[test]
        fn whoever_tries_all_tables_finds_as_many_values_as_there_are_small_counts(
            parts in prop::collection::vec(0..=MOST / 2, 4),
            others in prop::collection::vec(0..=MOST / 2, 4),
        ) {
            let square = |of: &[u32]| with_totals(&[of[..2].to_vec(), of[2..].to_vec()]);
            let wholes: Vec<u32> = parts.iter().zip(&others).map(|(part, other)| part + other).collect();
            let (whole, part) = (square(&wholes), square(&parts));
            let counts = [count(&whole), Count { within: vec![0], ..count(&part) }];
            let mut patterns = close(&counts, &[], UP_TO);
            let relations = [Relation { whole: 0, parts: vec![1], protects_rest: false }];
            let mut reader = Reader::new(&counts, &relations).unwrap();
            while widen(&mut reader, &relations, UP_TO, exact, &mut patterns) {
                super::super::complementary::close_further(&counts, &[], UP_TO, &mut patterns);
            }
            let bounds = possible(&whole, &part, &patterns);
            for (table, bounds) in [&whole, &part].into_iter().zip(&bounds) {
                for (n, (least, most)) in table.values().iter().zip(bounds) {
                    let is_small = (1..=UP_TO).contains(n);
                    prop_assert!(!is_small || most - least >= UP_TO - 1, "{n} in {least} to {most}: {table:?} {patterns:?}");
                }
            }
        }
    }
}
