//! Natural cubic splines in log(1 + time).
//!
//! **Formula.** With s = log(1 + t), knots k1 < ... < kK in s and (u)+ = max(u, 0): the functions 1, s and, for j from 1 to
//! K - 2, (d_j - d_(K-1)) / (kK - k1)^2 with d_j = ((s - k_j)+^3 - (s - kK)+^3) / (kK - k_j) (Hastie, Tibshirani &
//! Friedman 2009, The Elements of Statistical Learning, 5.2.1; the divisor is Harrell's 2015, Regression Modeling
//! Strategies, 2.4.5, so that all functions have the unit of s). Straight in s beyond both outer knots; two continuous
//! derivatives. K - 1 degrees of freedom beside the constant.
//!
//! **Time 0** is s = 0: with the first knot there, all functions but the constant are 0 at the start, so that a subject's
//! random constant is its own level at the start.
//!
//! **Knots** from data: the first at the earliest time, the last at the 95th percentile of the later times, the others at
//! equally spaced quantiles of the later times. If a crowded visit day makes two of these equal: the same of the distinct
//! times, the last at the latest. A choice of this program.
//!
//! **Domain.** Times finite and not negative, 1 to 3 degrees of freedom.
//!
//! **Reference.** R's `splines::ns`, folder `natural_spline`.

use crate::error::{InputError, all_finite};
use crate::quantile::Sorted;

/// The most functions a spline here has, the constant among them.
pub const MOST_FUNCTIONS: usize = 4;
/// Share of the later times before the last knot.
const LAST_KNOT: f64 = 0.95;

/// A basis of natural cubic splines.
#[derive(Debug, Clone, PartialEq)]
pub struct Spline {
    /// Knots in log(1 + time), ascending; one a function.
    knots: Vec<f64>,
}

impl Spline {
    /// With knots at the given times.
    ///
    /// # Errors
    /// Unless there are 2 to 4 knots, ascending, none negative.
    pub fn with_knots(times: &[f64]) -> Result<Self, InputError> {
        if !(2..=MOST_FUNCTIONS).contains(&times.len()) {
            return Err(InputError::OutOfRange { what: "number of knots", domain: "from 2 to 4" });
        }
        check_times("knots", times)?;
        let knots: Vec<f64> = times.iter().map(|t| t.ln_1p()).collect();
        match knots.windows(2).position(|pair| pair[0] >= pair[1]) {
            Some(index) => Err(InputError::BadElement { what: "knots", index: index + 1, domain: "ascending" }),
            None => Ok(Self { knots }),
        }
    }

    /// With knots chosen from the times of all readings; see the module's head.
    ///
    /// # Errors
    /// Unless `degrees_of_freedom` is 1 to 3, the times are finite and not negative, and more of them differ than there are
    /// degrees of freedom.
    pub fn from_times(times: &[f64], degrees_of_freedom: usize) -> Result<Self, InputError> {
        if !(1..MOST_FUNCTIONS).contains(&degrees_of_freedom) {
            return Err(InputError::OutOfRange { what: "degrees of freedom of a spline", domain: "from 1 to 3" });
        }
        check_times("times", times)?;
        let first = times.iter().copied().fold(f64::INFINITY, f64::min);
        let later: Vec<f64> = times.iter().copied().filter(|t| *t > first).collect();
        let mut distinct = later.clone();
        distinct.sort_unstable_by(f64::total_cmp);
        distinct.dedup();
        if distinct.len() < degrees_of_freedom {
            let found = if times.is_empty() { 0 } else { distinct.len() + 1 };
            return Err(InputError::TooFew { what: "distinct times", needed: degrees_of_freedom + 1, found });
        }
        let place = |values: &[f64], last: f64| {
            let sorted = Sorted::new(values)?;
            let mut knots = vec![first];
            for j in 1..degrees_of_freedom {
                knots.push(sorted.quantile(j as f64 / degrees_of_freedom as f64)?);
            }
            knots.push(sorted.quantile(last)?);
            Self::with_knots(&knots)
        };
        place(&later, LAST_KNOT).or_else(|_| place(&distinct, 1.0))
    }

    /// Number of functions, the constant among them.
    #[must_use]
    pub fn functions(&self) -> usize {
        self.knots.len()
    }

    /// The knots as times, ascending.
    #[must_use]
    pub fn knots(&self) -> Vec<f64> {
        self.knots.iter().map(|k| k.exp_m1()).collect()
    }

    /// The functions at time `t`; those beyond [`Self::functions`] are 0.
    ///
    /// # Errors
    /// If `t` is not finite or negative.
    pub fn at(&self, t: f64) -> Result<[f64; MOST_FUNCTIONS], InputError> {
        // "is within", so that NaN fails
        if !(t >= 0.0 && t.is_finite()) {
            return Err(InputError::OutOfRange { what: "time", domain: "finite and not negative" });
        }
        let s = t.ln_1p();
        let mut functions = [1.0, s, 0.0, 0.0];
        if let ([first, .., before_last, last], true) = (self.knots.as_slice(), self.knots.len() > 2) {
            let cube = |u: f64| u.max(0.0).powi(3);
            let d = |k: f64| (cube(s - k) - cube(s - last)) / (last - k);
            let unit = (last - first).powi(2);
            for (function, k) in functions[2..].iter_mut().zip(&self.knots[..self.knots.len() - 2]) {
                *function = (d(*k) - d(*before_last)) / unit;
            }
        }
        Ok(functions)
    }
}

fn check_times(what: &'static str, times: &[f64]) -> Result<(), InputError> {
    all_finite(what, times)?;
    match times.iter().position(|t| *t < 0.0) {
        Some(index) => Err(InputError::BadElement { what, index, domain: "not negative" }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Time with log(1 + t) = s.
    fn time(s: f64) -> f64 {
        s.exp_m1()
    }

    #[test]
    fn beyond_the_outer_knots_every_function_is_straight_in_the_logarithm() {
        let spline = Spline::with_knots(&[time(0.5), time(1.0), time(2.0), time(4.0)]).unwrap();
        for s in [[0.0, 0.2, 0.4], [4.5, 5.5, 6.5]] {
            let at = s.map(|s| spline.at(time(s)).unwrap());
            assert!((0..4).all(|j| (at[0][j] - 2.0 * at[1][j] + at[2][j]).abs() < 1e-12));
        }
        // and bent between them
        let at = [1.0, 1.5, 2.0].map(|s| spline.at(time(s)).unwrap());
        assert!((2..4).all(|j| (at[0][j] - 2.0 * at[1][j] + at[2][j]).abs() > 1e-3));
    }

    #[test]
    fn value_slope_and_bend_are_continuous_at_the_knots() {
        let knots = [0.0, 1.0, 2.0, 4.0];
        let spline = Spline::with_knots(&knots.map(time)).unwrap();
        let f = |s: f64, j: usize| spline.at(time(s)).unwrap()[j];
        for k in &knots[1..] {
            for j in 2..4 {
                let h = 1e-3;
                let (left, right) = (
                    f(k - 2.0 * h, j) - 2.0 * f(k - h, j) + f(*k, j),
                    f(k + 2.0 * h, j) - 2.0 * f(k + h, j) + f(*k, j),
                );
                assert!((left - right).abs() < 20.0 * h * h * h);
            }
        }
    }

    #[test]
    fn at_the_first_knot_at_time_zero_only_the_constant_is_left() {
        let spline = Spline::with_knots(&[0.0, 7.0, 42.0, 180.0]).unwrap();
        assert_eq!(spline.at(0.0).unwrap(), [1.0, 0.0, 0.0, 0.0]);
        assert_eq!(Spline::with_knots(&[0.0, 30.0]).unwrap().at(time(2.0)).unwrap()[2..], [0.0, 0.0]);
    }

    #[test]
    fn knots_are_quantiles_of_the_later_times() {
        // later times 1 to 21: median 11, 95th percentile 20
        let times: Vec<f64> = std::iter::repeat_n(0.0, 30).chain((1..=21).map(f64::from)).collect();
        let knots = Spline::from_times(&times, 2).unwrap().knots();
        for (found, expected) in knots.iter().zip([0.0, 11.0, 20.0]) {
            assert!((found - expected).abs() < 1e-12);
        }
    }

    #[test]
    fn a_crowded_day_does_not_swallow_a_knot() {
        let times: Vec<f64> = [0.0, 90.0].into_iter().chain(std::iter::repeat_n(30.0, 60)).collect();
        let knots = Spline::from_times(&times, 2).unwrap().knots();
        assert!((knots[1] - 60.0).abs() < 1e-12 && (knots[2] - 90.0).abs() < 1e-12, "{knots:?}");
        assert!(Spline::from_times(&[0.0, 1.0, 2.0, 3.0], 3).is_ok());
    }

    #[test]
    fn no_follow_up_too_few_times_and_bad_times_are_refused() {
        let error = Spline::from_times(&[0.0, 0.0], 1).unwrap_err();
        assert_eq!(error, InputError::TooFew { what: "distinct times", needed: 2, found: 1 });
        assert!(Spline::from_times(&[], 1).is_err());
        assert!(Spline::from_times(&[0.0, 1.0, 1.0], 2).is_err());
        assert!(Spline::from_times(&[0.0, 1.0], 0).is_err());
        assert!(Spline::from_times(&[0.0, 1.0, 2.0, 3.0, 4.0], 4).is_err());
        for bad in [-1.0, f64::NAN, f64::INFINITY] {
            assert!(Spline::from_times(&[0.0, bad, 3.0], 1).is_err());
            assert!(Spline::with_knots(&[0.0, bad]).is_err());
            assert!(Spline::with_knots(&[0.0, 1.0]).unwrap().at(bad).is_err());
        }
        assert!(Spline::with_knots(&[0.0, 2.0, 2.0]).is_err());
    }
}
