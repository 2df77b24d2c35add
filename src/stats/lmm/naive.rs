//! The same likelihood from dense covariance matrices, reading by reading, as the formula is written: slow, for tests.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

use super::block::{Reduced, SubjectSums};
use super::criterion::Criterion;
use crate::random::{standard_normal, stream, uniform};

/// Designs and observations, one entry a subject.
pub(super) struct Dense {
    pub z: Vec<DMatrix<f64>>,
    pub x: Vec<DMatrix<f64>>,
    pub y: Vec<DVector<f64>>,
}

impl Dense {
    /// Minus twice the profiled log-likelihood and the fixed effects, with each V inverted as a whole.
    pub fn deviance(&self, lambda: &DMatrix<f64>, criterion: Criterion) -> (f64, DVector<f64>) {
        let p = self.x[0].ncols();
        let n: usize = self.y.iter().map(DVector::len).sum();
        let inverses: Vec<_> = self.z.iter().map(|z| self.v(z, lambda).try_inverse().unwrap()).collect();
        let mut xx = DMatrix::zeros(p, p);
        let mut xy = DVector::zeros(p);
        for (i, v) in inverses.iter().enumerate() {
            xx += self.x[i].transpose() * v * &self.x[i];
            xy += self.x[i].transpose() * v * &self.y[i];
        }
        let beta = xx.clone().lu().solve(&xy).unwrap();
        let (mut r2, mut log_det) = (0.0, 0.0);
        for (i, v) in inverses.iter().enumerate() {
            let e = &self.y[i] - &self.x[i] * &beta;
            r2 += (e.transpose() * v * &e)[0];
            log_det += self.v(&self.z[i], lambda).determinant().ln();
        }
        let m = match criterion {
            Criterion::Ml => n as f64,
            Criterion::Reml => {
                log_det += xx.determinant().ln();
                (n - p) as f64
            }
        };
        (log_det + m * (1.0 + (2.0 * std::f64::consts::PI * r2 / m).ln()), beta)
    }

    fn v(&self, z: &DMatrix<f64>, lambda: &DMatrix<f64>) -> DMatrix<f64> {
        let half = z * lambda;
        DMatrix::identity(z.nrows(), z.nrows()) + &half * half.transpose()
    }

    /// The same data as sums of products.
    pub fn reduced<const Q: usize, const P: usize>(&self) -> Reduced<Q, P> {
        let fixed = self.x[0].ncols();
        let subjects = (0..self.y.len()).map(|i| {
            let mut sums = SubjectSums::<Q, P>::default();
            for r in 0..self.y[i].len() {
                let x = SVector::from_fn(|j, _| if j < fixed { self.x[i][(r, j)] } else { 0.0 });
                sums.add(&SVector::from_fn(|j, _| self.z[i][(r, j)]), &x, self.y[i][r]);
            }
            sums
        });
        Reduced::gather(fixed, subjects).unwrap()
    }

    /// Subjects with random designs 1, t, t2 ... (`lambda` decides how many), fixed designs the same with one covariate
    /// more, residual SD 1 and random effects `lambda` times standard normals. Subject i has 1 + i mod 7 readings.
    pub fn simulated(seed: u64, subjects: usize, lambda: &DMatrix<f64>) -> Self {
        let q = lambda.nrows();
        let mut rng = stream(seed, b"dense");
        let (mut z, mut x, mut y) = (Vec::new(), Vec::new(), Vec::new());
        for i in 0..subjects {
            let n = 1 + i % 7;
            let covariate = standard_normal(&mut rng);
            let times: Vec<f64> = (0..n).map(|_| 2.0 * uniform(&mut rng)).collect();
            let zi = DMatrix::from_fn(n, q, |r, j| times[r].powi(j as i32));
            let xi = DMatrix::from_fn(n, q + 1, |r, j| if j < q { zi[(r, j)] } else { covariate });
            let u = lambda * DVector::from_fn(q, |_, _| standard_normal(&mut rng));
            let beta = DVector::from_fn(q + 1, |j, _| 5.0 - j as f64);
            let yi = &xi * beta + &zi * u + DVector::from_fn(n, |_, _| standard_normal(&mut rng));
            z.push(zi);
            x.push(xi);
            y.push(yi);
        }
        Self { z, x, y }
    }
}

/// A dense copy.
pub(super) fn dense<const N: usize>(m: &SMatrix<f64, N, N>) -> DMatrix<f64> {
    DMatrix::from_fn(N, N, |i, j| m[(i, j)])
}
