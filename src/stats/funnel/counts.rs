//! What the limits need to know of a distribution of counts.

use statrs::function::beta::beta_reg;

use crate::poisson_binomial::PoissonBinomial;

/// A distribution on 0 to `most`.
pub(super) trait Counts {
    /// The largest count that can occur.
    fn most(&self) -> u64;
    /// P(R <= r).
    fn at_most(&self, r: u64) -> f64;
    /// P(R >= r).
    fn at_least(&self, r: u64) -> f64;

    /// The smallest r with P(R <= r) >= `p`, by bisection.
    fn lower_quantile(&self, p: f64) -> u64 {
        first(0, self.most(), |r| self.at_most(r) >= p)
    }

    /// The largest r with P(R >= r) >= `p`, by bisection.
    fn upper_quantile(&self, p: f64) -> u64 {
        // P(R >= r) falls with r; the first r where it is below p, less one
        first(0, self.most() + 1, |r| r > self.most() || self.at_least(r) < p).saturating_sub(1)
    }
}

/// The smallest of `low..=high` where `holds`, which stays true once it is; `high` if none before.
fn first(mut low: u64, mut high: u64, holds: impl Fn(u64) -> bool) -> u64 {
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(middle) { high = middle } else { low = middle + 1 }
    }
    low
}

/// Successes in `trials` with probability `p`, 0 < p < 1. Tails are regularised incomplete beta functions.
pub(super) struct Binomial {
    pub(super) trials: u64,
    pub(super) p: f64,
}

impl Counts for Binomial {
    fn most(&self) -> u64 {
        self.trials
    }

    fn at_most(&self, r: u64) -> f64 {
        if r >= self.trials {
            return 1.0;
        }
        beta_reg((self.trials - r) as f64, r as f64 + 1.0, 1.0 - self.p)
    }

    fn at_least(&self, r: u64) -> f64 {
        if r == 0 {
            return 1.0;
        }
        if r > self.trials {
            return 0.0;
        }
        beta_reg(r as f64, (self.trials - r) as f64 + 1.0, self.p)
    }
}

impl Counts for PoissonBinomial {
    fn most(&self) -> u64 {
        self.trials()
    }

    fn at_most(&self, r: u64) -> f64 {
        PoissonBinomial::at_most(self, r)
    }

    fn at_least(&self, r: u64) -> f64 {
        PoissonBinomial::at_least(self, r)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_binomial_agrees_with_a_sum_of_equal_trials() {
        let (a, b) = (Binomial { trials: 37, p: 0.3 }, PoissonBinomial::new(&[0.3; 37]).unwrap());
        for r in 0..=38 {
            assert!((a.at_most(r) / b.at_most(r) - 1.0).abs() < 1e-11);
            assert!((a.at_least(r) - b.at_least(r)).abs() <= 1e-11 * b.at_least(r));
        }
        for p in [0.001, 0.025, 0.5, 0.975] {
            assert_eq!((a.lower_quantile(p), a.upper_quantile(p)), (b.lower_quantile(p), b.upper_quantile(p)));
        }
    }

    #[test]
    fn quantiles_keep_their_definition() {
        let b = Binomial { trials: 20, p: 0.5 };
        for p in [0.001, 0.025, 0.4] {
            let (low, high) = (b.lower_quantile(p), b.upper_quantile(p));
            assert!(b.at_most(low) >= p && (low == 0 || b.at_most(low - 1) < p));
            assert!(b.at_least(high) >= p && b.at_least(high + 1) < p);
            assert_eq!(low + high, 20); // symmetric
        }
    }
}
