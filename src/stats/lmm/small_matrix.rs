//! Cholesky factors and triangular solves of matrices small enough for the stack.
//!
//! **Formula.** A = L L', L lower triangular, by rows. The loops are written out because their bounds are known when the
//! program is compiled: for 2 to 4 random effects that is what makes a pass over the subjects cheap.

use nalgebra::{SMatrix, SVector};

/// The lower triangular L with L L' = `a`; `None` unless `a` is positive definite. Reads the lower triangle.
#[inline]
pub(super) fn cholesky<const N: usize>(a: &SMatrix<f64, N, N>) -> Option<SMatrix<f64, N, N>> {
    let mut l = SMatrix::<f64, N, N>::zeros();
    for i in 0..N {
        for j in 0..=i {
            let mut left = a[(i, j)];
            for k in 0..j {
                left -= l[(i, k)] * l[(j, k)];
            }
            if i == j {
                // "is positive", so that NaN fails
                if !(left > 0.0 && left.is_finite()) {
                    return None;
                }
                l[(i, i)] = left.sqrt();
            } else {
                l[(i, j)] = left / l[(j, j)];
            }
        }
    }
    Some(l)
}

/// A lower triangular L with L L' = `a` for `a` positive semidefinite: a pivot not above `floor(i)` becomes a column of
/// zeros.
pub(super) fn semidefinite_cholesky<const N: usize>(
    a: &SMatrix<f64, N, N>,
    floor: impl Fn(usize) -> f64,
) -> SMatrix<f64, N, N> {
    let mut l = SMatrix::<f64, N, N>::zeros();
    for j in 0..N {
        let left = a[(j, j)] - (0..j).map(|k| l[(j, k)] * l[(j, k)]).sum::<f64>();
        if left > floor(j) {
            l[(j, j)] = left.sqrt();
            for i in j + 1..N {
                let left = a[(i, j)] - (0..j).map(|k| l[(i, k)] * l[(j, k)]).sum::<f64>();
                l[(i, j)] = left / l[(j, j)];
            }
        }
    }
    l
}

/// L^-1 B.
#[inline]
pub(super) fn forward<const N: usize, const M: usize>(
    l: &SMatrix<f64, N, N>,
    mut b: SMatrix<f64, N, M>,
) -> SMatrix<f64, N, M> {
    for c in 0..M {
        for i in 0..N {
            let mut left = b[(i, c)];
            for k in 0..i {
                left -= l[(i, k)] * b[(k, c)];
            }
            b[(i, c)] = left / l[(i, i)];
        }
    }
    b
}

/// L'^-1 B.
#[inline]
pub(super) fn backward<const N: usize, const M: usize>(
    l: &SMatrix<f64, N, N>,
    mut b: SMatrix<f64, N, M>,
) -> SMatrix<f64, N, M> {
    for c in 0..M {
        for i in (0..N).rev() {
            let mut left = b[(i, c)];
            for k in i + 1..N {
                left -= l[(k, i)] * b[(k, c)];
            }
            b[(i, c)] = left / l[(i, i)];
        }
    }
    b
}

/// (L L')^-1 b.
pub(super) fn solve<const N: usize>(l: &SMatrix<f64, N, N>, b: SVector<f64, N>) -> SVector<f64, N> {
    backward(l, forward(l, b))
}

/// (L L')^-1.
pub(super) fn inverse<const N: usize>(l: &SMatrix<f64, N, N>) -> SMatrix<f64, N, N> {
    backward(l, forward(l, SMatrix::identity()))
}

/// Twice the sum of the logarithms of L's diagonal: log det(L L').
#[inline]
pub(super) fn log_determinant<const N: usize>(l: &SMatrix<f64, N, N>) -> f64 {
    2.0 * (0..N).map(|i| l[(i, i)]).product::<f64>().ln()
}

#[cfg(test)]
mod tests {
    use nalgebra::{Matrix3, Vector3};

    use super::*;

    const A: Matrix3<f64> = Matrix3::new(4.0, 2.0, -1.0, 2.0, 5.0, 0.5, -1.0, 0.5, 3.0);

    #[test]
    fn the_factor_solves_inverts_and_has_the_determinant() {
        let l = cholesky(&A).unwrap();
        assert!((l * l.transpose() - A).norm() < 1e-14);
        let b = Vector3::new(1.0, -2.0, 0.25);
        assert!((A * solve(&l, b) - b).norm() < 1e-14);
        assert!((A * inverse(&l) - Matrix3::identity()).norm() < 1e-14);
        // 4 (15 - 0.25) - 2 (6 + 0.5) - (1 + 5) = 40
        assert!((log_determinant(&l) - 40.0_f64.ln()).abs() < 1e-14);
    }

    #[test]
    fn a_singular_indefinite_or_nan_matrix_has_no_factor() {
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let mut a = A;
            a[(1, 1)] = bad;
            assert!(cholesky(&a).is_none());
        }
    }

    #[test]
    fn a_semidefinite_matrix_has_a_factor_with_a_column_of_zeros() {
        let v = Vector3::new(1.0, 2.0, -1.0);
        let l = semidefinite_cholesky(&(v * v.transpose()), |_| 1e-12);
        assert!((l.column(0) - v).norm() < 1e-15);
        assert_eq!(l.column(1).norm() + l.column(2).norm(), 0.0);
        let none_before = Matrix3::new(0.0, 0.0, 0.0, 0.0, 4.0, 2.0, 0.0, 2.0, 1.0);
        let l = semidefinite_cholesky(&none_before, |_| 1e-12);
        assert!((l * l.transpose() - none_before).norm() < 1e-15);
    }
}
