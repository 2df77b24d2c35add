//! What may be said to others of the results, and what not, decided from the results themselves.
//!
//! A rate may be quoted where at least [`ENOUGH_FOLLOWED_UP`] of the due episodes were followed up and the worst case is given with
//! it; below that the lost could turn it. A quarter may be called better or worse only where the difference is more than chance
//! explains, after allowing for the number of quarters compared. A site may be named only where it is called.

use super::bulletin::{Bulletin, CompletenessRow, Difference};
use super::leads::periods_of;
use super::shown::{Estimate, Period, Shown};

/// Share followed up from which on a rate may be quoted. Design choice: under it worst and best case lie further apart than 30
/// percentage points.
pub const ENOUGH_FOLLOWED_UP: f64 = 0.7;

/// One thing that may or may not be said.
#[derive(Clone, PartialEq, Debug)]
pub enum Statement<'a> {
    /// A condition's response rate with its worst case.
    Rate {
        /// Condition.
        condition: &'a str,
        /// Outcome.
        measure: &'a str,
        /// Period.
        period: Period,
        /// Rate of those seen.
        rate: Estimate,
        /// Rate with all others counted as failures.
        worst_case: f64,
        /// Share followed up.
        followed_up: f64,
    },
    /// A condition's response rate is not to be quoted: too few were followed up.
    TooFewFollowedUp {
        /// Condition.
        condition: &'a str,
        /// Share followed up.
        followed_up: f64,
    },
    /// The quarter against an earlier one.
    Quarter {
        /// Condition.
        condition: &'a str,
        /// Difference of the rates, this less earlier.
        difference: Difference,
        /// Whether the earlier one is a year ago.
        year_ago: bool,
    },
    /// Sites called above or below, by name.
    Sites(Vec<&'a str>),
    /// No site is called.
    NoSite,
}

/// What may be said, and what not.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct Statements<'a> {
    /// May be said.
    pub may: Vec<Statement<'a>>,
    /// May not.
    pub may_not: Vec<Statement<'a>>,
}

/// Decides for a bulletin.
pub fn statements(bulletin: &Bulletin) -> Statements<'_> {
    let mut found = Statements::default();
    for condition in &bulletin.conditions {
        let Some(outcome) = condition.leading() else { continue };
        let rate_in = |period: Period| {
            let row = outcome.responders.iter().find(|row| row.period == period && row.site.is_none())?;
            let share =
                outcome.completeness.iter().find(|row| row.period == period && row.site.is_none()).and_then(share)?;
            match (row.rate, row.worst_case) {
                (Shown::Value(rate), Shown::Value(worst_case)) => Some((period, rate, worst_case, share)),
                _ => None,
            }
        };
        let Some((period, rate, worst_case, followed_up)) = periods_of(bulletin).into_iter().find_map(rate_in) else {
            continue;
        };
        let (condition, measure) = (condition.title.as_str(), outcome.title.as_str());
        if followed_up >= ENOUGH_FOLLOWED_UP {
            found.may.push(Statement::Rate { condition, measure, period, rate, worst_case, followed_up });
        } else {
            found.may_not.push(Statement::TooFewFollowedUp { condition, followed_up });
        }
        for (against, year_ago) in [(&outcome.against_previous, false), (&outcome.against_year_ago, true)] {
            let Some(difference) = against.as_ref().and_then(|against| against.rate) else { continue };
            let statement = Statement::Quarter { condition, difference, year_ago };
            if difference.is_beyond_chance() { found.may.push(statement) } else { found.may_not.push(statement) }
        }
    }
    let called = bulletin.sites_compared.iter().flat_map(|comparison| &comparison.rows).filter(|row| row.stands_out());
    let mut names: Vec<&str> = called.map(|row| row.site.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    match names.is_empty() {
        false => found.may.push(Statement::Sites(names)),
        true if !bulletin.sites_compared.is_empty() => found.may_not.push(Statement::NoSite),
        true => {}
    }
    found
}

fn share(row: &CompletenessRow) -> Option<f64> {
    match row.share {
        Shown::Value(share) => Some(share),
        Shown::Withheld | Shown::Missing => None,
    }
}
