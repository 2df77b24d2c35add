//! Whether units differ by more than chance, and what that does to their z scores.
//!
//! **Formulas.** Spiegelhalter 2005, Stat Med 24:1185-202, section on over-dispersion. With z_i = (y_i - target) / s_i of
//! I units: winsorise, that is, set the g lowest to the (g + 1)th lowest and the g highest to the (g + 1)th highest,
//! g = the whole part of q I, q = [`WINSORISED_SHARE`]; phi = sum of winsorised z2 / I.
//! Multiplicative: z / sqrt(phi). Additive (random effects), w_i = 1 / s_i2:
//! tau2 = (I phi - (I - 1)) / (sum w - sum w2 / sum w), at least 0; z = (y - target) / sqrt(s2 + tau2). Without winsorising and
//! with the weighted mean as target, tau2 is DerSimonian & Laird's (1986, Control Clin Trials 7:177-88).
//! Test: sum of z2, not winsorised, against chi-square with I degrees of freedom (the target is taken as known).
//!
//! **Choices.** With few units, one that truly differs makes phi large and so hides itself: of 6 units, one with z = 6 and the
//! others on target give phi = 6 and leave it z = 2.4. Below [`LEAST_UNITS`] units there is nothing to winsorise, so nothing is
//! inflated: [`Inflation::TooFewUnits`], with phi still reported. phi <= 1 becomes 1 ([`Inflation::NotNeeded`]).
//! Winsorising lowers phi: units that differ by chance alone give about 0.68 rather than 1 (0.72 for 10 units, of which a fifth of
//! sets still inflate), so many units are inflated rarely without need, and less than fully when needed. As published, this is
//! not corrected.
//! Winsorising by ranks, rather than at interpolated quantiles, keeps an outlier's size out of phi altogether.
//!
//! **Domain and edge cases.** Finite values, positive finite standard errors (under the target, not from the unit's own value), as many
//! of each. One unit or more; none is an error.
//!
//! **Published values.** DerSimonian & Laird's tau2 of the BCG trials, 0.3088 (Colditz et al. 1994, J Am Med Assoc 271:698-702),
//! folder `bcg_trials`; winsorised values against R, folder `funnel_dispersion`.

use crate::distribution::chi_square_tail;
use crate::error::{InputError, all_finite, at_least, same_length};
use crate::sum::sum;

/// The share of units winsorised at either end.
pub const WINSORISED_SHARE: f64 = 0.1;
/// Units needed before limits are inflated: with fewer, a tenth is not one unit.
pub const LEAST_UNITS: usize = 10;

/// Whether z scores were allowed for over-dispersion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Inflation {
    /// The units differ by more than chance, and z scores are reduced.
    Applied,
    /// The units differ no more than by chance; z scores stand.
    NotNeeded,
    /// Too few units to tell over-dispersion from one unit that differs; z scores stand.
    TooFewUnits,
}

/// Over-dispersion of units around a target.
#[derive(Debug, Clone, PartialEq)]
pub struct Dispersion {
    /// z scores as they are, one a unit.
    pub z: Vec<f64>,
    /// phi as estimated, winsorised; may be below 1.
    pub phi_estimate: f64,
    /// phi as applied: at least 1, and 1 unless `inflation` is [`Inflation::Applied`].
    pub phi: f64,
    /// tau2 as applied, in squared units of the values: 0 unless `inflation` is [`Inflation::Applied`]; may be 0 even then.
    pub tau2: f64,
    /// p value of no over-dispersion; counts the outliers too.
    pub p: f64,
    /// z scores divided by sqrt(phi).
    pub z_multiplicative: Vec<f64>,
    /// z scores with tau2 added to the variance.
    pub z_additive: Vec<f64>,
    /// What was done, and why.
    pub inflation: Inflation,
}

/// Over-dispersion of `values` around `target`, with the `share` of units winsorised at either end
/// (usually [`WINSORISED_SHARE`]; 0 for none).
///
/// # Errors
/// If the share is not at least 0 and below 1/2, there are no units, lengths differ, a value or the target is not finite, or a standard error is not positive and finite.
pub fn dispersion(values: &[f64], standard_errors: &[f64], target: f64, share: f64) -> Result<Dispersion, InputError> {
    if !(0.0..0.5).contains(&share) {
        return Err(InputError::OutOfRange { what: "winsorised share", domain: "at least 0 and below one half" });
    }
    at_least("units", 1, values.len())?;
    all_finite("values", values)?;
    same_length("standard errors", values.len(), standard_errors.len())?;
    if let Some(index) = standard_errors.iter().position(|s| !(*s > 0.0 && s.is_finite())) {
        return Err(InputError::BadElement { what: "standard errors", index, domain: "positive and finite" });
    }
    if !target.is_finite() {
        return Err(InputError::OutOfRange { what: "target", domain: "a finite number" });
    }
    let z: Vec<f64> = values.iter().zip(standard_errors).map(|(y, s)| (y - target) / s).collect();
    all_finite("values in standard errors", &z)?;
    let units = z.len() as f64;
    let clipped = winsorised(&z, share);
    let phi_estimate = sum(clipped.iter().map(|z| z * z)) / units;
    let inflation = if z.len() < LEAST_UNITS {
        Inflation::TooFewUnits
    } else if phi_estimate > 1.0 {
        Inflation::Applied
    } else {
        Inflation::NotNeeded
    };
    let (phi, tau2) = match inflation {
        Inflation::Applied => (phi_estimate, moment_tau2(phi_estimate, standard_errors)),
        _ => (1.0, 0.0),
    };
    let p = chi_square_tail(sum(z.iter().map(|z| z * z)), units)?;
    Ok(Dispersion {
        phi_estimate,
        phi,
        tau2,
        p,
        z_multiplicative: z.iter().map(|z| z / phi.sqrt()).collect(),
        z_additive: z.iter().zip(standard_errors).map(|(z, s)| z / (1.0 + tau2 / (s * s)).sqrt()).collect(),
        inflation,
        z,
    })
}

/// The values with the lowest and highest `share` replaced by the nearest kept.
fn winsorised(values: &[f64], share: f64) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let g = (share * values.len() as f64 + 1e-9).floor() as usize; // 0.1 x 30 must be 3
    let (low, high) = (sorted[g], sorted[values.len() - 1 - g]);
    values.iter().map(|v| v.clamp(low, high)).collect()
}

/// The method-of-moments tau2, at least 0.
fn moment_tau2(phi: f64, standard_errors: &[f64]) -> f64 {
    let units = standard_errors.len() as f64;
    // weights relative to the largest, so that nothing overflows
    let least = standard_errors.iter().copied().fold(f64::INFINITY, f64::min);
    let weight = |s: &f64| (least / s) * (least / s);
    let total = sum(standard_errors.iter().map(weight));
    let squares = sum(standard_errors.iter().map(|s| weight(s) * weight(s)));
    let denominator = (total - squares / total) / (least * least);
    if denominator > 0.0 { ((units * phi - (units - 1.0)) / denominator).max(0.0) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{standard_normal, stream};

    #[test]
    fn ten_units_by_hand() {
        // z = -9, -2 four times, 2 four times, 100: winsorised to -2 and 2, phi = 4; equal s = 0.5, w = 4:
        // tau2 = (40 - 9) / (40 - 4) = 31/36; a z of 2 becomes 1, or 2 / sqrt(1 + 4 x 31/36)
        let z = [-9.0, -2.0, 2.0, -2.0, 2.0, 100.0, -2.0, 2.0, -2.0, 2.0];
        let values = z.map(|z| 7.0 + 0.5 * z);
        let found = dispersion(&values, &[0.5; 10], 7.0, WINSORISED_SHARE).unwrap();
        assert_eq!((found.phi_estimate, found.phi, found.inflation), (4.0, 4.0, Inflation::Applied));
        assert!((found.tau2 - 31.0 / 36.0).abs() < 1e-14);
        assert_eq!(found.z_multiplicative[2], 1.0);
        assert!((found.z_additive[2] - 2.0 / (1.0 + 31.0 / 9.0_f64).sqrt()).abs() < 1e-14);
        assert_eq!(found.z[5], 100.0); // the outlier keeps its own z
    }

    #[test]
    fn of_six_units_one_that_differs_does_not_hide_itself() {
        let found = dispersion(&[0.0, 0.0, 0.0, 6.0, 0.0, 0.0], &[1.0; 6], 0.0, WINSORISED_SHARE).unwrap();
        assert_eq!((found.phi_estimate, found.phi, found.tau2), (6.0, 1.0, 0.0));
        assert_eq!(found.inflation, Inflation::TooFewUnits);
        assert_eq!((found.z_multiplicative[3], found.z_additive[3]), (6.0, 6.0));
        assert!(found.p < 1e-5);
    }

    #[test]
    fn chance_alone_gives_the_stated_phi_and_inflates_rarely() {
        // E of the winsorised z2 for many units: 2 x 0.1 x 1.2816^2 + integral of z2 phi(z) within 1.2816 = 0.679
        for (units, expected, most_inflated) in [(10, 0.72, 0.22), (400, 0.679, 0.001)] {
            let (mut total, mut inflated) = (0.0, 0);
            let runs: u32 = if units == 10 { 4000 } else { 200 };
            for run in 0..runs {
                let mut s = stream(5, &run.to_le_bytes());
                let z: Vec<f64> = (0..units).map(|_| standard_normal(&mut s)).collect();
                let found = dispersion(&z, &vec![1.0; units], 0.0, WINSORISED_SHARE).unwrap();
                total += found.phi_estimate;
                inflated += u32::from(found.inflation == Inflation::Applied);
            }
            let (mean, share) = (total / f64::from(runs), f64::from(inflated) / f64::from(runs));
            println!("{units} units: mean phi {mean:.3}, inflated {share:.3}");
            assert!((mean - expected).abs() < 0.02, "{mean}");
            assert!(share <= most_inflated, "{share}");
        }
    }

    #[test]
    fn winsorising_takes_a_tenth_of_the_ranks_at_each_end() {
        let values: Vec<f64> = (0..30).map(f64::from).collect();
        let clipped = winsorised(&values, 0.1);
        assert_eq!((clipped[0], clipped[2], clipped[3]), (3.0, 3.0, 3.0));
        assert_eq!((clipped[26], clipped[27], clipped[29]), (26.0, 26.0, 26.0));
        assert_eq!(winsorised(&[5.0, -1.0], 0.1), [5.0, -1.0]);
    }

    #[test]
    fn units_that_make_no_sense_are_refused() {
        assert!(matches!(dispersion(&[], &[], 0.0, WINSORISED_SHARE), Err(InputError::TooFew { .. })));
        assert!(matches!(dispersion(&[1.0], &[], 0.0, WINSORISED_SHARE), Err(InputError::LengthsDiffer { .. })));
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(matches!(
                dispersion(&[1.0, 1.0], &[1.0, bad], 0.0, WINSORISED_SHARE),
                Err(InputError::BadElement { index: 1, .. })
            ));
        }
        for share in [-0.1, 0.5, f64::NAN] {
            assert!(dispersion(&[1.0], &[1.0], 0.0, share).is_err());
        }
        assert!(dispersion(&[f64::NAN], &[1.0], 0.0, WINSORISED_SHARE).is_err());
        assert!(dispersion(&[1.0], &[1.0], f64::NAN, WINSORISED_SHARE).is_err());
    }
}
