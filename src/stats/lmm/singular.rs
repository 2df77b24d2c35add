//! Where G has lost rank: which variance is zero, which effects move as one.
//!
//! **Rule.** In units in which each random column has root mean square 1 over the readings, and relative to the residual
//! variance, a pivot of G's Cholesky factor not above 1e-8, or not above 1e-8 of its variance, counts as zero (lme4's
//! `isSingular` uses the same 1e-4 on the standard deviation).

use nalgebra::{DMatrix, SMatrix};

use super::small_matrix::semidefinite_cholesky;

/// A pivot of G this small, relative to the residual variance and to its own, counts as zero.
const PIVOT: f64 = 1e-8;
/// Correlations nearer to 1 or -1 than this are named as perfect.
const PERFECT: f64 = 1e-6;

/// How G lies on the boundary of what a covariance can be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Singular {
    /// Rank of G.
    pub rank: usize,
    /// Random effects, counted from 0, whose variance is zero.
    pub zero_variances: Vec<usize>,
    /// Pairs of the others with a correlation of 1 or -1. Empty with a rank lost among three or more effects at once.
    pub perfect_correlations: Vec<(usize, usize)>,
}

/// A Cholesky factor of the semidefinite `g`.
pub(super) fn factor<const Q: usize>(g: &SMatrix<f64, Q, Q>) -> SMatrix<f64, Q, Q> {
    semidefinite_cholesky(g, |i| PIVOT * g[(i, i)].max(1.0))
}

/// The factor with its all but zero columns at exactly zero; `None` if G has full rank. `lambda` is scaled.
pub(super) fn canonical<const Q: usize>(lambda: &SMatrix<f64, Q, Q>) -> Option<SMatrix<f64, Q, Q>> {
    let reduced = factor(&(lambda * lambda.transpose()));
    (0..Q).any(|j| reduced[(j, j)] == 0.0).then_some(reduced)
}

/// An orthonormal basis of the directions in which a factor with columns of zeros has no variance.
pub(super) fn null_space<const Q: usize>(lambda: &SMatrix<f64, Q, Q>) -> DMatrix<f64> {
    let rank = (0..Q).filter(|&j| lambda[(j, j)] != 0.0).count();
    let g = DMatrix::from_fn(Q, Q, |i, j| (lambda * lambda.transpose())[(i, j)]);
    let eigen = g.symmetric_eigen();
    let mut order: Vec<usize> = (0..Q).collect();
    order.sort_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]));
    DMatrix::from_fn(Q, Q - rank, |i, k| eigen.eigenvectors[(i, order[k])])
}

/// Names what is singular; `None` if nothing is. `lambda` is scaled and in the form that [`canonical`] gives.
pub(super) fn name<const Q: usize>(lambda: &SMatrix<f64, Q, Q>) -> Option<Singular> {
    let rank = (0..Q).filter(|&j| lambda[(j, j)] != 0.0).count();
    if rank == Q {
        return None;
    }
    let g = lambda * lambda.transpose();
    let (zero_variances, others): (Vec<_>, Vec<_>) = (0..Q).partition(|&i| g[(i, i)] <= PIVOT);
    let mut perfect_correlations = Vec::new();
    for (k, &j) in others.iter().enumerate() {
        for &i in &others[..k] {
            if g[(i, j)].abs() >= (1.0 - PERFECT) * (g[(i, i)] * g[(j, j)]).sqrt() {
                perfect_correlations.push((i, j));
            }
        }
    }
    Some(Singular { rank, zero_variances, perfect_correlations })
}

#[cfg(test)]
mod tests {
    use nalgebra::{Matrix2, Matrix3};

    use super::*;

    #[test]
    fn a_variance_at_zero_and_a_perfect_correlation_are_named() {
        let zero = Matrix2::new(1.0, 0.0, 0.0, 0.0);
        let named = name(&zero).unwrap();
        assert_eq!((named.rank, named.zero_variances, named.perfect_correlations.len()), (1, vec![1], 0));
        let tied = canonical(&Matrix2::new(1.0, 0.0, -0.5, 1e-6)).unwrap();
        let named = name(&tied).unwrap();
        assert_eq!((named.rank, named.zero_variances.len(), named.perfect_correlations), (1, 0, vec![(0, 1)]));
        assert!(canonical(&Matrix2::new(1.0, 0.0, -0.5, 1e-3)).is_none());
    }

    #[test]
    fn the_null_space_is_where_there_is_no_variance() {
        let lambda = Matrix3::new(1.0, 0.0, 0.0, 2.0, 0.0, 0.0, 0.0, 0.0, 1.5);
        let basis = null_space(&lambda);
        assert_eq!(basis.ncols(), 1);
        let seen = lambda.transpose() * nalgebra::Vector3::new(basis[0], basis[1], basis[2]);
        assert!(seen.norm() < 1e-15);
    }
}
