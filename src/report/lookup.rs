//! Finding the row a sentence is about, and turning what may be shown into cells.

use crate::findings::bulletin::{
    ChangeRow, CompletenessRow, ConditionFindings, Estimate, OrdinalRow, OutcomeFindings, Period, ResponderRow, Shown,
};
use crate::report::pages::Cell;
use crate::report::wording;

/// The value when it may be shown and exists.
pub(super) fn shown<T: Copy>(value: &Shown<T>) -> Option<T> {
    match value {
        Shown::Value(value) => Some(*value),
        Shown::Withheld | Shown::Missing => None,
    }
}

/// A cell of a value.
pub(super) fn cell<T: Copy>(value: &Shown<T>, print: impl FnOnce(T) -> String) -> Cell {
    match value {
        Shown::Value(value) => Cell::Text(print(*value)),
        Shown::Withheld => Cell::Withheld,
        Shown::Missing => Cell::Missing,
    }
}

/// A cell made of two values; withheld when either is.
pub(super) fn cell_of_two<A: Copy, B: Copy>(a: &Shown<A>, b: &Shown<B>, print: impl FnOnce(A, B) -> String) -> Cell {
    match (a, b) {
        (Shown::Value(a), Shown::Value(b)) => Cell::Text(print(*a, *b)),
        (Shown::Withheld, _) | (_, Shown::Withheld) => Cell::Withheld,
        _ => Cell::Missing,
    }
}

pub(super) fn count(value: &Shown<u32>) -> Cell {
    cell(value, |n| wording::count(u64::from(n)))
}

pub(super) fn change_cell(value: &Shown<Estimate>, places: usize) -> Cell {
    cell(value, |e| {
        wording::result_sheets::estimate_cell(
            &wording::signed(e.value, places),
            &wording::signed(e.low, places),
            &wording::signed(e.high, places),
        )
    })
}

pub(super) fn rate_cell(value: &Shown<Estimate>) -> Cell {
    cell(value, |e| {
        let figure = |share: f64| wording::percent(share).replace("\u{a0}%", "");
        wording::result_sheets::estimate_cell(&wording::percent(e.value), &figure(e.low), &figure(e.high))
    })
}

pub(super) fn worst_to_best_cell(row: &ResponderRow) -> Cell {
    cell_of_two(&row.worst_case, &row.best_case, wording::result_sheets::between)
}

pub(super) fn change_row<'o>(
    outcome: &'o OutcomeFindings,
    period: &Period,
    site: Option<&str>,
) -> Option<&'o ChangeRow> {
    outcome.change.iter().find(|row| row.period == *period && row.site.as_deref() == site)
}

pub(super) fn ordinal_row<'o>(
    outcome: &'o OutcomeFindings,
    period: &Period,
    site: Option<&str>,
) -> Option<&'o OrdinalRow> {
    outcome.ordinal_change.iter().find(|row| row.period == *period && row.site.as_deref() == site)
}

pub(super) fn completeness_row<'o>(
    outcome: &'o OutcomeFindings,
    period: &Period,
    site: Option<&str>,
) -> Option<&'o CompletenessRow> {
    outcome.completeness.iter().find(|row| row.period == *period && row.site.as_deref() == site)
}

pub(super) fn responder_row<'o>(
    outcome: &'o OutcomeFindings,
    period: &Period,
    site: Option<&str>,
    definition: &str,
) -> Option<&'o ResponderRow> {
    outcome
        .responders
        .iter()
        .find(|row| row.period == *period && row.site.as_deref() == site && row.definition == definition)
}

/// The outcome that speaks for a condition: the most complete one that is averaged, else the most complete one.
pub(super) fn leading_outcome(condition: &ConditionFindings) -> Option<&OutcomeFindings> {
    condition.leading()
}

/// The definition that speaks for an outcome: the first one.
pub(super) fn leading_definition(outcome: &OutcomeFindings) -> Option<(&str, &str)> {
    outcome.definitions.first().map(|(key, label)| (key.as_str(), label.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_of_two_is_withheld_when_either_part_is() {
        let (value, withheld) = (Shown::Value(3_u32), Shown::<u32>::Withheld);
        let print = |a: u32, b: u32| format!("{a} of {b}");
        assert_eq!(cell_of_two(&value, &withheld, print), Cell::Withheld);
        assert_eq!(cell_of_two(&Shown::Missing, &withheld, print), Cell::Withheld);
        assert_eq!(cell_of_two(&value, &Shown::Missing, print), Cell::Missing);
        assert_eq!(cell_of_two(&value, &Shown::Value(7), print), Cell::Text("3 of 7".into()));
    }

    #[test]
    fn a_rate_names_its_unit_once() {
        let rate = Shown::Value(Estimate { value: 0.62, low: 0.56, high: 0.67 });
        assert_eq!(rate_cell(&rate), Cell::Text("62\u{a0}% (56\u{a0}to\u{a0}67)".into()));
    }
}
