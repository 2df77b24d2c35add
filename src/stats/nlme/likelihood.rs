//! The log-likelihood of all subjects and its derivatives.
//!
//! Subjects are worked on side by side; their contributions are added in the order of the subjects, so the result does
//! not depend on the number of threads. Cost: readings x points of the rule, some 25 a reading.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::conditional::{Law, Score};
use super::decay::{Own, Plan, Points, Shared, Times};
use super::marginal;
use super::parameters::{Layout, Parameters, outer_products};
use super::rule::Rule;
use crate::series::Series;
use crate::sum::sum;

/// Subjects that one task takes: enough work to be worth a task.
const TASK: usize = 16;

/// The log-likelihood as a function of the parameters' vector.
pub(super) struct Likelihood<'a> {
    subjects: &'a [Series<'a>],
    pub layout: Layout,
    /// Where each subject's integral is taken.
    rules: Vec<Rule>,
    /// Shared by subjects without covariates: those with some have laws of their own, and share nothing.
    times: Option<Times>,
    /// The tables for scanning, and those for `rules`.
    scans: Plan,
    plan: Plan,
    fine: bool,
}

/// Value, gradient and, if asked for, the subjects' scores multiplied out.
pub(super) struct Point {
    pub psi: DVector<f64>,
    pub value: f64,
    pub gradient: DVector<f64>,
    pub outer: Option<DMatrix<f64>>,
}

impl<'a> Likelihood<'a> {
    /// With rules of integration made for `psi`; `None` if a subject's density is not finite there.
    pub fn new(subjects: &'a [Series<'a>], layout: Layout, psi: &DVector<f64>) -> Option<Self> {
        let times = (layout.covariates == 0).then(|| Times::of(subjects));
        let (rules, scans, plan) = (Vec::new(), Plan::default(), Plan::default());
        let mut likelihood = Self { subjects, layout, rules, times, scans, plan, fine: false };
        likelihood.scans = likelihood.plan(&vec![marginal::first_scan(); subjects.len()]);
        likelihood.refresh(psi).then_some(likelihood)
    }

    /// Makes the rules anew for `psi`; whether that was possible. The old ones stay if not.
    pub fn refresh(&mut self, psi: &DVector<f64>) -> bool {
        let parameters = self.layout.unpack(psi.as_slice());
        let scan = marginal::first_scan();
        let shared = self.tables(&self.scans, &parameters);
        let of = |own: &mut Own, law: &Law, place: usize, subject: &Series| {
            marginal::rule(law, subject, shared.points(place, scan), own)
        };
        let Some(rules) = self.each(&parameters, of).into_iter().collect() else {
            return false;
        };
        self.rules = rules;
        if self.fine {
            self.refine();
        } else {
            self.plan = self.plan(&self.rules);
        }
        true
    }

    /// Three times the points of every subject's rule.
    pub fn refine(&mut self) {
        self.rules.iter_mut().for_each(|rule| *rule = rule.finer());
        self.plan = self.plan(&self.rules);
    }

    /// From now on with the finer rule.
    pub fn always_fine(&mut self) {
        self.fine = true;
    }

    fn plan(&self, rules: &[Rule]) -> Plan {
        self.times.as_ref().map_or_else(Plan::default, |times| Plan::of(times, self.subjects, rules))
    }

    fn tables(&self, plan: &Plan, parameters: &Parameters) -> Shared<'_> {
        self.times.as_ref().map_or_else(Shared::default, |times| plan.tables(times, &parameters.law(&[])))
    }

    /// What `of` says of each subject's law, the subject and its place, side by side.
    fn each<T: Send>(
        &self,
        parameters: &Parameters,
        of: impl Fn(&mut Own, &Law, usize, &Series) -> T + Sync,
    ) -> Vec<T> {
        let turned = parameters.factor.turned();
        self.subjects
            .par_iter()
            .enumerate()
            .with_min_len(TASK)
            .map_init(Own::default, |own, (place, subject)| {
                of(own, &parameters.law_turned(subject.covariates, &turned), place, subject)
            })
            .collect()
    }

    /// What `of` says of each subject's integral.
    fn each_integral<T: Send>(
        &self,
        parameters: &Parameters,
        of: impl Fn(&Law, &Series, &Points) -> T + Sync,
    ) -> Vec<T> {
        let shared = self.tables(&self.plan, parameters);
        self.each(parameters, |own, law, place, subject| {
            let rule = self.rules[place];
            match shared.points(place, rule) {
                Some(points) => of(law, subject, &points),
                None => of(law, subject, &own.points(law, subject.times, rule)),
            }
        })
    }

    /// The log-likelihood alone.
    pub fn value(&self, psi: &DVector<f64>) -> f64 {
        sum(self.each_integral(&self.layout.unpack(psi.as_slice()), marginal::log_density))
    }

    /// Value and derivatives; `None` if not finite.
    pub fn at(&self, psi: DVector<f64>, with_outer: bool) -> Option<Point> {
        let parameters = self.layout.unpack(psi.as_slice());
        let turned = parameters.factor.turned();
        let each = self.each_integral(&parameters, marginal::score);
        let value = sum(each.iter().map(|e| e.0));
        let mut gradient = DVector::zeros(self.layout.len());
        for (s, e) in self.subjects.iter().zip(&each) {
            self.layout.add_score(gradient.as_mut_slice(), s.covariates, &e.1, &turned);
        }
        let outer = with_outer.then(|| {
            let scores: Vec<(&[f64], Score)> =
                self.subjects.iter().zip(&each).map(|(s, e)| (s.covariates, e.1)).collect();
            outer_products(self.layout, &scores, &turned)
        });
        let finite = value.is_finite() && gradient.iter().all(|g| g.is_finite());
        finite.then_some(Point { psi, value, gradient, outer })
    }
}
