//! Sums that leave their withheld parts open to a reader who knows what is small.
//!
//! A shown sum less its shown parts gives what the withheld ones add up to. Each of these is at least 1, since a zero is
//! shown, and a small one is at most `up_to`: five withheld parts of a 5 are 1 each, and five small ones of a 20 are 4
//! each. So the interval that a sum leaves to a small part must reach from 1 to `up_to`.
//!
//! **Lines.** The sites of a period and the group, the quarters of a site and all periods: of each count, and of what is
//! left of one count by another (non-responders). The reader is even told which of the parts are small; of the others he
//! knows no upper bound.
//!
//! **Cells.** The parts of a whole: responders and non-responders; better, same and worse. They are withheld together as
//! soon as one is small, so here nobody knows which is, and none has an upper bound.
//!
//! **Limits.** Each sum by itself: a linear programme over many sums may narrow a count further. A total that is small is
//! at least the number of its withheld parts.

use super::complementary::{Count, Pattern};

/// A count that others are parts of, over the same cells. What is left of it is protected too.
#[derive(Clone, PartialEq, Debug)]
pub struct Sum {
    /// The whole, by position.
    pub whole: usize,
    /// Its parts, by position.
    pub parts: Vec<usize>,
}

/// Whether a sum that gives away what these withheld counts, none of them 0, add up to leaves each small one free to be
/// anything from 1 to `up_to`, though it is known which are small.
pub(super) fn leaves_open(withheld: &[u64], up_to: u64) -> bool {
    let all_small = withheld.iter().all(|count| is_small(*count, up_to));
    let others = (withheld.len() as u64).saturating_sub(1);
    may_be_largest(withheld, up_to)
        && (withheld.is_empty() || !all_small || withheld.iter().sum::<u64>() <= 1 + up_to * others)
}

/// Whether a small one may be `up_to` when all others are at least 1.
fn may_be_largest(withheld: &[u64], up_to: u64) -> bool {
    let none_small = !withheld.iter().any(|count| is_small(*count, up_to));
    none_small || withheld.iter().sum::<u64>() + 1 >= up_to + withheld.len() as u64
}

fn is_small(count: u64, up_to: u64) -> bool {
    (1..=up_to).contains(&count)
}

/// The cells of each line that is shown, its total first: of every row but the last, then of every column.
pub(super) fn lines(rows: usize, columns: usize) -> impl Iterator<Item = Vec<usize>> {
    let along_rows = (0..rows.saturating_sub(1)).map(move |row| (0..columns).map(|c| row * columns + c).collect());
    along_rows.chain((0..columns).map(move |column| (0..rows).map(|r| r * columns + column).collect()))
}

/// Withholds one further count of each sum that does not leave its parts open: of a cell the whole, of a line what hides the
/// smallest part that is shown, or the total if none is; whether anything was added.
pub(super) fn widen(counts: &[Count], sums: &[Sum], up_to: u64, patterns: &mut [Pattern]) -> bool {
    let mut added = false;
    for sum in sums {
        let Some(table) = counts.get(sum.whole).map(|count| &count.counts) else { continue };
        let (rows, columns) = (table.rows(), table.columns());
        for cell in 0..rows.saturating_sub(1) * columns {
            let view = View { sum, counts, patterns, published: (rows - 1) * columns };
            if !view.leaves_cell_open(cell, up_to) {
                added |= hide(patterns, sum.whole, cell);
            }
        }
        for line in lines(rows, columns) {
            let view = View { sum, counts, patterns, published: rows.saturating_sub(1) * columns };
            if !view.leaves_line_open(&line, up_to)
                && let Some((count, cell)) = view.cheapest(&line)
            {
                added |= hide(patterns, count, cell);
            }
        }
    }
    added
}

fn hide(patterns: &mut [Pattern], count: usize, cell: usize) -> bool {
    patterns.get_mut(count).is_some_and(|pattern| pattern.add(cell))
}

/// What a reader sees of a whole, its parts and what is left of it.
struct View<'a> {
    sum: &'a Sum,
    counts: &'a [Count],
    patterns: &'a [Pattern],
    /// Cells before this one are in the sheets.
    published: usize,
}

impl View<'_> {
    fn count(&self, count: usize, cell: usize) -> u64 {
        let counts = self.counts.get(count).map_or(&[][..], |count| count.counts.values());
        counts.get(cell).map_or(0, |count| u64::from(*count))
    }

    fn knows(&self, count: usize, cell: usize) -> bool {
        let shown = cell < self.published && self.patterns.get(count).is_some_and(|pattern| !pattern.at(cell));
        shown || self.count(count, cell) == 0
    }

    fn parts(&self, cell: usize) -> u64 {
        self.sum.parts.iter().map(|part| self.count(*part, cell)).sum()
    }

    /// What is left of the whole without its parts.
    fn rest(&self, cell: usize) -> u64 {
        self.count(self.sum.whole, cell).abs_diff(self.parts(cell))
    }

    fn knows_rest(&self, cell: usize) -> bool {
        self.rest(cell) == 0
            || std::iter::once(&self.sum.whole).chain(&self.sum.parts).all(|count| self.knows(*count, cell))
    }

    fn leaves_cell_open(&self, cell: usize, up_to: u64) -> bool {
        if !self.knows(self.sum.whole, cell) || self.parts(cell) > self.count(self.sum.whole, cell) {
            return true;
        }
        let unknown = self.sum.parts.iter().filter(|part| !self.knows(**part, cell));
        let rest = Some(self.rest(cell)).filter(|_| !self.knows_rest(cell));
        may_be_largest(&unknown.map(|part| self.count(*part, cell)).chain(rest).collect::<Vec<u64>>(), up_to)
    }

    fn leaves_line_open(&self, line: &[usize], up_to: u64) -> bool {
        let Some((&total, cells)) = line.split_first() else { return true };
        let unknown = cells.iter().filter(|cell| !self.knows_rest(**cell)).map(|cell| self.rest(*cell));
        !self.knows_rest(total) || leaves_open(&unknown.collect::<Vec<u64>>(), up_to)
    }

    /// The shown count that costs least of those that hide a rest of the line: a part before a whole (all smaller counts go with that), the
    /// total last. Ties go to the earlier period and site by name, as in the sheets.
    fn cheapest(&self, line: &[usize]) -> Option<(usize, usize)> {
        let total = line.first().copied();
        let shown = line.iter().copied().filter(|cell| self.knows_rest(*cell) && self.rest(*cell) > 0);
        let hides = |cell: usize| {
            let part = self.sum.parts.iter().copied().filter(move |part| self.count(*part, cell) > 0);
            part.chain([self.sum.whole]).next().map(|count| (count, cell))
        };
        shown.filter_map(hides).min_by_key(|(count, cell)| {
            (Some(*cell) == total, *count == self.sum.whole, self.count(*count, *cell), *cell)
        })
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::complementary::close;
    use super::*;
    use crate::findings::withhold::Rule;
    use crate::group::settings::Audience;
    use crate::models::grid::{Cell, Table};
    use proptest::prelude::*;

    /// Whether one sum narrows a small part down, to a reader who knows what the withheld parts, none of them 0, add up to
    /// and, when `told`, which are small. He tries every value of every part.
    pub(in super::super) fn narrows(withheld: &[u32], up_to: u32, told: bool) -> bool {
        let sum = withheld.iter().sum::<u32>() as usize;
        let most = |count: u32| if told && count <= up_to { up_to as usize } else { sum };
        let possible = |target: usize, value: usize| {
            let mut reached = vec![false; sum + 1];
            if let Some(start) = reached.get_mut(value) {
                *start = true;
            }
            for (_, other) in withheld.iter().enumerate().filter(|(i, _)| *i != target) {
                let before = std::mem::replace(&mut reached, vec![false; sum + 1]);
                let mut last = None; // the sum nearest below that could be reached without this part
                for (at, now) in reached.iter_mut().enumerate() {
                    *now = last.is_some_and(|last| at - last <= most(*other));
                    last = if before[at] { Some(at) } else { last };
                }
            }
            reached[sum]
        };
        let small = withheld.iter().enumerate().filter(|(_, count)| **count <= up_to);
        small.map(|(target, _)| target).any(|target| (1..=up_to as usize).any(|value| !possible(target, value)))
    }

    /// From the inner cells (quarters, last one not known, by sites): adds totals in front.
    fn with_totals(inner: &[Vec<u32>]) -> Table<u32> {
        let rows: Vec<Vec<u32>> = inner.iter().map(|row| [&[row.iter().sum()], row.as_slice()].concat()).collect();
        let all: Vec<u32> = (0..rows[0].len()).map(|c| rows.iter().map(|row| row[c]).sum()).collect();
        Table::new(all.len(), [vec![all], rows].concat().concat())
    }

    fn small(counts: &Table<u32>, up_to: u32) -> Table<bool> {
        counts.map(|count| (1..=up_to).contains(count))
    }

    fn protected(counts: &Table<u32>, up_to: u32) -> Pattern {
        let sensitive = small(counts, up_to);
        close(&[Count { counts: counts.clone(), sensitive, within: Vec::new(), may_equal: Vec::new() }], &[], up_to)
            .remove(0)
    }

    /// The lines whose total is known and which narrow a small part down.
    fn narrowed_lines(counts: &Table<u32>, knows: impl Fn(usize) -> bool, up_to: u32) -> Vec<Vec<usize>> {
        let (rows, columns) = (counts.rows(), counts.columns());
        let mut all: Vec<Vec<usize>> = Vec::new();
        (0..rows - 1).for_each(|row| all.push((0..columns).map(|column| row * columns + column).collect()));
        (0..columns).for_each(|column| all.push((0..rows).map(|row| row * columns + column).collect()));
        all.retain(|line| {
            let unknown: Vec<u32> =
                line[1..].iter().filter(|cell| !knows(**cell)).map(|cell| counts.values()[*cell]).collect();
            knows(line[0]) && narrows(&unknown, up_to, true)
        });
        all
    }

    /// Shown are the cells of all rows but the last that are not withheld, and zeros.
    fn knows(counts: &Table<u32>, pattern: &Pattern, cell: usize) -> bool {
        let published = counts.values().len() - counts.columns();
        counts.values()[cell] == 0 || (cell < published && !pattern.at(cell))
    }

    const AUDIENCES: [Audience; 2] = [Audience::Internal, Audience::Release];

    #[test]
    fn the_least_and_the_greatest_sum_of_small_parts_give_them_away() {
        for up_to in AUDIENCES.map(|audience| Rule::of(audience).up_to) {
            let k = u64::from(up_to);
            for (withheld, open) in [
                (vec![1; 5], false),
                (vec![k; 5], false),
                (vec![1, 1, 1, 1, k], true),
                (vec![1, k, k, k, k], true),
                (vec![1, 1, 1, 1, k - 1], false),
                (vec![2, k, k, k, k], false),
                (vec![1, k], true),
                (vec![1, 1, 1, 1, k + 1], true),
                (vec![k, k, k, k, k + 1], true),
                (vec![k], false),
                (vec![k + 1, 50], true),
                (Vec::new(), true),
            ] {
                assert_eq!(leaves_open(&withheld, k), open, "{withheld:?} of {k}");
                let withheld: Vec<u32> = withheld.iter().map(|count| *count as u32).collect();
                assert_eq!(narrows(&withheld, up_to, true), !open, "{withheld:?} of {k}");
            }
        }
    }

    #[test]
    fn a_total_of_five_over_five_sites_is_withheld_as_well() {
        for up_to in AUDIENCES.map(|audience| Rule::of(audience).up_to) {
            let ones = vec![1; up_to as usize + 1];
            let many = vec![40; ones.len()];
            let counts = with_totals(&[ones, many.clone(), many]);
            let pattern = protected(&counts, up_to);
            assert!(pattern.has(Cell { period: 1, site: 0 }), "{up_to} {pattern:?}");
            assert!(!pattern.has(Cell::WHOLE));
        }
    }

    #[test]
    fn five_sites_with_the_largest_small_count_take_the_smallest_further_site_with_them() {
        for up_to in AUDIENCES.map(|audience| Rule::of(audience).up_to) {
            let counts = with_totals(&[[&[up_to; 5][..], &[30, 20]].concat(), vec![40; 7], vec![40; 7]]);
            let pattern = protected(&counts, up_to);
            let withheld: Vec<bool> = (0..8).map(|site| pattern.has(Cell { period: 1, site })).collect();
            assert_eq!(withheld, [false, true, true, true, true, true, false, true], "{up_to}");
        }
    }

    #[test]
    fn neither_rows_nor_columns_of_small_counts_give_them_away() {
        // each quarter 4 or 5 ones, each site 4 or 5: circles everywhere, no sum is small, and yet each line gives its own away
        for up_to in AUDIENCES.map(|audience| Rule::of(audience).up_to) {
            for value in [1, up_to] {
                let n = up_to as usize + 1;
                let inner: Vec<Vec<u32>> = (0..n).map(|_| vec![value; n]).chain([vec![0; n]]).collect();
                let counts = with_totals(&inner);
                let pattern = protected(&counts, up_to);
                let found = narrowed_lines(&counts, |cell| knows(&counts, &pattern, cell), up_to);
                assert_eq!(found, Vec::<Vec<usize>>::new(), "{value} of {up_to}: {pattern:?}");
                assert_eq!(
                    narrowed_lines(&counts, |cell| !(1..=up_to).contains(&counts.values()[cell]), up_to).len(),
                    2 * n
                );
            }
        }
    }

    #[test]
    fn three_parts_of_a_whole_of_five_take_it_with_them() {
        // 5 is not small, but where each of three parts is at least 1 none is more than 3
        let wholes = with_totals(&[vec![5, 40, 40], vec![40; 3], vec![0; 3]]);
        let parts = [[3, 20], [1, 10], [1, 10]]
            .map(|[first, other]| with_totals(&[vec![first, other, other], vec![other; 3], vec![0; 3]]));
        let sensitive = small(&parts[0], 4);
        let mut counts =
            vec![Count { counts: wholes.clone(), sensitive: small(&wholes, 4), within: vec![], may_equal: vec![] }];
        for counted in &parts {
            let (counts_of, sensitive) = (counted.clone(), sensitive.clone());
            counts.push(Count { counts: counts_of, sensitive, within: vec![0, 1, 2, 3], may_equal: vec![0] });
        }
        let patterns = close(&counts, &[Sum { whole: 0, parts: vec![1, 2, 3] }], 4);
        assert!(patterns[0].has(Cell { period: 1, site: 1 }) && !patterns[0].has(Cell::WHOLE), "{patterns:?}");
    }

    /// The patterns of a whole and a part of it, both what is in it and what is left protected.
    fn of_a_whole(wholes: &Table<u32>, parts: &Table<u32>, up_to: u32) -> Vec<Pattern> {
        let rest = less(wholes, parts);
        let either =
            small(parts, up_to).values().iter().zip(small(&rest, up_to).values()).map(|(a, b)| *a || *b).collect();
        let whole =
            Count { counts: wholes.clone(), sensitive: small(wholes, up_to), within: vec![], may_equal: vec![] };
        let sensitive = Table::new(parts.columns(), either);
        let part = Count { counts: parts.clone(), sensitive, within: vec![0], may_equal: vec![0] };
        close(&[whole, part], &[Sum { whole: 0, parts: vec![1] }], up_to)
    }

    fn less(wholes: &Table<u32>, parts: &Table<u32>) -> Table<u32> {
        let rest = wholes.values().iter().zip(parts.values()).map(|(whole, part)| whole - part);
        Table::new(wholes.columns(), rest.collect())
    }

    /// Quarters by sites: how many respond and how many do not.
    fn cells() -> impl Strategy<Value = Vec<Vec<(u32, u32)>>> {
        let count = || prop_oneof![2 => Just(0_u32), 3 => Just(1), 3 => 1..5_u32, 2 => 4..12_u32, 2 => 11..60_u32];
        (2..6_usize, 2..5_usize).prop_flat_map(move |(sites, quarters)| {
            prop::collection::vec(prop::collection::vec((count(), count()), sites), quarters)
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 600, ..ProptestConfig::default() })]

        #[test]
        fn no_single_sum_narrows_a_small_count_down(inner in cells(), release: bool) {
            let up_to = Rule::of(AUDIENCES[usize::from(release)]).up_to;
            let of = |f: fn(&(u32, u32)) -> u32| with_totals(&inner.iter().map(|row| row.iter().map(f).collect()).collect::<Vec<_>>());
            let (wholes, parts, rest) = (of(|(a, b)| a + b), of(|(a, _)| *a), of(|(_, b)| *b));
            let patterns = of_a_whole(&wholes, &parts, up_to);
            let knows_whole = |cell: usize| knows(&wholes, &patterns[0], cell);
            let knows_part = |cell: usize| knows(&parts, &patterns[1], cell);
            let knows_rest = |cell: usize| rest.values()[cell] == 0 || (knows_whole(cell) && knows_part(cell));
            let none = Vec::<Vec<usize>>::new();
            prop_assert_eq!(&narrowed_lines(&wholes, knows_whole, up_to), &none, "wholes {:?} {:?}", wholes, patterns);
            prop_assert_eq!(&narrowed_lines(&parts, knows_part, up_to), &none, "parts {:?} {:?}", parts, patterns);
            prop_assert_eq!(&narrowed_lines(&rest, knows_rest, up_to), &none, "rest {:?} {:?}", rest, patterns);
            for cell in 0..wholes.values().len() - wholes.columns() {
                let hidden = [(&parts, knows_part(cell)), (&rest, knows_rest(cell))];
                let hidden: Vec<u32> =
                    hidden.iter().filter(|(_, knows)| !knows).map(|(counts, _)| counts.values()[cell]).collect();
                prop_assert!(!knows_whole(cell) || !narrows(&hidden, up_to, false), "{cell} {wholes:?} {parts:?} {patterns:?}");
            }
        }
    }
}
