//! The log-likelihood of all subjects and its derivatives.
//!
//! Subjects are worked on side by side; their contributions are added in the order of the subjects, so the result does
//! not depend on the number of threads. Cost: readings x points of the rule, some 20 exponentials a reading.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::conditional::Score;
use super::marginal::{self, Window};
use super::parameters::{Layout, outer_products};
use crate::series::Series;
use crate::sum::sum;

/// Subjects that one task takes: enough work to be worth a task.
const TASK: usize = 16;

/// The log-likelihood as a function of the parameters' vector.
pub(super) struct Likelihood<'a> {
    subjects: &'a [Series<'a>],
    pub layout: Layout,
    windows: Vec<Window>,
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
    /// With windows of integration made for `psi`; `None` if a subject's density is not finite there.
    pub fn new(subjects: &'a [Series<'a>], layout: Layout, psi: &DVector<f64>) -> Option<Self> {
        let mut likelihood = Self { subjects, layout, windows: Vec::new(), fine: false };
        likelihood.refresh(psi).then_some(likelihood)
    }

    /// Makes the windows anew for `psi`; whether that was possible. The old ones stay if not.
    pub fn refresh(&mut self, psi: &DVector<f64>) -> bool {
        let parameters = self.layout.unpack(psi.as_slice());
        let turned = parameters.factor.turned();
        let made: Option<Vec<Window>> = self
            .subjects
            .par_iter()
            .with_min_len(TASK)
            .map(|s| marginal::window(&parameters.law_turned(s.covariates, &turned), s.times, s.values))
            .collect();
        let Some(windows) = made else {
            return false;
        };
        self.windows = windows;
        if self.fine {
            self.refine();
        }
        true
    }

    /// Three times the points of every subject's rule.
    pub fn refine(&mut self) {
        self.windows.iter_mut().for_each(|w| *w = w.finer());
    }

    /// From now on with the finer rule.
    pub fn always_fine(&mut self) {
        self.fine = true;
    }

    /// The log-likelihood alone.
    pub fn value(&self, psi: &DVector<f64>) -> f64 {
        let parameters = self.layout.unpack(psi.as_slice());
        let turned = parameters.factor.turned();
        let each: Vec<f64> = self
            .subjects
            .par_iter()
            .zip(&self.windows)
            .with_min_len(TASK)
            .map(|(s, w)| marginal::log_density(&parameters.law_turned(s.covariates, &turned), s.times, s.values, *w))
            .collect();
        sum(each)
    }

    /// Value and derivatives; `None` if not finite.
    pub fn at(&self, psi: DVector<f64>, with_outer: bool) -> Option<Point> {
        let parameters = self.layout.unpack(psi.as_slice());
        let turned = parameters.factor.turned();
        let each: Vec<(f64, Score)> = self
            .subjects
            .par_iter()
            .zip(&self.windows)
            .with_min_len(TASK)
            .map(|(s, w)| marginal::score(&parameters.law_turned(s.covariates, &turned), s.times, s.values, *w))
            .collect();
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
