//! Last digits: are some preferred, as when readings are rounded or made up?
//!
//! **Formulas.** Pearson's chi-square of the counts of the last digits 0 to 9 against expected shares (equal ones, or those
//! given), with as many degrees of freedom as digits that can occur, less one. The digit most above its share has an
//! exact binomial tail, times the number of digits that can occur (Bonferroni), which holds for few values too. Heaping
//! is the index of dissimilarity, half the sum of |observed share - expected share| (Duncan & Duncan 1955, Am Sociol
//! Rev 20:210-7): the share of values that would have to end otherwise. Chance alone makes about half the sum of
//! sqrt(2 e (1 - e) / (pi n)), e the expected share, so both are given.
//!
//! **Domain and edge cases.** At least one value. The chi-square p value is withheld if an expected count is below 1 or
//! more than a fifth are below 5 (Cochran 1954, Biometrics 10:417-51): with equal shares, below 50 values. A digit that
//! cannot occur but does makes chi-square infinite and p 0. Values must be taken in the unit in which they were written
//! down: converted ones have no last digit of their own. Equal shares are a fair expectation only where values spread over
//! many times ten of the last place; a narrow range has preferred digits by itself.
//!
//! **Reference.** Python's `scipy.stats.chisquare` and `binom`, folder `terminal_digits`.

use statrs::function::beta::beta_reg;

use crate::distribution::chi_square_tail;
use crate::error::{InputError, all_finite};

/// How far, in units of the last place, a value may be from a whole number of them.
const WHOLE: f64 = 1e-6;
/// Values beyond this many units of the last place have no exact last digit in double precision.
const LARGEST: f64 = 1e15;
/// How far the expected shares may add up to other than 1.
const SUM_TOLERANCE: f64 = 1e-9;

/// The last digits of a set of values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LastDigits {
    /// How many values end in each of 0 to 9.
    pub counts: [u64; 10],
    /// Their sum.
    pub n: u64,
    /// Expected shares.
    pub expected: [f64; 10],
    /// Chi-square against these; infinite if a digit occurs that cannot.
    pub chi_square: f64,
    /// Its degrees of freedom; 0 if one digit alone can occur.
    pub degrees_of_freedom: u32,
    /// Its p value; `None` with too few values or no degree of freedom.
    pub p: Option<f64>,
    /// The digit most above its share.
    pub preferred: Preferred,
    /// How uneven they are.
    pub heaping: Heaping,
}

/// The digit most above its expected share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Preferred {
    /// The digit; the first of several alike.
    pub digit: u8,
    /// Share of values that end in it.
    pub share: f64,
    /// Chance of at least as many, for any of the digits that can occur: the binomial tail times their number, at most 1.
    pub p: f64,
}

/// How uneven last digits are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heaping {
    /// Share of values that would have to end in another digit, 0 to 1.
    pub share: f64,
    /// What chance alone makes of it on average, to the accuracy of the normal approximation.
    pub by_chance: f64,
}

/// The digit in the last of `decimals` places of each value, and how many values have more places than that (or too many
/// digits to tell), which are left out.
///
/// # Errors
/// If a value is not finite, or `decimals` is above 15.
pub fn last_digits(values: &[f64], decimals: u32) -> Result<(Vec<u8>, usize), InputError> {
    if decimals > 15 {
        return Err(InputError::OutOfRange { what: "number of decimals", domain: "from 0 to 15" });
    }
    all_finite("values", values)?;
    let unit = 10_f64.powi(decimals as i32);
    let digit = |value: &f64| {
        let units = (value * unit).abs();
        let whole = units.round();
        (whole < LARGEST && (units - whole).abs() <= WHOLE).then(|| (whole % 10.0) as u8)
    };
    let digits: Vec<u8> = values.iter().filter_map(digit).collect();
    let left_out = values.len() - digits.len();
    Ok((digits, left_out))
}

/// Compares last digits with equal shares, or with those `expected`.
///
/// # Errors
/// If there are no digits, one is above 9, or the expected shares are not within 0 and 1 or do not add up to 1.
pub fn digit_preference(digits: &[u8], expected: Option<&[f64; 10]>) -> Result<LastDigits, InputError> {
    if digits.is_empty() {
        return Err(InputError::TooFew { what: "values", needed: 1, found: 0 });
    }
    let expected = *expected.unwrap_or(&[0.1; 10]);
    let domain = "from 0 to 1, adding up to 1";
    if let Some(index) = expected.iter().position(|e| !(0.0..=1.0).contains(e)) {
        return Err(InputError::BadElement { what: "expected shares", index, domain });
    }
    if (expected.iter().sum::<f64>() - 1.0).abs() > SUM_TOLERANCE {
        return Err(InputError::OutOfRange { what: "expected shares", domain });
    }
    let mut counts = [0_u64; 10];
    for (index, digit) in digits.iter().enumerate() {
        let bad = InputError::BadElement { what: "last digits", index, domain: "from 0 to 9" };
        *counts.get_mut(usize::from(*digit)).ok_or(bad)? += 1;
    }
    let n = digits.len() as f64;
    let pairs = || counts.iter().map(|c| *c as f64).zip(expected);
    let possible = expected.iter().filter(|e| **e > 0.0).count();
    let chi_square = pairs()
        .map(|(count, e)| {
            if e > 0.0 {
                (count - n * e).powi(2) / (n * e)
            } else if count > 0.0 {
                f64::INFINITY
            } else {
                0.0
            }
        })
        .sum();
    let small = |least: f64| expected.iter().filter(|e| **e > 0.0 && n * **e < least).count();
    let enough = small(1.0) == 0 && 5 * small(5.0) <= possible;
    let p = if chi_square == f64::INFINITY {
        Some(0.0)
    } else if enough && possible > 1 {
        Some(chi_square_tail(chi_square, (possible - 1) as f64)?)
    } else {
        None
    };
    Ok(LastDigits {
        counts,
        n: digits.len() as u64,
        expected,
        chi_square,
        degrees_of_freedom: possible as u32 - 1,
        p,
        preferred: preferred(&counts, &expected, possible),
        heaping: Heaping {
            share: pairs().map(|(count, e)| (count / n - e).abs()).sum::<f64>() / 2.0,
            by_chance: expected.iter().map(|e| (2.0 * e * (1.0 - e) / (std::f64::consts::PI * n)).sqrt()).sum::<f64>()
                / 2.0,
        },
    })
}

fn preferred(counts: &[u64; 10], expected: &[f64; 10], possible: usize) -> Preferred {
    let n = counts.iter().sum::<u64>() as f64;
    // in standard errors; a digit that cannot occur but does comes first
    let above = |digit: usize| {
        let (off, e) = (counts[digit] as f64 - n * expected[digit], expected[digit]);
        if off == 0.0 { 0.0 } else { off / (n * e * (1.0 - e)).sqrt() }
    };
    let digit = (1..10).fold(0, |best, digit| if above(digit) > above(best) { digit } else { best });
    let count = counts[digit] as f64;
    // the chance of at least `count` of n is an incomplete beta function
    let tail = match (counts[digit], expected[digit]) {
        (0, _) => 1.0,
        (_, e) if e <= 0.0 => 0.0,
        (_, e) if e >= 1.0 => 1.0,
        (_, e) => beta_reg(count, n - count + 1.0, e),
    };
    Preferred { digit: digit as u8, share: count / n, p: (tail * possible as f64).min(1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Digits with these counts.
    fn of(counts: [usize; 10]) -> Vec<u8> {
        counts.iter().zip(0..).flat_map(|(count, digit)| vec![digit; *count]).collect()
    }

    #[test]
    fn twenty_of_a_hundred_in_one_digit_by_hand() {
        // ten expected of each: (20 - 10)2 / 10 + (0 - 10)2 / 10 = 20; a tenth of all would have to move
        let found = digit_preference(&of([20, 10, 10, 10, 10, 10, 10, 10, 10, 0]), None).unwrap();
        assert!((found.chi_square - 20.0).abs() < 1e-12 && found.degrees_of_freedom == 9);
        assert!((found.heaping.share - 0.1).abs() < 1e-15);
        assert_eq!((found.preferred.digit, found.preferred.share), (0, 0.2));
        assert!(found.p.unwrap() > 0.01 && found.p.unwrap() < 0.025); // tables: 19.02 at 2.5 %, 21.67 at 1 %
    }

    #[test]
    fn few_values_have_no_chi_square_p_but_a_preferred_digit() {
        let found = digit_preference(&[5, 5, 5, 5], None).unwrap();
        assert_eq!((found.p, found.preferred.digit, found.n), (None, 5, 4));
        assert!((found.preferred.p - 1e-3).abs() < 1e-15); // ten times 0.1 to the fourth
        assert!((found.heaping.share - 0.9).abs() < 1e-15);
        assert!(digit_preference(&of([5; 10]), None).unwrap().p.is_some_and(|p| p == 1.0));
        assert_eq!(digit_preference(&of([5, 5, 5, 5, 5, 5, 5, 5, 5, 4]), None).unwrap().p, None);
    }

    #[test]
    fn digits_that_cannot_occur_take_no_part_unless_they_do() {
        let mut halves = [0.0; 10];
        (halves[0], halves[5]) = (0.5, 0.5);
        let found = digit_preference(&of([30, 0, 0, 0, 0, 10, 0, 0, 0, 0]), Some(&halves)).unwrap();
        assert_eq!((found.chi_square, found.degrees_of_freedom), (10.0, 1));
        let impossible = digit_preference(&of([30, 0, 0, 1, 0, 10, 0, 0, 0, 0]), Some(&halves)).unwrap();
        assert_eq!((impossible.chi_square, impossible.p), (f64::INFINITY, Some(0.0)));
        assert_eq!((impossible.preferred.digit, impossible.preferred.p), (3, 0.0));
        let mut one = [0.0; 10];
        one[0] = 1.0;
        let certain = digit_preference(&[0; 60], Some(&one)).unwrap();
        assert_eq!((certain.p, certain.preferred.p, certain.heaping.share), (None, 1.0, 0.0));
    }

    #[test]
    fn even_digits_heap_as_much_as_chance_makes_them() {
        let mut random = crate::random::stream(2, b"digits");
        let mut mean = 0.0;
        for _ in 0..500 {
            let digits: Vec<u8> = (0..200).map(|_| (crate::random::uniform(&mut random) * 10.0) as u8).collect();
            let heaping = digit_preference(&digits, None).unwrap().heaping;
            mean += heaping.share / heaping.by_chance / 500.0;
        }
        assert!((mean - 1.0).abs() < 0.03, "{mean}");
    }

    #[test]
    fn the_last_digit_is_that_of_the_unit_written_down() {
        assert_eq!(last_digits(&[120.0, -37.0, 12.5, 0.0], 0).unwrap(), (vec![0, 7, 0], 1));
        // 0.3 and 1.1 are no whole numbers of tenths in binary
        assert_eq!(last_digits(&[0.3, 1.1, 2.35, 80.0, 1e15], 1).unwrap(), (vec![3, 1, 0], 2));
        assert!(matches!(last_digits(&[1.0, f64::NAN], 0), Err(InputError::BadElement { index: 1, .. })));
        assert!(last_digits(&[1.0], 16).is_err());
    }

    #[test]
    fn no_digits_wrong_digits_and_wrong_shares_are_refused() {
        assert!(matches!(digit_preference(&[], None), Err(InputError::TooFew { .. })));
        assert!(matches!(digit_preference(&[3, 10], None), Err(InputError::BadElement { index: 1, .. })));
        assert!(matches!(digit_preference(&[3], Some(&[0.2; 10])), Err(InputError::OutOfRange { .. })));
        assert!(matches!(digit_preference(&[3], Some(&[f64::NAN; 10])), Err(InputError::BadElement { .. })));
    }
}
