//! The rows of a logistic regression, checked once.

use super::scaled_cholesky::first_dependent_column;
use super::sums::{CHUNK, add_products, mirror};
use crate::error::{InputError, all_finite, at_least, same_length};
use rayon::prelude::*;

/// Rows as they come.
#[derive(Debug, Clone, Copy)]
pub struct Rows<'a> {
    /// Successes of each row.
    pub successes: &'a [u32],
    /// Trials of each row, 1 or more.
    pub trials: &'a [u32],
    /// The design, row after row, one number a column.
    pub design: &'a [f64],
    /// Names of the columns, for errors.
    pub names: &'a [&'a str],
    /// Known part of each row's log odds, if any.
    pub offset: Option<&'a [f64]>,
}

/// Rows without a fault, counts as floats.
pub(crate) struct Checked<'a> {
    pub design: std::borrow::Cow<'a, [f64]>,
    pub successes: Vec<f64>,
    pub trials: Vec<f64>,
    pub offset: Option<std::borrow::Cow<'a, [f64]>>,
    pub names: &'a [&'a str],
    /// Root mean square of each column, trials as weights.
    pub scales: Vec<f64>,
}

impl<'a> Rows<'a> {
    /// Finds the first fault, if there is one.
    pub(crate) fn check(&self) -> Result<Checked<'a>, InputError> {
        let (n, p) = (self.trials.len(), self.names.len());
        at_least("columns", 1, p)?;
        at_least("rows", p, n)?;
        same_length("successes", n, self.successes.len())?;
        same_length("design", n * p, self.design.len())?;
        all_finite("design", self.design)?;
        if let Some(offset) = self.offset {
            same_length("offset", n, offset.len())?;
            all_finite("offset", offset)?;
        }
        if let Some(index) = self.trials.iter().position(|t| *t == 0) {
            return Err(InputError::BadElement { what: "trials", index, domain: "at least 1" });
        }
        if let Some(index) = self.successes.iter().zip(self.trials).position(|(s, t)| s > t) {
            return Err(InputError::BadElement { what: "successes", index, domain: "at most the trials of its row" });
        }
        let trials: Vec<f64> = self.trials.iter().map(|t| f64::from(*t)).collect();
        let products = self.products(&trials);
        if let Some(column) = first_dependent_column(&products, p) {
            return Err(InputError::RankDeficient { term: self.names[column].to_owned() });
        }
        let total: f64 = trials.iter().sum();
        Ok(Checked {
            design: self.design.into(),
            successes: self.successes.iter().map(|s| f64::from(*s)).collect(),
            trials,
            offset: self.offset.map(Into::into),
            names: self.names,
            scales: (0..p).map(|k| (products[k * p + k] / total).sqrt()).collect(),
        })
    }

    /// X'X, rows weighted by their trials.
    fn products(&self, trials: &[f64]) -> Vec<f64> {
        let p = self.names.len();
        let parts: Vec<Vec<f64>> = trials
            .par_chunks(CHUNK)
            .zip(self.design.par_chunks(CHUNK * p))
            .map(|(weights, x)| {
                let mut sum = vec![0.0; p * p];
                add_products(&mut sum, x, weights, p);
                sum
            })
            .collect();
        let mut total = vec![0.0; p * p];
        for part in &parts {
            total.iter_mut().zip(part).for_each(|(t, v)| *t += v);
        }
        mirror(&mut total, p);
        total
    }
}

impl Checked<'_> {
    pub(crate) fn len(&self) -> usize {
        self.trials.len()
    }

    pub(crate) fn columns(&self) -> usize {
        self.names.len()
    }

    /// Logarithm of the binomial coefficients.
    pub(crate) fn log_coefficients(&self) -> f64 {
        use statrs::function::gamma::ln_gamma;
        let grouped = self.successes.iter().zip(&self.trials).filter(|(_, n)| **n > 1.0);
        crate::sum::sum(grouped.map(|(y, n)| ln_gamma(n + 1.0) - ln_gamma(y + 1.0) - ln_gamma(n - y + 1.0)))
    }

    /// Log-likelihood, without the coefficients, of the model that fits each row exactly.
    pub(crate) fn saturated(&self) -> f64 {
        let term = |k: f64, n: f64| if k > 0.0 { k * (k / n).ln() } else { 0.0 };
        let mixed = self.successes.iter().zip(&self.trials).filter(|(y, n)| **y > 0.0 && y < n);
        crate::sum::sum(mixed.map(|(y, n)| term(*y, *n) + term(n - y, *n)))
    }
}
