//! Can the sheets be combined? Every number shown of a random small group becomes an equation; none may give a
//! withheld count.

use super::super::open_sums::tests::narrows;
use super::*;
use proptest::prelude::*;

/// Quarters 1 and 2 and not known, sites A and B.
const PERIODS: usize = 3;
const SITES: usize = 2;
/// What can be true of an episode: baseline (missing, too low for both definitions, too low for the first, fine) by
/// endpoint (missing, no response, response by the second definition only, by both).
const KINDS: usize = 16;
const PRIME: i128 = 2_147_483_647;

fn baseline(kind: usize) -> usize {
    kind / 4
}

fn end(kind: usize) -> usize {
    kind % 4
}

type Is = fn(usize) -> bool;
const EPISODES: Is = |_| true;
const BASELINE: Is = |k| baseline(k) > 0;
const ENDPOINT: Is = |k| baseline(k) > 0 && end(k) > 0;
const DENOMINATOR: [Is; 2] = [|k| matches!(baseline(k), 0 | 3), |k| matches!(baseline(k), 0 | 2 | 3)];
const OUTCOME: [Is; 2] = [|k| baseline(k) == 3 && end(k) > 0, |k| baseline(k) > 1 && end(k) > 0];
const RESPONDER: [Is; 2] = [|k| baseline(k) == 3 && end(k) == 3, |k| baseline(k) > 1 && end(k) > 1];

/// Episodes by period, site and kind.
#[derive(Debug)]
struct Group(Vec<u32>);

impl Group {
    /// The unknowns that a cell adds up: those of its periods, sites and kinds.
    fn form(cell: Cell, is: Is) -> Vec<i128> {
        let mut form = vec![0; PERIODS * SITES * KINDS];
        for period in (0..PERIODS).filter(|p| cell.period == 0 || cell.period == p + 1) {
            for site in (0..SITES).filter(|s| cell.site == 0 || cell.site == s + 1) {
                for kind in (0..KINDS).filter(|k| is(*k)) {
                    form[(period * SITES + site) * KINDS + kind] = 1;
                }
            }
        }
        form
    }

    fn value(&self, form: &[i128]) -> i128 {
        form.iter().zip(&self.0).map(|(coefficient, count)| coefficient * i128::from(*count)).sum()
    }

    fn table<T>(&self, of: impl Fn(&dyn Fn(Is) -> u32) -> T) -> Table<T> {
        let cells = (0..=PERIODS).flat_map(|period| (0..=SITES).map(move |site| Cell { period, site }));
        let count = |cell| move |is: Is| self.value(&Self::form(cell, is)) as u32;
        Table::new(SITES + 1, cells.map(|cell| of(&count(cell))).collect())
    }

    fn completeness(&self) -> Table<Completeness> {
        self.table(|count| Completeness {
            episodes: count(EPISODES),
            with_baseline: count(BASELINE),
            with_endpoint: count(ENDPOINT),
        })
    }

    fn responders(&self, d: usize) -> Table<Responders> {
        self.table(|count| Responders {
            denominator: count(DENOMINATOR[d]),
            with_outcome: count(OUTCOME[d]),
            responders: count(RESPONDER[d]),
            baseline_too_low: count(EPISODES) - count(DENOMINATOR[d]),
            baseline_missing: count(EPISODES) - count(BASELINE),
        })
    }
}

/// What a reader knows: a basis of equations, one leading unknown each.
#[derive(Default)]
struct Known(Vec<(usize, Vec<i128>)>);

impl Known {
    fn reduced(&self, form: &[i128]) -> Vec<i128> {
        let mut rest: Vec<i128> = form.iter().map(|c| c.rem_euclid(PRIME)).collect();
        for (lead, row) in &self.0 {
            let factor = rest[*lead];
            if factor != 0 {
                rest.iter_mut().zip(row).for_each(|(r, c)| *r = (*r - factor * c).rem_euclid(PRIME));
            }
        }
        rest
    }

    fn learn(&mut self, form: &[i128]) {
        let mut rest = self.reduced(form);
        if let Some(lead) = rest.iter().position(|c| *c != 0) {
            let inverse = power(rest[lead], PRIME - 2);
            rest.iter_mut().for_each(|c| *c = (*c * inverse).rem_euclid(PRIME));
            self.0.push((lead, rest));
        }
    }

    fn gives(&self, form: &[i128]) -> bool {
        self.reduced(form).iter().all(|c| *c == 0)
    }
}

fn power(base: i128, exponent: i128) -> i128 {
    match exponent {
        0 => 1,
        n if n % 2 == 0 => power(base * base % PRIME, n / 2),
        n => base * power(base, n - 1) % PRIME,
    }
}

fn less(a: &[i128], b: &[i128]) -> Vec<i128> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}

const NAMES: [&str; 9] = [
    "episodes",
    "endpoint",
    "baseline",
    "outcome 1",
    "responders 1",
    "denominator 1",
    "outcome 2",
    "responders 2",
    "denominator 2",
];

/// One count of the sheets: which episodes it counts and what is withheld of it.
fn columns<'a>(episodes: &'a Pattern, patterns: &'a OutcomePatterns) -> Vec<(Is, &'a Pattern)> {
    let mut columns =
        vec![(EPISODES, episodes), (ENDPOINT, &patterns.with_endpoint), (BASELINE, &patterns.with_baseline)];
    for (d, of) in patterns.definitions.iter().enumerate() {
        columns.push((OUTCOME[d], &of.with_outcome));
        columns.push((RESPONDER[d], &of.responders));
        columns.push((DENOMINATOR[d], &of.denominator));
    }
    columns
}

/// One sum at a time, by a reader who knows what is small: sites to the group, quarters to all, a part and the rest to the whole.
fn narrowed_by_one_sum(
    group: &Group,
    rule: Rule,
    columns: &[(Is, &Pattern)],
    differences: &[(Is, Is)],
) -> Result<(), TestCaseError> {
    let value = |is: Is, cell: Cell| group.value(&Group::form(cell, is)) as u32;
    let knows = |place: usize, cell: Cell| {
        let (is, pattern) = columns[place];
        value(is, cell) == 0 || (cell.period < PERIODS && !pattern.has(cell))
    };
    // each count, then what is left of one by another: its number in a cell where that is not known
    let place = |is: Is| {
        let same = |other: Is| (0..KINDS).all(|kind| is(kind) == other(kind));
        columns.iter().position(|(other, _)| same(*other)).unwrap()
    };
    type Hidden<'a> = Box<dyn Fn(Cell) -> Option<u32> + 'a>;
    let count = |place: usize| -> Hidden<'_> {
        Box::new(move |cell| (!knows(place, cell)).then(|| value(columns[place].0, cell)))
    };
    let rest = |whole: Is, part: Is| -> Hidden<'_> {
        let (whole_at, part_at) = (place(whole), place(part));
        Box::new(move |cell| {
            let rest = value(whole, cell) - value(part, cell);
            (rest > 0 && !(knows(whole_at, cell) && knows(part_at, cell))).then_some(rest)
        })
    };
    let all: Vec<Hidden<'_>> =
        (0..columns.len()).map(count).chain(differences.iter().map(|(w, p)| rest(*w, *p))).collect();
    let by_quarter = (0..=SITES).map(|site| (0..=PERIODS).map(|period| Cell { period, site }).collect::<Vec<_>>());
    let by_site = (0..PERIODS).map(|period| (0..=SITES).map(|site| Cell { period, site }).collect());
    for line in by_quarter.chain(by_site) {
        for (i, hidden) in all.iter().enumerate() {
            let parts: Vec<u32> = line[1..].iter().filter_map(|cell| hidden(*cell)).collect();
            prop_assert!(hidden(line[0]).is_some() || !narrows(&parts, rule.up_to, true), "{i} of {line:?}: {parts:?}");
        }
    }
    for (whole, part) in differences {
        for cell in (0..PERIODS).flat_map(|period| (0..=SITES).map(move |site| Cell { period, site })) {
            let parts: Vec<u32> = count(place(*part))(cell).into_iter().chain(rest(*whole, *part)(cell)).collect();
            prop_assert!(!knows(place(*whole), cell) || !narrows(&parts, rule.up_to, false), "{parts:?} at {cell:?}");
        }
    }
    Ok(())
}

fn check(group: &Group, rule: Rule) -> Result<(), TestCaseError> {
    let completeness = group.completeness();
    let definitions = vec![group.responders(0), group.responders(1)];
    let ConditionPatterns { episodes, outcomes } = patterns(
        rule,
        &completeness.map(|c| c.episodes),
        &[OutcomeCounts { completeness, definitions, nested: Vec::new(), ordinal: None }],
    );
    let patterns = &outcomes[0];
    let columns = columns(&episodes, patterns);
    let cells: Vec<Cell> = (0..PERIODS).flat_map(|period| (0..=SITES).map(move |site| Cell { period, site })).collect();

    // who did not respond, was left out or lost
    let mut differences = vec![(OUTCOME[0], RESPONDER[0]), (OUTCOME[1], RESPONDER[1])];
    if rule.also_left_out {
        differences.extend([(EPISODES, BASELINE), (EPISODES, ENDPOINT), (BASELINE, ENDPOINT)]);
        for d in [0, 1] {
            differences.extend([(EPISODES, DENOMINATOR[d]), (ENDPOINT, OUTCOME[d]), (DENOMINATOR[d], OUTCOME[d])]);
        }
    }

    let mut shown: Vec<(Cell, Vec<i128>)> = Vec::new();
    let mut withheld: Vec<(String, Vec<i128>)> = Vec::new();
    for &cell in &cells {
        for (name, (is, pattern)) in NAMES.iter().zip(&columns) {
            let form = Group::form(cell, *is);
            let value = group.value(&form);
            prop_assert!(pattern.has(cell) || !rule.is_small(value as u32), "small but shown: {value}");
            if pattern.has(cell) && value > 0 {
                withheld.push((format!("{name} at {cell:?}"), form))
            } else {
                shown.push((cell, form))
            }
        }
        // the two counts that are differences
        for (d, of) in patterns.definitions.iter().enumerate() {
            if !of.denominator.has(cell) {
                let too_low = less(&Group::form(cell, EPISODES), &Group::form(cell, DENOMINATOR[d]));
                shown.push((cell, too_low));
                if !patterns.with_baseline.has(cell) {
                    shown.push((cell, less(&Group::form(cell, EPISODES), &Group::form(cell, BASELINE))));
                }
            }
        }
        for (i, (whole, part)) in differences.iter().copied().enumerate() {
            let form = less(&Group::form(cell, whole), &Group::form(cell, part));
            if rule.is_small(group.value(&form) as u32) {
                withheld.push((format!("difference {i} at {cell:?}"), form));
            }
        }
    }

    narrowed_by_one_sum(group, rule, &columns, &differences)?;

    // by adding and subtracting alone
    let mut known = Known::default();
    shown.iter().for_each(|(_, form)| known.learn(form));
    for (name, form) in &withheld {
        prop_assert!(!known.gives(form), "{name}, {}, can be worked out", group.value(form));
    }
    // nor a small one by one who is told which withheld counts equal a shown count of the cell that they are part of
    for cell in &cells {
        let forms: Vec<_> = columns.iter().map(|(is, pattern)| (Group::form(*cell, *is), pattern.has(*cell))).collect();
        for (part, _) in forms.iter().filter(|(_, withheld)| *withheld) {
            let whole = forms.iter().filter(|(_, withheld)| !withheld).map(|(whole, _)| less(whole, part));
            if whole.filter(|rest| rest.iter().all(|c| *c >= 0)).any(|rest| group.value(&rest) == 0) {
                known.learn(part);
            }
        }
    }
    for (name, form) in withheld.iter().filter(|(_, form)| rule.is_small(group.value(form) as u32)) {
        prop_assert!(!known.gives(form), "{name}, {}, can be reasoned out", group.value(form));
    }
    Ok(())
}

fn groups() -> impl Strategy<Value = Group> {
    let kind = prop_oneof![
        6 => Just(0_u32), // most kinds do not occur somewhere
        3 => 1..5_u32,
        2 => 5..40_u32,
    ];
    // some kinds occur nowhere, so that counts coincide
    (prop::collection::vec(kind, PERIODS * SITES * KINDS), prop::collection::vec(any::<bool>(), KINDS)).prop_map(
        |(mut counts, occurs)| {
            counts.iter_mut().enumerate().filter(|(i, _)| !occurs[i % KINDS]).for_each(|(_, count)| *count = 0);
            Group(counts)
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn no_combination_of_the_sheets_gives_a_withheld_count_inside_the_group(group in groups()) {
        check(&group, Rule { up_to: 4, also_left_out: false })?;
    }

    #[test]
    fn no_combination_of_the_sheets_gives_a_withheld_or_lost_count_at_release(group in groups()) {
        check(&group, Rule { up_to: 10, also_left_out: true })?;
    }

    #[test]
    fn a_line_holds_no_withheld_part_or_one_that_subtraction_does_not_give(
        parts in prop::collection::vec(prop_oneof![Just(0_u32), 1..5_u32, 5..40_u32], 1..6), total_also: bool, release: bool,
    ) {
        let rule = Rule::of(if release { Audience::Release } else { Audience::Internal });
        let (withheld, total) = line_pattern(rule, &parts, total_also);
        let unknown = withheld.iter().filter(|withheld| **withheld).count() + usize::from(total);
        prop_assert!(parts.iter().zip(&withheld).all(|(part, withheld)| *withheld || !rule.is_small(*part)));
        prop_assert!(!rule.is_small(parts.iter().sum()) || total);
        prop_assert!(unknown != 1, "{parts:?} {withheld:?} {total}");
        let unknown = parts.iter().zip(&withheld).filter(|(_, withheld)| **withheld).map(|(part, _)| *part);
        prop_assert!(total || !narrows(&unknown.collect::<Vec<u32>>(), rule.up_to, true), "{parts:?} {withheld:?}");
    }
}

#[test]
fn a_small_number_of_non_responders_hides_the_responders_but_not_the_denominator() {
    // 40 at each site with baseline and endpoint in the first quarter; at A 38 respond, so 2 do not
    let mut counts = vec![0; PERIODS * SITES * KINDS];
    let at = |site: usize, kind: usize| site * KINDS + kind;
    (counts[at(0, 15)], counts[at(0, 13)], counts[at(1, 15)], counts[at(1, 13)]) = (38, 2, 20, 20);
    let group = Group(counts);
    let rule = Rule::of(Audience::Internal);
    let completeness = group.completeness();
    let episodes = completeness.map(|c| c.episodes);
    let counts =
        OutcomeCounts { completeness, definitions: vec![group.responders(0)], nested: Vec::new(), ordinal: None };
    let patterns = &patterns(rule, &episodes, &[counts]).outcomes[0];
    let a = Cell { period: 1, site: 1 };
    let definition = &patterns.definitions[0];
    assert!(definition.responders.has(a));
    assert!(!definition.denominator.has(a) && !definition.with_outcome.has(a) && !patterns.with_endpoint.has(a));
    assert!(!definition.responders.has(Cell::WHOLE), "totals go last");
}

#[test]
fn a_zero_is_shown_and_what_does_not_exist_is_missing() {
    assert_eq!(count(true, 0), Shown::Value(0));
    assert_eq!(count(true, 7), Shown::Withheld);
    assert_eq!(count(false, 7), Shown::Value(7));
    assert_eq!(number::<f64>(false, None), Shown::Missing);
    assert_eq!(number(true, Some(0.5)), Shown::Withheld);
}

#[test]
fn a_measure_that_one_site_does_not_record_costs_no_site_its_total() {
    // 30 at A in each quarter, all followed, with 2 non-responders in one; 30 at B in each, none with a baseline, so that
    // the denominator there equals the episodes
    let mut counts = vec![0; PERIODS * SITES * KINDS];
    let at = |period: usize, site: usize, kind: usize| (period * SITES + site) * KINDS + kind;
    for (period, non_responders) in [(0, 2), (1, 15)] {
        counts[at(period, 0, 15)] = 30 - non_responders;
        counts[at(period, 0, 13)] = non_responders;
        counts[at(period, 1, 0)] = 30;
    }
    let group = Group(counts);
    for rule in [Rule::of(Audience::Internal), Rule::of(Audience::Release)] {
        let completeness = group.completeness();
        let episodes = completeness.map(|c| c.episodes);
        let counts =
            OutcomeCounts { completeness, definitions: vec![group.responders(0)], nested: Vec::new(), ordinal: None };
        let ConditionPatterns { episodes, outcomes } = patterns(rule, &episodes, &[counts]);
        for total in (0..=SITES).map(|site| Cell { period: 0, site }) {
            assert!(!episodes.has(total) && !outcomes[0].with_endpoint.has(total), "{total:?} {rule:?}");
            assert!(!outcomes[0].definitions[0].denominator.has(total), "{total:?} {rule:?}");
        }
    }
}
