//! How far groups lie apart beyond their case mix, and each group drawn towards the others: the linear model.
//!
//! **Formula.** y = X beta + b_g + e with b_g ~ N(0, tau2), e ~ N(0, sigma2), fitted by restricted maximum likelihood
//! ([`crate::lmm`], one random effect). Given the fit, with S_g the sum of y - X beta over the n_g observations of a group
//! (Robinson 1991, Stat Sci 6:15-32):
//!
//! ```text
//! b_g = tau2 S_g / (sigma2 + n_g tau2),     var(b_g | y) = tau2 sigma2 / (sigma2 + n_g tau2)
//! ```
//!
//! **Domain and edge cases.** At most [`MOST_COLUMNS`] columns. Where the groups do not differ more than chance makes them,
//! tau is zero and so is every effect, with no spread: said by `sd == 0`, no error. The variance leaves out that beta and the
//! variances are estimates.
//!
//! **Published values.** Dyestuff (Davies & Goldsmith 1972) against lme4, folder `between_dyestuff`.

use nalgebra::SVector;

use crate::error::{InputError, same_length};
use crate::lmm::{Criterion, Outcome, Reduced, Refusal, SubjectSums, fit_blocks};

/// Most columns of the design.
pub const MOST_COLUMNS: usize = 32;

/// Groups apart from each other.
#[derive(Debug, Clone, PartialEq)]
pub struct BetweenGroups {
    /// SD between groups, in the unit of the observations; 0 where they do not differ beyond chance.
    pub sd: f64,
    /// SD within groups.
    pub residual_sd: f64,
    /// Coefficients of the columns.
    pub coefficients: Vec<f64>,
    /// Mean of X beta over all observations: where the average group stands with everybody's case mix.
    pub average: f64,
    /// By group, in the order of their numbers; a group without observations has effect 0 and the whole spread.
    pub groups: Vec<GroupEffect>,
}

/// One group's own effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupEffect {
    /// Observations.
    pub n: usize,
    /// Posterior mean.
    pub value: f64,
    /// Posterior SD.
    pub sd: f64,
}

/// Fits the model. `group` numbers each observation's group, from 0.
///
/// # Errors
/// If lengths differ, there are no or too many columns, or a number is not finite.
pub fn between_groups(
    columns: usize,
    design: &[f64],
    y: &[f64],
    group: &[usize],
) -> Result<Result<BetweenGroups, Refusal>, InputError> {
    if columns == 0 || columns > MOST_COLUMNS {
        return Err(InputError::OutOfRange { what: "number of columns", domain: "from 1 to 32" });
    }
    same_length("design", y.len() * columns, design.len())?;
    same_length("groups", y.len(), group.len())?;
    let groups = group.iter().max().map_or(0, |last| last + 1);
    let mut sums: Vec<SubjectSums<1, MOST_COLUMNS>> = vec![SubjectSums::default(); groups];
    let one = SVector::<f64, 1>::new(1.0);
    for ((row, &y), &g) in design.chunks_exact(columns).zip(y).zip(group) {
        let x = SVector::<f64, MOST_COLUMNS>::from_fn(|j, _| row.get(j).copied().unwrap_or(0.0));
        sums[g].add(&one, &x, y);
    }
    let fit = match fit_blocks(&Reduced::gather(columns, sums)?, Criterion::Reml) {
        Outcome::Fitted(fit) => fit,
        Outcome::NotFitted(why) => return Ok(Err(why)),
    };
    let (tau2, sigma2) = (fit.g[(0, 0)], fit.sigma * fit.sigma);
    let predicted = |row: &[f64]| row.iter().zip(fit.beta.iter()).map(|(x, b)| x * b).sum::<f64>();
    let mut rest = vec![(0_usize, 0.0); groups];
    let mut average = 0.0;
    for ((row, &y), &g) in design.chunks_exact(columns).zip(y).zip(group) {
        let mean = predicted(row);
        average += mean;
        rest[g].0 += 1;
        rest[g].1 += y - mean;
    }
    let effect = |(n, sum): (usize, f64)| {
        let total = sigma2 + n as f64 * tau2;
        GroupEffect { n, value: tau2 * sum / total, sd: (tau2 * sigma2 / total).sqrt() }
    };
    Ok(Ok(BetweenGroups {
        sd: tau2.sqrt(),
        residual_sd: fit.sigma,
        coefficients: fit.beta.iter().copied().collect(),
        average: average / y.len() as f64,
        groups: rest.into_iter().map(effect).collect(),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_that_do_not_differ_have_no_spread_and_no_effects() {
        // every group has the same two values
        let y: Vec<f64> = (0..12).map(|i| f64::from(i % 2)).collect();
        let group: Vec<usize> = (0..12).map(|i| i / 4).collect();
        let found = between_groups(1, &[1.0; 12], &y, &group).unwrap().unwrap();
        assert!(found.sd == 0.0 && (found.average - 0.5).abs() < 1e-15);
        assert!(found.groups.iter().all(|g| g.n == 4 && g.value == 0.0 && g.sd == 0.0));
    }

    #[test]
    fn a_group_of_few_is_drawn_further_towards_the_others() {
        // groups 0 and 1 lie 4 above and below; group 2 is as high as group 0 but has one observation
        let mut y: Vec<f64> = Vec::new();
        let mut group = Vec::new();
        for (g, level, n) in [(0, 14.0, 20), (1, 6.0, 20), (2, 14.0, 1), (3, 10.0, 20)] {
            for i in 0..n {
                y.push(level + if n > 1 { f64::from(i % 5) - 2.0 } else { 0.0 });
                group.push(g);
            }
        }
        let found = between_groups(1, &vec![1.0; y.len()], &y, &group).unwrap().unwrap();
        let (many, few) = (found.groups[0], found.groups[2]);
        assert!(few.value < many.value && few.value > 0.0 && few.sd > 2.0 * many.sd, "{found:?}");
        assert!((found.groups[0].value + found.average - 14.0).abs() < 0.3, "{found:?}");
    }

    #[test]
    fn too_many_columns_or_a_wrong_length_is_refused() {
        assert!(between_groups(33, &[0.0; 33], &[1.0], &[0]).is_err());
        assert!(between_groups(1, &[1.0], &[1.0, 2.0], &[0, 0]).is_err());
        assert!(matches!(
            between_groups(1, &[1.0, 1.0], &[1.0, 2.0], &[0, 0]),
            Ok(Err(Refusal::TooFewSubjects { .. }))
        ));
    }
}
