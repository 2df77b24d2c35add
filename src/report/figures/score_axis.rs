//! What an axis of an outcome's scores or changes is called.

use crate::findings::bulletin::OutcomeFindings;
use crate::report::wording::{phrases::unit_of_change, result_sheets::measure_and_unit};

/// The measure with its unit.
pub(super) fn score(outcome: &OutcomeFindings) -> String {
    measure_and_unit(&outcome.title, &outcome.unit)
}

/// The measure with the unit of a difference.
pub(super) fn change(outcome: &OutcomeFindings) -> String {
    measure_and_unit(&outcome.title, unit_of_change(&outcome.unit))
}
