//! The parameters of a fit, and how they lie in the vector over which it is maximised.

use nalgebra::{DMatrix, Matrix3, Vector3};

use super::conditional::{Law, Loading, SCORES, Score};

/// Which of a subject's three coefficients vary between subjects beyond what covariates explain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Varying {
    /// The value at time 0.
    pub baseline: bool,
    /// The value approached in the end.
    pub plateau: bool,
    /// The logarithm of the time constant.
    pub log_tau: bool,
}

impl Varying {
    /// All three, correlated.
    pub const ALL: Self = Self { baseline: true, plateau: true, log_tau: true };
    /// Baseline and plateau, correlated; one time constant for all.
    pub const LEVELS: Self = Self { baseline: true, plateau: true, log_tau: false };

    pub(super) fn count(self) -> usize {
        usize::from(self.baseline) + usize::from(self.plateau) + usize::from(self.log_tau)
    }

    /// Which of (bb, pb, pp, tb, tp, tt) are estimated; the others are 0.
    fn factor_mask(self) -> [bool; 6] {
        let (b, p, t) = (self.baseline, self.plateau, self.log_tau);
        [b, b && p, p, t && b, t && p, t]
    }
}

/// Where each parameter lies: means of baseline, plateau and log tau, each an intercept and one slope a covariate; then
/// the estimated elements of the factor; then the log of the residual SD.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Layout {
    pub covariates: usize,
    pub varying: Varying,
}

/// Lower triangular factor F of the covariance F F' of (baseline, plateau, log tau). Log tau comes last: the data say least
/// of its variation, and near none of it the rows before are determined all the same.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Factor {
    pub bb: f64,
    pub pb: f64,
    pub pp: f64,
    pub tb: f64,
    pub tp: f64,
    pub tt: f64,
}

/// The law of one subject with the rotation from the factor's columns to the loadings'.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Turned {
    pub loading: Loading,
    turn: Matrix3<f64>,
}

/// See [`Layout`].
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Parameters {
    pub beta: Vec<f64>,
    pub factor: Factor,
    pub log_sigma: f64,
}

impl Layout {
    /// Intercept and slopes of one mean.
    pub fn each(self) -> usize {
        1 + self.covariates
    }

    pub fn fixed(self) -> usize {
        3 * self.each()
    }

    pub fn len(self) -> usize {
        self.fixed() + self.varying.factor_mask().iter().filter(|m| **m).count() + 1
    }

    pub fn pack(self, p: &Parameters) -> Vec<f64> {
        let mut psi = p.beta.clone();
        let all = p.factor.to_array();
        psi.extend(self.varying.factor_mask().iter().zip(all).filter(|(m, _)| **m).map(|(_, v)| v));
        psi.push(p.log_sigma);
        psi
    }

    pub fn unpack(self, psi: &[f64]) -> Parameters {
        let (beta, rest) = psi.split_at(self.fixed());
        let mut values = rest.iter().copied();
        let factor = self.varying.factor_mask().map(|m| if m { values.next().unwrap_or(0.0) } else { 0.0 });
        Parameters { beta: beta.to_vec(), factor: Factor::from_array(factor), log_sigma: values.next().unwrap_or(0.0) }
    }

    /// Adds one subject's score to the gradient: (1, covariates) times the score by each mean, then the others.
    pub fn add_score(self, gradient: &mut [f64], covariates: &[f64], score: &Score, turned: &Turned) {
        let each = self.each();
        for (k, s) in score[..3].iter().enumerate() {
            gradient[k * each] += s;
            for (g, c) in gradient[k * each + 1..(k + 1) * each].iter_mut().zip(covariates) {
                *g += s * c;
            }
        }
        // by the factor: by the loadings, turned back
        let by_loading = Matrix3::from_row_slice(&score[3..SCORES - 1]);
        let by_factor = by_loading * turned.turn.transpose();
        let lower = [(0, 0), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2)].map(|at| by_factor[at]);
        let mask = self.varying.factor_mask();
        let others = lower.into_iter().zip(mask).filter(|(_, m)| *m).map(|(s, _)| s);
        let tail = others.chain([score[SCORES - 1]]);
        for (g, s) in gradient[self.fixed()..].iter_mut().zip(tail) {
            *g += s;
        }
    }
}

impl Parameters {
    /// Means of (baseline, plateau, log tau) of a subject with these covariates.
    pub fn mean(&self, covariates: &[f64]) -> [f64; 3] {
        let each = 1 + covariates.len();
        std::array::from_fn(|k| {
            let b = &self.beta[k * each..(k + 1) * each];
            b[0] + b[1..].iter().zip(covariates).map(|(b, c)| b * c).sum::<f64>()
        })
    }

    pub fn sigma(&self) -> f64 {
        self.log_sigma.exp()
    }

    pub fn law(&self, covariates: &[f64]) -> Law {
        self.law_turned(covariates, &self.factor.turned())
    }

    /// As [`Self::law`], the rotation made before: it is the same for all subjects.
    pub fn law_turned(&self, covariates: &[f64], turned: &Turned) -> Law {
        Law::new(self.mean(covariates), turned.loading, (2.0 * self.log_sigma).exp())
    }
}

impl Factor {
    pub fn to_array(self) -> [f64; 6] {
        [self.bb, self.pb, self.pp, self.tb, self.tp, self.tt]
    }

    pub fn from_array([bb, pb, pp, tb, tp, tt]: [f64; 6]) -> Self {
        Self { bb, pb, pp, tb, tp, tt }
    }

    fn matrix(self) -> Matrix3<f64> {
        Matrix3::new(self.bb, 0.0, 0.0, self.pb, self.pp, 0.0, self.tb, self.tp, self.tt)
    }

    /// Covariance of (baseline, plateau, log tau).
    pub fn covariance(self) -> Matrix3<f64> {
        let m = self.matrix();
        m * m.transpose()
    }

    /// SD of log tau.
    pub fn log_tau_sd(self) -> f64 {
        self.tb.hypot(self.tp).hypot(self.tt)
    }

    /// The factor of a covariance of (baseline, plateau, log tau); a variance that is not positive counts as 0.
    pub fn of(g: &Matrix3<f64>) -> Self {
        let root = |v: f64| v.max(0.0).sqrt();
        let share = |v: f64, by: f64| if by > 0.0 { v / by } else { 0.0 };
        let bb = root(g[(0, 0)]);
        let (pb, tb) = (share(g[(0, 1)], bb), share(g[(0, 2)], bb));
        let pp = root(g[(1, 1)] - pb * pb);
        let tp = share(g[(1, 2)] - pb * tb, pp);
        let tt = root(g[(2, 2)] - tb * tb - tp * tp);
        Self { bb, pb, pp, tb, tp, tt }
    }

    /// The same covariance with log tau on the first column alone and baseline on the first two.
    pub fn turned(self) -> Turned {
        let m = self.matrix();
        let rows = [0, 1, 2].map(|k| Vector3::new(m[(k, 0)], m[(k, 1)], m[(k, 2)]));
        let unit = |v: Vector3<f64>, else_: Vector3<f64>| {
            let length = v.norm();
            if length > 0.0 { v / length } else { else_ }
        };
        let first = unit(rows[2], Vector3::z());
        let rest = rows[0] - first * first.dot(&rows[0]);
        // baseline without variation of its own: any direction across the first
        let across = first.cross(&Vector3::x());
        let second = unit(rest, unit(across, Vector3::y()));
        let turn = Matrix3::from_columns(&[first, second, first.cross(&second)]);
        let l = m * turn;
        let loading =
            Loading { tt: l[(2, 0)], bt: l[(0, 0)], pt: l[(1, 0)], bb: l[(0, 1)], pb: l[(1, 1)], pp: l[(1, 2)] };
        Turned { loading, turn }
    }
}

/// Sum of s s' over subjects' scores, the first estimate of the information (Berndt, Hall, Hall & Hausman 1974).
pub(super) fn outer_products(layout: Layout, scores: &[(&[f64], Score)], turned: &Turned) -> DMatrix<f64> {
    let p = layout.len();
    let mut sum = DMatrix::zeros(p, p);
    let mut own = vec![0.0; p];
    for (covariates, score) in scores {
        own.fill(0.0);
        layout.add_score(&mut own, covariates, score, turned);
        for j in 0..p {
            for i in j..p {
                sum[(i, j)] += own[i] * own[j];
            }
        }
    }
    sum.fill_upper_triangle_with_lower_triangle();
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn packing_and_unpacking_return_what_was_given() {
        for varying in [Varying::ALL, Varying::LEVELS, Varying { baseline: false, plateau: true, log_tau: false }] {
            let layout = Layout { covariates: 1, varying };
            let psi: Vec<f64> = (0..layout.len()).map(|k| k as f64 + 0.5).collect();
            assert_eq!(layout.pack(&layout.unpack(&psi)), psi);
        }
    }

    #[test]
    fn a_covariance_and_its_factor_agree() {
        let factor = Factor { bb: 1.1, pb: 0.4, pp: 0.9, tb: 0.2, tp: -0.3, tt: 0.5 };
        let back = Factor::of(&factor.covariance());
        for (a, b) in factor.to_array().iter().zip(back.to_array()) {
            assert!((a - b).abs() < 1e-12);
        }
        assert_eq!(Factor::of(&Matrix3::zeros()), Factor::default());
    }

    #[test]
    fn turning_keeps_the_covariance() {
        let full = Factor { bb: 1.1, pb: 0.4, pp: 0.9, tb: 0.2, tp: -0.3, tt: 0.5 };
        let none = Factor { tb: 0.0, tp: 0.0, tt: 0.0, ..full };
        for factor in [full, none, Factor { bb: 0.0, ..full }, Factor { bb: 0.0, pb: 0.0, ..none }, Factor::default()] {
            let l = factor.turned().loading;
            let rows = Matrix3::new(l.bt, l.bb, 0.0, l.pt, l.pb, l.pp, l.tt, 0.0, 0.0);
            assert!((rows * rows.transpose() - factor.covariance()).norm() < 1e-14);
        }
    }
}
