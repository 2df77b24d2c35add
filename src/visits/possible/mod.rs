//! What was recorded of a visit, held against the rules of what is possible: marked, never changed.
//!
//! The rules themselves, with their limits, words and sources, are the written standard's
//! (`catalogue/setup_standard.toml`); formulas stand with the functions here.

mod across_visits;
mod one_visit;
mod swapped_unit;

use crate::catalogue::Region;
use crate::catalogue::possible_rules::PossibleRules;
use crate::catalogue::rule::{Rule, RuleSet};
use crate::rows::row::Row;

/// Which rules could be asked of a visit, and which of them it breaks.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct Marks {
    /// Rules that are switched on and for which everything they need is recorded.
    pub asked: RuleSet,
    /// Of these, those that are broken.
    pub broken: RuleSet,
}

impl Marks {
    /// Whether a rule is switched on and everything it needs is recorded.
    pub fn asked(self, rule: Rule) -> bool {
        self.asked.has(rule)
    }

    /// Whether the visit breaks a rule that was asked.
    pub fn broken(self, rule: Rule) -> bool {
        self.broken.has(rule)
    }

    /// Notes whether a rule is broken; nothing when it cannot be told.
    fn note(&mut self, rule: Rule, is_broken: Option<bool>) {
        if let Some(is_broken) = is_broken {
            self.asked.add(rule);
            if is_broken {
                self.broken.add(rule);
            }
        }
    }
}

/// Marks the treated visits of one episode, given in order of time; `marks` has one place for each of `rows`, and what
/// stood there is replaced. A visit without a region of its own is of the episode's `region`.
///
/// A rule that holds a visit against the one before it marks the later of the two, whichever is wrong; after one wrong entry
/// between right ones two visits are marked.
pub fn marks_of_course(rows: &[&Row], region: Option<Region>, rules: &PossibleRules, marks: &mut [Marks]) {
    assert_eq!(rows.len(), marks.len(), "a mark for each row");
    for (row, marks) in rows.iter().zip(marks.iter_mut()) {
        *marks = one_visit::marks(row, row.setup.region.or(region), &rules.limits);
    }
    across_visits::mark(rows, region, &rules.limits, marks);
    swapped_unit::mark(rows, &rules.limits.unit_swapped, marks);
    for marks in marks {
        marks.asked = marks.asked.and(rules.on);
        marks.broken = marks.broken.and(rules.on);
    }
}

#[cfg(test)]
mod tests;
