//! One subject's readings given its log tau: a linear model whose density and score have closed forms.
//!
//! With x, u, v independent standard normal, the subject's curve has
//!
//! ```text
//! log tau  = m_t + tt x
//! baseline = m_b + bt x + bb u
//! plateau  = m_p + pt x + pb u + pp v        y_j = plateau + (baseline - plateau) e_j + residual,  e_j = exp(-t_j / tau)
//! ```
//!
//! Given x the e_j are known, so y is normal. With Z = (e, 1 - e), L = (bb 0; pb pp), r = y - Z (m_b + bt x, m_p + pt x),
//! H = Z'Z, g = Z'r, A = I + L'HL / s2 and c = A^-1 L'g / s2 (the mean of (u, v) given y and x, A^-1 its covariance),
//!
//! ```text
//! -2 log p(y | x) = n log(2 pi s2) + log|A| + r'r / s2 - (L'g / s2)' c
//! ```
//!
//! The score follows from Fisher's identity: the mean, given y and x, of the score that one would have if u and v were
//! known. No inverse of the covariance of the random effects is needed, so any of the six may be 0. Besides the derivatives
//! by the six, those by the three loadings that are 0 here are given, so that the caller may rotate (x, u, v). For the products of
//! the score by log tau, a quadratic f of (u, v), Stein's lemma: E[f u] = c_u E[f] + (A^-1)_u E[grad f].
//!
//! Two values of x are worked on at a time, in the two halves of a vector register.

use wide::f64x2;

use super::decay::Points;
use crate::series::Series;

/// Means of one subject's baseline, plateau and log tau, their loadings on (x, u, v) and the
/// residual variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Law {
    pub mean: [f64; 3],
    pub loading: Loading,
    pub residual_variance: f64,
    /// log(2 pi s2), taken once for all x.
    pub(super) log_two_pi_variance: f64,
}

/// See the module's head.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Loading {
    pub tt: f64,
    pub bt: f64,
    pub pt: f64,
    pub bb: f64,
    pub pb: f64,
    pub pp: f64,
}

/// Derivatives by the three means; by the loadings of baseline, of plateau and of log tau on (x, u, v); by the log of the
/// residual SD.
pub(super) const SCORES: usize = 13;
pub(super) type Score = [f64; SCORES];

/// (baseline, plateau) given the readings and x: mean and covariance (variance, covariance, variance).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Levels {
    pub mean: [f64; 2],
    pub covariance: [f64; 3],
}

/// Sums over the readings; d is the derivative of e by log tau.
#[derive(Default)]
struct Sums {
    e: f64x2,
    ee: f64x2,
    r: f64x2,
    re: f64x2,
    rr: f64x2,
    d: f64x2,
    de: f64x2,
    dr: f64x2,
}

/// Everything closed in form at a pair of x.
struct Given {
    sums: Sums,
    rise: f64x2, // (baseline - plateau) at u = v = 0
    h: [f64x2; 3],
    g: [f64x2; 2],
    c: [f64x2; 2],
    inverse: [f64x2; 3], // A^-1
    log_density: f64x2,
}

/// One number, once for each x of a pair.
pub(super) fn both(value: f64) -> f64x2 {
    f64x2::new([value; 2])
}

fn ln(values: f64x2) -> f64x2 {
    f64x2::new(values.to_array().map(f64::ln))
}

impl Law {
    pub(super) fn new(mean: [f64; 3], loading: Loading, residual_variance: f64) -> Self {
        Self { mean, loading, residual_variance, log_two_pi_variance: (std::f64::consts::TAU * residual_variance).ln() }
    }

    fn levels_at(&self, x: f64x2) -> [f64x2; 2] {
        [both(self.mean[0]) + both(self.loading.bt) * x, both(self.mean[1]) + both(self.loading.pt) * x]
    }

    pub(super) fn log_tau_at(&self, x: f64) -> f64 {
        self.mean[2] + self.loading.tt * x
    }

    #[inline]
    fn given<const WITH_SLOPES: bool>(&self, subject: &Series, points: &Points, pair: usize) -> Given {
        let [baseline, plateau] = self.levels_at(points.x(pair));
        let rise = baseline - plateau;
        let rate = points.rate(pair);
        let mut s = Sums::default();
        for ((t, y), e) in subject.times.iter().zip(subject.values).zip(points.decays(pair)) {
            let r = both(*y) - plateau - rise * e;
            s.e += e;
            s.ee += e * e;
            s.r += r;
            s.re += r * e;
            s.rr += r * r;
            if WITH_SLOPES {
                let d = e * (both(*t) * rate);
                s.d += d;
                s.de += d * e;
                s.dr += d * r;
            }
        }
        let n = subject.values.len() as f64;
        let f = self.loading.twice();
        let [one, two, n2, per_s2] = [1.0, 2.0, n, 1.0 / self.residual_variance].map(both);
        let h = [s.ee, s.e - s.ee, n2 - two * s.e + s.ee];
        let g = [s.re, s.r - s.re];
        // L'HL / s2, H L by columns
        let hl_u = [h[0] * f.bb + h[1] * f.pb, h[1] * f.bb + h[2] * f.pb];
        let hl_v = [h[1] * f.pp, h[2] * f.pp];
        let a = [
            one + (f.bb * hl_u[0] + f.pb * hl_u[1]) * per_s2,
            (f.bb * hl_v[0] + f.pb * hl_v[1]) * per_s2,
            one + f.pp * hl_v[1] * per_s2,
        ];
        let determinant = a[0] * a[2] - a[1] * a[1];
        let per_determinant = one / determinant;
        let inverse = [a[2] * per_determinant, -a[1] * per_determinant, a[0] * per_determinant];
        let k = [(f.bb * g[0] + f.pb * g[1]) * per_s2, f.pp * g[1] * per_s2];
        let c = [inverse[0] * k[0] + inverse[1] * k[1], inverse[1] * k[0] + inverse[2] * k[1]];
        let constant = both(n * self.log_two_pi_variance);
        let log_density = both(-0.5) * (constant + ln(determinant) + s.rr * per_s2 - k[0] * c[0] - k[1] * c[1]);
        Given { sums: s, rise, h, g, c, inverse, log_density }
    }

    /// log p(y | x).
    pub(super) fn log_density_given(&self, subject: &Series, points: &Points, pair: usize) -> f64x2 {
        self.given::<false>(subject, points, pair).log_density
    }

    /// log p(y | x) and its derivatives.
    pub(super) fn score_given(&self, subject: &Series, points: &Points, pair: usize) -> (f64x2, [f64x2; SCORES]) {
        let q = self.given::<true>(subject, points, pair);
        let (f, s, x) = (self.loading.twice(), &q.sums, points.x(pair));
        let (c, h, g) = (q.c, q.h, q.g);
        // second moments of (u, v)
        let m = [q.inverse[0] + c[0] * c[0], q.inverse[1] + c[0] * c[1], q.inverse[2] + c[1] * c[1]];
        // L c and L m: what u and v add to (baseline, plateau), and its products with (u, v)
        let add = [f.bb * c[0], f.pb * c[0] + f.pp * c[1]];
        let lm_u = [f.bb * m[0], f.pb * m[0] + f.pp * m[1]];
        let lm_v = [f.bb * m[1], f.pb * m[1] + f.pp * m[2]];
        // Z'E[r], Z'E[r u], Z'E[r v]
        let by_level = [g[0] - h[0] * add[0] - h[1] * add[1], g[1] - h[1] * add[0] - h[2] * add[1]];
        let by_bu = g[0] * c[0] - h[0] * lm_u[0] - h[1] * lm_u[1];
        let by_bv = g[0] * c[1] - h[0] * lm_v[0] - h[1] * lm_v[1];
        let by_pu = g[1] * c[0] - h[1] * lm_u[0] - h[2] * lm_u[1];
        let by_pv = g[1] * c[1] - h[1] * lm_v[0] - h[2] * lm_v[1];
        // second moments of what is added: L m L'
        let bb = f.bb * lm_u[0];
        let bp = f.pb * lm_u[0] + f.pp * lm_v[0];
        let pp = f.pb * lm_u[1] + f.pp * lm_v[1];
        let rise = add[0] - add[1];
        let rise_plateau = bp - pp;
        let rise_rise = bb - both(2.0) * bp + pp;
        let by_log_tau =
            (q.rise + rise) * s.dr - (q.rise * add[1] + rise_plateau) * s.d - (q.rise * rise + rise_rise) * s.de;
        let squares =
            s.rr - both(2.0) * (g[0] * add[0] + g[1] * add[1]) + h[0] * bb + both(2.0) * h[1] * bp + h[2] * pp;
        // E[grad f] by (u, v), f the score by log tau
        let (rises, plateaus) = ([f.bb - f.pb, -f.pp], [f.pb, f.pp]);
        let left = s.dr - add[1] * s.d - rise * s.de;
        let bent = [0, 1].map(|k| rises[k] * left - (q.rise + rise) * (plateaus[k] * s.d + rises[k] * s.de));
        let i = q.inverse;
        let by_tu = c[0] * by_log_tau + i[0] * bent[0] + i[1] * bent[1];
        let by_tv = c[1] * by_log_tau + i[1] * bent[0] + i[2] * bent[1];
        let [by_b, by_p] = by_level;
        let by_means_and_loadings =
            [by_b, by_p, by_log_tau, by_b * x, by_bu, by_bv, by_p * x, by_pu, by_pv, by_log_tau * x, by_tu, by_tv];
        let per_s2 = both(1.0 / self.residual_variance);
        let mut score = [squares * per_s2 - both(subject.values.len() as f64); SCORES];
        for (score, by) in score.iter_mut().zip(by_means_and_loadings) {
            *score = by * per_s2;
        }
        (q.log_density, score)
    }

    /// (baseline, plateau) given the readings and each x of the pair, with log p(y | x).
    pub(super) fn levels_given(&self, subject: &Series, points: &Points, pair: usize) -> [(f64, Levels); 2] {
        let q = self.given::<false>(subject, points, pair);
        let f = self.loading.twice();
        let at = self.levels_at(points.x(pair));
        let mean = [at[0] + f.bb * q.c[0], at[1] + f.pb * q.c[0] + f.pp * q.c[1]].map(f64x2::to_array);
        let i = q.inverse;
        let li_u = [f.bb * i[0], f.pb * i[0] + f.pp * i[1]];
        let li_v = [f.bb * i[1], f.pb * i[1] + f.pp * i[2]];
        let covariance = [f.bb * li_u[0], f.pb * li_u[0] + f.pp * li_v[0], f.pb * li_u[1] + f.pp * li_v[1]];
        let (log_density, covariance) = (q.log_density.to_array(), covariance.map(f64x2::to_array));
        [0, 1].map(|k| (log_density[k], Levels { mean: mean.map(|m| m[k]), covariance: covariance.map(|c| c[k]) }))
    }
}

/// The loadings on u and v, once for each x of a pair.
struct Twice {
    bb: f64x2,
    pb: f64x2,
    pp: f64x2,
}

impl Loading {
    fn twice(&self) -> Twice {
        Twice { bb: both(self.bb), pb: both(self.pb), pp: both(self.pp) }
    }
}

#[cfg(test)]
mod tests {
    use super::super::decay::Own;
    use super::super::rule::Rule;
    use super::*;

    const S: Series =
        Series { times: &[0.0, 3.0, 9.0, 20.0, 60.0], values: &[7.0, 6.5, 4.0, 3.5, 1.0], covariates: &[] };

    fn law() -> Law {
        let loading = Loading { tt: 0.5, bt: 0.2, pt: -0.3, bb: 1.1, pb: 0.4, pp: 0.9 };
        Law::new([6.8, 2.2, 2.4], loading, 0.6)
    }

    /// 0 and 1.
    fn rule() -> Rule {
        Rule::covering(0.0, 1.0, 1.0)
    }

    fn log_densities(law: &Law) -> [f64; 2] {
        law.log_density_given(&S, &Own::default().points(law, S.times, rule()), 0).to_array()
    }

    #[test]
    fn the_density_agrees_with_a_dense_normal_density() {
        let law = law();
        let mut own = Own::default();
        let points = own.points(&law, S.times, rule());
        let found = law.levels_given(&S, &points, 0);
        for (x, (log_density, levels)) in [0.0, 1.0].into_iter().zip(found) {
            let rate = (-law.log_tau_at(x)).exp();
            let z = nalgebra::DMatrix::from_fn(5, 2, |j, k| {
                let e = (-S.times[j] * rate).exp();
                if k == 0 { e } else { 1.0 - e }
            });
            let l = nalgebra::Matrix2::new(1.1, 0.0, 0.4, 0.9);
            let v = &z * (l * l.transpose()) * z.transpose() + nalgebra::DMatrix::identity(5, 5) * 0.6;
            let mean = nalgebra::Vector2::new(6.8 + 0.2 * x, 2.2 - 0.3 * x);
            let r = nalgebra::DVector::from_row_slice(S.values) - &z * mean;
            let expected = -0.5
                * (r.dot(&(v.clone().try_inverse().unwrap() * &r))
                    + v.determinant().ln()
                    + 5.0 * std::f64::consts::TAU.ln());
            assert!((log_density - expected).abs() < 1e-12);
            assert!((log_densities(&law)[x as usize] - expected).abs() < 1e-12);
            let gain = l * l.transpose() * z.transpose() * v.try_inverse().unwrap();
            let posterior = mean + &gain * &r;
            assert!((levels.mean[0] - posterior[0]).abs() < 1e-12 && (levels.mean[1] - posterior[1]).abs() < 1e-12);
            let covariance = l * l.transpose() - &gain * &z * l * l.transpose();
            assert!((levels.covariance[1] - covariance[(0, 1)]).abs() < 1e-12);
            assert!((levels.covariance[2] - covariance[(1, 1)]).abs() < 1e-12);
        }
    }

    #[test]
    fn the_score_agrees_with_differences_of_the_density() {
        let mut own = Own::default();
        let (_, score) = law().score_given(&S, &own.points(&law(), S.times, rule()), 0);
        let moved = |k: usize, by: f64| {
            let mut l = law();
            match k {
                0..=2 => l.mean[k] += by,
                3 => l.loading.bt += by,
                4 => l.loading.bb += by,
                6 => l.loading.pt += by,
                7 => l.loading.pb += by,
                8 => l.loading.pp += by,
                9 => l.loading.tt += by,
                12 => l = Law::new(l.mean, l.loading, l.residual_variance * (2.0 * by).exp()),
                _ => return None,
            }
            Some(log_densities(&l))
        };
        let mut compared = 0;
        for (k, s) in score.iter().enumerate() {
            let h = 1e-5;
            let (Some(up), Some(down)) = (moved(k, h), moved(k, -h)) else { continue };
            for (at, s) in s.to_array().into_iter().enumerate() {
                let difference = (up[at] - down[at]) / (2.0 * h);
                assert!((difference - s).abs() < 1e-7, "{k}: {s} {difference}");
                compared += 1;
            }
        }
        assert_eq!(compared, 20);
    }
}
