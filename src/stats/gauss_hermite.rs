//! Nodes and weights for means over the standard normal distribution.
//!
//! **Formula.** sum w f(z) equals the mean of f(Z), Z ~ N(0, 1), exactly for polynomials up to degree 2n - 1. The nodes are
//! the roots of the Hermite polynomial of degree n: eigenvalues of the symmetric tridiagonal matrix with sqrt(k) beside the
//! diagonal (Golub & Welsch 1969, Math Comput 23:221-30), each brought to the last digit by Newton's method on the
//! orthonormal polynomials h(k+1) = (z h(k) - sqrt(k) h(k-1)) / sqrt(k+1); w = 1 / sum of h(k)2, k < n.
//!
//! **Domain.** n from 1 to 100. Symmetric to the bit: z and -z, one weight; the middle node of an odd n is 0.
//!
//! **Reference.** The moments of the normal distribution, 1, 1, 3, 15, 105 and so on.

use nalgebra::DMatrix;

use crate::error::InputError;

/// A rule of n nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct GaussHermite {
    /// Nodes, ascending.
    pub nodes: Vec<f64>,
    /// Weights, sum 1.
    pub weights: Vec<f64>,
}

impl GaussHermite {
    /// The rule of `points` nodes.
    ///
    /// # Errors
    /// If `points` is not from 1 to 100.
    pub fn new(points: usize) -> Result<Self, InputError> {
        if !(1..=100).contains(&points) {
            return Err(InputError::OutOfRange { what: "number of quadrature points", domain: "from 1 to 100" });
        }
        let beside = |i: usize, j: usize| if i.abs_diff(j) == 1 { (i.max(j) as f64).sqrt() } else { 0.0 };
        let mut nodes: Vec<f64> =
            DMatrix::from_fn(points, points, beside).symmetric_eigenvalues().iter().copied().collect();
        nodes.sort_by(f64::total_cmp);
        for z in &mut nodes {
            for _ in 0..3 {
                let (_, before, last) = orthonormal(*z, points);
                *z -= last / ((points as f64).sqrt() * before); // h(n)' = sqrt(n) h(n-1)
            }
        }
        for i in 0..points / 2 {
            let half = (nodes[points - 1 - i] - nodes[i]) / 2.0;
            (nodes[i], nodes[points - 1 - i]) = (-half, half);
        }
        if points % 2 == 1 {
            nodes[points / 2] = 0.0;
        }
        let weights = nodes.iter().map(|z| 1.0 / orthonormal(*z, points).0).collect();
        Ok(Self { nodes, weights })
    }
}

/// Sum of h(k)2 for k < n, h(n-1) and h(n) at `z`.
fn orthonormal(z: f64, n: usize) -> (f64, f64, f64) {
    let (mut before, mut here, mut squares) = (0.0, 1.0, 0.0);
    for k in 0..n {
        squares += here * here;
        let k = k as f64;
        (before, here) = (here, (z * here - k.sqrt() * before) / (k + 1.0).sqrt());
    }
    (squares, before, here)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_gives_the_moments_of_the_normal_distribution_up_to_its_degree() {
        for n in 1..=25 {
            let rule = GaussHermite::new(n).unwrap();
            let moment = |d: i32| -> f64 { rule.nodes.iter().zip(&rule.weights).map(|(z, w)| w * z.powi(d)).sum() };
            let mut exact = 1.0; // (2m - 1)!!
            for m in 0..n as i32 {
                assert!((moment(2 * m) / exact - 1.0).abs() < 1e-12, "{n} {m} {}", moment(2 * m) / exact - 1.0);
                exact *= f64::from(2 * m + 1);
            }
            assert!((moment(2 * n as i32) / exact - 1.0).abs() > 1e-9, "one degree more is too much");
        }
    }

    #[test]
    fn three_nodes_have_a_closed_form_and_symmetry_is_exact() {
        let rule = GaussHermite::new(3).unwrap();
        assert!((rule.nodes[2] - 3.0_f64.sqrt()).abs() < 1e-15 && (rule.weights[0] - 1.0 / 6.0).abs() < 1e-15);
        let rule = GaussHermite::new(25).unwrap();
        assert!((0..25).all(|i| rule.nodes[i] == -rule.nodes[24 - i] && rule.weights[i] == rule.weights[24 - i]));
        assert!(GaussHermite::new(0).is_err() && GaussHermite::new(101).is_err());
    }
}
