//! The cells of a sheet: every period by every site, with their totals.
//!
//! Period 0 holds all due episodes, then come the quarters, oldest first, and last those whose quarter is not
//! known; they have no line of their own in any sheet but count in period 0. Site 0 is the whole group.

use super::followed::Followed;
use crate::rows::row::NameId;
use crate::rows::when::Quarter;

/// The periods and sites that cut a condition's due episodes.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Grid {
    quarters: Vec<Quarter>,
    sites: Vec<NameId>,
}

/// A cell by the position of its period and site.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Cell {
    /// Position of the period; 0 is all.
    pub period: usize,
    /// Position of the site; 0 is the group.
    pub site: usize,
}

impl Cell {
    /// The whole group over all periods.
    pub const WHOLE: Self = Self { period: 0, site: 0 };
}

impl Grid {
    /// A grid over quarters, oldest first, and sites, in the order of the sheets.
    pub fn new(quarters: Vec<Quarter>, sites: Vec<NameId>) -> Self {
        Self { quarters, sites }
    }

    /// Rows of the grid: all, each quarter, quarter not known.
    pub fn periods(&self) -> usize {
        self.quarters.len() + 2
    }

    /// Columns of the grid: the group and each site.
    pub fn sites(&self) -> usize {
        self.sites.len() + 1
    }

    /// All cells that a sheet has a line for, period by period.
    pub fn published(&self) -> impl Iterator<Item = Cell> + use<> {
        let (periods, sites) = (self.periods() - 1, self.sites());
        (0..periods).flat_map(move |period| (0..sites).map(move |site| Cell { period, site }))
    }

    /// The quarter of a period; `None` for all and for not known.
    pub fn quarter(&self, cell: Cell) -> Option<Quarter> {
        self.quarters.get(cell.period.checked_sub(1)?).copied()
    }

    /// The site of a cell; `None` for the group.
    pub fn site(&self, cell: Cell) -> Option<NameId> {
        self.sites.get(cell.site.checked_sub(1)?).copied()
    }

    /// The group's cell of a quarter.
    pub fn group_cell(&self, quarter: Quarter) -> Option<Cell> {
        self.cell(Some(quarter), None)
    }

    /// The cell of a quarter (`None`: all) and a site (`None`: the group).
    pub fn cell(&self, quarter: Option<Quarter>, site: Option<NameId>) -> Option<Cell> {
        let period = match quarter {
            Some(quarter) => self.quarters.iter().position(|q| *q == quarter)? + 1,
            None => 0,
        };
        let site = match site {
            Some(site) => self.sites.iter().position(|s| *s == site)? + 1,
            None => 0,
        };
        Some(Cell { period, site })
    }

    /// The quarters, oldest first.
    pub fn quarters(&self) -> &[Quarter] {
        &self.quarters
    }

    /// Where a cell lies in a [`Table`].
    pub fn index(&self, cell: Cell) -> usize {
        cell.period * self.sites() + cell.site
    }

    /// Sorts episodes into cells: each lies in its quarter and in all, at its site and in the group.
    /// An episode at a site outside the grid is in the group only.
    pub fn sort<'a>(&self, episodes: &'a [Followed]) -> Table<Vec<&'a Followed>> {
        let mut cells = vec![Vec::new(); self.periods() * self.sites()];
        for episode in episodes {
            for place in self.places(episode) {
                if let Some(cell) = cells.get_mut(place) {
                    cell.push(episode);
                }
            }
        }
        Table { columns: self.sites(), cells }
    }

    /// Where in a [`Table`] the cells lie that hold an episode.
    pub fn places(&self, episode: &Followed) -> impl Iterator<Item = usize> + use<> {
        let period = episode
            .quarter
            .and_then(|quarter| self.quarters.iter().position(|q| *q == quarter))
            .map_or(self.periods() - 1, |position| position + 1);
        let site = self.sites.iter().position(|site| *site == episode.site).map(|position| position + 1);
        let columns = self.sites();
        let of_period = move |period| std::iter::once(0).chain(site).map(move |site| period * columns + site);
        [0, period].into_iter().flat_map(of_period)
    }

    /// A table with the same value in each cell.
    pub fn filled<T: Clone>(&self, value: T) -> Table<T> {
        Table { columns: self.sites(), cells: vec![value; self.periods() * self.sites()] }
    }
}

/// One value for each cell of a grid, the period that is not known included.
#[derive(Clone, PartialEq, Debug)]
pub struct Table<T> {
    columns: usize,
    cells: Vec<T>,
}

impl<T> Table<T> {
    /// From cells in the order of [`Grid::index`].
    pub fn new(columns: usize, cells: Vec<T>) -> Self {
        Self { columns, cells }
    }

    /// The value of a cell.
    pub fn get(&self, cell: Cell) -> Option<&T> {
        if cell.site < self.columns { self.cells.get(cell.period * self.columns + cell.site) } else { None }
    }

    /// Columns: the group and each site.
    pub fn columns(&self) -> usize {
        self.columns
    }

    /// Rows: all, each quarter, not known.
    pub fn rows(&self) -> usize {
        self.cells.len() / self.columns.max(1)
    }

    /// The values, period by period.
    pub fn values(&self) -> &[T] {
        &self.cells
    }

    /// The values, period by period, to be changed.
    pub fn values_mut(&mut self) -> &mut [T] {
        &mut self.cells
    }

    /// The same table of something worked out from each cell.
    pub fn map<U>(&self, work: impl FnMut(&T) -> U) -> Table<U> {
        Table { columns: self.columns, cells: self.cells.iter().map(work).collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rows::names::NameList;

    #[test]
    fn an_episode_lies_in_its_quarter_and_in_all_at_its_site_and_in_the_group() {
        let mut names = NameList::default();
        let (a, b) = (names.intern("A").unwrap(), names.intern("B").unwrap());
        let (q1, q2) = (Quarter::new(2026, 1), Quarter::new(2026, 2));
        let grid = Grid::new(vec![q1.unwrap(), q2.unwrap()], vec![a, b]);
        let of = |quarter, site| Followed { quarter, site, baseline: None, endpoint: None };
        let episodes = [of(q1, a), of(q2, a), of(q2, b), of(None, b)];
        let counts = grid.sort(&episodes).map(Vec::len);
        // group, A, B in all, first quarter, second quarter, not known
        assert_eq!(counts.values(), [4, 2, 2, 1, 1, 0, 2, 1, 1, 1, 0, 1]);
        assert_eq!(grid.published().count(), 9);
        assert_eq!(grid.group_cell(q2.unwrap()), Some(Cell { period: 2, site: 0 }));
        assert_eq!(grid.quarter(Cell { period: 3, site: 0 }), None);
    }
}
