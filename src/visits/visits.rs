//! The canonical visits of a group.

use crate::rows::row::{Row, Score};

/// Rows without duplicates, ordered by patient, clock, day, site and what they say (see [`super::duplicates`]): never by
/// the place they were read from.
///
/// A row with `is_visit` false is a reading without a visit of its own: from a readings-only file,
/// the further rows of a long export, or the row of a disagreeing pair that was not picked.
#[derive(Clone, Default, PartialEq, Debug)]
pub struct Visits {
    pub rows: Vec<Row>,
    /// Scores, each row's side by side; those of rows that were taken out are still among them.
    pub scores: Vec<Score>,
}

impl Visits {
    /// The scores of a row.
    pub fn scores_of(&self, row: &Row) -> &[Score] {
        scores_in(&self.scores, row)
    }
}

/// The scores of a row among those of all.
pub(super) fn scores_in<'s>(scores: &'s [Score], row: &Row) -> &'s [Score] {
    let from = row.scores_from as usize;
    scores.get(from..from + usize::from(row.scores_len)).unwrap_or_default()
}
