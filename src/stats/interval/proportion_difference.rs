//! The difference of two independent proportions, p1 - p2.
//!
//! **Formula.** Newcombe's hybrid score interval (Newcombe 1998, Stat Med 17:873-90, method 10), from the Wilson
//! intervals (l1, u1) and (l2, u2): d - sqrt((p1 - l1)2 + (u2 - p2)2) to d + sqrt((u1 - p1)2 + (p2 - l2)2).
//!
//! **Domain and edge cases.** As for one proportion; 0/n and n/n need no correction. Never beyond -1 and 1.
//!
//! **Published values.** 56/70 against 48/80 gives 0.0524 to 0.3339 (Newcombe 1998). Folder `newcombe_1998_difference`.

use super::{Interval, checked_counts, wilson};
use crate::error::InputError;
use crate::level::Level;

/// A difference of two proportions with its interval, both as shares between -1 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProportionDifference {
    /// The first proportion less the second.
    pub difference: f64,
    /// Newcombe's hybrid score interval.
    pub interval: Interval,
}

/// `successes1`/`trials1` less `successes2`/`trials2`, with Newcombe's hybrid score interval.
///
/// # Errors
/// If either has no trials, or more successes than trials.
pub fn newcombe_difference(
    (successes1, trials1): (u64, u64),
    (successes2, trials2): (u64, u64),
    level: Level,
) -> Result<ProportionDifference, InputError> {
    let (x1, n1) = checked_counts(successes1, trials1)?;
    let (x2, n2) = checked_counts(successes2, trials2)?;
    let (p1, p2) = (x1 / n1, x2 / n2);
    let (w1, w2) = (wilson(successes1, trials1, level)?, wilson(successes2, trials2, level)?);
    let difference = p1 - p2;
    let interval = Interval {
        low: (difference - (p1 - w1.low).hypot(w2.high - p2)).max(-1.0),
        high: (difference + (w1.high - p1).hypot(p2 - w2.low)).min(1.0),
    };
    Ok(ProportionDifference { difference, interval })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn swapping_the_groups_mirrors_the_interval() {
        for (a, b) in [((56, 70), (48, 80)), ((0, 10), (0, 20)), ((10, 10), (0, 20))] {
            let one = newcombe_difference(a, b, Level::NINETY_FIVE).unwrap();
            let other = newcombe_difference(b, a, Level::NINETY_FIVE).unwrap();
            assert_eq!(one.difference, -other.difference);
            assert_eq!((one.interval.low, one.interval.high), (-other.interval.high, -other.interval.low));
            assert!(one.interval.contains(one.difference));
        }
    }

    #[test]
    fn impossible_counts_are_refused_in_either_group() {
        assert!(newcombe_difference((0, 0), (1, 2), Level::NINETY_FIVE).is_err());
        assert!(newcombe_difference((1, 2), (3, 2), Level::NINETY_FIVE).is_err());
    }
}
