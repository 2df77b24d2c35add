//! Courses drawn from what the data leave open, for proper multiple imputation (Rubin 1987).
//!
//! **Distribution.** sigma2 = its estimate times m / chi2 with m degrees of freedom; beta normal around its estimate with
//! its covariance, scaled by the drawn sigma2; the free entries of Lambda normal around their estimates with the
//! covariance that the criterion's curvature gives, so that G = sigma2 Lambda Lambda' is a covariance in every draw (large-
//! sample theory: Pinheiro & Bates 2000, 2.4.3). The three are drawn independently. A direction in which G was found to
//! have no variance keeps none; knots stay where they are.

use nalgebra::{DMatrix, DVector};
use rand_chacha::ChaCha8Rng;

use super::{Square, Trajectory};
use crate::random::{standard_normal, uniform};

impl Trajectory {
    /// A course with parameters drawn from their sampling distribution; see the source of this method's module. Its
    /// parameters count as known: posteriors under it hold no uncertainty of beta.
    #[must_use]
    pub fn draw(&self, stream: &mut ChaCha8Rng) -> Self {
        let mut drawn = self.clone();
        let m = self.fit.degrees_of_freedom;
        let stretch = (m / chi_square(m, stream)).sqrt();
        drawn.sigma = self.fit.sigma * stretch;
        drawn.beta = &self.fit.beta + normal(&self.fit.beta_covariance, stream) * stretch;
        drawn.beta_covariance.fill(0.0);
        let by = normal(&self.fit.lambda_covariance, stream);
        for (k, entry) in self.fit.free.iter().enumerate() {
            drawn.lambda[*entry] = self.fit.lambda[*entry] + by[k];
        }
        drawn
    }
}

/// A normal vector with mean 0.
fn normal(covariance: &DMatrix<f64>, stream: &mut ChaCha8Rng) -> DVector<f64> {
    let by = DVector::from_fn(covariance.nrows(), |_, _| standard_normal(stream));
    if covariance.nrows() == 0 {
        return by;
    }
    let eigen = covariance.clone().symmetric_eigen();
    let scaled = eigen.eigenvalues.map(|v| v.max(0.0).sqrt()).component_mul(&by);
    eigen.eigenvectors * scaled
}

/// R with R R' = the semidefinite `covariance`.
pub(super) fn root(covariance: &Square) -> Square {
    let eigen = covariance.symmetric_eigen();
    eigen.eigenvectors * Square::from_diagonal(&eigen.eigenvalues.map(|v| v.max(0.0).sqrt()))
}

/// A chi-square number with `df` >= 1 degrees of freedom: twice a gamma number, by rejection from a cubed normal (Marsaglia
/// & Tsang 2000, ACM Trans Math Softw 26:363-72).
fn chi_square(df: f64, stream: &mut ChaCha8Rng) -> f64 {
    // for shapes below 1, from the shape one higher
    let shape = df / 2.0;
    let (shape, boost) = if shape < 1.0 { (shape + 1.0, uniform(stream).powf(1.0 / shape)) } else { (shape, 1.0) };
    let d = shape - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let z = standard_normal(stream);
        let v = (1.0 + c * z).powi(3);
        if v > 0.0 && uniform(stream).ln() < 0.5 * z * z + d - d * v + d * v.ln() {
            return 2.0 * d * v * boost;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;
    use crate::sum::{mean, sample_variance};

    #[test]
    fn chi_square_numbers_have_mean_df_and_variance_twice_df() {
        for df in [1.0, 2.0, 7.0, 5000.0] {
            let mut s = stream(1, b"chi square");
            let draws: Vec<f64> = (0..20_000).map(|_| chi_square(df, &mut s)).collect();
            let error = (2.0 * df / 20_000.0_f64).sqrt();
            assert!((mean(&draws).unwrap() - df).abs() < 4.0 * error);
            let kurtosis = 3.0 + 12.0 / df;
            let variance_error = 2.0 * df * ((kurtosis - 1.0) / 20_000.0).sqrt();
            assert!((sample_variance(&draws).unwrap() - 2.0 * df).abs() < 4.0 * variance_error);
        }
    }

    #[test]
    fn a_root_times_its_transpose_is_the_covariance() {
        let half = Square::from_fn(|i, j| if j < 2 { (i + 2 * j) as f64 - 1.5 } else { 0.0 }); // rank 2
        let covariance = half * half.transpose();
        let r = root(&covariance);
        assert!((r * r.transpose() - covariance).norm() < 1e-13 * covariance.norm());
    }
}
