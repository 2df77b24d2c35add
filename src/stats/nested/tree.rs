//! Rows reduced to a tree of groups.

use crate::error::{InputError, all_finite, at_least, same_length};
use crate::sum::{mean, sum};

/// The most nested levels, the residual not counted.
pub const MAX_LEVELS: usize = 4;

/// One group of the lowest level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Leaf {
    /// Position among the groups of the level above.
    pub parent: usize,
    /// Values in it.
    pub n: f64,
    /// Their mean, less the centre.
    pub mean: f64,
}

/// Groups of the lowest level that share their parent and their number of values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    pub parent: usize,
    /// Position of their number of values among the sizes.
    pub size: usize,
    /// How many groups.
    pub groups: f64,
    /// The mean of their means, less the centre.
    pub mean: f64,
    /// Sum of squares of their means around that mean.
    pub squares: f64,
}

/// Values in nested groups, reduced to what the likelihood needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Nested {
    /// For each level but the lowest, from the top: the parent of each group (0, the whole, for the top level).
    pub(super) upper: Vec<Vec<usize>>,
    pub(super) leaves: Vec<Leaf>,
    pub(super) cells: Vec<Cell>,
    /// The numbers of values that groups of the lowest level have, ascending, and how many groups have each.
    pub(super) sizes: Vec<(f64, f64)>,
    /// Sum of squares within the lowest groups.
    pub(super) within: f64,
    /// Taken off every value, against cancellation.
    pub(super) centre: f64,
    pub(super) n: usize,
}

impl Nested {
    /// Reduces `values` in nested groups. `codes` holds one slice for each level from the top (site, then clinician, ...),
    /// one code for each value; rows must be sorted by the codes, the top level first. A code counts within its parent
    /// only: clinician 1 of site 1 is another than clinician 1 of site 2.
    ///
    /// # Errors
    /// If there are no levels or more than [`MAX_LEVELS`], fewer than two values, a length differs, a value is not finite,
    /// or a row sorts before the one above it.
    pub fn new(codes: &[&[u32]], values: &[f64]) -> Result<Self, InputError> {
        at_least("levels", 1, codes.len())?;
        if codes.len() > MAX_LEVELS {
            return Err(InputError::OutOfRange { what: "number of levels", domain: "at most 4" });
        }
        at_least("values", 2, values.len())?;
        for level in codes {
            same_length("codes of a level", values.len(), level.len())?;
        }
        all_finite("values", values)?;
        let overflow =
            InputError::OutOfRange { what: "the sum of values", domain: "within the range of double precision" };
        let centre = mean(values).ok_or(overflow)?;
        let lowest = codes.len() - 1;
        let mut upper: Vec<Vec<usize>> = vec![Vec::new(); lowest];
        let mut leaves = Vec::new();
        let mut within = Vec::new();
        let mut start = 0;
        for row in 0..values.len() {
            let opened = if row == 0 { 0 } else { first_change(codes, row)? };
            for level in opened..lowest {
                let parent = if level == 0 { 0 } else { upper[level - 1].len() - 1 };
                upper[level].push(parent);
            }
            let ends = row + 1 == values.len() || first_change(codes, row + 1)? <= lowest;
            if ends {
                let group = &values[start..=row];
                let n = group.len() as f64;
                let mean = sum(group.iter().map(|y| y - centre)) / n;
                within.push(sum(group.iter().map(|y| (y - centre - mean).powi(2))));
                leaves.push(Leaf { parent: upper.last().map_or(0, |above| above.len() - 1), n, mean });
                start = row + 1;
            }
        }
        let sizes = sizes(&leaves);
        let cells = cells(&leaves, &sizes);
        Ok(Self { upper, leaves, cells, sizes, within: sum(within), centre, n: values.len() })
    }

    /// Number of nested levels, the residual not counted.
    #[must_use]
    pub fn levels(&self) -> usize {
        self.upper.len() + 1
    }

    /// Number of groups at `level`, 0 being the top; `None` beyond the lowest.
    #[must_use]
    pub fn groups(&self, level: usize) -> Option<usize> {
        if level == self.upper.len() { Some(self.leaves.len()) } else { self.upper.get(level).map(Vec::len) }
    }

    /// Number of values.
    #[must_use]
    pub fn observations(&self) -> usize {
        self.n
    }
}

/// The first level whose code differs from the row before; the number of levels if none does.
fn first_change(codes: &[&[u32]], row: usize) -> Result<usize, InputError> {
    let Some(level) = (0..codes.len()).find(|&k| codes[k][row] != codes[k][row - 1]) else { return Ok(codes.len()) };
    if codes[level][row] > codes[level][row - 1] {
        Ok(level)
    } else {
        Err(InputError::BadElement { what: "codes of a level", index: row, domain: "sorted, the top level first" })
    }
}

/// The numbers of values that groups have, ascending, and how many groups have each.
fn sizes(leaves: &[Leaf]) -> Vec<(f64, f64)> {
    let mut all: Vec<f64> = leaves.iter().map(|leaf| leaf.n).collect();
    all.sort_unstable_by(f64::total_cmp);
    all.chunk_by(|a, b| a == b).map(|same| (same[0], same.len() as f64)).collect()
}

/// Gathers the groups of the lowest level by parent and number of values.
fn cells(leaves: &[Leaf], sizes: &[(f64, f64)]) -> Vec<Cell> {
    let mut order: Vec<usize> = (0..leaves.len()).collect();
    order.sort_by(|&i, &j| leaves[i].parent.cmp(&leaves[j].parent).then(leaves[i].n.total_cmp(&leaves[j].n)));
    order
        .chunk_by(|&i, &j| leaves[i].parent == leaves[j].parent && leaves[i].n == leaves[j].n)
        .map(|same| {
            let first = leaves[same[0]];
            let groups = same.len() as f64;
            let mean = sum(same.iter().map(|&i| leaves[i].mean)) / groups;
            let squares = sum(same.iter().map(|&i| (leaves[i].mean - mean).powi(2)));
            let size = sizes.partition_point(|(n, _)| *n < first.n);
            Cell { parent: first.parent, size, groups, mean, squares }
        })
        .collect()
}
