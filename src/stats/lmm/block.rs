//! What a linear mixed model needs to know of the data: sums of products, once for each subject.
//!
//! **Formula.** For subject i with random design Z, fixed design X and observations y: Z'Z, Z'X and Z'y, and summed over
//! all subjects X'X, X'y, y'y and the number of readings. The likelihood needs nothing else (Bates et al. 2015, J Stat
//! Softw 67(1), section 3, one grouping factor), so a fit looks at each reading once.
//!
//! **Weights.** A reading with residual variance sigma2 / w enters with its row of Z, X and y times sqrt(w); half the sum
//! of the log w must then be added to the log-likelihood by the caller.
//!
//! **Columns in use.** P is known when the program is compiled, the number of fixed effects need not be: the first
//! `fixed` columns of X count, the others must be zero.
//!
//! **Order.** Subjects are summed in the order given.

use nalgebra::{SMatrix, SVector};

use crate::error::InputError;

/// One subject's part: products with the columns of its random design. Q random effects, P columns of fixed effects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Block<const Q: usize, const P: usize> {
    /// Z'Z.
    pub zz: SMatrix<f64, Q, Q>,
    /// Z'X.
    pub zx: SMatrix<f64, Q, P>,
    /// Z'y.
    pub zy: SVector<f64, Q>,
}

/// All products of one subject.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SubjectSums<const Q: usize, const P: usize> {
    /// Products with the random design.
    pub block: Block<Q, P>,
    /// X'X.
    pub xx: SMatrix<f64, P, P>,
    /// X'y.
    pub xy: SVector<f64, P>,
    /// y'y.
    pub yy: f64,
    /// Number of readings.
    pub readings: usize,
}

impl<const Q: usize, const P: usize> Default for SubjectSums<Q, P> {
    fn default() -> Self {
        Self {
            block: Block { zz: SMatrix::zeros(), zx: SMatrix::zeros(), zy: SVector::zeros() },
            xx: SMatrix::zeros(),
            xy: SVector::zeros(),
            yy: 0.0,
            readings: 0,
        }
    }
}

impl<const Q: usize, const P: usize> SubjectSums<Q, P> {
    /// Adds one reading: its rows of the random and the fixed design, and what was observed.
    pub fn add(&mut self, z: &SVector<f64, Q>, x: &SVector<f64, P>, y: f64) {
        self.block.zz += z * z.transpose();
        self.block.zx += z * x.transpose();
        self.block.zy += z * y;
        self.xx += x * x.transpose();
        self.xy += x * y;
        self.yy += y * y;
        self.readings += 1;
    }
}

/// The whole data set, reduced to sums of products.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduced<const Q: usize, const P: usize> {
    /// One block a subject, in a fixed order.
    pub blocks: Vec<Block<Q, P>>,
    /// X'X over all subjects.
    pub xx: SMatrix<f64, P, P>,
    /// X'y over all subjects.
    pub xy: SVector<f64, P>,
    /// y'y over all subjects.
    pub yy: f64,
    /// Number of readings of all subjects.
    pub readings: usize,
    /// How many of the P columns are in use: the first ones.
    pub fixed: usize,
}

impl<const Q: usize, const P: usize> Reduced<Q, P> {
    /// Gathers subjects, in the order given; subjects without a reading are left out.
    ///
    /// # Errors
    /// If `fixed` is 0 or above P, a number is not finite, or a column said to be out of use is not zero.
    pub fn gather(fixed: usize, subjects: impl IntoIterator<Item = SubjectSums<Q, P>>) -> Result<Self, InputError> {
        if fixed == 0 || fixed > P {
            return Err(InputError::OutOfRange {
                what: "number of fixed effects",
                domain: "from 1 to the number of columns",
            });
        }
        let mut all =
            Self { blocks: Vec::new(), xx: SMatrix::zeros(), xy: SVector::zeros(), yy: 0.0, readings: 0, fixed };
        for (index, subject) in subjects.into_iter().enumerate() {
            let numbers = subject.block.zz.iter().chain(&subject.block.zy).chain(&subject.xx).chain(&subject.xy);
            if !(numbers.chain(&subject.block.zx).all(|v| v.is_finite()) && subject.yy.is_finite()) {
                return Err(InputError::BadElement { what: "products of a subject", index, domain: "finite" });
            }
            if (fixed..P).any(|j| subject.xx[(j, j)] != 0.0) {
                return Err(InputError::BadElement { what: "columns out of use", index, domain: "zero" });
            }
            if subject.readings > 0 {
                all.blocks.push(subject.block);
                all.xx += subject.xx;
                all.xy += subject.xy;
                all.yy += subject.yy;
                all.readings += subject.readings;
            }
        }
        Ok(all)
    }

    /// Root mean square of each random column over the readings: what makes random effects of
    /// different units comparable.
    pub(super) fn random_scales(&self) -> SVector<f64, Q> {
        let mut squares = SVector::<f64, Q>::zeros();
        for block in &self.blocks {
            squares += block.zz.diagonal();
        }
        squares.map(|s| (s / self.readings as f64).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::{Vector1, Vector2};

    use super::*;

    #[test]
    fn products_of_two_readings_by_hand() {
        let mut s = SubjectSums::<1, 2>::default();
        s.add(&Vector1::new(1.0), &Vector2::new(1.0, 3.0), 5.0);
        s.add(&Vector1::new(1.0), &Vector2::new(1.0, -1.0), 2.0);
        assert_eq!((s.block.zz[0], s.block.zx[(0, 1)], s.block.zy[0]), (2.0, 2.0, 7.0));
        assert_eq!((s.xx[(1, 1)], s.xy[1], s.yy, s.readings), (10.0, 13.0, 29.0, 2));
    }

    #[test]
    fn an_infinite_product_a_used_unused_column_and_no_column_are_refused() {
        let mut s = SubjectSums::<1, 2>::default();
        s.add(&Vector1::new(1.0), &Vector2::new(1.0, 3.0), 5.0);
        assert!(Reduced::gather(2, [s]).is_ok());
        assert!(Reduced::gather(1, [s]).is_err());
        assert!(Reduced::gather(0, [s]).is_err());
        assert!(Reduced::gather(3, [s]).is_err());
        s.yy = f64::INFINITY;
        assert!(Reduced::gather(2, [s]).is_err());
    }
}
