//! Quantiles and tail areas of the normal, t and chi-square distributions.
//!
//! **Formulas.** Normal: inverse complementary error function. t with v degrees of freedom: the area beyond |t| on both
//! sides is I(v / (v + t2); v/2, 1/2), I the regularised incomplete beta function; quantiles by Newton's method
//! from the normal quantile, which never lies beyond the answer while the tail is convex, so that each step comes
//! nearer from the same side. Beyond v = 1e4, where the incomplete beta function loses digits, Fisher's and Cornish's
//! expansion around the normal quantile z (Abramowitz & Stegun 1964, 26.7.5), to the term in 1/v3. Only the
//! incomplete beta function comes from the library: its own inverses stop at fewer digits. Chi-square with v degrees of
//! freedom: the regularised upper incomplete gamma function Q(v/2, x/2).
//!
//! **Domain and edge cases.** 0 < p < 1; v >= 1, fractions allowed. NaN refused.
//!
//! **Reference.** R's `qnorm`, `qt` and `pt`, folder `quantile_functions`.

use statrs::function::{beta, erf, gamma};

use crate::error::InputError;

/// Degrees of freedom beyond which the t quantile is taken from its expansion around the normal's.
const NEARLY_NORMAL: f64 = 1e4;
/// Newton steps after which a root search gives up refining (never reached in the domain; a guard).
const MAX_STEPS: usize = 400;

/// The quantile of the standard normal distribution.
///
/// # Errors
/// If `p` is not strictly inside (0, 1).
pub fn normal_quantile(p: f64) -> Result<f64, InputError> {
    check_probability(p)?;
    Ok(if p < 0.5 { -upper_normal(p) } else { upper_normal(1.0 - p) })
}

/// The area of the standard normal distribution below `z`; 0 and 1 at the infinities. `z` must not be NaN.
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erf::erfc(-z / std::f64::consts::SQRT_2)
}

/// P(X >= `successes`) for a binomial X of `trials` with chance `p` each: I(p; k, n - k + 1). Neither number need be whole: counts
/// divided by a design effect stand for as many independent ones.
///
/// # Errors
/// If `p` is not within 0 and 1, or not 0 <= successes <= trials, both finite.
pub fn binomial_at_least(successes: f64, trials: f64, p: f64) -> Result<f64, InputError> {
    if !(0.0..=1.0).contains(&p) {
        return Err(InputError::OutOfRange { what: "probability", domain: "from 0 to 1" });
    }
    if !(successes >= 0.0 && successes <= trials && trials.is_finite()) {
        return Err(InputError::OutOfRange { what: "successes", domain: "from 0 to the number of trials" });
    }
    Ok(match (successes, p) {
        (0.0, _) | (_, 1.0) => 1.0,
        (_, 0.0) => 0.0,
        _ => beta::beta_reg(successes, trials - successes + 1.0, p),
    })
}

/// The quantile of Student's t distribution with `df` degrees of freedom.
///
/// # Errors
/// If `p` is not strictly inside (0, 1), or `df` is not finite and at least 1.
pub fn t_quantile(p: f64, df: f64) -> Result<f64, InputError> {
    check_probability(p)?;
    check_degrees_of_freedom(df)?;
    Ok(if p < 0.5 { -upper_t(p, df) } else { upper_t(1.0 - p, df) })
}

/// The area of Student's t distribution beyond |`t`|, on both sides together: a two-sided p value.
///
/// # Errors
/// If `t` is NaN, or `df` is not finite and at least 1.
pub fn t_two_sided(t: f64, df: f64) -> Result<f64, InputError> {
    check_degrees_of_freedom(df)?;
    if t.is_nan() {
        return Err(InputError::OutOfRange { what: "t statistic", domain: "a number" });
    }
    Ok(both_tails(t, df))
}

/// The area of the chi-square distribution with `df` degrees of freedom above `x`: a p value.
///
/// # Errors
/// If `x` is NaN or negative, or `df` is not finite and at least 1.
pub fn chi_square_tail(x: f64, df: f64) -> Result<f64, InputError> {
    check_degrees_of_freedom(df)?;
    if x == 0.0 {
        return Ok(1.0);
    }
    if x == f64::INFINITY {
        return Ok(0.0);
    }
    match gamma::checked_gamma_ur(df / 2.0, x / 2.0) {
        Ok(area) if area.is_finite() => Ok(area.clamp(0.0, 1.0)),
        _ => Err(InputError::OutOfRange { what: "chi-square", domain: "at least 0" }),
    }
}

fn check_probability(p: f64) -> Result<(), InputError> {
    if p > 0.0 && p < 1.0 {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what: "probability", domain: "strictly between 0 and 1" })
    }
}

fn check_degrees_of_freedom(df: f64) -> Result<(), InputError> {
    if df >= 1.0 && df.is_finite() {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what: "degrees of freedom", domain: "finite and at least 1" })
    }
}

/// The point with `tail` <= 1/2 of the normal distribution above it.
fn upper_normal(tail: f64) -> f64 {
    std::f64::consts::SQRT_2 * erf::erfc_inv(2.0 * tail)
}

/// I(v / (v + t2); v/2, 1/2), from whichever side keeps the digits.
fn both_tails(t: f64, df: f64) -> f64 {
    let t2 = t * t;
    if t2.is_infinite() {
        return 0.0;
    }
    if t2 < 1.0 {
        1.0 - beta::beta_reg(0.5, df / 2.0, t2 / (df + t2))
    } else {
        beta::beta_reg(df / 2.0, 0.5, df / (df + t2))
    }
}

/// The point with `tail` <= 1/2 of the t distribution above it.
fn upper_t(tail: f64, df: f64) -> f64 {
    let z = upper_normal(tail);
    if df > NEARLY_NORMAL {
        let z2 = z * z;
        let first = z * (z2 + 1.0) / 4.0;
        let second = z * ((5.0 * z2 + 16.0) * z2 + 3.0) / 96.0;
        let third = z * (((3.0 * z2 + 19.0) * z2 + 17.0) * z2 - 15.0) / 384.0;
        return z + (first + (second + third / df) / df) / df;
    }
    let log_constant =
        gamma::ln_gamma((df + 1.0) / 2.0) - gamma::ln_gamma(df / 2.0) - 0.5 * (df * std::f64::consts::PI).ln();
    let mut t = z;
    let mut last_step = f64::INFINITY;
    for _ in 0..MAX_STEPS {
        let density = (log_constant - (df + 1.0) / 2.0 * (t * t / df).ln_1p()).exp();
        let step = (both_tails(t, df) / 2.0 - tail) / density;
        // tiny steps that no longer shrink are the rounding of the incomplete beta function
        if step.abs() < 1e-9 * t.abs() && step.abs() >= last_step {
            break;
        }
        t += step;
        last_step = step.abs();
        if step.abs() <= 2.0 * f64::EPSILON * t.abs() {
            break;
        }
    }
    t
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_binomial_tail_is_the_sum_of_its_terms() {
        // by hand: 5 trials at 0.3, at least 4: 5 x 0.3^4 x 0.7 + 0.3^5 = 0.02835 + 0.00243
        let tail = binomial_at_least(4.0, 5.0, 0.3).unwrap();
        assert!((tail - 0.030_78).abs() < 1e-12, "{tail}");
        assert_eq!(binomial_at_least(0.0, 5.0, 0.3), Ok(1.0));
        assert_eq!(binomial_at_least(1.0, 5.0, 0.0), Ok(0.0));
        let between = binomial_at_least(3.5, 5.0, 0.3).unwrap();
        assert!(between > tail && between < binomial_at_least(3.0, 5.0, 0.3).unwrap());
        assert!(binomial_at_least(6.0, 5.0, 0.3).is_err());
        assert!(binomial_at_least(f64::NAN, 5.0, 0.3).is_err());
    }

    #[test]
    fn the_normal_area_agrees_with_its_quantile_and_the_handbook() {
        assert!((normal_cdf(-5.0) / 2.866_515_718_791_939e-7 - 1.0).abs() < 1e-9); // Abramowitz & Stegun 1964, table 26.2
        for p in [1e-6, 0.025, 0.3, 0.5, 0.8, 0.999] {
            assert!((normal_cdf(normal_quantile(p).unwrap()) / p - 1.0).abs() < 1e-9);
        }
        assert_eq!((normal_cdf(f64::NEG_INFINITY), normal_cdf(f64::INFINITY)), (0.0, 1.0));
    }

    #[test]
    fn the_t_distribution_with_one_and_two_degrees_of_freedom_has_closed_forms() {
        // v = 1 is the Cauchy distribution: tan(pi (p - 1/2)); v = 2: (2p - 1) / sqrt(2 p (1 - p))
        for p in [0.001, 0.025, 0.3, 0.5, 0.8, 0.975, 0.999_5] {
            let cauchy = (std::f64::consts::PI * (p - 0.5)).tan();
            assert!((t_quantile(p, 1.0).unwrap() - cauchy).abs() <= 1e-12 * cauchy.abs().max(1e-3));
            let two = (2.0 * p - 1.0) / (2.0 * p * (1.0 - p)).sqrt();
            assert!((t_quantile(p, 2.0).unwrap() - two).abs() <= 1e-12 * two.abs().max(1e-3));
        }
    }

    #[test]
    fn quantile_and_tail_undo_each_other_and_meet_the_normal() {
        for df in [1.0, 2.5, 17.0, 400.0, 9.9e3, 1e5] {
            for tail in [1e-9, 0.001, 0.025, 0.2] {
                let t = t_quantile(1.0 - tail, df).unwrap();
                let back = t_two_sided(t, df).unwrap() / 2.0;
                assert!((back / tail - 1.0).abs() < 1e-6, "{df} {tail} {back}");
                assert_eq!(t_quantile(1.0 - tail, df).unwrap().signum(), 1.0);
            }
        }
        // the two methods meet where one takes over from the other
        for p in [0.6, 0.975, 0.999_999] {
            let (below, above) = (t_quantile(p, 1e4).unwrap(), t_quantile(p, 1e4 + 1e-7).unwrap());
            assert!((below / above - 1.0).abs() < 1e-11, "{p} {below} {above}");
        }
    }

    #[test]
    fn chi_square_tails_have_closed_forms_for_one_two_and_four_degrees_of_freedom() {
        for x in [1e-6_f64, 0.5, 3.841, 16.8, 60.0] {
            let exact = [
                (1.0, erf::erfc((x / 2.0).sqrt())),
                (2.0, (-x / 2.0).exp()),
                (4.0, (1.0 + x / 2.0) * (-x / 2.0).exp()),
            ];
            for (df, area) in exact {
                assert!(
                    (chi_square_tail(x, df).unwrap() / area - 1.0).abs() < 1e-9,
                    "{x} {df} {:e}",
                    chi_square_tail(x, df).unwrap() / area - 1.0
                );
            }
        }
        assert_eq!((chi_square_tail(0.0, 3.0), chi_square_tail(f64::INFINITY, 3.0)), (Ok(1.0), Ok(0.0)));
        for (x, df) in [(-1.0, 1.0), (f64::NAN, 1.0), (1.0, 0.0), (1.0, f64::NAN)] {
            assert!(chi_square_tail(x, df).is_err());
        }
    }

    #[test]
    fn arguments_outside_the_domain_are_refused() {
        for p in [0.0, 1.0, -1.0, f64::NAN] {
            assert!(normal_quantile(p).is_err());
            assert!(t_quantile(p, 5.0).is_err());
        }
        for df in [0.0, 0.5, f64::NAN, f64::INFINITY] {
            assert!(t_quantile(0.9, df).is_err());
            assert!(t_two_sided(1.0, df).is_err());
        }
        assert!(t_two_sided(f64::NAN, 3.0).is_err());
        assert_eq!(t_two_sided(f64::INFINITY, 3.0), Ok(0.0));
    }
}
