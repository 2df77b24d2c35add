//! The mean chance of all rows at an intercept, at many intercepts for the price of some.
//!
//! **Formula.** m(u) = sum n p(eta + u) / sum n, taken at Chebyshev's points of an interval and read off between them by the barycentric
//! formula (Berrut & Trefethen 2004, SIAM Rev 46:501-17). m has no singularity nearer to the real line than pi, so that
//! the error falls as rho^-n with rho = x + sqrt(1 + x2), x = pi over half the interval's length; n is taken for 1e-12.

use rayon::prelude::*;

/// The least and the most points.
const POINTS: (usize, usize) = (8, 400);

/// m over an interval of u.
pub(super) struct MeanChance {
    points: Vec<f64>,
    values: Vec<f64>,
}

impl MeanChance {
    /// For u from `low` to `high`; `etas` and `trials` are those of all rows.
    pub(super) fn new(etas: &[f64], trials: &[f64], low: f64, high: f64) -> Self {
        let (middle, half) = ((low + high) / 2.0, (high - low) / 2.0);
        let points: Vec<f64> = if half > 1e-12 {
            let x = std::f64::consts::PI / half;
            let needed = 27.7 / (x + (1.0 + x * x).sqrt()).ln(); // ln 1e12 = 27.6
            let n = (needed.ceil() as usize).clamp(POINTS.0, POINTS.1);
            (0..=n).map(|i| middle + half * (std::f64::consts::PI * i as f64 / n as f64).cos()).collect()
        } else {
            vec![middle]
        };
        let values = points.par_iter().map(|u| at(etas, trials, *u)).collect();
        Self { points, values }
    }

    /// m at `u`, which must lie in the interval.
    pub(super) fn at(&self, u: f64) -> f64 {
        let last = self.points.len() - 1;
        let (mut above, mut below) = (0.0, 0.0);
        for (i, (x, value)) in self.points.iter().zip(&self.values).enumerate() {
            if u == *x || last == 0 {
                return *value;
            }
            let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
            let weight = sign * if i == 0 || i == last { 0.5 } else { 1.0 } / (u - x);
            above += weight * value;
            below += weight;
        }
        (above / below).clamp(0.0, 1.0)
    }
}

/// m(u) itself.
fn at(etas: &[f64], trials: &[f64], u: f64) -> f64 {
    let (mut above, mut below) = (0.0, 0.0);
    for (eta, n) in etas.iter().zip(trials) {
        above += n * crate::logistic::sums::chances(eta + u).0;
        below += n;
    }
    above / below
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_read_off_between_the_points_is_the_mean_itself() {
        let etas: Vec<f64> = (0..50).map(|i| f64::from(i) / 7.0 - 4.0).collect();
        let trials: Vec<f64> = (0..50).map(|i| f64::from(1 + i % 3)).collect();
        for (low, high) in [(-0.3, 0.4), (-6.0, 2.0), (-15.0, 15.0)] {
            let mean = MeanChance::new(&etas, &trials, low, high);
            for i in 0..=100 {
                let u = low + (high - low) * f64::from(i) / 100.0;
                assert!((mean.at(u) - at(&etas, &trials, u)).abs() < 1e-11, "{low} {u}");
            }
        }
        assert_eq!(MeanChance::new(&[0.0], &[2.0], 0.0, 0.0).at(0.0), 0.5);
    }
}
