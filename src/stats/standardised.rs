//! Groups held against a model that knows no groups: observed, expected, and whether the difference is chance.
//!
//! **Formula.** A regression without groups gives each observation its mean mu_i with weight w_i (the variance of a
//! Bernoulli observation, mu (1 - mu), or 1 for a linear model). For a group S: O = sum of y over S, E = sum of mu (indirect
//! standardisation). The model was fitted to S as well, which draws E towards O; the score test of an indicator of S allows
//! for that (Rao 1948, Proc Camb Phil Soc 44:50-7):
//!
//! ```text
//! U = O - E,   V = sum of w over S - c' (X'WX)^-1 c,   c = sum of w x over S,   z = U / sqrt(V)
//! ```
//!
//! A count moves in whole steps, so its p value is that of |U| - 1/2 (continuity correction, Yates 1934, J R Stat Soc Suppl 1:217-35).
//!
//! For a linear model U / sqrt(V s2), s2 = (RSS - U^2 / V) / (n - p - 1), is the t statistic that the indicator would have if it
//! were added to the model (the added-variable identity), so its p value is exact under normal errors.
//!
//! **What the columns hold already.** Where a group differs from the others in a column, the model takes a part of the group's own
//! effect for the column's. With V0 = w(S) (1 - w(S) / w(all)), which is V without columns, the group's effect is kappa (O - E),
//! kappa = V0 / V (exact for a linear model), so O - kappa (O - E) is what would be expected of it by a model of the others.
//!
//! **Domain and edge cases.** A group that the model's own columns reproduce (V = 0 to rounding), an empty group, or one
//! that is everybody has no test: `z` is `None`.
//!
//! **Published values.** None needed: the linear statistic is compared with the regression that has the indicator (an
//! identity), the binary one with R's `anova(test = "Rao")`, folder `rao_score`.

use nalgebra::{DMatrix, DVector};

use crate::distribution::{chi_square_tail, t_two_sided};
use crate::error::{InputError, all_finite, same_length};
use crate::linear_regression::{Term, linear_regression};
use crate::logistic::LogisticFit;

/// A share of the weight of a group below which nothing of it is left after the model's columns.
const NOTHING_LEFT: f64 = 1e-9;
/// A group of which the columns hold more than this cannot be told from what it alone records or uses.
pub const MOST_SHARED: f64 = 4.0;

/// How observations vary around their mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Each observation is 0 or 1; its weight is its variance.
    Bernoulli,
    /// Normal errors of one unknown variance; weights are 1.
    Normal {
        /// Residual sum of squares of the model without groups.
        rss: f64,
        /// Observations less columns.
        degrees_of_freedom: f64,
    },
}

/// A fitted model that knows no groups.
#[derive(Debug, Clone, PartialEq)]
pub struct WithoutGroups {
    columns: usize,
    design: Vec<f64>,
    observed: Vec<f64>,
    expected: Vec<f64>,
    weights: Vec<f64>,
    total_weight: f64,
    inverse_information: DMatrix<f64>,
    spread: Spread,
}

/// A group against what the model expects of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Held {
    /// Observations.
    pub n: usize,
    /// Their sum.
    pub observed: f64,
    /// Sum of their means under the model.
    pub expected: f64,
    /// Variance of the sum if the means were known (sum of the weights, times s2 for normal errors).
    pub variance: f64,
    /// How much of what tells the group from the others the model's columns hold already: 1 for none. A model of the
    /// group's own would set it (observed - expected) times this from the others; above [`MOST_SHARED`] there is no score.
    pub shared: f64,
    /// Standard score of observed - expected, z or t; `None` where there is no test.
    pub score: Option<f64>,
    /// Its two-sided p value.
    pub p: Option<f64>,
}

impl WithoutGroups {
    /// The linear regression of `observed` on a design with named columns, row after row.
    ///
    /// # Errors
    /// Those of [`linear_regression`].
    pub fn linear(names: &[String], design: Vec<f64>, observed: Vec<f64>) -> Result<Self, InputError> {
        let columns = names.len();
        same_length("design", observed.len() * columns, design.len())?;
        let by_column: Vec<Vec<f64>> =
            (0..columns).map(|j| design.iter().skip(j).step_by(columns.max(1)).copied().collect()).collect();
        let terms: Vec<Term<'_>> = names.iter().zip(&by_column).map(|(name, values)| Term { name, values }).collect();
        let fit = linear_regression(&terms, &observed)?;
        let degrees_of_freedom = fit.degrees_of_freedom as f64;
        let s2 = fit.rss / degrees_of_freedom;
        Ok(Self {
            columns,
            design,
            expected: observed.iter().zip(&fit.residuals).map(|(y, residual)| y - residual).collect(),
            weights: vec![1.0; observed.len()],
            total_weight: observed.len() as f64,
            inverse_information: if s2 > 0.0 { fit.covariance / s2 } else { fit.covariance },
            observed,
            spread: Spread::Normal { rss: fit.rss, degrees_of_freedom },
        })
    }

    /// The model of a logistic regression fitted to single yes-or-no observations.
    ///
    /// # Errors
    /// If lengths differ, or the design is not finite.
    pub fn logistic(fit: &LogisticFit, design: Vec<f64>, observed: Vec<f64>) -> Result<Self, InputError> {
        let columns = fit.coefficients.len();
        same_length("design", observed.len() * columns, design.len())?;
        all_finite("design", &design)?;
        let chance = |row: &[f64]| {
            let predictor: f64 = row.iter().zip(&fit.coefficients).map(|(x, b)| x * b).sum();
            1.0 / (1.0 + (-predictor).exp())
        };
        let expected: Vec<f64> = design.chunks_exact(columns.max(1)).map(chance).collect();
        let weights: Vec<f64> = expected.iter().map(|mu| mu * (1.0 - mu)).collect();
        Ok(Self {
            columns,
            total_weight: weights.iter().sum(),
            weights,
            design,
            observed,
            expected,
            inverse_information: fit.covariance.clone(),
            spread: Spread::Bernoulli,
        })
    }

    /// Observations.
    #[must_use]
    pub fn observed(&self) -> &[f64] {
        &self.observed
    }

    /// Their means under the model.
    #[must_use]
    pub fn expected(&self) -> &[f64] {
        &self.expected
    }

    /// How they vary.
    #[must_use]
    pub fn spread(&self) -> Spread {
        self.spread
    }

    /// Holds the observations at `members` (positions, each once) against the model. Positions beyond the last are left out.
    #[must_use]
    pub fn hold(&self, members: &[usize]) -> Held {
        let mut held = Held { n: 0, observed: 0.0, expected: 0.0, variance: 0.0, shared: 1.0, score: None, p: None };
        let mut c = DVector::zeros(self.columns);
        let mut weight = 0.0;
        for &i in members {
            let (Some(y), Some(mu), Some(w)) = (self.observed.get(i), self.expected.get(i), self.weights.get(i)) else {
                continue;
            };
            held.n += 1;
            held.observed += y;
            held.expected += mu;
            weight += w;
            for (c, x) in c.iter_mut().zip(&self.design[i * self.columns..(i + 1) * self.columns]) {
                *c += w * x;
            }
        }
        let left = weight - (&self.inverse_information * &c).dot(&c);
        held.variance = weight * self.residual_variance();
        // without columns but the intercept this would be left
        let alone = weight * (1.0 - weight / self.total_weight);
        held.shared = if left > NOTHING_LEFT * weight { (alone / left).max(1.0) } else { f64::INFINITY };
        if held.shared <= MOST_SHARED && held.n < self.observed.len() {
            let u = held.observed - held.expected;
            (held.score, held.p) = match self.spread {
                Spread::Bernoulli => {
                    let z = u / left.sqrt();
                    let corrected = (u.abs() - 0.5).max(0.0) / left.sqrt();
                    (Some(z), chi_square_tail(corrected * corrected, 1.0).ok())
                }
                Spread::Normal { rss, degrees_of_freedom } => {
                    let variance = (rss - u * u / left) / (degrees_of_freedom - 1.0);
                    let t = (variance > 0.0).then(|| u / (left * variance).sqrt());
                    (t, t.and_then(|t| t_two_sided(t, degrees_of_freedom - 1.0).ok()))
                }
            };
        }
        held
    }

    fn residual_variance(&self) -> f64 {
        match self.spread {
            Spread::Bernoulli => 1.0,
            Spread::Normal { rss, degrees_of_freedom } => rss / degrees_of_freedom,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const X: [f64; 8] = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0];
    const Y: [f64; 8] = [1.0, 2.5, 2.0, 4.5, 4.0, 7.0, 6.0, 8.5];

    #[test]
    fn the_linear_score_is_the_t_statistic_of_an_added_indicator() {
        let ones = [1.0; 8];
        let member = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 1.0, 0.0];
        let terms = [("1", &ones), ("x", &X), ("g", &member)].map(|(name, values)| Term { name, values });
        let with = linear_regression(&terms, &Y).unwrap();
        let design: Vec<f64> = X.iter().flat_map(|x| [1.0, *x]).collect();
        let model = WithoutGroups::linear(&["1".to_owned(), "x".to_owned()], design, Y.to_vec()).unwrap();
        let held = model.hold(&[1, 3, 5, 6]);
        let t = with.estimates[2] / with.standard_errors[2];
        assert!((held.score.unwrap() - t).abs() < 1e-10, "{held:?} {t}");
        assert!((held.p.unwrap() - with.p_value(2).unwrap()).abs() < 1e-10);
        assert_eq!((held.n, held.observed), (4, 20.0));
        // the effect of the indicator is the difference to the others; the group is half of all
        let effect = held.shared * (held.observed - held.expected) / 4.0;
        assert!((effect - with.estimates[2] / 2.0).abs() < 1e-10, "{effect}");
    }

    #[test]
    fn a_group_that_a_column_marks_cannot_be_told_from_the_column() {
        let member = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 1.0, 0.0];
        let design: Vec<f64> = member.iter().flat_map(|x| [1.0, *x]).collect();
        let model = WithoutGroups::linear(&["1".to_owned(), "g".to_owned()], design, Y.to_vec()).unwrap();
        let held = model.hold(&[1, 3, 5, 6]);
        assert_eq!((held.score, held.p), (None, None));
        assert!(held.shared > MOST_SHARED);
    }

    /// One proportion against the rest without covariates is the 2 x 2 table: the score statistic squared is Pearson's
    /// chi-square, here of 8 of 10 against 3 of 10: 20 (8 x 7 - 2 x 3)^2 / (10 x 10 x 11 x 9).
    #[test]
    fn without_covariates_the_binary_score_is_pearsons_chi_square() {
        let model = WithoutGroups {
            columns: 1,
            design: vec![1.0; 20],
            observed: (0..20).map(|i| f64::from(u8::from(i < 8 || (10..13).contains(&i)))).collect(),
            expected: vec![0.55; 20],
            weights: vec![0.55 * 0.45; 20],
            total_weight: 20.0 * 0.55 * 0.45,
            inverse_information: DMatrix::from_element(1, 1, 1.0 / (20.0 * 0.55 * 0.45)),
            spread: Spread::Bernoulli,
        };
        let held = model.hold(&(0..10).collect::<Vec<_>>());
        assert!((held.score.unwrap().powi(2) - 50_000.0 / 9_900.0).abs() < 1e-12, "{held:?}");
        // Yates's chi-square of the same table: 20 (|8 x 7 - 2 x 3| - 10)^2 / (10 x 10 x 11 x 9) = 3.232, p 0.0722
        assert!((held.p.unwrap() - chi_square_tail(32_000.0 / 9_900.0, 1.0).unwrap()).abs() < 1e-12, "{held:?}");
        assert_eq!(model.hold(&(0..20).collect::<Vec<_>>()).score, None, "everybody has nobody to differ from");
        assert_eq!(model.hold(&[]).score, None);
        assert_eq!(model.hold(&[99]).n, 0);
    }
}
