//! Complementary suppression: which further cells to withhold so that no withheld count can be worked out.
//!
//! **The table.** Counts by period and site with their totals (see [`crate::models::grid`]). Each line adds up: a period's
//! sites to the group, a site's periods to all periods. Whoever reads the sheets can subtract, along lines and along sums
//! of lines.
//!
//! **The criterion.** Draw a node for each line and an edge for each withheld cell that is not zero, between the two
//! lines that it lies on. The shown cells determine a withheld one exactly if its edge is a bridge, an edge on no circle
//! (Gusfield 1988, SIAM J Comput 17:552-71). On a circle the values can be raised and lowered by 1 in turn and every
//! line still adds up; since none of them is 0, there is a second table of counts that fits. So each line holds no
//! withheld cell or at least two, and more than that: no sum of lines isolates one.
//!
//! **Equal counts.** Where every episode has an endpoint, the episodes with an endpoint are as many as the episodes, and a
//! reader who sees that in a total knows it of the parts. So a sensitive cell needs a circle of cells of which none
//! equals a shown count of the same cell that it may be known to equal. Where there is none, or none as cheap, that
//! other count is withheld as well.
//!
//! **The choice.** For each withheld cell on no circle, the cheapest path between its lines is withheld as well
//! (Dijkstra 1959). A cell costs its count, and again for each other count withheld with it; a total costs more, so that it
//! goes last. Along a line whose total is shown, subtraction does give the sum of what is withheld; it must leave each
//! small one open (see [`super::open_sums`]).
//!
//! **Edge cases.** A zero may be shown, so it is taken as known and never helps to hide another cell. The last
//! row (quarter not known) is in no sheet: it is withheld from the start, and protected where it is sensitive, because it is
//! the difference between all periods and the quarters. It always ends: were all cells that are not zero withheld, no
//! edge would be a bridge, since the value of a bridge is 0.
//!
//! **Limits.** Counts known from elsewhere are not allowed for, nor what the rule itself lets one conclude from several
//! sums together.

use super::open_sums::{Sum, leaves_open, lines, widen};
use crate::models::grid::{Cell, Table};

/// Which cells of a table are withheld.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Pattern {
    columns: usize,
    withheld: Vec<bool>,
}

impl Pattern {
    /// The cells for which a table says so.
    pub fn of(table: &Table<bool>) -> Self {
        Self { columns: table.columns(), withheld: table.values().to_vec() }
    }

    /// Whether a cell is withheld; one outside the table is.
    pub fn has(&self, cell: Cell) -> bool {
        cell.site >= self.columns || self.at(cell.period * self.columns + cell.site)
    }

    /// The same by the position of the cell in its table.
    pub(super) fn at(&self, index: usize) -> bool {
        self.withheld.get(index).copied().unwrap_or(true)
    }

    /// Withholds a cell; whether it was not withheld before.
    pub(super) fn add(&mut self, index: usize) -> bool {
        self.withheld.get_mut(index).is_some_and(|withheld| !std::mem::replace(withheld, true))
    }

    /// Withholds what another pattern does; whether that added anything.
    fn widen(&mut self, other: &Self) -> bool {
        let mut added = false;
        for (own, other) in self.withheld.iter_mut().zip(&other.withheld) {
            added |= *other && !std::mem::replace(own, *own || *other);
        }
        added
    }
}

/// One kind of count, over the cells of one grid.
#[derive(Clone, PartialEq, Debug)]
pub struct Count {
    /// The counts.
    pub counts: Table<u32>,
    /// The cells that must be withheld for their own sake.
    pub sensitive: Table<bool>,
    /// The counts, by position, with which it is withheld: wherever one of them is, so is this.
    pub within: Vec<usize>,
    /// The counts, by position, that it may be known to equal.
    pub may_equal: Vec<usize>,
}

/// The pattern of each count. `sums`: which are parts of which; `up_to`: the largest count that is small.
pub fn close(counts: &[Count], sums: &[Sum], up_to: u32) -> Vec<Pattern> {
    let mut patterns: Vec<Pattern> = counts.iter().map(|count| Pattern::of(&count.sensitive)).collect();
    close_further(counts, sums, up_to, &mut patterns);
    patterns
}

/// The same, of patterns to which something was added.
pub(super) fn close_further(counts: &[Count], sums: &[Sum], up_to: u32, patterns: &mut [Pattern]) {
    let mut changed = true;
    while changed {
        changed = false;
        for (i, count) in counts.iter().enumerate() {
            let Some(pattern) = patterns.get(i).cloned() else { continue };
            let mut lines = Lines::new(count, pattern, counts, patterns, up_to);
            let mut added = false;
            for outer in count.within.iter().filter_map(|k| patterns.get(*k)) {
                added |= lines.pattern.widen(outer);
            }
            while lines.close_circles(false) || lines.close_circles(true) || lines.open_sums() {
                added = true;
            }
            changed |= added;
            for edge in lines.hide_equal {
                for k in &count.may_equal {
                    if let (Some(other), Some(pattern)) = (counts.get(*k), patterns.get_mut(*k))
                        && other.counts.values().get(edge) == count.counts.values().get(edge)
                    {
                        changed |= pattern.add(edge);
                    }
                }
            }
            if let Some(pattern) = patterns.get_mut(i) {
                *pattern = lines.pattern;
            }
        }
        changed |= widen(counts, sums, u64::from(up_to), patterns);
    }
}

/// What it costs to withhold a total: two to the power of this as much as a part of the same size, for one over both periods and sites twice
/// over. Rates over all sites and all quarters are what is read most.
pub(super) const OF_A_TOTAL: u32 = 6;

/// A table with its lines: node r is row r, node rows + c is column c. Edge r * columns + c joins row r and column c.
struct Lines {
    rows: usize,
    columns: usize,
    counts: Vec<u64>,
    sensitive: Vec<bool>,
    /// How many shown counts of the cell it equals.
    equals: Vec<u64>,
    up_to: u64,
    pattern: Pattern,
    /// Cells that help to hide a sensitive one only if the counts that they equal are withheld too.
    hide_equal: Vec<usize>,
}

impl Lines {
    fn new(count: &Count, pattern: Pattern, all: &[Count], patterns: &[Pattern], up_to: u32) -> Self {
        let own = count.counts.values();
        let equal_and_shown = |edge: usize, value: u32| {
            let kin = count.may_equal.iter().filter_map(|k| all.get(*k).zip(patterns.get(*k)));
            kin.filter(|(other, pattern)| other.counts.values().get(edge) == Some(&value) && !pattern.at(edge)).count()
        };
        Self {
            rows: count.counts.rows(),
            columns: count.counts.columns(),
            counts: own.iter().map(|count| u64::from(*count)).collect(),
            sensitive: count.sensitive.values().to_vec(),
            equals: own.iter().enumerate().map(|(edge, value)| equal_and_shown(edge, *value) as u64).collect(),
            up_to: u64::from(up_to),
            pattern,
            hide_equal: Vec::new(),
        }
    }

    fn count(&self, edge: usize) -> u64 {
        self.counts.get(edge).copied().unwrap_or(0)
    }

    /// Whether a cell is in no sheet: the last row.
    fn unpublished(&self, edge: usize) -> bool {
        edge >= (self.rows - 1) * self.columns
    }

    /// How many shown counts give this cell away by being equal. The last row is shown nowhere.
    fn equals(&self, edge: usize) -> u64 {
        if self.unpublished(edge) || self.hide_equal.contains(&edge) {
            0
        } else {
            self.equals.get(edge).copied().unwrap_or(0)
        }
    }

    /// Whether a cell cannot be read off; to a reader who is `told_equal`, nor be known by an equal count.
    fn unknown(&self, edge: usize, told_equal: bool) -> bool {
        self.count(edge) > 0
            && (self.unpublished(edge) || self.pattern.at(edge))
            && !(told_equal && self.equals(edge) > 0)
    }

    /// Withholds what puts each unknown cell on a circle or, for a reader who is told equal counts, each sensitive one;
    /// whether anything was added.
    fn close_circles(&mut self, told_equal: bool) -> bool {
        let mut added = false;
        for edge in 0..self.counts.len() {
            let sensitive = self.sensitive.get(edge) == Some(&true);
            let protect = sensitive || !(told_equal || self.unpublished(edge));
            if protect && self.unknown(edge, false) {
                added |= self.withhold(edge, told_equal);
                for other in self.cheapest_way_round(edge, told_equal) {
                    added |= self.withhold(other, told_equal);
                }
            }
        }
        added
    }

    fn withhold(&mut self, edge: usize, told_equal: bool) -> bool {
        let reveals = told_equal && self.equals(edge) > 0;
        if reveals {
            self.hide_equal.push(edge);
        }
        (!self.unpublished(edge) && self.pattern.add(edge)) || reveals
    }

    /// What it costs that a cell hides: its count for each number to be withheld for it, more for a total.
    fn cost(&self, edge: usize, told_equal: bool) -> u64 {
        let own = u64::from(!self.unpublished(edge) && !self.pattern.at(edge));
        let numbers = own + if told_equal { self.equals(edge) } else { 0 };
        let totals = u32::from(edge < self.columns) + u32::from(edge.is_multiple_of(self.columns));
        (numbers * self.count(edge)) << (OF_A_TOTAL * totals)
    }

    /// The edges of the cheapest path between the ends of an edge that does not use it. Ties go to the lower node.
    fn cheapest_way_round(&self, edge: usize, told_equal: bool) -> Vec<usize> {
        let nodes = self.rows + self.columns;
        let (from, to) = (edge / self.columns, self.rows + edge % self.columns);
        let mut best: Vec<Option<(u64, usize)>> = vec![None; nodes]; // cost, and the edge by which it was reached
        let mut done = vec![false; nodes];
        if let Some(start) = best.get_mut(from) {
            *start = Some((0, edge));
        }
        while let Some((cost, node)) = nearest(&best, &done) {
            if node == to {
                break;
            }
            if let Some(done) = done.get_mut(node) {
                *done = true;
            }
            for (next, by) in self.neighbours(node) {
                if by == edge || self.count(by) == 0 {
                    continue;
                }
                let onward = cost.saturating_add(self.cost(by, told_equal));
                if let Some(known) = best.get_mut(next)
                    && known.is_none_or(|(known, _)| onward < known)
                {
                    *known = Some((onward, by));
                }
            }
        }
        let mut path = Vec::new();
        let mut node = to;
        while node != from {
            let Some(&Some((_, by))) = best.get(node) else { return path };
            path.push(by);
            let (row, column) = (by / self.columns, self.rows + by % self.columns);
            node = if node == row { column } else { row };
        }
        path
    }

    fn neighbours(&self, node: usize) -> impl Iterator<Item = (usize, usize)> + use<> {
        let (rows, columns) = (self.rows, self.columns);
        let is_row = node < rows;
        let count = if is_row { columns } else { rows };
        (0..count).map(move |other| {
            if is_row { (rows + other, node * columns + other) } else { (other, other * columns + node - rows) }
        })
    }

    /// Withholds the cheapest further cell of each line whose total does not leave the small ones open; whether anything was
    /// added.
    fn open_sums(&mut self) -> bool {
        let mut added = false;
        for line in lines(self.rows, self.columns) {
            let Some((&total, parts)) = line.split_first() else { continue };
            let unknown = parts.iter().filter(|edge| self.unknown(**edge, true)).map(|edge| self.count(*edge));
            if !self.unknown(total, true) && !leaves_open(&unknown.collect::<Vec<u64>>(), self.up_to) {
                let further = |edge: &&usize| !self.unknown(**edge, true) && self.count(**edge) > 0;
                let cheapest =
                    line.iter().filter(further).min_by_key(|edge| (self.cost(**edge, true), **edge)).copied();
                added |= cheapest.is_some_and(|edge| self.withhold(edge, true));
            }
        }
        added
    }
}

fn nearest(best: &[Option<(u64, usize)>], done: &[bool]) -> Option<(u64, usize)> {
    let open = best.iter().zip(done).enumerate().filter(|(_, (_, done))| !**done);
    open.filter_map(|(node, (best, _))| best.map(|(cost, _)| (cost, node))).min()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const UP_TO: u32 = 4;

    /// From the inner cells (quarters, last one not known, by sites): adds totals in front.
    fn with_totals(inner: &[Vec<u32>]) -> Table<u32> {
        let row_with_total = |row: &Vec<u32>| std::iter::once(row.iter().sum()).chain(row.iter().copied()).collect();
        let rows: Vec<Vec<u32>> = inner.iter().map(row_with_total).collect();
        let columns = rows[0].len();
        let all: Vec<u32> = (0..columns).map(|c| rows.iter().map(|row| row[c]).sum()).collect();
        Table::new(columns, std::iter::once(all).chain(rows).flatten().collect())
    }

    fn protected(counts: &Table<u32>) -> Pattern {
        let sensitive = counts.map(|count| (1..=UP_TO).contains(count));
        let count = Count { counts: counts.clone(), sensitive, within: Vec::new(), may_equal: Vec::new() };
        close(&[count], &[], UP_TO).remove(0)
    }

    #[test]
    fn one_small_cell_takes_the_smallest_circle_of_further_cells_with_it() {
        // the last row, quarter not known, is empty
        let counts = with_totals(&[vec![3, 20, 30], vec![9, 25, 8], vec![0, 0, 0]]);
        let pattern = protected(&counts);
        // all: 62 12 45 38; first quarter: 53 3 20 30; second: 42 9 25 8.
        // Ways round 3: by 20, 25, 9 (54) or by 30, 8, 9 (47): the latter
        let expected = [
            [false, false, false, false],
            [false, true, false, true],
            [false, true, false, true],
            [false, false, false, false],
        ];
        assert_eq!(pattern.withheld, expected.concat());
    }

    #[test]
    fn nothing_is_withheld_when_nothing_is_small() {
        let counts = with_totals(&[vec![0, 20, 30], vec![9, 25, 8], vec![6, 0, 0]]);
        assert_eq!(protected(&counts), Pattern::of(&counts.map(|_| false)));
    }

    #[test]
    fn a_small_number_without_a_quarter_is_not_left_as_a_difference() {
        // site A: all 28, quarters 12 and 14, so 2 without a quarter
        let counts = with_totals(&[vec![12, 20], vec![14, 25], vec![2, 30]]);
        let pattern = protected(&counts);
        let column_a = (0..3).map(|period| Cell { period, site: 1 }).filter(|cell| pattern.has(*cell)).count();
        assert!(column_a >= 1, "{pattern:?}");
    }

    #[test]
    fn two_small_cells_alone_in_a_line_take_a_third_since_their_sum_is_small() {
        let counts = with_totals(&[vec![1, 1, 30, 40], vec![20, 20, 30, 40], vec![0, 0, 0, 0]]);
        let pattern = protected(&counts);
        let first_quarter = (1..5).filter(|site| pattern.has(Cell { period: 1, site: *site })).count();
        assert!(first_quarter >= 3, "{pattern:?}");
    }

    /// Whether two tables of counts fit what is shown: tries every change of the unknown cells within -2 to 2.
    fn is_determined(counts: &Table<u32>, pattern: &Pattern, target: usize) -> bool {
        let (rows, columns) = (counts.rows(), counts.columns());
        let unknown: Vec<usize> = (0..counts.values().len())
            .filter(|i| counts.values()[*i] > 0 && (*i >= (rows - 1) * columns || pattern.withheld[*i]))
            .collect();
        let mut delta = vec![0_i64; counts.values().len()];
        !another(counts, &unknown, &mut delta, target)
    }

    fn another(counts: &Table<u32>, unknown: &[usize], delta: &mut Vec<i64>, target: usize) -> bool {
        let (rows, columns) = (counts.rows(), counts.columns());
        let Some((&edge, rest)) = unknown.split_first() else {
            let row_fits = |r: usize| (1..columns).map(|c| delta[r * columns + c]).sum::<i64>() == delta[r * columns];
            let column_fits = |c: usize| (1..rows).map(|r| delta[r * columns + c]).sum::<i64>() == delta[c];
            return delta[target] != 0 && (0..rows).all(row_fits) && (0..columns).all(column_fits);
        };
        for change in [0, 1, -1] {
            if i64::from(counts.values()[edge]) + change >= 0 {
                delta[edge] = change;
                if another(counts, rest, delta, target) {
                    return true;
                }
            }
        }
        delta[edge] = 0;
        false
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

        #[test]
        fn every_withheld_count_has_another_value_that_fits_all_that_is_shown(
            inner in prop::collection::vec(prop::collection::vec(prop_oneof![Just(0_u32), 1..6_u32, 5..30_u32], 2), 2),
            unknown_quarter in prop::collection::vec(prop_oneof![3 => Just(0_u32), 1 => 1..20_u32], 2),
        ) {
            let mut inner = inner;
            inner.push(unknown_quarter);
            let counts = with_totals(&inner);
            let pattern = protected(&counts);
            let published = counts.values().len() - counts.columns();
            for cell in 0..published {
                let count = counts.values()[cell];
                prop_assert!(pattern.withheld[cell] || !(1..=UP_TO).contains(&count));
                if pattern.withheld[cell] && count > 0 {
                    prop_assert!(!is_determined(&counts, &pattern, cell), "cell {cell} of {counts:?} {pattern:?}");
                }
            }
        }
    }
}
