//! No withheld count follows from what circulates: whole invented groups, every sheet and the pages of sites taken together.
//!
//! **The attacker** knows every number shown in the sheets of completeness, responders, change, words and sites, and on the pages of sites, and
//! that counts add up: sites to the group, quarters to all (what lies in no quarter is unknown too), conditions to all conditions
//! where a site has one measure of a condition. Each shown number is a linear equation in the counts of single cells; a withheld count is given
//! away exactly if it is a combination of the equations. That is decided by Gaussian elimination modulo a large prime (a rank can
//! only be too low by chance of about 1e-18, never too high). Numbers rounded to tens or to whole percent give no equation. What must not be given away is every count that is small in truth,
//! those who did not respond included; the truth is the same report by a rule that finds nothing small.

use super::{SampleOptions, write};
use crate::findings::bulletin::{Bulletin, ConditionFindings, Period, Shown};
use crate::findings::sites::{ALL_CONDITIONS, SiteComparison, SiteRow};
use crate::findings::whole_tests::run_by;
use crate::findings::withhold::Rule;
use crate::group::settings::Audience;
use crate::models::fitted_course::FittedCourses;
use crate::models::sites::cases::Quantity;
use std::collections::BTreeMap;

const PRIME: u64 = (1 << 61) - 1;

/// A single cell: what is counted, quarter (`None`: in no quarter), site.
type Unknown = (String, Option<String>, String);

/// A shown number as an equation: unknowns with coefficients. Values are not needed: only what is determined.
type Equation = BTreeMap<usize, u64>;

#[derive(Default)]
struct System {
    numbers: BTreeMap<Unknown, usize>,
    equations: Vec<Equation>,
    withheld: Vec<(String, Equation)>,
    values: BTreeMap<String, u32>,
}

impl System {
    /// The cells that a count over a period and site sums over.
    fn cells(&mut self, what: &str, period: &Period, site: Option<&str>, bulletin: &Bulletin) -> Equation {
        let quarters: Vec<Option<String>> = match period {
            Period::All => bulletin.quarters.iter().map(|q| Some(q.to_string())).chain([None]).collect(),
            Period::Quarter(quarter) => vec![Some(quarter.to_string())],
        };
        let sites: Vec<String> = site.map_or(bulletin.sites.clone(), |site| vec![site.to_owned()]);
        let mut equation = Equation::new();
        for quarter in &quarters {
            for site in &sites {
                let next = self.numbers.len();
                let number = *self.numbers.entry((what.to_owned(), quarter.clone(), site.clone())).or_insert(next);
                equation.insert(number, 1);
            }
        }
        equation
    }

    /// A count that is shown, or whose being withheld is to be checked.
    fn count<T: Copy + Into<f64>>(&mut self, shown: &Shown<T>, name: String, equation: Equation) {
        match shown {
            Shown::Value(value) => {
                self.values.insert(name, (*value).into().round() as u32);
                self.equations.push(equation);
            }
            Shown::Withheld => self.withheld.push((name, equation)),
            Shown::Missing => {}
        }
    }

    /// The withheld counts that are combinations of what is shown, and small in truth.
    fn given_away(&self, truth: &BTreeMap<String, u32>, up_to: u32) -> Vec<&str> {
        let mut pivots: BTreeMap<usize, Equation> = BTreeMap::new();
        for equation in &self.equations {
            let rest = reduced(equation.clone(), &pivots);
            if let Some((&first, &lead)) = rest.iter().next() {
                let inverse = power(lead, PRIME - 2);
                pivots.insert(first, rest.iter().map(|(k, v)| (*k, times(*v, inverse))).collect());
            }
        }
        let follows = |equation: &Equation| reduced(equation.clone(), &pivots).is_empty();
        let is_small = |name: &str| truth.get(name).is_some_and(|count| (1..=up_to).contains(count));
        let given_away = self.withheld.iter().filter(|(name, equation)| is_small(name) && follows(equation));
        given_away.map(|(name, _)| name.as_str()).collect()
    }
}

fn times(a: u64, b: u64) -> u64 {
    (u128::from(a) * u128::from(b) % u128::from(PRIME)) as u64
}

fn power(base: u64, mut exponent: u64) -> u64 {
    let (mut result, mut square) = (1, base);
    while exponent > 0 {
        if exponent % 2 == 1 {
            result = times(result, square);
        }
        square = times(square, square);
        exponent /= 2;
    }
    result
}

/// What is left of an equation after the pivots are taken out, from the first unknown on.
fn reduced(mut equation: Equation, pivots: &BTreeMap<usize, Equation>) -> Equation {
    let mut from = 0;
    while let Some((&first, &factor)) = equation.range(from..).next() {
        from = first + 1;
        let Some(pivot) = pivots.get(&first) else { continue };
        for (unknown, value) in pivot {
            let entry = equation.entry(*unknown).or_insert(0);
            *entry = (*entry + PRIME - times(factor, *value)) % PRIME;
            if *entry == 0 {
                equation.remove(unknown);
            }
        }
    }
    equation
}

/// Two sums of cells, one less the other.
fn less(mut a: Equation, b: &Equation) -> Equation {
    for (unknown, value) in b {
        let entry = a.entry(*unknown).or_insert(0);
        *entry = (*entry + PRIME - value) % PRIME;
    }
    a.retain(|_, value| *value != 0);
    a
}

/// `truth`: every count as it is, by name; empty for the report that tells it.
fn system_of(bulletin: &Bulletin, truth: &BTreeMap<String, u32>) -> System {
    let mut system = System::default();
    for condition in &bulletin.conditions {
        let due = format!("{} due", condition.key);
        for outcome in &condition.outcomes {
            let about = format!("{} {}", condition.key, outcome.key);
            let (with_baseline, with_endpoint) = (format!("{about} baseline"), format!("{about} endpoint"));
            for row in &outcome.completeness {
                let site = row.site.as_deref();
                let at = format!("{about} {:?} {site:?}", row.period);
                let cells = system.cells(&due, &row.period, site, bulletin);
                system.count(&row.episodes, format!("{at} due"), cells);
                let cells = system.cells(&with_baseline, &row.period, site, bulletin);
                system.count(&row.with_baseline, format!("{at} baseline"), cells);
                let cells = system.cells(&with_endpoint, &row.period, site, bulletin);
                system.count(&row.with_endpoint, format!("{at} endpoint"), cells);
            }
            for row in &outcome.change {
                let cells = system.cells(&with_endpoint, &row.period, row.site.as_deref(), bulletin);
                system.count(&row.episodes, format!("{about} {:?} {:?} change", row.period, row.site), cells);
            }
            for row in &outcome.ordinal_change {
                let site = row.site.as_deref();
                let parts = [("better", &row.better), ("same", &row.same), ("worse", &row.worse)];
                let mut sum = Equation::new();
                for (name, shown) in parts {
                    let cells = system.cells(&format!("{about} {name}"), &row.period, site, bulletin);
                    sum.extend(cells.clone());
                    system.count(shown, format!("{about} {:?} {site:?} {name}", row.period), cells);
                }
                // the three add up to those with an endpoint, shown or not
                let whole = system.cells(&with_endpoint, &row.period, site, bulletin);
                system.equations.push(less(sum, &whole));
            }
            for row in &outcome.responders {
                let site = row.site.as_deref();
                let at = format!("{about} {} {:?} {site:?}", row.definition, row.period);
                let of = |kind: &str| format!("{about} {} {kind}", row.definition);
                for (kind, shown) in
                    [("denominator", &row.episodes), ("outcome", &row.with_outcome), ("responders", &row.responders)]
                {
                    let cells = system.cells(&of(kind), &row.period, site, bulletin);
                    system.count(shown, format!("{at} {kind}"), cells);
                }
                let not = match (row.with_outcome, row.responders) {
                    (Shown::Value(with), Shown::Value(responders)) => Shown::Value(with - responders),
                    _ => Shown::Withheld,
                };
                let with = system.cells(&of("outcome"), &row.period, site, bulletin);
                let responders = system.cells(&of("responders"), &row.period, site, bulletin);
                system.count(&not, format!("{at} not responders"), less(with, &responders));
                if let Shown::Value(_) = row.baseline_too_low {
                    let all = system.cells(&due, &row.period, site, bulletin);
                    let denominator = system.cells(&of("denominator"), &row.period, site, bulletin);
                    system.equations.push(less(all, &denominator));
                }
                if let Shown::Value(_) = row.baseline_missing {
                    let all = system.cells(&due, &row.period, site, bulletin);
                    let with = system.cells(&with_baseline, &row.period, site, bulletin);
                    system.equations.push(less(all, &with));
                }
            }
        }
    }
    add_sites(&mut system, bulletin, truth);
    system
}

/// The comparison of sites and the pages of sites. Over all conditions a line is the sum of the counts of one measure of each condition,
/// the site's most frequent; where that is not so in truth, it is no sum of counts that circulate and tells nothing of them.
fn add_sites(system: &mut System, bulletin: &Bulletin, truth: &BTreeMap<String, u32>) {
    for comparison in &bulletin.sites_compared {
        for row in comparison.rows.iter().chain(&comparison.by_quarter) {
            let Line { name, parts } = line_of(bulletin, comparison, row, truth);
            let episodes = if row.hides_counts() { Shown::Withheld } else { as_number(&row.episodes) };
            for (kind, shown) in [(0, episodes), (1, row.observed)] {
                if kind == 1 && comparison.quantity == Quantity::Change {
                    continue;
                }
                let mut sum = Equation::new();
                let mut count = 0;
                for part in &parts {
                    count += truth.get(&part[kind].0).copied().unwrap_or(0);
                    sum.extend(system.cells(&part[kind].1, &row.period, Some(&row.site), bulletin));
                }
                let name = format!("{name} {}", ["episodes", "observed"][kind]);
                if truth.is_empty() || truth.get(&name) == Some(&count) {
                    system.count(&shown, name, sum);
                }
            }
        }
    }
    for site in &bulletin.site_findings {
        let mut all = Equation::new();
        for condition in &bulletin.conditions {
            all.extend(system.cells(&format!("{} due", condition.key), &Period::All, Some(&site.site), bulletin));
        }
        system.count(&site.ended.due, format!("{} due over all conditions", site.site), all);
    }
}

/// A line of a comparison.
struct Line {
    name: String,
    /// Of each condition: the name of the count in its own sheet, and what is counted; episodes, then observed.
    parts: Vec<[(String, String); 2]>,
}

fn line_of(bulletin: &Bulletin, comparison: &SiteComparison, row: &SiteRow, truth: &BTreeMap<String, u32>) -> Line {
    let part = |condition: &str, outcome: &str| {
        let about = format!("{condition} {outcome}");
        let (at, site) = (format!("{:?}", row.period), format!("{:?}", Some(&row.site)));
        let plain = |kind: &str, what: String| (format!("{about} {at} {site} {kind}"), what);
        let defined = |kind: &str| {
            (format!("{about} minimal_important {at} {site} {kind}"), format!("{about} minimal_important {kind}"))
        };
        match comparison.quantity {
            Quantity::Response => [defined("outcome"), defined("responders")],
            Quantity::Change => {
                [plain("endpoint", format!("{about} endpoint")), plain("endpoint", format!("{about} endpoint"))]
            }
            Quantity::FollowedUp => {
                [plain("due", format!("{condition} due")), plain("endpoint", format!("{about} endpoint"))]
            }
        }
    };
    let parts = if comparison.condition == ALL_CONDITIONS {
        let of_condition = |condition: &ConditionFindings| {
            let outcomes = condition.outcomes.iter().filter(|outcome| is_of(&outcome.key, &comparison.measure));
            let parts = outcomes.map(|outcome| part(&condition.key, &outcome.key));
            parts.rev().max_by_key(|part| truth.get(&part[1].0).copied().unwrap_or(0)) // at a tie the first
        };
        bulletin.conditions.iter().filter_map(of_condition).collect()
    } else {
        vec![part(&comparison.condition, &comparison.measure)]
    };
    let kind = format!("{:?} {:?}", comparison.quantity, row.period);
    Line { name: format!("{} {} {kind} {}", comparison.condition, comparison.measure, row.site), parts }
}

fn as_number(count: &Shown<u32>) -> Shown<f64> {
    match count {
        Shown::Value(count) => Shown::Value(f64::from(*count)),
        Shown::Withheld => Shown::Withheld,
        Shown::Missing => Shown::Missing,
    }
}

fn is_of(outcome: &str, domain: &str) -> bool {
    outcome.starts_with("pain") == (domain == "pain")
}

/// A group's report, and what it would say if nothing were small.
fn group(seed: u64, patients: usize, audience: Audience) -> [Bulletin; 2] {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), SampleOptions { seed, patients, faults: seed.is_multiple_of(2) }).unwrap();
    let nothing_small = Rule { up_to: 0, also_left_out: false };
    run_by(folder.path(), audience, [Rule::of(audience), nothing_small], |_| FittedCourses::default())
}

#[test]
fn no_withheld_count_follows_from_all_that_circulates() {
    for (seed, patients) in [(1, 60), (2, 120), (3, 240), (4, 500)] {
        for audience in [Audience::Internal, Audience::Release] {
            let [report, open] = group(seed, patients, audience);
            let truth = system_of(&open, &BTreeMap::new()).values;
            let system = system_of(&report, &truth);
            let small = system.withheld.iter().filter(|(name, _)| truth.get(name).is_some_and(|n| (1..=4).contains(n)));
            assert!(small.count() > 20 && system.equations.len() > 100, "seed {seed}: nothing to protect");
            let given_away = system.given_away(&truth, report.withhold_up_to);
            assert_eq!(given_away, Vec::<&str>::new(), "seed {seed}, {patients} patients, {audience:?}");
        }
    }
}

#[test]
fn a_single_withheld_cell_of_a_line_would_be_found() {
    let mut system = System::default();
    let cell = |numbers: &[usize]| numbers.iter().map(|n| (*n, 1)).collect::<Equation>();
    system.equations = vec![cell(&[0, 1, 2]), cell(&[0]), cell(&[1])];
    system.withheld = vec![("third".to_owned(), cell(&[2])), ("fourth".to_owned(), cell(&[3]))];
    let truth = BTreeMap::from([("third".to_owned(), 2), ("fourth".to_owned(), 2)]);
    assert_eq!(system.given_away(&truth, 4), ["third"]);
    assert_eq!(system.given_away(&truth, 1), Vec::<&str>::new(), "not small");
}
