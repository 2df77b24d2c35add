//! One unit beside its siblings: is its mean further from theirs than units of a family usually are from each other?
//!
//! **Setting.** Units (tables, clinicians) come in families (sites). Units differ for ordinary reasons, so a test against
//! chance alone finds every one of them in the end. Here the yardstick is how much units differ within families.
//!
//! **Formula.** Externally studentised residual of a one-way layout (Cook & Weisberg 1982, Residuals and Influence in
//! Regression, 2.2.1, M). For unit i of a family with k siblings of mean m: t = (x_i - m) / (s sqrt(1 + 1/k)), s2 the pooled
//! variance within families of all units but i, with df = sum of (units of a family - 1) over families, i left out. If units
//! within a family are normal with one variance, t follows Student's distribution with df degrees of freedom: the unit itself
//! cannot hide in the yardstick. A second one like it can, which makes the test milder, never bolder.
//!
//! **Domain and edge cases.** Values finite. No answer for a unit without siblings or with df under [`FEWEST_DEGREES`]. Where all
//! others are exactly equal, t is 0 or infinite and p 1 or 0.
//!
//! **Reference.** By hand in this module's tests.

use crate::distribution::t_two_sided;
use crate::error::{InputError, all_finite};

/// Degrees of freedom below which there is no answer.
pub const FEWEST_DEGREES: usize = 3;

/// A unit: its family, and its value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// The family.
    pub family: usize,
    /// The value.
    pub value: f64,
}

/// A unit beside its siblings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BesideSiblings {
    /// Number of siblings, at least 1.
    pub siblings: usize,
    /// Their mean.
    pub reference: f64,
    /// Standard deviation of units within families, this one left out.
    pub sd: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: usize,
    /// Studentised distance from the siblings.
    pub t: f64,
    /// Its two-sided p value.
    pub p: f64,
}

/// Holds each unit beside its siblings; `None` where there are too few.
///
/// # Errors
/// If a value is not finite.
pub fn beside_siblings(units: &[Unit]) -> Result<Vec<Option<BesideSiblings>>, InputError> {
    let values: Vec<f64> = units.iter().map(|unit| unit.value).collect();
    all_finite("values", &values)?;
    Ok((0..units.len()).map(|i| beside(units, i)).collect())
}

fn beside(units: &[Unit], i: usize) -> Option<BesideSiblings> {
    let families = units.iter().map(|unit| unit.family).max()? + 1;
    let mut sums = vec![(0_usize, 0.0_f64); families];
    let others = || units.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, unit)| unit);
    for unit in others() {
        let (n, sum) = sums.get_mut(unit.family)?;
        *n += 1;
        *sum += unit.value;
    }
    let mean = |family: usize| sums.get(family).filter(|(n, _)| *n > 0).map(|(n, sum)| sum / *n as f64);
    let unit = units.get(i)?;
    let (siblings, reference) = (sums.get(unit.family)?.0, mean(unit.family)?);
    let degrees_of_freedom: usize = sums.iter().map(|(n, _)| n.saturating_sub(1)).sum();
    if degrees_of_freedom < FEWEST_DEGREES {
        return None;
    }
    let squares: f64 = others().filter_map(|other| mean(other.family).map(|m| (other.value - m).powi(2))).sum();
    // differences that are rounding alone count as none
    let size = units.iter().map(|unit| unit.value.abs()).fold(0.0, f64::max) * f64::EPSILON * 8.0;
    let sd = (squares / degrees_of_freedom as f64).sqrt();
    let sd = if sd <= size { 0.0 } else { sd };
    let distance = unit.value - reference;
    let t = match (distance.abs() <= size, sd) {
        (true, _) => 0.0,
        (false, 0.0) => f64::INFINITY.copysign(distance),
        (false, sd) => distance / (sd * (1.0 + 1.0 / siblings as f64).sqrt()),
    };
    let p = if t.is_infinite() { 0.0 } else { t_two_sided(t, degrees_of_freedom as f64).ok()? };
    Some(BesideSiblings { siblings, reference, sd, degrees_of_freedom, t, p })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn units(rows: &[(usize, f64)]) -> Vec<Unit> {
        rows.iter().map(|(family, value)| Unit { family: *family, value: *value }).collect()
    }

    #[test]
    fn one_family_by_hand() {
        // siblings 1, 2, 3, 4 of 8: mean 2.5, variance 5/3, t = 5.5 / sqrt(5/3 x 5/4) = 3.8105, 3 degrees of freedom
        let all = beside_siblings(&units(&[(0, 1.0), (0, 2.0), (0, 3.0), (0, 4.0), (0, 8.0)])).unwrap();
        let last = all[4].unwrap();
        assert_eq!((last.siblings, last.reference, last.degrees_of_freedom), (4, 2.5, 3));
        assert!((last.t - 5.5 / (5.0_f64 / 3.0 * 1.25).sqrt()).abs() < 1e-12);
        assert!((last.p - 0.031_78).abs() < 5e-5, "{}", last.p); // 2 pt(-3.8105, 3)
    }

    #[test]
    fn families_share_one_yardstick() {
        // family 0: 1, 2, 9; family 1: 4, 5, 6. For 9: s2 = (0.25 + 0.25 + 1 + 0 + 1) / 3, t = 7.5 / (s sqrt 1.5)
        let all = beside_siblings(&units(&[(0, 1.0), (0, 2.0), (0, 9.0), (1, 4.0), (1, 5.0), (1, 6.0)])).unwrap();
        let nine = all[2].unwrap();
        assert_eq!((nine.siblings, nine.reference, nine.degrees_of_freedom), (2, 1.5, 3));
        assert!((nine.t - 7.5 / (2.5_f64 / 3.0 * 1.5).sqrt()).abs() < 1e-12, "{}", nine.t);
    }

    #[test]
    fn without_siblings_or_freedom_there_is_no_answer_and_equal_others_decide() {
        let lonely = beside_siblings(&units(&[(0, 1.0), (1, 2.0), (1, 3.0), (1, 2.5), (1, 2.0)])).unwrap();
        assert_eq!(lonely[0], None);
        assert!(beside_siblings(&units(&[(0, 1.0), (0, 2.0), (0, 3.0)])).unwrap().iter().all(Option::is_none));
        let equal = beside_siblings(&units(&[(0, 5.5), (0, 5.5), (0, 5.5), (0, 5.5), (0, 6.0)])).unwrap();
        assert_eq!(equal[4].unwrap().p, 0.0);
        let same = beside_siblings(&units(&[(0, 0.1 + 0.2), (0, 0.3), (0, 0.3), (0, 0.3), (0, 0.3)])).unwrap();
        assert_eq!(same[0].unwrap().p, 1.0);
        assert!(beside_siblings(&units(&[(0, f64::NAN)])).is_err());
    }
}
