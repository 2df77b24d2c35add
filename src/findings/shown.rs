//! What findings are made of: a number that may be withheld, its interval, its period.

use crate::rows::when::Quarter;

/// A number with its 95 % interval. All finite.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl From<mendcurve_stats::Estimate> for Estimate {
    fn from(from: mendcurve_stats::Estimate) -> Self {
        Self { value: from.value, low: from.interval.low, high: from.interval.high }
    }
}

/// A period of a sheet: all episodes that were due, or those of one quarter.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Period {
    /// Every due episode.
    All,
    /// Episodes whose endpoint window closed in the quarter.
    Quarter(Quarter),
}

/// One number that may be withheld because few people stand behind it, or not exist.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Shown<T> {
    /// May be shown.
    Value(T),
    /// Withheld: a small cell, or one that would reveal a small cell.
    Withheld,
    /// There is no such number (no reading, no spread).
    Missing,
}

/// A length as a count.
pub(super) fn as_count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}
