//! Centre and spread that a few wild values cannot move, and how far a group's median lies from the others'.
//!
//! **Formulas.** MAD: the median distance from the median, times 1 / z(3/4) = 1.4826, so that it estimates the standard
//! deviation of a normal sample (Hampel 1974, J Am Stat Assoc 69:383-93). Qn: the k-th smallest of the n(n - 1)/2
//! distances between pairs, k = h(h - 1)/2, h the whole part of n/2, plus 1, times 1 / (sqrt 2 z(5/8)) = 2.2191 (Rousseeuw &
//! Croux 1993, J Am Stat Assoc 88:1273-83), without correction for small samples: it needs no centre, and keeps 82 %
//! efficiency where MAD has 37 %. Standard error of a median: (x(n - c + 1) - x(c)) / (2 z(0.995)), x the ordered values, c =
//! (n + 1)/2 - z(0.995) sqrt(n/4) rounded, at least 1 (McKean & Schrader 1984, Commun Stat Simul Comput 13:751-73).
//!
//! **Scores of groups.** With m_i the medians of the groups, M their median and se_i their standard errors: against chance,
//! (m_i - M) / se_i; among the groups, (m_i - M) / sqrt(se_i2 + s2), s2 the squared MAD of the medians less the median
//! se2, at least 0: what groups differ by beyond chance. The first asks whether a group differs at all, the second whether
//! it differs more than groups do; with six groups s2 is rough.
//!
//! **Domain and edge cases.** Finite values, at least one (Qn: two). More than half of the values equal: MAD is 0; a score
//! without spread is absent. Settings on a coarse grid make standard errors of 0 easily. Groups of fewer than 5 values
//! have no standard error. Values of one group must be independent: one a patient.
//!
//! **Cost.** Sorting; Qn counts pairs of the sorted values 64 times at most, once for each bit of the answer.
//!
//! **Reference.** R's `mad` and `robustbase::Qn`, folder `robust_scales`.

use crate::distribution::normal_quantile;
use crate::error::{InputError, at_least};
use crate::quantile::Sorted;

/// 1 / z(3/4).
const MAD_FACTOR: f64 = 1.482_602_218_505_602;
/// 1 / (sqrt 2 z(5/8)).
const QN_FACTOR: f64 = 2.219_144_465_985_076;
/// Values that a group must have for a standard error of its median.
pub const FEWEST_VALUES: usize = 5;

/// A group's median among those of all groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupScore {
    /// Values in the group.
    pub n: usize,
    /// Their median.
    pub median: f64,
    /// Its standard error; `None` for fewer than [`FEWEST_VALUES`] values.
    pub standard_error: Option<f64>,
    /// Distance from the median of medians in standard errors; `None` if these are absent or 0.
    pub against_chance: Option<f64>,
    /// The same in units of what groups differ by, chance included; `None` if the standard error is absent or both are 0.
    pub among_groups: Option<f64>,
}

/// The medians of several groups.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupScores {
    /// The median of medians.
    pub centre: f64,
    /// What groups differ by beyond chance, as a standard deviation; at least 0.
    pub spread: f64,
    /// The groups, in the order given.
    pub groups: Vec<GroupScore>,
}

/// The median absolute deviation from the median, scaled to the standard deviation of a normal sample.
///
/// # Errors
/// If there are no values or one is not finite.
pub fn mad(values: &[f64]) -> Result<f64, InputError> {
    let centre = Sorted::new(values)?.median();
    let distances: Vec<f64> = values.iter().map(|x| (x - centre).abs()).collect();
    Ok(MAD_FACTOR * Sorted::new(&distances)?.median())
}

/// Rousseeuw and Croux's Qn, scaled to the standard deviation of a normal sample, not corrected for small ones.
///
/// # Errors
/// If there are fewer than two values, one is not finite, or their range overflows.
pub fn qn(values: &[f64]) -> Result<f64, InputError> {
    at_least("values", 2, values.len())?;
    let sorted = Sorted::new(values)?;
    let x = sorted.values();
    let half = x.len() / 2 + 1;
    let rank = half * (half - 1) / 2;
    let range = x[x.len() - 1] - x[0];
    if !range.is_finite() {
        return Err(InputError::OutOfRange { what: "the range of values", domain: "within double precision" });
    }
    // the least number that at least `rank` distances do not exceed is one of them; doubles >= 0 sort as their bits do
    let (mut low, mut high) = (0_u64, range.to_bits());
    while low < high {
        let middle = low + (high - low) / 2;
        if pairs_within(x, f64::from_bits(middle)) >= rank {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Ok(QN_FACTOR * f64::from_bits(high))
}

/// How many pairs of the ascending `x` lie no further apart than `distance`.
fn pairs_within(x: &[f64], distance: f64) -> usize {
    let (mut first, mut pairs) = (0, 0);
    for (i, value) in x.iter().enumerate() {
        while value - x[first] > distance {
            first += 1;
        }
        pairs += i - first;
    }
    pairs
}

/// McKean and Schrader's standard error of the median; `None` for fewer than [`FEWEST_VALUES`] values.
///
/// # Errors
/// If there are no values or one is not finite.
pub fn median_standard_error(values: &[f64]) -> Result<Option<f64>, InputError> {
    standard_error(&Sorted::new(values)?)
}

fn standard_error(sorted: &Sorted) -> Result<Option<f64>, InputError> {
    let (x, z) = (sorted.values(), normal_quantile(0.995)?);
    let n = x.len();
    if n < FEWEST_VALUES {
        return Ok(None);
    }
    let place = ((n as f64 + 1.0) / 2.0 - z * (n as f64 / 4.0).sqrt()).round().max(1.0) as usize;
    Ok(Some((x[n - place] - x[place - 1]) / (2.0 * z)))
}

/// Scores the median of each of `groups`.
///
/// # Errors
/// If there are fewer than two groups, a group is empty or a value is not finite.
pub fn group_scores(groups: &[&[f64]]) -> Result<GroupScores, InputError> {
    at_least("groups", 2, groups.len())?;
    let sorted = groups.iter().map(|values| Sorted::new(values)).collect::<Result<Vec<_>, _>>()?;
    let errors = sorted.iter().map(standard_error).collect::<Result<Vec<_>, _>>()?;
    let medians: Vec<f64> = sorted.iter().map(Sorted::median).collect();
    let centre = Sorted::new(&medians)?.median();
    let squares: Vec<f64> = errors.iter().flatten().map(|se| se * se).collect();
    let chance = if squares.is_empty() { 0.0 } else { Sorted::new(&squares)?.median() };
    let beyond = (mad(&medians)?.powi(2) - chance).max(0.0);
    let over = |off: f64, scale: f64| (scale > 0.0).then(|| off / scale);
    let scores = sorted.iter().zip(&medians).zip(&errors).map(|((values, median), error)| GroupScore {
        n: values.values().len(),
        median: *median,
        standard_error: *error,
        against_chance: error.and_then(|se| over(median - centre, se)),
        among_groups: error.and_then(|se| over(median - centre, (se * se + beyond).sqrt())),
    });
    Ok(GroupScores { centre, spread: beyond.sqrt(), groups: scores.collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wild_value_moves_neither_mad_nor_qn_much() {
        // 1 2 3 4 5: distances from 3 are 2 1 0 1 2; pairs 1 1 1 1 2 2 2 3 3 4, h = 3, the third smallest
        let plain = [4.0, 1.0, 3.0, 5.0, 2.0];
        assert_eq!((mad(&plain).unwrap(), qn(&plain).unwrap()), (MAD_FACTOR, QN_FACTOR));
        let wild = [4.0, 1.0, 3.0, 1e9, 2.0];
        assert_eq!((mad(&wild).unwrap(), qn(&wild).unwrap()), (MAD_FACTOR, QN_FACTOR));
    }

    #[test]
    fn qn_is_the_order_statistic_of_all_pairs_with_ties() {
        let mut random = crate::random::stream(4, b"qn");
        for n in 2..40 {
            let x: Vec<f64> = (0..n).map(|_| (20.0 * crate::random::uniform(&mut random)).floor() / 7.0).collect();
            let mut pairs: Vec<f64> =
                (0..n).flat_map(|i| (0..i).map(move |j| (i, j))).map(|(i, j)| (x[i] - x[j]).abs()).collect();
            pairs.sort_by(f64::total_cmp);
            let half = n / 2 + 1;
            assert_eq!(qn(&x).unwrap(), QN_FACTOR * pairs[half * (half - 1) / 2 - 1], "{n}");
        }
        assert_eq!(qn(&[3.0; 9]).unwrap(), 0.0);
    }

    #[test]
    fn the_factors_are_those_of_the_normal_distribution() {
        assert!((MAD_FACTOR * normal_quantile(0.75).unwrap() - 1.0).abs() < 1e-12);
        assert!((QN_FACTOR * 2.0_f64.sqrt() * normal_quantile(0.625).unwrap() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_standard_error_of_a_median_is_about_that_of_normal_samples() {
        let (n, runs) = (101, 400);
        let mut random = crate::random::stream(4, b"median");
        let (mut medians, mut mean) = (Vec::new(), 0.0);
        for _ in 0..runs {
            let x: Vec<f64> = (0..n).map(|_| crate::random::standard_normal(&mut random)).collect();
            medians.push(Sorted::new(&x).unwrap().median());
            mean += median_standard_error(&x).unwrap().unwrap() / f64::from(runs);
        }
        let found = crate::sum::sample_sd(&medians).unwrap();
        assert!((mean / found - 1.0).abs() < 0.15, "{mean} {found}");
    }

    #[test]
    fn the_group_that_is_unlike_the_rest_stands_out_and_empty_spread_has_no_score() {
        let group = |shift: f64| (0..25).map(|i| shift + f64::from(i)).collect::<Vec<f64>>();
        let all = [group(0.0), group(1.0), group(-1.0), group(2.0), group(-2.0), group(40.0)];
        let found = group_scores(&all.iter().map(Vec::as_slice).collect::<Vec<_>>()).unwrap();
        assert_eq!(found.centre, 12.5);
        assert!(found.groups[5].among_groups.unwrap() > 5.0);
        assert!(found.groups[..5].iter().all(|g| g.against_chance.unwrap().abs() < 2.0));
        let flat = group_scores(&[&[1.0; 9], &[1.0; 9], &[2.0, 1.0]]).unwrap();
        assert_eq!((flat.spread, flat.groups[0].among_groups, flat.groups[2].standard_error), (0.0, None, None));
    }

    #[test]
    fn too_few_and_unfinite_values_are_refused() {
        assert!(mad(&[]).is_err() && qn(&[1.0]).is_err() && mad(&[f64::NAN]).is_err());
        assert!(qn(&[f64::MAX, -f64::MAX]).is_err());
        assert!(matches!(group_scores(&[&[1.0]]), Err(InputError::TooFew { .. })));
        assert!(group_scores(&[&[1.0], &[]]).is_err());
    }
}
