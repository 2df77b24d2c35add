//! e = exp(-t / tau) at the points of a rule.
//!
//! Exponentials are most of the work of a likelihood, and they depend on the time and the point alone. Subjects without
//! covariates have one law, most are seen on much the same days, and their rules lie on a few lattices (`rule.rs`): one
//! table a lattice serves them all. Where tables would not pay, each subject has one of its own; the numbers are the same.

use rayon::prelude::*;
use wide::f64x2;

use super::conditional::Law;
use super::rule::Rule;
use crate::series::Series;

/// Rates are kept below this, so that no product with a time overflows; the curve is at its plateau long before.
const FASTEST: f64 = 1e150;

/// A table: a row a time, a column a point of the rule.
#[derive(Default)]
struct Table {
    rates: Vec<f64>,
    decays: Vec<f64>,
}

/// One subject's points: what a density needs to know of them.
#[derive(Clone, Copy)]
pub(super) struct Points<'t> {
    rule: Rule,
    rates: &'t [f64],
    /// From the subject's first point on, row after row.
    decays: &'t [f64],
    columns: usize,
    /// Row of each reading.
    rows: &'t [u32],
}

impl Table {
    /// Fills the table for the points of `rule`.
    fn fill(&mut self, law: &Law, times: &[f64], rule: Rule) {
        self.rates.clear();
        self.rates.extend((0..rule.points()).map(|k| (-law.log_tau_at(rule.x(k))).exp().min(FASTEST)));
        self.decays.resize(times.len() * rule.points(), 0.0);
        let rates = &self.rates;
        let row = |(row, time): (&mut [f64], &f64)| {
            row.iter_mut().zip(rates).for_each(|(e, rate)| *e = (-time * rate).exp());
        };
        self.decays.chunks_exact_mut(rule.points()).zip(times).for_each(row);
    }
}

impl<'t> Points<'t> {
    /// The rule.
    pub fn rule(&self) -> Rule {
        self.rule
    }

    /// x at a pair of points.
    pub fn x(&self, pair: usize) -> f64x2 {
        f64x2::new([self.rule.x(2 * pair), self.rule.x(2 * pair + 1)])
    }

    /// 1 / tau at a pair of points.
    pub fn rate(&self, pair: usize) -> f64x2 {
        two(self.rates, 2 * pair)
    }

    /// e of each reading at a pair of points.
    pub fn decays(&self, pair: usize) -> impl Iterator<Item = f64x2> + use<'t> {
        let Self { decays, columns, rows, .. } = *self;
        rows.iter().map(move |row| two(decays, *row as usize * columns + 2 * pair))
    }
}

fn two(list: &[f64], at: usize) -> f64x2 {
    match list.get(at..at + 2) {
        Some(&[a, b]) => f64x2::new([a, b]),
        _ => f64x2::new([f64::NAN; 2]),
    }
}

/// Room for one subject's own table, used again for the next.
#[derive(Default)]
pub(super) struct Own {
    table: Table,
    rows: Vec<u32>,
}

impl Own {
    /// Works out the points of one subject.
    pub fn points(&mut self, law: &Law, times: &[f64], rule: Rule) -> Points<'_> {
        self.table.fill(law, times, rule);
        self.rows.extend(self.rows.len() as u32..times.len() as u32);
        Points {
            rule,
            rates: &self.table.rates,
            decays: &self.table.decays,
            columns: rule.points(),
            rows: self.rows.get(..times.len()).unwrap_or_default(),
        }
    }
}

/// The distinct times of many subjects, and where each reading's time stands among them.
pub(super) struct Times {
    distinct: Vec<f64>,
    rows: Vec<u32>,
    /// End of each subject's readings among `rows`.
    ends: Vec<usize>,
}

impl Times {
    pub fn of(subjects: &[Series]) -> Self {
        let all = || subjects.iter().flat_map(|s| s.times.iter().copied());
        let mut distinct: Vec<f64> = all().collect();
        distinct.sort_unstable_by(f64::total_cmp);
        distinct.dedup();
        // every time is among them; NaN was refused before
        let rows = all().map(|t| distinct.partition_point(|other| *other < t) as u32).collect();
        let ends = subjects
            .iter()
            .scan(0, |end, s| {
                *end += s.times.len();
                Some(*end)
            })
            .collect();
        Self { distinct, rows, ends }
    }

    fn rows_of(&self, subject: usize) -> &[u32] {
        let from = subject.checked_sub(1).and_then(|before| self.ends.get(before)).copied().unwrap_or(0);
        self.ends.get(subject).and_then(|end| self.rows.get(from..*end)).unwrap_or_default()
    }
}

/// Which tables the subjects of a fit share: one rule a lattice that holds the rules of all; none where that does not pay.
#[derive(Default)]
pub(super) struct Plan {
    rules: Vec<Rule>,
}

impl Plan {
    /// For these rules, one a subject.
    pub fn of(times: &Times, subjects: &[Series], rules: &[Rule]) -> Self {
        let mut joined: std::collections::BTreeMap<i32, Rule> = std::collections::BTreeMap::new();
        for rule in rules {
            joined.entry(rule.rung()).and_modify(|all| *all = all.with(*rule)).or_insert(*rule);
        }
        let shared: usize = joined.values().map(|rule| rule.points() * times.distinct.len()).sum();
        let own: usize = subjects.iter().zip(rules).map(|(s, rule)| s.times.len() * rule.points()).sum();
        Self { rules: if shared < own { joined.into_values().collect() } else { Vec::new() } }
    }

    /// The tables under a law that all subjects share.
    pub fn tables<'d>(&self, times: &'d Times, law: &Law) -> Shared<'d> {
        let table = |rule: &Rule| {
            let mut table = Table::default();
            table.fill(law, &times.distinct, *rule);
            (*rule, table)
        };
        Shared { times: Some(times), tables: self.rules.par_iter().map(table).collect() }
    }
}

/// Tables that all subjects share, under one law.
#[derive(Default)]
pub(super) struct Shared<'d> {
    times: Option<&'d Times>,
    tables: Vec<(Rule, Table)>,
}

impl Shared<'_> {
    /// The points of a subject, if there is a table that holds them.
    pub fn points(&self, subject: usize, rule: Rule) -> Option<Points<'_>> {
        let (whole, table) = self.tables.iter().find(|(whole, _)| whole.rung() == rule.rung())?;
        let skipped = usize::try_from(rule.first() - whole.first()).ok()?;
        Some(Points {
            rule,
            rates: table.rates.get(skipped..skipped + rule.points())?,
            decays: table.decays.get(skipped..)?,
            columns: whole.points(),
            rows: self.times?.rows_of(subject),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::conditional::Loading;
    use super::*;

    #[test]
    fn a_shared_table_and_an_own_one_say_the_same() {
        let law = Law::new([6.0, 2.0, 2.3], Loading { tt: 0.6, ..Loading::default() }, 0.8);
        let times: [&[f64]; 3] = [&[0.0, 7.0, 3.0], &[3.0, 3.0, 90.0, 7.0], &[]];
        let subjects = times.map(|times| Series { times, values: &[], covariates: &[] });
        let rules = [(-6.0, 4.0), (-3.0, 7.5), (-7.0, 7.0)].map(|(low, high)| Rule::covering(low, high, 0.5));
        let times = Times::of(&subjects);
        assert_eq!(times.distinct, [0.0, 3.0, 7.0, 90.0]);
        // three readings alone would not pay for a table
        let many: Vec<Series> = subjects.iter().copied().cycle().take(30).collect();
        let many_rules: Vec<Rule> = rules.iter().copied().cycle().take(30).collect();
        assert!(Plan::of(&times, &subjects[..1], &rules[..1]).rules.is_empty());
        let times = Times::of(&many);
        let shared = Plan::of(&times, &many, &many_rules).tables(&times, &law);
        let mut own = Own::default();
        for (k, (s, rule)) in many.iter().zip(&many_rules).enumerate() {
            let a = shared.points(k, *rule).unwrap();
            let b = own.points(&law, s.times, *rule);
            for pair in 0..rule.pairs() {
                assert_eq!(a.x(pair), b.x(pair));
                assert_eq!(a.rate(pair), b.rate(pair));
                assert_eq!(a.decays(pair).count(), s.times.len());
                assert!(a.decays(pair).eq(b.decays(pair)));
            }
        }
    }

    #[test]
    fn the_fastest_rates_leave_only_the_first_reading() {
        let law = Law::new([6.0, 2.0, -900.0], Loading { tt: 0.6, ..Loading::default() }, 0.8);
        let mut own = Own::default();
        let points = own.points(&law, &[0.0, 1e-3], Rule::covering(0.0, 1.0, 1.0));
        let found: Vec<[f64; 2]> = points.decays(0).map(|e| e.to_array()).collect();
        assert_eq!(found, [[1.0; 2], [0.0; 2]]);
        assert!((points.rate(0) * f64x2::new([1e3; 2])).to_array().iter().all(|x| x.is_finite()));
    }
}
