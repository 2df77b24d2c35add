//! A due episode as one outcome sees it.

use crate::rows::row::NameId;
use crate::rows::when::Quarter;

/// One due episode of a condition, followed on one outcome.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Followed {
    /// The quarter it was due in, when known.
    pub quarter: Option<Quarter>,
    /// The site where most of its visits fell.
    pub site: NameId,
    /// The score at the start, in the measure's own unit; absent when none was recorded.
    pub baseline: Option<f64>,
    /// The score at the end; absent when none was recorded.
    pub endpoint: Option<f64>,
}

impl Followed {
    /// Baseline and endpoint, when both were recorded.
    pub fn pair(&self) -> Option<(f64, f64)> {
        self.baseline.zip(self.endpoint)
    }
}
