//! Sums of products of one subject as whole numbers: exact, whatever the order of its readings.
//!
//! **Formula.** With w the subject's basis at a reading (w0 = 1) and y the value, the sums of w w', w y and y y. Basis and
//! value are rounded to multiples of 2^-32 and multiplied as whole numbers of 128 bits, so sums have no order.
//! A fixed effect is a basis function or one times a
//! covariate of the subject, a random effect is one of the first basis functions: these sums hold all that a model needs.
//!
//! **Domain.** Numbers up to 2^20 in size, up to 2^20 readings a subject: sums then stay below 2^125. The rounding moves a
//! number by at most 2^-33, 1.2e-10.
//!
//! **Recentring.** The likelihood does not change when a constant is taken from y and the population has an intercept, but
//! y'y loses fewer digits: done on the whole numbers, exactly.

use nalgebra::SVector;

use super::block::{Reduced, SubjectSums};
use crate::error::{InputError, all_finite};

/// Binary digits after the point.
const DIGITS: i32 = 32;
/// Largest size of a number.
pub const LARGEST: f64 = (1_u32 << 20) as f64;
/// Most readings of one subject.
pub const MOST_READINGS: u32 = 1 << 20;

/// One subject's sums of products over B basis functions, the first of which is the constant 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CrossProducts<const B: usize> {
    /// Sum of w w', lower triangle.
    ww: [[i128; B]; B],
    /// Sum of w y.
    wy: [i128; B],
    /// Sum of y y.
    yy: i128,
    readings: u32,
}

/// A column of the fixed design: a basis function, or one times a covariate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FixedColumn {
    /// Which basis function, from 0.
    pub basis: usize,
    /// Which covariate it is multiplied with, from 0; `None` for 1.
    pub covariate: Option<usize>,
}

impl FixedColumn {
    /// What the basis function is multiplied with.
    pub(super) fn factor(self, covariates: &[f64]) -> f64 {
        self.covariate.map_or(1.0, |k| covariates.get(k).copied().unwrap_or(0.0))
    }
}

impl<const B: usize> Default for CrossProducts<B> {
    fn default() -> Self {
        Self { ww: [[0; B]; B], wy: [0; B], yy: 0, readings: 0 }
    }
}

/// `value` in multiples of 2^-32.
fn whole(what: &'static str, value: f64) -> Result<i64, InputError> {
    // "is within", so that NaN fails
    if value.abs() <= LARGEST {
        Ok((value * 2.0_f64.powi(DIGITS)).round() as i64)
    } else {
        Err(InputError::OutOfRange { what, domain: "at most 2^20 in size" })
    }
}

/// A product of two multiples of 2^-32 as a float.
fn float(product: i128) -> f64 {
    product as f64 * 2.0_f64.powi(-2 * DIGITS)
}

impl<const B: usize> CrossProducts<B> {
    /// Adds one reading: the basis where it was taken, and its value.
    ///
    /// # Errors
    /// If the first basis function is not 1, a number is NaN or beyond 2^20, or there are 2^20 readings already.
    pub fn add(&mut self, basis: &[f64; B], value: f64) -> Result<(), InputError> {
        if basis.first() != Some(&1.0) {
            return Err(InputError::OutOfRange { what: "first basis function", domain: "1" });
        }
        if self.readings >= MOST_READINGS {
            return Err(InputError::OutOfRange { what: "readings of one subject", domain: "at most 2^20" });
        }
        let y = whole("value", value)?;
        let mut w = [0_i64; B];
        for (to, from) in w.iter_mut().zip(basis) {
            *to = whole("basis function", *from)?;
        }
        for i in 0..B {
            for j in 0..=i {
                self.ww[i][j] += i128::from(w[i]) * i128::from(w[j]);
            }
            self.wy[i] += i128::from(w[i]) * i128::from(y);
        }
        self.yy += i128::from(y) * i128::from(y);
        self.readings += 1;
        Ok(())
    }

    /// How many readings went in.
    #[must_use]
    pub fn readings(&self) -> u32 {
        self.readings
    }

    /// Sum of the values.
    #[must_use]
    pub fn total(&self) -> f64 {
        float(self.wy[0])
    }

    /// The same with `centre`, a multiple of 2^-32, taken from each value.
    fn recentred(&self, centre: i64) -> Self {
        let (mut to, centre) = (*self, i128::from(centre));
        let one = 1_i128 << DIGITS;
        for i in 0..B {
            to.wy[i] -= (self.ww[i][0] / one) * centre; // exact: w0 is 1
        }
        to.yy -= 2 * centre * (self.wy[0] / one) - i128::from(self.readings) * centre * centre;
        to
    }

    /// The sums for random effects on the first Q basis functions and the fixed `columns`.
    fn sums<const Q: usize, const P: usize>(&self, columns: &[FixedColumn], covariates: &[f64]) -> SubjectSums<Q, P> {
        let ww = |i: usize, j: usize| float(if i >= j { self.ww[i][j] } else { self.ww[j][i] });
        let factors: SVector<f64, P> =
            SVector::from_fn(|j, _| columns.get(j).map_or(0.0, |column| column.factor(covariates)));
        let mut sums = SubjectSums { yy: float(self.yy), readings: self.readings as usize, ..SubjectSums::default() };
        for q in 0..Q {
            sums.block.zy[q] = float(self.wy[q]);
            for r in 0..Q {
                sums.block.zz[(q, r)] = ww(q, r);
            }
            for (j, column) in columns.iter().enumerate() {
                sums.block.zx[(q, j)] = ww(q, column.basis) * factors[j];
            }
        }
        for (i, first) in columns.iter().enumerate() {
            sums.xy[i] = float(self.wy[first.basis]) * factors[i];
            for (j, second) in columns.iter().enumerate().take(i + 1) {
                let product = ww(first.basis, second.basis) * factors[i] * factors[j];
                sums.xx[(i, j)] = product;
                sums.xx[(j, i)] = product;
            }
        }
        sums
    }
}

/// The data of a model with random effects on the first Q basis functions and the fixed `columns`, and the constant that
/// was taken from every value: to be added to the coefficient of the column that is the constant 1. Subjects come with
/// their covariates, in a fixed order.
///
/// # Errors
/// If Q is above B, there are no columns or more than P, the first is not the constant 1, one asks for a basis function or
/// covariate that is not there, or a covariate is not finite.
pub fn reduce<const B: usize, const Q: usize, const P: usize>(
    subjects: &[(CrossProducts<B>, &[f64])],
    columns: &[FixedColumn],
) -> Result<(Reduced<Q, P>, f64), InputError> {
    if Q > B || columns.len() > P || columns.iter().any(|column| column.basis >= B) {
        return Err(InputError::OutOfRange { what: "columns of the design", domain: "functions of the basis" });
    }
    if columns.first() != Some(&FixedColumn { basis: 0, covariate: None }) {
        return Err(InputError::OutOfRange { what: "first fixed column", domain: "the constant 1" });
    }
    let needed = columns.iter().filter_map(|column| column.covariate).max().map_or(0, |last| last + 1);
    for (_, covariates) in subjects {
        if covariates.len() < needed {
            return Err(InputError::LengthsDiffer { what: "covariates", expected: needed, found: covariates.len() });
        }
        all_finite("covariates", covariates)?;
    }
    let readings: f64 = subjects.iter().map(|(products, _)| f64::from(products.readings)).sum();
    let total: f64 = subjects.iter().map(|(products, _)| products.total()).sum();
    let centre = if readings > 0.0 { whole("mean", total / readings)? } else { 0 };
    let sums = subjects.iter().map(|(products, covariates)| products.recentred(centre).sums(columns, covariates));
    Ok((Reduced::gather(columns.len(), sums)?, centre as f64 * 2.0_f64.powi(-DIGITS)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lmm::{Criterion, Outcome, fit_blocks};
    use crate::random::{standard_normal, stream, uniform};

    type Reading = (usize, [f64; 2], f64);

    /// (subject, basis, value) of 500 readings of 50 subjects.
    fn readings() -> Vec<Reading> {
        let mut rng = stream(1, b"readings");
        let own: Vec<f64> = (0..50).map(|_| 3.0 * standard_normal(&mut rng)).collect();
        (0..500)
            .map(|r| {
                let (i, t) = (r % 50, 10.0 * uniform(&mut rng));
                (i, [1.0, t], 1000.1 + own[i] + 0.4 * own[(i + 17) % 50] * t - 0.3 * t + standard_normal(&mut rng))
            })
            .collect()
    }

    fn summed<'a>(readings: impl IntoIterator<Item = &'a Reading>) -> Vec<CrossProducts<2>> {
        let mut all = vec![CrossProducts::default(); 50];
        for (i, w, y) in readings {
            all[*i].add(w, *y).unwrap();
        }
        all
    }

    const LINE: [FixedColumn; 2] =
        [FixedColumn { basis: 0, covariate: None }, FixedColumn { basis: 1, covariate: None }];

    #[test]
    fn sums_are_the_same_to_the_last_bit_in_any_order() {
        let readings = readings();
        let whole = summed(&readings);
        // the odd ones after the even, the second half before the first, and everything backwards
        assert_eq!(whole, summed(readings.iter().step_by(2).chain(readings.iter().skip(1).step_by(2))));
        assert_eq!(whole, summed(readings[321..].iter().chain(&readings[..321])));
        assert_eq!(whole, summed(readings.iter().rev()));
        // while sums of floats depend on the order
        let forwards: f64 = readings.iter().map(|r| r.2 * r.2).sum();
        let backwards: f64 = readings.iter().rev().map(|r| r.2 * r.2).sum();
        assert_ne!(forwards.to_bits(), backwards.to_bits());
    }

    #[test]
    fn recentring_is_exact_and_changes_the_intercept_alone() {
        let products = summed(&readings());
        let subjects: Vec<_> = products.iter().map(|p| (*p, &[][..])).collect();
        let (data, centre) = reduce::<2, 2, 2>(&subjects, &LINE).unwrap();
        assert!((centre - 1000.1).abs() < 5.0);
        let plain = Reduced::gather(2, products.iter().map(|p| p.sums::<2, 2>(&LINE, &[]))).unwrap();
        let fit = |data: &Reduced<2, 2>| match fit_blocks(data, Criterion::Reml) {
            Outcome::Fitted(fit) => fit,
            other => panic!("{other:?}"),
        };
        let (a, b) = (fit(&data), fit(&plain));
        assert!((a.beta[0] + centre - b.beta[0]).abs() < 1e-7 && (a.beta[1] - b.beta[1]).abs() < 1e-8);
        assert!((a.deviance - b.deviance).abs() < 1e-6);
        // 1.5, 2.5 around 2
        let mut two = CrossProducts::<1>::default();
        two.add(&[1.0], 1.5).unwrap();
        two.add(&[1.0], 2.5).unwrap();
        let around = two.recentred(whole("centre", 2.0).unwrap());
        assert_eq!((float(around.wy[0]), float(around.yy)), (0.0, 0.5));
    }

    #[test]
    fn a_column_with_a_covariate_is_the_product_reading_by_reading() {
        let columns = [LINE[0], LINE[1], FixedColumn { basis: 1, covariate: Some(1) }];
        let mut products = CrossProducts::<2>::default();
        products.add(&[1.0, 0.5], 3.0).unwrap();
        products.add(&[1.0, 2.0], -1.0).unwrap();
        let sums = products.sums::<2, 4>(&columns, &[9.0, 4.0]); // third column 2 and 8
        assert_eq!((sums.block.zx[(0, 2)], sums.block.zx[(1, 2)]), (10.0, 17.0));
        assert_eq!((sums.xx[(2, 2)], sums.xx[(0, 2)], sums.xx[(1, 2)]), (68.0, 10.0, 17.0));
        assert_eq!((sums.xy[2], sums.xx[(3, 3)]), (-2.0, 0.0));
    }

    #[test]
    fn the_largest_numbers_in_the_largest_count_do_not_overflow() {
        let mut one = CrossProducts::<2>::default();
        for _ in 0..MOST_READINGS {
            one.add(&[1.0, LARGEST], -LARGEST).unwrap();
        }
        assert_eq!(one.readings(), MOST_READINGS);
        assert_eq!(float(one.yy), LARGEST * LARGEST * LARGEST);
        let other_side = one.recentred(whole("centre", LARGEST).unwrap());
        assert_eq!(float(other_side.yy), 4.0 * LARGEST * LARGEST * LARGEST);
        assert!(one.add(&[1.0, 0.0], 0.0).is_err());
    }

    #[test]
    fn numbers_out_of_range_and_a_first_function_other_than_1_are_refused() {
        let mut products = CrossProducts::<2>::default();
        for bad in [f64::NAN, f64::INFINITY, 2.0 * LARGEST] {
            assert!(products.add(&[1.0, 0.0], bad).is_err());
            assert!(products.add(&[1.0, bad], 0.0).is_err());
        }
        assert!(products.add(&[0.5, 0.0], 0.0).is_err());
        assert_eq!(products, CrossProducts::default());
        let no_covariate = [(products, &[][..])];
        let with = [LINE[0], FixedColumn { basis: 0, covariate: Some(0) }];
        assert!(reduce::<2, 2, 2>(&no_covariate, &with).is_err());
        assert!(reduce::<2, 2, 2>(&no_covariate, &[]).is_err());
        assert!(reduce::<2, 2, 2>(&no_covariate, &[LINE[1]]).is_err());
        assert!(reduce::<2, 2, 1>(&no_covariate, &LINE).is_err());
    }
}
