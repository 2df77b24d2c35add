//! Many tests at once: control of the false discovery rate.
//!
//! **Formula.** With p(1) <= ... <= p(m), the adjusted value of p(i) is the smallest of m p(j) / j over j >= i, at most 1
//! (Benjamini & Hochberg 1995, J R Stat Soc B 57:289-300). Rejecting where it is at most q keeps the expected share
//! of false discoveries at or below q, for tests that are independent or positively dependent.
//!
//! **Domain and edge cases.** 0 <= p <= 1, NaN refused. No p values: no adjusted values. Ties get one value.
//!
//! **Published values.** The 15 p values of the 1995 paper (four rejected at q = 0.05), folder `benjamini_hochberg_1995`.

use crate::error::InputError;

/// Benjamini-Hochberg adjusted p values, in the order given.
///
/// # Errors
/// If a p value is not within 0 and 1; the error holds its position.
pub fn benjamini_hochberg(p: &[f64]) -> Result<Vec<f64>, InputError> {
    if let Some(index) = p.iter().position(|p| !(0.0..=1.0).contains(p)) {
        return Err(InputError::BadElement { what: "p values", index, domain: "from 0 to 1" });
    }
    let m = p.len() as f64;
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&i, &j| p[i].total_cmp(&p[j]));
    let mut adjusted = vec![0.0; p.len()];
    let mut smallest = 1.0_f64;
    for (rank, &i) in order.iter().enumerate().rev() {
        smallest = smallest.min(p[i] * m / (rank + 1) as f64);
        adjusted[i] = smallest;
    }
    Ok(adjusted)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_case_by_hand_unsorted_and_tied() {
        // sorted 0.01 0.02 0.02 0.9: 4p/j = 0.04, 0.04, 0.0266.., 0.9; smallest from the right: 0.0266 for the first three
        let adjusted = benjamini_hochberg(&[0.9, 0.02, 0.01, 0.02]).unwrap();
        let third = 0.08 / 3.0;
        for (a, expected) in adjusted.iter().zip([0.9, third, third, third]) {
            assert!((a - expected).abs() < 1e-15);
        }
    }

    #[test]
    fn adjusted_values_are_never_below_the_p_values_nor_above_one() {
        let p = [0.0, 1.0, 0.5, 0.049, 0.2];
        for (a, p) in benjamini_hochberg(&p).unwrap().into_iter().zip(p) {
            assert!(a >= p && a <= 1.0);
        }
        assert_eq!(benjamini_hochberg(&[]), Ok(vec![]));
    }

    #[test]
    fn a_nan_or_a_share_outside_is_refused_with_its_position() {
        for bad in [f64::NAN, -0.1, 1.1] {
            assert!(matches!(benjamini_hochberg(&[0.5, bad]), Err(InputError::BadElement { index: 1, .. })));
        }
    }
}
