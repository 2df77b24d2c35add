//! The alternating algorithm of Lindstrom & Bates 1990 (Biometrics 46:673-87), by which the published values were found.
//!
//! It linearises each curve at the subject's own mode and fits the linear model by maximum likelihood, again and again. Its
//! fixed point is not the maximum of the likelihood, so it is no part of the crate; here it shows that published estimates are
//! what they are said to be. The linear model is fitted by EM steps (Laird & Ware 1982): slow, short and independent.

use mendcurve_stats::series::Series;
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

/// The fixed point: means of baseline, plateau and log tau, covariance, residual SD, log-likelihood of the linear model.
pub struct FixedPoint {
    pub beta: Vector3<f64>,
    pub covariance: Matrix3<f64>,
    pub residual_sd: f64,
    pub log_likelihood: f64,
}

/// Curve and derivatives by the three coefficients, one row a reading.
fn linearised(times: &[f64], c: Vector3<f64>) -> (DVector<f64>, DMatrix<f64>) {
    let elapsed = |j: usize| times[j] * (-c[2]).exp();
    let value = DVector::from_fn(times.len(), |j, _| c[1] + (c[0] - c[1]) * (-elapsed(j)).exp());
    let slopes = DMatrix::from_fn(times.len(), 3, |j, k| {
        let e = (-elapsed(j)).exp();
        [e, 1.0 - e, (c[0] - c[1]) * e * elapsed(j)][k]
    });
    (value, slopes)
}

/// Iterates from these values until nothing moves; a coefficient whose variance starts at 0 keeps it.
pub fn fixed_point(data: &[Series], beta: Vector3<f64>, covariance: Matrix3<f64>, residual_sd: f64) -> FixedPoint {
    let (mut beta, mut g, mut s2) = (beta, covariance, residual_sd * residual_sd);
    let mut modes = vec![Vector3::zeros(); data.len()];
    let readings: usize = data.iter().map(|s| s.values.len()).sum();
    for _ in 0..200_000 {
        let linear: Vec<(DVector<f64>, DMatrix<f64>)> = data
            .iter()
            .zip(&modes)
            .map(|(s, b)| {
                let (value, z) = linearised(s.times, beta + b);
                (DVector::from_row_slice(s.values) - value + &z * (beta + b), z)
            })
            .collect();
        let inverses: Vec<DMatrix<f64>> = linear
            .iter()
            .map(|(w, z)| {
                let v = z * g * z.transpose() + DMatrix::identity(w.len(), w.len()) * s2;
                v.cholesky().expect("positive definite").inverse()
            })
            .collect();
        let (mut left, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for ((w, z), v) in linear.iter().zip(&inverses) {
            left += z.transpose() * v * z;
            right += z.transpose() * (v * w);
        }
        let new_beta = left.try_inverse().expect("the curve is determined") * right;
        let (mut new_g, mut squares, mut log_likelihood) = (Matrix3::zeros(), 0.0, 0.0);
        for (((w, z), v), mode) in linear.iter().zip(&inverses).zip(&mut modes) {
            let r = w - z * new_beta;
            let vr = v * &r;
            let b: Vector3<f64> = g * (z.transpose() * &vr);
            let c: Matrix3<f64> = g - g * (z.transpose() * v * z) * g;
            new_g += b * b.transpose() + c;
            squares += (&r - z * b).norm_squared() + (z * c * z.transpose()).trace();
            log_likelihood += 0.5
                * (v.clone().cholesky().expect("positive definite").l().diagonal().map(f64::ln).sum() * 2.0
                    - r.dot(&vr)
                    - r.len() as f64 * std::f64::consts::TAU.ln());
            *mode = b;
        }
        new_g /= data.len() as f64;
        let new_s2 = squares / readings as f64;
        let moved = (new_beta - beta).norm() / beta.norm() + (new_g - g).norm() / g.norm() + (new_s2 / s2 - 1.0).abs();
        (beta, g, s2) = (new_beta, new_g, new_s2);
        if moved < 1e-12 {
            return FixedPoint { beta, covariance: g, residual_sd: s2.sqrt(), log_likelihood };
        }
    }
    panic!("the alternating algorithm did not settle");
}
