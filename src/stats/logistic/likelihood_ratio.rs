//! Likelihood-ratio test and profile limits of one coefficient under maximum likelihood.
//!
//! **Formula.** With l(b) the log-likelihood maximised over the other coefficients while this one is held at b: the statistic of
//! b = 0 is 2 (l(estimate) - l(0)), chi-square with 1 degree of freedom; the limits are the b at which 2 (l(estimate) - l(b)) is the
//! level's chi-square quantile (Venzon & Moolgavkar 1988, Appl Stat 37:87-94). Test and interval agree: the interval holds 0
//! exactly where the test does not reject.
//!
//! **Edge cases.** The fit's own maximum exists, so that of the others with one held does too: the likelihood is concave.
//!
//! **Cost.** A fit of the other coefficients at each value tried, about eight in all.

use super::fitted::{LogisticFit, Method};
use super::newton;
use super::profile::limit;
use super::rows::{Checked, Rows};
use crate::distribution::{chi_square_tail, normal_quantile};
use crate::error::{InputError, at_least};
use crate::interval::Interval;
use crate::level::Level;

/// The limit is found when it moves by less than this share of the standard error.
const CLOSE: f64 = 1e-6;

/// What the likelihood says of one coefficient.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LikelihoodRatio {
    /// Profile limits.
    pub interval: Interval,
    /// Two-sided p value of the coefficient's being 0.
    pub p: f64,
}

/// Test and limits of a coefficient of `fit`, which must be the maximum-likelihood fit to these `rows`; `None` where a limit is not
/// found within 1,000 standard errors or a fit of the others fails.
///
/// # Errors
/// If the rows are faulty, the fit is not of maximum likelihood or not of as many columns, there is no such column, or no other.
pub fn likelihood_ratio(
    rows: &Rows,
    fit: &LogisticFit,
    column: usize,
    level: Level,
) -> Result<Option<LikelihoodRatio>, InputError> {
    let all = rows.check()?;
    let p = all.columns();
    if fit.method != Method::MaximumLikelihood || fit.coefficients.len() != p {
        return Err(InputError::OutOfRange { what: "fit", domain: "the maximum-likelihood fit to the same rows" });
    }
    if column >= p {
        return Err(InputError::OutOfRange { what: "column", domain: "one of the design's" });
    }
    at_least("columns", 2, p)?;
    let without = |list: &[f64]| -> Vec<f64> {
        list.chunks_exact(p).flat_map(|row| [&row[..column], &row[column + 1..]].concat()).collect()
    };
    let names = [&rows.names[..column], &rows.names[column + 1..]].concat();
    let held: Vec<f64> = rows.design.iter().skip(column).step_by(p).copied().collect();
    let known = rows.offset.map_or_else(|| vec![0.0; all.len()], <[f64]>::to_vec);
    let mut others = Checked {
        design: without(rows.design).into(),
        successes: all.successes.clone(),
        trials: all.trials.clone(),
        offset: None,
        names: &names,
        scales: without(&all.scales),
    };
    let top = fit.evidence.value;
    let mut fall = |value: f64| -> Option<f64> {
        others.offset = Some(known.iter().zip(&held).map(|(known, x)| known + value * x).collect());
        match newton::maximise(&others, &vec![0.0; others.columns()]) {
            newton::End::Maximum(fit) => Some(top - fit.evidence.value),
            _ => None,
        }
    };
    let Some(statistic) = fall(0.0).map(|fall| 2.0 * fall.max(0.0)) else { return Ok(None) };
    let (centre, error) = (fit.coefficients[column], fit.covariance[(column, column)].sqrt());
    let target = normal_quantile(level.tail())?.powi(2) / 2.0;
    let mut limit = |side: f64| limit(centre, side * error, target, CLOSE, &mut fall);
    let Some((low, high)) = limit(-1.0).zip(limit(1.0)) else { return Ok(None) };
    Ok(Some(LikelihoodRatio { interval: Interval { low, high }, p: chi_square_tail(statistic, 1.0)? }))
}

#[cfg(test)]
mod tests {
    use super::super::{Outcome, logistic};
    use super::*;

    /// 56 of 70 against 48 of 80.
    const GROUPS: Rows<'static> = Rows {
        successes: &[56, 48],
        trials: &[70, 80],
        design: &[1.0, 1.0, 1.0, 0.0],
        names: &["intercept", "first"],
        offset: None,
    };

    fn fit(rows: &Rows) -> LogisticFit {
        match logistic(rows).unwrap() {
            Outcome::Fitted(fit) => *fit,
            other => panic!("{other:?}"),
        }
    }

    /// Log-likelihood of two groups that share the rest when the log odds ratio is held, by bisection on the score.
    fn held(log_odds_ratio: f64) -> f64 {
        let chance = |eta: f64| 1.0 / (1.0 + (-eta).exp());
        let score = |a: f64| 104.0 - 70.0 * chance(a + log_odds_ratio) - 80.0 * chance(a);
        let (mut low, mut high) = (-20.0, 20.0);
        for _ in 0..200 {
            let middle = (low + high) / 2.0;
            if score(middle) > 0.0 { low = middle } else { high = middle }
        }
        let term = |y: f64, n: f64, eta: f64| y * chance(eta).ln() + (n - y) * chance(-eta).ln();
        term(56.0, 70.0, low + log_odds_ratio) + term(48.0, 80.0, low)
    }

    #[test]
    fn the_test_of_two_groups_is_the_g_statistic_of_their_table() {
        // by hand: G = 2 sum O ln(O / E), E = 70 x 104 / 150 = 48.5333 and so on
        let cells: [(f64, f64); 4] =
            [(56.0, 70.0 * 104.0), (14.0, 70.0 * 46.0), (48.0, 80.0 * 104.0), (32.0, 80.0 * 46.0)];
        let g: f64 = cells.iter().map(|(o, e)| 2.0 * o * (o * 150.0 / e).ln()).sum();
        let found = likelihood_ratio(&GROUPS, &fit(&GROUPS), 1, Level::NINETY_FIVE).unwrap().unwrap();
        assert!((found.p - chi_square_tail(g, 1.0).unwrap()).abs() < 1e-10, "{} {g}", found.p);
    }

    #[test]
    fn at_the_limits_the_likelihood_has_fallen_by_half_of_the_chi_square_quantile() {
        let estimate = fit(&GROUPS);
        let found = likelihood_ratio(&GROUPS, &estimate, 1, Level::NINETY_FIVE).unwrap().unwrap();
        for limit in [found.interval.low, found.interval.high] {
            let fall = 2.0 * (held(estimate.coefficients[1]) - held(limit));
            assert!((fall - 3.841_458_821).abs() < 1e-4, "{limit}: {fall}");
        }
        assert!(found.interval.contains(estimate.coefficients[1]));
    }

    #[test]
    fn an_offset_is_kept_and_a_wrong_column_or_fit_is_refused() {
        let shifted = Rows { offset: Some(&[0.7, 0.0]), ..GROUPS };
        let (plain, moved) = (fit(&GROUPS), fit(&shifted));
        let of = |rows: &Rows, fit| likelihood_ratio(rows, fit, 1, Level::NINETY_FIVE).unwrap().unwrap().interval;
        assert!((of(&GROUPS, &plain).low - of(&shifted, &moved).low - 0.7).abs() < 1e-5);
        assert!(likelihood_ratio(&GROUPS, &plain, 2, Level::NINETY_FIVE).is_err());
        let alone = Rows { design: &[1.0, 1.0], names: &["intercept"], ..GROUPS };
        assert!(likelihood_ratio(&alone, &fit(&alone), 0, Level::NINETY_FIVE).is_err());
        assert!(likelihood_ratio(&alone, &plain, 0, Level::NINETY_FIVE).is_err());
    }
}
