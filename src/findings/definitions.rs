//! The definitions of a response as one table.
//!
//! Whoever halves his pain has also improved by 30 %, so the responders by the one less those by the other are people: who improved by 30 %
//! but not by half. Where these are few, the responders by the later of the two definitions are withheld, and with them all others of the same
//! kind: of every quarter, of every site, or of every site in every quarter. Those within are withheld with those around them. What is
//! left to a reader is a sum of such differences that is not few, over cells of which none is known.

use super::rounding::Step;
use super::withhold::Rule;
use crate::catalogue::Definition;
use crate::models::grid::Table;
use crate::models::responders::Responders;

/// For each definition the cells that are withheld since few lie between its responders and those of an earlier one.
pub(super) fn few_between(rule: Rule, definitions: &[Definition], tables: &[Table<Responders>]) -> Vec<Table<bool>> {
    let by_definition: Vec<_> = definitions.iter().zip(tables).collect();
    let of = |(position, (definition, table)): (usize, &(&Definition, &Table<Responders>))| {
        let nested: Vec<&Table<Responders>> = by_definition
            .iter()
            .take(position)
            .filter(|(earlier, _)| definition.asks_as_much_as(earlier) || earlier.asks_as_much_as(definition))
            .map(|(_, table)| *table)
            .collect();
        let is_near = |(at, own): (usize, &Responders)| {
            let mut others = nested.iter().filter_map(|table| table.values().get(at));
            others.any(|other| rule.is_small(own.responders.abs_diff(other.responders)))
        };
        let columns = table.columns();
        let near: Vec<bool> = table.values().iter().enumerate().map(is_near).collect();
        let kind = |at: usize| (at >= columns, !at.is_multiple_of(columns));
        let has = |kinds: (bool, bool)| near.iter().enumerate().any(|(at, near)| *near && kind(at) == kinds);
        let whole = has((false, false));
        let (quarters, sites) = (whole || has((true, false)), whole || has((false, true)));
        let withheld = |at: usize| match kind(at) {
            (false, false) => whole,
            (true, false) => quarters,
            (false, true) => sites,
            (true, true) => quarters || sites || has((true, true)),
        };
        Table::new(columns, (0..near.len()).map(withheld).collect())
    };
    by_definition.iter().enumerate().map(of).collect()
}

/// How roughly a rate over everything may be told, though its responders are withheld since few lie between them and those of another
/// definition: the finest step at which rate, worst and best case leave enough numbers of responders open. `others`: the
/// responders by earlier definitions of the same table, and whether those are to be met as well by whoever meets this one.
pub(super) fn rough_step(rule: Rule, counts: Responders, others: &[(u32, bool)]) -> Option<Step> {
    let Responders { with_outcome, responders, .. } = counts;
    if others.is_empty() || with_outcome == 0 {
        return None;
    }
    let told = |step: Step, responders: u32| {
        let of = Responders { responders, ..counts };
        let rate = of.rate().map(|(value, limits)| [value, limits.low, limits.high].map(|share| step.round(share)));
        (rate, [of.worst_case(), of.best_case()].map(|share| share.map(|share| step.round(share))))
    };
    let is_open = |step: &Step| {
        let own = told(*step, responders);
        others.iter().all(|(other, includes)| {
            let nested = |n: u32| if *includes { n <= *other } else { n >= *other };
            let mut fitting = (0..=with_outcome).filter(|n| nested(*n) && told(*step, *n) == own);
            let first = fitting.next().unwrap_or(responders);
            fitting.next_back().unwrap_or(first) - first + 1 >= rule.up_to
        })
    };
    [0.02, 0.05, 0.1, 0.2].into_iter().filter_map(Step::at_most).find(is_open)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;
    use crate::group::settings::Audience;

    #[test]
    fn few_who_meet_one_definition_and_not_a_stricter_one_are_found() {
        let measures = Measures::embedded().unwrap();
        let definitions = measures.get(measures.find("pain_nrs").unwrap()).definitions(false);
        let key = |key: &str| definitions.iter().position(|definition| definition.key == key).unwrap();
        let (minimal, thirty, fifty) = (key("minimal_important"), key("thirty_percent"), key("fifty_percent"));
        assert!(definitions[fifty].asks_as_much_as(&definitions[thirty]));
        assert!(!definitions[thirty].asks_as_much_as(&definitions[fifty]));
        assert!(!definitions[minimal].asks_as_much_as(&definitions[fifty]));
        // all, two quarters and none, by the group and two sites; 30 % but not by half: 10 in the group, 4 at the second site
        let of_thirty = [60, 30, 30, 30, 15, 15, 30, 15, 15, 0, 0, 0];
        let of_fifty = [50, 24, 26, 25, 10, 15, 25, 14, 11, 0, 0, 0];
        let table = |position| {
            let counts = if position == fifty { of_fifty } else { of_thirty };
            let of = |responders| Responders { with_outcome: 90, denominator: 99, responders, ..Responders::default() };
            Table::new(3, counts.map(of).to_vec())
        };
        let tables: Vec<_> = (0..definitions.len()).map(table).collect();
        let found = few_between(Rule::of(Audience::Internal), &definitions, &tables);
        let expected = [false, true, true, false, true, true, false, true, true, false, true, true];
        assert_eq!(found[fifty].values(), expected);
        let none = |position: usize| found[position].values().iter().all(|withheld| !withheld);
        assert!(none(minimal) && none(thirty), "the same patients meet both");
    }

    #[test]
    fn a_rate_is_told_so_roughly_that_few_between_two_definitions_may_be_none() {
        // 94 of 134 improved by 2 points and 30 %, 97 by 30 %
        let counts = Responders { denominator: 219, with_outcome: 134, responders: 97, ..Responders::default() };
        let step = rough_step(Rule::of(Audience::Internal), counts, &[(94, false)]).unwrap();
        let told = |responders: f64| (step.round(responders / 134.0), step.round(responders / 219.0));
        assert!([94.0, 95.0, 96.0, 98.0].iter().any(|other| told(*other) == told(97.0)), "{step:?}");
        assert!(step.width() >= 0.02 && step.width() <= 0.1, "{step:?}");
        assert_eq!(rough_step(Rule::of(Audience::Internal), counts, &[]), None);
    }
}
