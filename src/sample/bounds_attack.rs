//! An attacker who knows the rules: the sheets as linear equations and inequalities over whole numbers, and for each withheld count the least
//! and the most that fits.
//!
//! **Knows.** Every count in the sheets of completeness, change, words and responders of a condition; that sites add up to the group and
//! quarters (with those in no quarter) to all; that a count withheld in a line is not zero, since a zero is shown, and whether a line that is
//! absent has no episodes; which counts are parts of which, by definition too; that better, same and worse add up; that those too low and without
//! a baseline are differences of counts.
//!
//! **Wants.** Any count, of non-responders too and in a release of those who meet one definition and not a stricter one, that is small in truth: known if fewer values fit than are small (4, for release 10).
//!
//! **How.** Bounds by linear programming (microlp), outcome by outcome; every solution in whole numbers also shows what other counts can be, and
//! where the best one is fractional it is sought again in whole numbers. A bound that is wide only in fractions would be reported as narrow.

use super::{SampleOptions, write};
use crate::catalogue::Measures;
use crate::findings::bulletin::{Bulletin, ConditionFindings, OutcomeFindings, Period, Shown};
use crate::findings::whole_tests::{circulating_of, run_by};
use crate::findings::withhold::Rule;
use crate::group::settings::Audience;
use crate::models::fitted_course::FittedCourses;
use microlp::{ComparisonOp, LinearExpr, OptimizationDirection, Problem};
use std::collections::BTreeMap;
use std::path::Path;

/// More than any count here.
const MANY: f64 = 10_000.0;

/// What is counted in which quarter (the last one: in none) and site.
type Single = (String, usize, usize);
/// A sum of single counts.
type Sum = BTreeMap<usize, f64>;

struct Target {
    name: String,
    sum: Sum,
    truth: u32,
    seen: (f64, f64),
}

#[derive(Default)]
struct Attack {
    singles: BTreeMap<Single, usize>,
    bounds: Vec<(f64, f64)>,
    facts: Vec<(Sum, ComparisonOp, f64)>,
    targets: Vec<Target>,
}

/// Pairs of definitions of which whoever meets the second also meets the first.
fn nested<'a>(measures: &Measures, outcome: &'a OutcomeFindings) -> Vec<(&'a String, &'a String)> {
    let keys = || outcome.definitions.iter().map(|(key, _)| key);
    let pairs = keys().flat_map(|wide| keys().map(move |strict| (wide, strict)));
    pairs.filter(|(wide, strict)| wide != strict && is_nested(measures, &outcome.key, wide, strict)).collect()
}

fn is_nested(measures: &Measures, outcome: &str, wide: &str, strict: &str) -> bool {
    let longest = measures.iter().filter(|(_, measure)| outcome.starts_with(measure.key.as_str()));
    let Some((_, measure)) = longest.max_by_key(|(_, measure)| measure.key.len()) else { return false };
    let definitions = measure.definitions(false);
    let find = |key: &str| definitions.iter().find(|definition| definition.key == key);
    find(wide).zip(find(strict)).is_some_and(|(wide, strict)| strict.asks_as_much_as(wide))
}

/// The cells of one condition.
struct Cells<'a> {
    measures: &'a Measures,
    report: &'a Bulletin,
    open: &'a Bulletin,
    up_to: u32,
    /// Whether a line that is absent tells that there is nobody.
    absent_is_none: bool,
    /// Whether some episode lies in no quarter.
    has_undated: bool,
}

impl Attack {
    /// A count over a period (0 is all) and a site (0 is the group).
    fn sum(&mut self, what: &str, cells: &Cells<'_>, (period, site): (usize, usize)) -> Sum {
        let quarters = cells.report.quarters.len();
        let periods = if period == 0 { 0..quarters + usize::from(cells.has_undated) } else { period - 1..period };
        let sites = if site == 0 { 0..cells.report.sites.len() } else { site - 1..site };
        let mut sum = Sum::new();
        for quarter in periods {
            for site in sites.clone() {
                let next = self.singles.len();
                let single = *self.singles.entry((what.to_owned(), quarter, site)).or_insert(next);
                if single == next {
                    self.bounds.push((0.0, MANY));
                }
                sum.insert(single, 1.0);
            }
        }
        sum
    }

    /// A count that is shown is known; one that is withheld in a line is wanted.
    fn read(&mut self, name: String, sum: Sum, shown: Shown<u32>, truth: Shown<u32>, up_to: u32) {
        let Shown::Value(truth) = truth else { return };
        match shown {
            Shown::Value(value) => self.know(name, sum, value, Shown::Value(truth), up_to),
            Shown::Withheld => {
                self.facts.push((sum.clone(), ComparisonOp::Ge, 1.0));
                self.want(name, sum, truth, up_to);
            }
            Shown::Missing => {}
        }
    }

    /// A count that is shown: inside the group as it is, for release rounded to fives, none of them small.
    fn know(&mut self, name: String, sum: Sum, shown: u32, truth: Shown<u32>, up_to: u32) {
        let is_release = up_to > 4;
        let (low, high) = match shown {
            0 => (0, 0),
            15 if is_release => (up_to + 1, 18), // the least that is shown
            shown if is_release => (shown - 3, shown + 3),
            shown => (shown, shown),
        };
        if let Shown::Value(truth) = truth {
            assert!((low..=high).contains(&truth), "{name}: {truth} shown as {shown}");
        }
        if low == high {
            self.facts.push((sum, ComparisonOp::Eq, low.into()));
        } else {
            self.facts.push((sum.clone(), ComparisonOp::Ge, low.into()));
            self.facts.push((sum, ComparisonOp::Le, high.into()));
        }
    }

    fn want(&mut self, name: String, sum: Sum, truth: u32, up_to: u32) {
        if (1..=up_to).contains(&truth) {
            self.targets.push(Target { name, sum, truth, seen: (truth.into(), truth.into()) });
        }
    }

    /// The one is at most the other, in every cell.
    fn at_most(&mut self, less: Sum, more: Sum) {
        self.facts.push((minus(more, &less), ComparisonOp::Ge, 0.0));
    }
}

fn minus(mut a: Sum, b: &Sum) -> Sum {
    for (single, factor) in b {
        *a.entry(*single).or_insert(0.0) -= factor;
    }
    a.retain(|_, factor| *factor != 0.0);
    a
}

impl Cells<'_> {
    fn is_release(&self) -> bool {
        self.up_to > 4
    }

    fn all(&self, inner: bool) -> impl Iterator<Item = (usize, usize)> + use<> {
        let (quarters, sites) = (self.report.quarters.len(), self.report.sites.len());
        let undated = usize::from(self.has_undated);
        match inner {
            true => (1..=quarters + undated).flat_map(move |p| (1..=sites).map(move |s| (p, s))).collect::<Vec<_>>(),
            false => (0..=quarters).flat_map(move |p| (0..=sites).map(move |s| (p, s))).collect(),
        }
        .into_iter()
    }

    fn names(&self, (period, site): (usize, usize)) -> (Period, Option<String>) {
        let period = if period == 0 { Period::All } else { Period::Quarter(self.report.quarters[period - 1]) };
        (period, site.checked_sub(1).map(|site| self.report.sites[site].clone()))
    }
}

/// Everything known of one outcome.
fn attack_on(cells: &Cells<'_>, outcome: &OutcomeFindings, open: &OutcomeFindings) -> Attack {
    let mut attack = Attack::default();
    let looks_back = open.completeness.iter().all(|row| row.with_baseline == Shown::Missing);
    let definitions: Vec<&String> = open.definitions.iter().map(|(key, _)| key).collect();
    let needs_baseline = |key: &str| {
        open.responders.iter().any(|row| row.definition == key && row.denominator.contains("too low to respond"))
    };
    for cell in cells.all(false) {
        let (period, site) = cells.names(cell);
        let at = |what: &str| format!("{} {what} {period:?} {site:?}", open.key);
        let due = attack.sum("due", cells, cell);
        let here = |p: &Period, s: &Option<String>| (p, s) == (&period, &site);
        let truth = open.completeness.iter().find(|row| here(&row.period, &row.site));
        let (Some(row), Some(truth)) = (outcome.completeness.iter().find(|row| here(&row.period, &row.site)), truth)
        else {
            if cells.absent_is_none {
                attack.facts.push((due, ComparisonOp::Eq, 0.0));
            } else if let Some(truth) = truth {
                want_absent(&mut attack, cells, cell, open, truth, &at);
            }
            continue;
        };
        attack.read(at("due"), due.clone(), row.episodes, truth.episodes, cells.up_to);
        let (baseline, endpoint) = (attack.sum("baseline", cells, cell), attack.sum("endpoint", cells, cell));
        attack.read(at("baseline"), baseline.clone(), row.with_baseline, truth.with_baseline, cells.up_to);
        attack.read(at("endpoint"), endpoint.clone(), row.with_endpoint, truth.with_endpoint, cells.up_to);
        if let Some(row) = outcome.ordinal_change.iter().find(|row| here(&row.period, &row.site)) {
            let truth = open.ordinal_change.iter().find(|row| here(&row.period, &row.site)).unwrap();
            let moved = [
                ("better", row.better, truth.better),
                ("same", row.same, truth.same),
                ("worse", row.worse, truth.worse),
            ];
            for (what, shown, truth) in moved {
                let sum = attack.sum(what, cells, cell);
                attack.read(at(what), sum, shown, truth, cells.up_to);
            }
        }
        for row in outcome.responders.iter().filter(|row| here(&row.period, &row.site)) {
            let is_same = |other: &&crate::findings::bulletin::ResponderRow| {
                here(&other.period, &other.site) && other.definition == row.definition
            };
            let truth = open.responders.iter().find(is_same).unwrap();
            let of = |what: &str| format!("{} {what}", row.definition);
            let counts = [
                ("denominator", row.episodes, truth.episodes),
                ("outcome", row.with_outcome, truth.with_outcome),
                ("responders", row.responders, truth.responders),
            ];
            for (what, shown, truth) in counts {
                let sum = attack.sum(&of(what), cells, cell);
                attack.read(at(&of(what)), sum, shown, truth, cells.up_to);
            }
            let (denominator, with, responders) = (
                attack.sum(&of("denominator"), cells, cell),
                attack.sum(&of("outcome"), cells, cell),
                attack.sum(&of("responders"), cells, cell),
            );
            if let (Shown::Value(w), Shown::Value(r)) = (truth.with_outcome, truth.responders)
                && (1..=cells.up_to).contains(&(w - r))
            {
                attack.want(at(&of("not responders")), minus(with, &responders), w - r, cells.up_to);
            }
            let pairs = nested(cells.measures, open).into_iter().filter(|(_, strict)| **strict == row.definition);
            for (wide, _) in pairs.filter(|_| cells.is_release()) {
                let other = open.responders.iter().find(|r| here(&r.period, &r.site) && r.definition == *wide).unwrap();
                let sum = attack.sum(&format!("{wide} responders"), cells, cell);
                if let (Shown::Value(more), Shown::Value(fewer)) = (other.responders, truth.responders) {
                    let between = minus(sum, &responders);
                    attack.want(at(&format!("{wide} but not {}", row.definition)), between, more - fewer, cells.up_to);
                }
            }
            if let Shown::Value(too_low) = row.baseline_too_low {
                let truth = truth.baseline_too_low;
                attack.know(at(&of("too low")), minus(due.clone(), &denominator), too_low, truth, cells.up_to);
            }
            if let Shown::Value(missing) = row.baseline_missing {
                let truth = truth.baseline_missing;
                attack.know(at(&of("missing")), minus(due.clone(), &baseline), missing, truth, cells.up_to);
            }
        }
    }
    for cell in cells.all(true) {
        let due = attack.sum("due", cells, cell);
        let endpoint = attack.sum("endpoint", cells, cell);
        let baseline = if looks_back { due.clone() } else { attack.sum("baseline", cells, cell) };
        attack.at_most(baseline.clone(), due.clone());
        attack.at_most(endpoint.clone(), baseline.clone());
        if !open.ordinal_change.is_empty() {
            let mut parts = Sum::new();
            for what in ["better", "same", "worse"] {
                parts.extend(attack.sum(what, cells, cell));
            }
            attack.facts.push((minus(parts, &endpoint), ComparisonOp::Eq, 0.0));
        }
        for key in &definitions {
            let mut of = |what: &str| attack.sum(&format!("{key} {what}"), cells, cell);
            let (denominator, with, responders) = (of("denominator"), of("outcome"), of("responders"));
            attack.at_most(denominator.clone(), due.clone());
            attack.at_most(with.clone(), denominator.clone());
            attack.at_most(responders, with.clone());
            if needs_baseline(key) {
                attack.at_most(with.clone(), endpoint.clone());
                let lost = minus(denominator.clone(), &with);
                attack.at_most(minus(due.clone(), &baseline), lost);
                attack.at_most(minus(endpoint.clone(), &with), minus(due.clone(), &denominator));
            } else {
                attack.facts.push((minus(denominator, &due), ComparisonOp::Eq, 0.0));
                attack.at_most(endpoint.clone(), with);
            }
        }
        for (wide, strict) in nested(cells.measures, open) {
            let (wide, strict) = (
                attack.sum(&format!("{wide} responders"), cells, cell),
                attack.sum(&format!("{strict} responders"), cells, cell),
            );
            attack.at_most(strict, wide);
        }
        let has = |key: &str| definitions.iter().any(|definition| *definition == key);
        if has("thirty_percent") && has("fifty_percent") {
            for what in ["denominator", "outcome", "responders"] {
                let (thirty, fifty) = (
                    attack.sum(&format!("thirty_percent {what}"), cells, cell),
                    attack.sum(&format!("fifty_percent {what}"), cells, cell),
                );
                match what {
                    "responders" => {}
                    _ => attack.facts.push((minus(fifty, &thirty), ComparisonOp::Eq, 0.0)),
                }
            }
        }
    }
    attack
}

/// The counts of a line that is absent: everything of it is wanted.
fn want_absent(
    attack: &mut Attack,
    cells: &Cells<'_>,
    cell: (usize, usize),
    open: &OutcomeFindings,
    truth: &crate::findings::bulletin::CompletenessRow,
    at: &dyn Fn(&str) -> String,
) {
    let counts = [("due", truth.episodes), ("baseline", truth.with_baseline), ("endpoint", truth.with_endpoint)];
    for (what, truth) in counts {
        let sum = attack.sum(what, cells, cell);
        if let Shown::Value(truth) = truth {
            attack.want(at(what), sum, truth, cells.up_to);
        }
    }
    let (period, site) = cells.names(cell);
    for row in open.responders.iter().filter(|row| (&row.period, &row.site) == (&period, &site)) {
        let counts = [("denominator", row.episodes), ("outcome", row.with_outcome), ("responders", row.responders)];
        for (what, truth) in counts {
            let what = format!("{} {what}", row.definition);
            let sum = attack.sum(&what, cells, cell);
            if let Shown::Value(truth) = truth {
                attack.want(at(&what), sum, truth, cells.up_to);
            }
        }
    }
}

impl Attack {
    /// Narrows the bounds of single counts by each fact in turn, until nothing changes; those that are known need no solver.
    fn propagate(&mut self) {
        for _ in 0..50 {
            let mut changed = false;
            for (sum, op, value) in &self.facts {
                let end = |factor: f64, single: usize, upper: bool| {
                    let (low, high) = self.bounds[single];
                    factor * if (factor > 0.0) == upper { high } else { low }
                };
                let least: f64 = sum.iter().map(|(single, factor)| end(*factor, *single, false)).sum();
                let most: f64 = sum.iter().map(|(single, factor)| end(*factor, *single, true)).sum();
                let mut narrowed = Vec::new();
                for (&single, &factor) in sum {
                    // factor x single >= value - the most of the others; for an equation also <= value - the least of them
                    let at_least = value - (most - end(factor, single, true));
                    let at_most = value - (least - end(factor, single, false));
                    let (mut low, mut high) = self.bounds[single];
                    let (below, above) = (!matches!(op, ComparisonOp::Ge), !matches!(op, ComparisonOp::Le));
                    let (least, most) = (at_least / factor, at_most / factor);
                    let (least, most, below, above) =
                        if factor > 0.0 { (least, most, below, above) } else { (most, least, above, below) };
                    low = if above { low.max((least - 1e-9).ceil()) } else { low };
                    high = if below { high.min((most + 1e-9).floor()) } else { high };
                    narrowed.push((single, (low, high)));
                }
                for (single, bounds) in narrowed {
                    changed |= self.bounds[single] != bounds;
                    assert!(bounds.0 <= bounds.1, "no data fit: the attacker knows something that is not so");
                    self.bounds[single] = bounds;
                }
            }
            if !changed {
                break;
            }
        }
    }

    /// The withheld counts that are known too well, each with its bounds.
    fn known(mut self, up_to: u32) -> Vec<String> {
        self.propagate();
        let k = f64::from(up_to);
        let mut known = Vec::new();
        for at in 0..self.targets.len() {
            for direction in [OptimizationDirection::Minimize, OptimizationDirection::Maximize] {
                let (low, high) = self.targets[at].seen;
                if high - low < k - 1.0 && !self.solve(at, direction, false) {
                    self.solve(at, direction, true);
                }
            }
            let Target { name, truth, seen: (low, high), .. } = &self.targets[at];
            if high - low < k - 1.0 {
                known.push(format!("{name}: {truth} in {low} to {high}"));
            }
        }
        known
    }

    /// Finds data in which a target is least or most and notes what every target is in them, if all are whole numbers.
    fn solve(&mut self, target: usize, direction: OptimizationDirection, whole: bool) -> bool {
        let mut problem = Problem::new(direction);
        let mut variables = BTreeMap::new();
        let sum = &self.targets[target].sum;
        for (single, &(low, high)) in self.bounds.iter().enumerate().filter(|(_, (low, high))| low < high) {
            let factor = sum.get(&single).copied().unwrap_or(0.0);
            let variable = match whole {
                true => problem.add_integer_var(factor, (low as i32, high as i32)),
                false => problem.add_var(factor, (low, high)),
            };
            variables.insert(single, variable);
        }
        for (sum, op, value) in &self.facts {
            let mut expression = LinearExpr::empty();
            let mut rest = *value;
            let mut is_empty = true;
            for (single, factor) in sum {
                match variables.get(single) {
                    Some(variable) => {
                        expression.add(*variable, *factor);
                        is_empty = false;
                    }
                    None => rest -= factor * self.bounds[*single].0,
                }
            }
            if !is_empty {
                problem.add_constraint(expression, *op, rest);
            }
        }
        let Ok(solution) = problem.solve().map(|outcome| outcome.into_solution().unwrap()) else {
            panic!("no data fit what is shown beside {}", self.targets[target].name)
        };
        let values: Vec<f64> = (0..self.bounds.len())
            .map(|single| variables.get(&single).map_or(self.bounds[single].0, |v| solution.var_value(*v)))
            .collect();
        let is_whole = values.iter().all(|value| (value - value.round()).abs() < 1e-6);
        if is_whole {
            for target in &mut self.targets {
                let value: f64 = target.sum.iter().map(|(single, factor)| factor * values[*single].round()).sum();
                target.seen = (target.seen.0.min(value), target.seen.1.max(value));
            }
        }
        is_whole
    }
}

/// Everything that an attacker finds in a report. `open`: the same if nothing were small.
fn known(report: &Bulletin, open: &Bulletin) -> (usize, Vec<String>) {
    let outcomes = report.conditions.iter().flat_map(|c| c.outcomes.iter().map(move |o| (c, o)));
    let absent_is_none =
        outcomes.clone().any(|(_, o)| o.completeness.iter().any(|row| row.episodes == Shown::Withheld));
    let (mut wanted, mut known) = (0, Vec::new());
    let measures = &Measures::embedded().unwrap();
    for (condition, outcome) in outcomes {
        let of = |other: &&ConditionFindings| other.key == condition.key;
        let open_condition = open.conditions.iter().find(of).unwrap();
        let open_outcome = open_condition.outcomes.iter().find(|other| other.key == outcome.key).unwrap();
        let due = |period: fn(&Period) -> bool| -> u32 {
            let rows = open_outcome.completeness.iter().filter(|row| row.site.is_none() && period(&row.period));
            rows.map(|row| if let Shown::Value(n) = row.episodes { n } else { 0 }).sum()
        };
        let cells = Cells {
            measures,
            report,
            open,
            up_to: report.withhold_up_to,
            absent_is_none,
            has_undated: due(|p| *p == Period::All) > due(|p| *p != Period::All),
        };
        assert_eq!(cells.open.quarters, cells.report.quarters);
        let attack = attack_on(&cells, outcome, open_outcome);
        wanted += attack.targets.len();
        known.extend(attack.known(cells.up_to).into_iter().map(|found| format!("{} {found}", condition.key)));
    }
    (wanted, known)
}

fn reports(folder: &Path, audience: Audience) -> [Bulletin; 2] {
    let nothing_small = Rule { up_to: 0, also_left_out: false };
    let [circulating, _] = circulating_of(folder, audience, |_| FittedCourses::default());
    let [open] = run_by(folder, audience, [nothing_small], |_| FittedCourses::default());
    [circulating, open]
}

fn counts_shown(report: &Bulletin) -> (usize, usize) {
    let outcomes = || report.conditions.iter().flat_map(|c| &c.outcomes);
    let is_shown = |shown: &Shown<u32>| matches!(shown, Shown::Value(_));
    let completeness: usize = outcomes()
        .flat_map(|o| &o.completeness)
        .map(|r| [r.episodes, r.with_baseline, r.with_endpoint].iter().filter(|n| is_shown(n)).count())
        .sum();
    let responders: usize = outcomes()
        .flat_map(|o| &o.responders)
        .map(|r| [r.episodes, r.with_outcome, r.responders].iter().filter(|n| is_shown(n)).count())
        .sum();
    (completeness, responders)
}

#[test]
fn no_small_count_of_the_sample_can_be_narrowed_down_by_someone_who_knows_the_rules() {
    for audience in [Audience::Internal, Audience::Release] {
        let [report, open] = reports(Path::new("sample-data"), audience);
        let (wanted, known) = known(&report, &open);
        println!("{audience:?}: shown {:?} of {:?}, wanted {wanted}", counts_shown(&report), counts_shown(&open));
        assert!(wanted > 100, "{wanted} counts are withheld");
        assert_eq!(known, Vec::<String>::new(), "{} of {wanted}, {audience:?}", known.len());
    }
}

#[test]
fn no_small_count_of_other_groups_can_be_narrowed_down_by_someone_who_knows_the_rules() {
    for (seed, patients) in [(1, 60), (2, 150)] {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), SampleOptions { seed, patients, faults: false }).unwrap();
        for audience in [Audience::Internal, Audience::Release] {
            let [report, open] = reports(folder.path(), audience);
            let (wanted, known) = known(&report, &open);
            assert!(wanted > 20, "seed {seed}: {wanted} counts are withheld");
            assert_eq!(known, Vec::<String>::new(), "seed {seed}, {patients} patients, {audience:?}");
        }
    }
}

#[test]
fn five_withheld_sites_that_add_up_to_five_would_be_found() {
    let mut attack = Attack { bounds: vec![(0.0, MANY); 5], ..Attack::default() };
    let one = |single: usize| Sum::from([(single, 1.0)]);
    attack.facts.push(((0..5).map(|single| (single, 1.0)).collect(), ComparisonOp::Eq, 5.0));
    for single in 0..5 {
        attack.read(single.to_string(), one(single), Shown::Withheld, Shown::Value(1), 4);
    }
    let known = attack.known(4);
    assert_eq!(known.len(), 5, "{known:?}");
    assert_eq!(known[0], "0: 1 in 1 to 1");
}
