//! Ordinary linear regression.
//!
//! **Formula.** Minimise |y - X b|2 by Householder QR of X: b = R^-1 Q'y, covariance s2 (R'R)^-1, s2 = RSS / (n - p),
//! t intervals with n - p degrees of freedom (Golub & Van Loan, Matrix Computations, section 5.3), followed by one
//! step of refinement on the residuals.
//!
//! **Domain and edge cases.** More observations than terms. The terms are exactly those given; for an intercept give a
//! term of ones. A term that is a combination of those before it (what is left of it after projection is below
//! 1e-10 of its length) is an error that names it.
//!
//! **Published values.** NIST StRD linear set Longley, certified, folder `nist_longley`.

use nalgebra::{DMatrix, DVector};

use crate::distribution::{t_quantile, t_two_sided};
use crate::error::{InputError, all_finite, at_least, same_length};
use crate::interval::{Estimate, Interval};
use crate::level::Level;
use crate::sum::sum;

/// What must be left of a term, as a share of its length, after projection on the terms before it.
const RANK_TOLERANCE: f64 = 1e-10;

/// One column of the design, with the name under which it is reported.
#[derive(Debug, Clone, Copy)]
pub struct Term<'a> {
    /// Name.
    pub name: &'a str,
    /// One value for each observation.
    pub values: &'a [f64],
}

/// A fitted linear regression.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearFit {
    /// Names of the terms, in the order given.
    pub names: Vec<String>,
    /// Coefficients, in the same order.
    pub estimates: Vec<f64>,
    /// Their standard errors.
    pub standard_errors: Vec<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// Residual sum of squares.
    pub rss: f64,
    /// Residual standard deviation.
    pub residual_sd: f64,
    /// Observations less terms.
    pub degrees_of_freedom: usize,
    /// Observed less fitted, in the order of the observations.
    pub residuals: Vec<f64>,
}

impl LinearFit {
    /// Position of the term called `name`.
    #[must_use]
    pub fn position(&self, name: &str) -> Option<usize> {
        self.names.iter().position(|n| n == name)
    }

    /// The coefficient at `position` with its t interval; `None` beyond the last.
    #[must_use]
    pub fn coefficient(&self, position: usize, level: Level) -> Option<Estimate> {
        let (&value, &standard_error) = (self.estimates.get(position)?, self.standard_errors.get(position)?);
        let t = -t_quantile(level.tail(), self.degrees_of_freedom as f64).ok()?;
        Some(Estimate { value, standard_error, interval: Interval::around(value, t * standard_error) })
    }

    /// Two-sided p value of the coefficient at `position` being 0; `None` beyond the last or if its standard error is 0.
    #[must_use]
    pub fn p_value(&self, position: usize) -> Option<f64> {
        let (value, standard_error) = (self.estimates.get(position)?, self.standard_errors.get(position)?);
        if *standard_error > 0.0 {
            t_two_sided(value / standard_error, self.degrees_of_freedom as f64).ok()
        } else {
            None
        }
    }
}

/// Regresses `y` on the terms.
///
/// # Errors
/// If there are no terms, no more observations than terms, a length differs, a number is not finite, or a term is a
/// linear combination of those before it.
pub fn linear_regression(terms: &[Term], y: &[f64]) -> Result<LinearFit, InputError> {
    let (n, p) = (y.len(), terms.len());
    at_least("terms", 1, p)?;
    at_least("observations", p + 1, n)?;
    all_finite("observations", y)?;
    for term in terms {
        same_length("values of a term", n, term.values.len())?;
        all_finite("values of a term", term.values)?;
    }
    let x = DMatrix::from_fn(n, p, |i, j| terms[j].values[i]);
    let lengths: Vec<f64> = (0..p).map(|j| x.column(j).norm()).collect();
    let qr = x.clone().qr();
    let r = qr.r();
    // |R_jj| is what is left of column j after projection on the columns before it
    let adds_something = |j: usize| r[(j, j)].abs() > RANK_TOLERANCE * lengths[j];
    if let Some(term) = (0..p).find(|&j| !adds_something(j)).map(|j| terms[j].name) {
        return Err(InputError::RankDeficient { term: term.to_owned() });
    }
    let rank_lost = || InputError::RankDeficient { term: terms[p - 1].name.to_owned() };
    let solve = |right: &DVector<f64>| {
        let mut rotated = right.clone();
        qr.q_tr_mul(&mut rotated);
        r.solve_upper_triangular(&rotated.rows(0, p).into_owned()).ok_or_else(rank_lost)
    };
    let residuals_of = |b: &DVector<f64>| {
        DVector::from_fn(n, |i, _| sum(std::iter::once(y[i]).chain((0..p).map(|j| -x[(i, j)] * b[j]))))
    };
    let mut b = solve(&DVector::from_column_slice(y))?;
    b += solve(&residuals_of(&b))?;
    let residuals = residuals_of(&b);
    let rss = sum(residuals.iter().map(|e| e * e));
    let degrees_of_freedom = n - p;
    let variance = rss / degrees_of_freedom as f64;
    let inverse = r.solve_upper_triangular(&DMatrix::identity(p, p)).ok_or_else(rank_lost)?;
    let covariance = variance * &inverse * inverse.transpose();
    Ok(LinearFit {
        names: terms.iter().map(|t| t.name.to_owned()).collect(),
        estimates: b.as_slice().to_vec(),
        standard_errors: covariance.diagonal().iter().map(|v| v.sqrt()).collect(),
        covariance,
        rss,
        residual_sd: variance.sqrt(),
        degrees_of_freedom,
        residuals: residuals.as_slice().to_vec(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONES: Term = Term { name: "intercept", values: &[1.0; 4] };

    #[test]
    fn a_straight_line_by_hand() {
        // x 0 1 2 3, y 1 2 2 5: Sxx 5, Sxy 6, slope 1.2, intercept 2.5 - 1.2 x 1.5 = 0.7; RSS 9 - 36/5 = 1.8
        let x = Term { name: "x", values: &[0.0, 1.0, 2.0, 3.0] };
        let fit = linear_regression(&[ONES, x], &[1.0, 2.0, 2.0, 5.0]).unwrap();
        assert!((fit.estimates[0] - 0.7).abs() < 1e-15 && (fit.estimates[1] - 1.2).abs() < 1e-15);
        assert!((fit.rss - 1.8).abs() < 1e-14);
        assert!((fit.residual_sd - 0.9_f64.sqrt()).abs() < 1e-14);
        assert!((fit.standard_errors[1] - (0.9_f64 / 5.0).sqrt()).abs() < 1e-15);
        // t with 2 degrees of freedom has a closed form: p = 1 - t / sqrt(2 + t2)
        let t = 1.2 / (0.9_f64 / 5.0).sqrt();
        assert!((fit.p_value(1).unwrap() - (1.0 - t / (2.0 + t * t).sqrt())).abs() < 1e-13);
        let slope = fit.coefficient(fit.position("x").unwrap(), Level::NINETY_FIVE).unwrap();
        let half = 0.95 / (2.0_f64 * 0.975 * 0.025).sqrt() * slope.standard_error;
        assert!((slope.interval.high - (1.2 + half)).abs() < 1e-13);
        assert!(fit.coefficient(2, Level::NINETY_FIVE).is_none());
    }

    #[test]
    fn residuals_are_at_right_angles_to_every_term() {
        let (a, b) = ([0.3, 1.7, 2.2, -4.0], [9.0, 1.0, 1.0, 2.0]);
        let terms = [ONES, Term { name: "a", values: &a }, Term { name: "b", values: &b }];
        let fit = linear_regression(&terms, &[3.0, -1.0, 4.0, 1.5]).unwrap();
        for term in terms {
            let product = sum(term.values.iter().zip(&fit.residuals).map(|(x, e)| x * e));
            assert!(product.abs() < 1e-13);
        }
    }

    #[test]
    fn a_term_that_repeats_earlier_ones_is_named() {
        let x = Term { name: "x", values: &[0.0, 1.0, 2.0, 3.0] };
        let twice = Term { name: "2x + 1", values: &[1.0, 3.0, 5.0, 7.0] };
        let zero = Term { name: "zero", values: &[0.0; 4] };
        for bad in [twice, zero] {
            let error = linear_regression(&[ONES, x, bad], &[1.0, 2.0, 2.0, 5.0]).unwrap_err();
            assert_eq!(error, InputError::RankDeficient { term: bad.name.to_owned() });
        }
    }

    #[test]
    fn too_few_observations_unequal_lengths_and_nan_are_refused() {
        let x = Term { name: "x", values: &[0.0, 1.0, f64::NAN, 3.0] };
        assert!(linear_regression(&[ONES, x], &[1.0; 4]).is_err());
        assert!(linear_regression(&[ONES], &[1.0; 3]).is_err());
        assert!(linear_regression(&[], &[1.0; 3]).is_err());
        assert!(linear_regression(&[ONES; 4], &[1.0; 4]).is_err());
        assert!(linear_regression(&[ONES], &[1.0, f64::NAN, 1.0, 1.0]).is_err());
    }
}
