//! Cholesky's factor of an information matrix whose columns may have very different units.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// What must be left of a column's squared length after projection on those before it.
const RANK_TOLERANCE: f64 = 1e-10;

/// A factor of D^-1 A D^-1, D the square roots of A's diagonal.
pub(crate) struct ScaledCholesky {
    scale: DVector<f64>,
    factor: Cholesky<f64, Dyn>,
}

impl ScaledCholesky {
    /// `None` unless `a` is finite and positive definite.
    pub(crate) fn new(a: &DMatrix<f64>) -> Option<Self> {
        let scale = a.diagonal().map(f64::sqrt);
        if !scale.iter().all(|s| *s > 0.0 && s.is_finite()) {
            return None;
        }
        let scaled = DMatrix::from_fn(a.nrows(), a.ncols(), |i, j| a[(i, j)] / (scale[i] * scale[j]));
        Some(Self { factor: scaled.cholesky()?, scale })
    }

    pub(crate) fn solve(&self, b: &DVector<f64>) -> DVector<f64> {
        self.factor.solve(&b.component_div(&self.scale)).component_div(&self.scale)
    }

    pub(crate) fn inverse(&self) -> DMatrix<f64> {
        let inverse = self.factor.inverse();
        DMatrix::from_fn(inverse.nrows(), inverse.ncols(), |i, j| inverse[(i, j)] / (self.scale[i] * self.scale[j]))
    }

    pub(crate) fn log_determinant(&self) -> f64 {
        let factor = self.factor.l_dirty();
        (0..self.scale.len()).map(|i| 2.0 * (factor[(i, i)].ln() + self.scale[i].ln())).sum()
    }
}

/// Least eigenvalue of `a` scaled to a unit diagonal.
pub(crate) fn scaled_curvature(a: &DMatrix<f64>) -> Option<f64> {
    let d = a.diagonal().map(f64::sqrt);
    if !d.iter().all(|s| *s > 0.0 && s.is_finite()) {
        return None;
    }
    let scaled = DMatrix::from_fn(a.nrows(), a.ncols(), |i, j| a[(i, j)] / (d[i] * d[j]));
    Some(scaled.symmetric_eigenvalues().min())
}

/// The first column whose square in X'X (row-major, p by p) the columns before it explain but for rounding.
pub(crate) fn first_dependent_column(products: &[f64], p: usize) -> Option<usize> {
    let mut l = vec![0.0; p * p];
    for j in 0..p {
        for i in j..p {
            let left = products[i * p + j] - (0..j).map(|k| l[i * p + k] * l[j * p + k]).sum::<f64>();
            if i == j {
                // "is above", so that NaN fails
                let independent = left > RANK_TOLERANCE * products[j * p + j];
                if !independent {
                    return Some(j);
                }
                l[j * p + j] = left.sqrt();
            } else {
                l[i * p + j] = left / l[j * p + j];
            }
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_nine_orders_apart_do_not_disturb_solution_inverse_or_determinant() {
        let d = [1e-5, 1e4];
        let a = DMatrix::from_row_slice(2, 2, &[2.0 * d[0] * d[0], d[0] * d[1], d[0] * d[1], 2.0 * d[1] * d[1]]);
        let factor = ScaledCholesky::new(&a).unwrap();
        let x = factor.solve(&DVector::from_vec(vec![3.0 * d[0], 3.0 * d[1]]));
        assert!((x[0] * d[0] - 1.0).abs() < 1e-14 && (x[1] * d[1] - 1.0).abs() < 1e-14);
        assert!((&a * factor.inverse() - DMatrix::identity(2, 2)).norm() < 1e-5);
        assert!((factor.log_determinant() - (3.0 * (d[0] * d[1]).powi(2)).ln()).abs() < 1e-13);
        assert!((scaled_curvature(&a).unwrap() - 0.5).abs() < 1e-14); // 1 and 1/2: eigenvalues 1/2 and 3/2
    }

    #[test]
    fn a_repeated_column_is_found_and_an_indefinite_matrix_has_no_factor() {
        assert_eq!(first_dependent_column(&[1.0, 2.0, 2.0, 4.0], 2), Some(1));
        assert_eq!(first_dependent_column(&[0.0], 1), Some(0));
        assert_eq!(first_dependent_column(&[1.0, 2.0, 2.0, 4.1], 2), None);
        assert!(ScaledCholesky::new(&DMatrix::from_row_slice(2, 2, &[1.0, 2.0, 2.0, 1.0])).is_none());
    }
}
