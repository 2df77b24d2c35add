//! What is asked of setups, and the answers, before and after the one step over all.

use super::FALSE_DISCOVERY_RATE;
use super::setup_scales::ReadingScale;
use super::setups::ParameterFindings;
use super::withhold::Rule as SmallCells;
use crate::catalogue::parameter::About;
use crate::models::setups::changes::{Change, Series};
use crate::models::setups::conformance::ItemShares;
use crate::models::setups::tested::{Question, Tested};
use crate::models::setups::visits::UnitId;

/// What is asked of one parameter in one region.
///
/// The column itself is not kept: of ten million visits all columns together would be larger than the visits.
pub(super) struct Asked {
    pub about: About,
    /// What the column says by itself.
    pub recorded: ParameterFindings,
    pub scale: ReadingScale,
    pub items: Vec<ItemShares>,
    /// The weeks of each site.
    pub of_sites: Vec<Series>,
    pub changes: Vec<Change>,
    /// The answers.
    pub tests: Vec<Answer>,
}

/// An answer with what the page needs to name it.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Answer {
    pub tested: Tested,
    /// The measure whose scores end unevenly.
    pub measure: Option<String>,
    /// Filled by the one step over all.
    pub q: f64,
}

impl From<Tested> for Answer {
    fn from(tested: Tested) -> Self {
        Self { tested, measure: None, q: 1.0 }
    }
}

impl Answer {
    /// Whether it is a finding: beyond chance after all comparisons, large enough to matter, patients enough.
    pub fn is_finding(&self, small: SmallCells) -> bool {
        self.tested.matters && self.q <= FALSE_DISCOVERY_RATE && self.tested.patients > small.up_to
    }
}

impl Asked {
    /// The answer on how often an item is met by a unit.
    pub fn on_item(&self, item: usize, unit: UnitId) -> Option<&Answer> {
        self.tests
            .iter()
            .find(|answer| answer.tested.unit == unit && answer.tested.question == Question::Conformance { item })
    }

    /// The changes that are findings.
    pub fn called_changes(&self, small: SmallCells) -> Vec<&Change> {
        let is_called = |change: &&Change| {
            self.tests.iter().any(|answer| {
                answer.tested.unit == change.unit
                    && answer.tested.question == change.tested.question
                    && answer.tested.since == change.tested.since
                    && answer.is_finding(small)
            })
        };
        self.changes.iter().filter(is_called).collect()
    }
}
