//! The definitions of a response as one table.
//!
//! Whoever halves his pain has also improved by 30 %, so the responders by the one less those by the other are people: who improved by 30 %
//! but not by half. Where these are few, a release withholds responders until a reader cannot tell how many they are (see
//! [`super::bounds`]). Where they are few over everything, all responders by the later of the two definitions are withheld, and its rates are
//! told roughly. Inside the group those who meet one definition and not another are not protected.

use super::rounding::Step;
use super::withhold::Rule;
use crate::catalogue::Definition;
use crate::models::grid::{Cell, Table};
use crate::models::responders::Responders;

/// The pairs of definitions, by position, of which whoever meets the second also meets the first.
pub(super) fn nested(definitions: &[Definition]) -> Vec<(usize, usize)> {
    let by_position = || definitions.iter().enumerate();
    let pairs = by_position().flat_map(|wide| by_position().map(move |strict| (wide, strict)));
    let met = pairs.filter(|((i, wide), (j, strict))| i != j && strict.asks_as_much_as(wide));
    met.map(|((wide, _), (strict, _))| (wide, strict)).collect()
}

/// For each definition whether, over everything, few lie between its responders and those of an earlier one that it is nested with.
pub(super) fn few_between(rule: Rule, definitions: &[Definition], tables: &[Table<Responders>]) -> Vec<bool> {
    let whole = |at: usize| tables.get(at).and_then(|table| table.get(Cell::WHOLE)).map_or(0, |of| of.responders);
    let is_near = |(wide, strict): &(usize, usize)| rule.is_small(whole(*wide).abs_diff(whole(*strict)));
    if !rule.also_left_out {
        return vec![false; definitions.len()];
    }
    let near: Vec<usize> =
        nested(definitions).into_iter().filter(is_near).map(|(wide, strict)| wide.max(strict)).collect();
    (0..definitions.len()).map(|position| near.contains(&position)).collect()
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
        assert!(nested(&definitions).contains(&(thirty, fifty)) && !nested(&definitions).contains(&(fifty, thirty)));
        for (of_fifty, few) in [(57, true), (49, false), (60, false)] {
            let table = |position| {
                let responders = if position == fifty { of_fifty } else { 60 };
                Table::new(
                    1,
                    vec![Responders { with_outcome: 90, denominator: 99, responders, ..Responders::default() }],
                )
            };
            let tables: Vec<_> = (0..definitions.len()).map(table).collect();
            let found = few_between(Rule::of(Audience::Release), &definitions, &tables);
            assert!(!few_between(Rule::of(Audience::Internal), &definitions, &tables).contains(&true));
            assert_eq!(found[fifty], few, "{of_fifty}");
            assert!(!found[minimal] && !found[thirty], "the same patients meet both");
        }
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
