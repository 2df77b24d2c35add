//! A fitted recovery curve: population, subjects, draws of its parameters.

use nalgebra::{DMatrix, DVector, Matrix3};
use rand_chacha::ChaCha8Rng;

use super::decay::Own;
use super::marginal;
use super::maximise::Summit;
use super::outcome::{Coefficient, Singular};
use super::parameters::{Layout, Parameters, Varying};
use super::posterior::{Curve, Posterior};
use super::start::{Scale, check_one};
use crate::error::InputError;
use crate::evidence::Evidence;
use crate::interval::Estimate;
use crate::random::standard_normal;
use crate::series::{PopulationPoint, Predictive, Series};

/// An SD of log tau below this counts as none.
const NO_SPREAD: f64 = 1e-4;
/// A relative eigenvalue of the coefficients' correlations below this counts as 0.
const DEPENDENT: f64 = 1e-6;

/// A fitted model: a proven maximum of the likelihood with a known rate.
#[derive(Debug, Clone, PartialEq)]
pub struct RecoveryFit {
    /// Which coefficients were let vary between subjects.
    pub varying: Varying,
    /// Whether one tau for all was fitted because a varying one could not be.
    pub simplified: bool,
    /// What of the covariance lies on its boundary; empty if nothing does.
    pub singular: Vec<Singular>,
    /// Log-likelihood.
    pub log_likelihood: f64,
    /// Number of parameters.
    pub parameter_count: usize,
    /// Subjects with a measurement.
    pub subjects: usize,
    /// Measurements.
    pub measurements: usize,
    /// How the fit ended.
    pub evidence: Evidence,
    pub(super) layout: Layout,
    pub(super) parameters: Parameters,
    /// Covariance of all parameters, in the layout's order.
    pub(super) covariance: DMatrix<f64>,
    pub(super) last_time: f64,
}

/// Standard deviations and correlations of a subject's coefficients around their mean, and of the residuals.
#[derive(Debug, Clone, PartialEq)]
pub struct VarianceComponents {
    /// SD of baseline, plateau and log tau; 0 with an interval of nothing for one that does not vary.
    pub sd: [Estimate; 3],
    /// Correlations (baseline with plateau, baseline with log tau, plateau with log tau); `None` if either does not vary.
    pub correlation: [Option<Estimate>; 3],
    /// SD of the residuals.
    pub residual_sd: Estimate,
}

impl RecoveryFit {
    pub(super) fn new(subjects: &[Series], layout: Layout, summit: &Summit, scale: &Scale, evidence: Evidence) -> Self {
        let parameters = layout.unpack(summit.psi.as_slice());
        Self {
            varying: layout.varying,
            simplified: false,
            singular: singular(&parameters, layout.varying),
            log_likelihood: summit.value,
            parameter_count: layout.len(),
            subjects: subjects.iter().filter(|s| !s.values.is_empty()).count(),
            measurements: subjects.iter().map(|s| s.values.len()).sum(),
            evidence,
            layout,
            parameters,
            covariance: summit.covariance.clone(),
            last_time: scale.log_times.1.exp(),
        }
    }

    /// Means of baseline, plateau and log tau: of each an intercept, then one slope a covariate.
    #[must_use]
    pub fn fixed_effects(&self) -> &[f64] {
        &self.parameters.beta
    }

    /// Covariance of the estimates of [`Self::fixed_effects`].
    #[must_use]
    pub fn fixed_effects_covariance(&self) -> DMatrix<f64> {
        let p = self.layout.fixed();
        self.covariance.view((0, 0), (p, p)).into_owned()
    }

    /// Covariance of (baseline, plateau, log tau) between subjects.
    #[must_use]
    pub fn random_covariance(&self) -> Matrix3<f64> {
        self.parameters.factor.covariance()
    }

    /// SD of a measurement around its subject's curve.
    #[must_use]
    pub fn residual_sd(&self) -> f64 {
        self.parameters.sigma()
    }

    /// The population with these covariates at `time`. The mean is that over subjects, not the curve of a subject with mean
    /// coefficients; its standard error (delta method) covers all parameters, those of the covariance too.
    ///
    /// # Errors
    /// If `time` is below 0 or not finite, or the covariates are not as many as in the fit or not finite.
    pub fn population(&self, time: f64, covariates: &[f64]) -> Result<PopulationPoint, InputError> {
        let course = self.population_course(&[time], covariates)?;
        course.first().copied().ok_or(InputError::TooFew { what: "times", needed: 1, found: 0 })
    }

    /// [`Self::population`] at many times; the integrals over subjects are set up once for all.
    ///
    /// # Errors
    /// As for [`Self::population`].
    pub fn population_course(&self, times: &[f64], covariates: &[f64]) -> Result<Vec<PopulationPoint>, InputError> {
        let none = Series { times: &[], values: &[], covariates };
        let zeros = vec![0.0; times.len()];
        check_one(&Series { times, values: &zeros, covariates }, self.layout.covariates)?;
        let population = posterior_under(&self.parameters, &none);
        let moved = self.moved(|p| posterior_under(p, &none));
        let point = |time: &f64| {
            let (mean, variance) = population.moments(*time);
            let slopes = moved.iter().map(|(h, up, down)| (up.moments(*time).0 - down.moments(*time).0) / (2.0 * h));
            let gradient = DVector::from_iterator(moved.len(), slopes);
            let standard_error = gradient.dot(&(&self.covariance * &gradient)).max(0.0).sqrt();
            PopulationPoint { mean, standard_error, between_sd: variance.sqrt(), residual_sd: self.residual_sd() }
        };
        Ok(times.iter().map(point).collect())
    }

    /// What is known of a subject's curve after these measurements (none are allowed too).
    ///
    /// # Errors
    /// If lengths differ, a number is not finite, a time is below 0, the covariates are not as many as in the fit, or a value
    /// lies so far off that its density cannot be told from 0.
    pub fn posterior(&self, subject: &Series) -> Result<Posterior, InputError> {
        check_one(subject, self.layout.covariates)?;
        posterior_under(&self.parameters, subject).with_density()
    }

    /// What is expected of a measurement at `time`.
    #[must_use]
    pub fn predict(&self, posterior: &Posterior, time: f64) -> Predictive {
        posterior.predict(time)
    }

    /// Log of the marginal density of a subject's measurements.
    ///
    /// # Errors
    /// As for [`Self::posterior`].
    pub fn log_density(&self, subject: &Series) -> Result<f64, InputError> {
        check_one(subject, self.layout.covariates)?;
        posterior_with(&self.parameters, subject, Fineness::Finer).with_density().map(|p| p.log_density)
    }

    /// A curve drawn from what is known of a subject.
    pub fn random_curve(&self, posterior: &Posterior, stream: &mut ChaCha8Rng) -> Curve {
        posterior.random_curve(stream)
    }

    /// The same model with all its parameters drawn from their joint sampling distribution (normal, by the Hessian): means,
    /// the factor of the covariance and the log of the residual SD. Only flat directions of a singular covariance stay as they are.
    #[must_use]
    pub fn draw(&self, stream: &mut ChaCha8Rng) -> Self {
        let p = self.covariance.nrows();
        let normal = DVector::from_fn(p, |_, _| standard_normal(stream));
        let eigen = self.covariance.clone().symmetric_eigen();
        let scaled = eigen.eigenvalues.zip_map(&normal, |l, z| l.max(0.0).sqrt() * z);
        let psi = DVector::from_vec(self.layout.pack(&self.parameters)) + eigen.eigenvectors * scaled;
        Self { parameters: self.layout.unpack(psi.as_slice()), ..self.clone() }
    }

    /// Standard error of a function of the parameters: delta method, derivatives by central differences.
    pub(super) fn standard_error(&self, value: impl Fn(&Parameters) -> f64) -> f64 {
        let gradient = self.gradient(value);
        gradient.dot(&(&self.covariance * &gradient)).max(0.0).sqrt()
    }

    pub(super) fn gradient(&self, value: impl Fn(&Parameters) -> f64) -> DVector<f64> {
        let moved = self.moved(value);
        DVector::from_iterator(moved.len(), moved.iter().map(|(h, up, down)| (up - down) / (2.0 * h)))
    }

    /// Each parameter moved by a hundredth of its standard error both ways: by how much, and what comes of it.
    fn moved<T>(&self, value: impl Fn(&Parameters) -> T) -> Vec<(f64, T, T)> {
        let psi = self.layout.pack(&self.parameters);
        let of = |k: usize| {
            let h = (0.01 * self.covariance[(k, k)].max(0.0).sqrt()).max(1e-7 * (1.0 + psi[k].abs()));
            let moved = |by: f64| {
                let mut psi = psi.clone();
                psi[k] += by;
                value(&self.layout.unpack(&psi))
            };
            (h, moved(h), moved(-h))
        };
        (0..psi.len()).map(of).collect()
    }
}

/// How many points a subject's integral takes.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Fineness {
    /// Those of a fit: enough for moments.
    Usual,
    /// Three times as many, for a log-likelihood to ten digits.
    Finer,
}

/// A subject's posterior under given parameters.
pub(super) fn posterior_under(parameters: &Parameters, subject: &Series) -> Posterior {
    posterior_with(parameters, subject, Fineness::Usual)
}

pub(super) fn posterior_with(parameters: &Parameters, subject: &Series, fineness: Fineness) -> Posterior {
    let law = parameters.law(subject.covariates);
    let residual_sd = parameters.sigma();
    let mut own = Own::default();
    let Some(rule) = marginal::rule(&law, subject, None, &mut own) else {
        return Posterior { nodes: Vec::new(), log_tau_step: 0.0, residual_sd, log_density: f64::NEG_INFINITY };
    };
    let rule = if fineness == Fineness::Finer { rule.finer() } else { rule };
    let (log_density, nodes) = marginal::posterior(&law, subject, &own.points(&law, subject.times, rule));
    Posterior { nodes, log_tau_step: rule.step() * law.loading.tt.abs(), residual_sd, log_density }
}

/// What of the covariance lies on its boundary.
fn singular(parameters: &Parameters, varying: Varying) -> Vec<Singular> {
    let g = parameters.factor.covariance();
    let limits = [NO_SPREAD * parameters.sigma(), NO_SPREAD * parameters.sigma(), NO_SPREAD];
    let asked = [varying.baseline, varying.plateau, varying.log_tau];
    let (mut found, mut there) = (Vec::new(), Vec::new());
    for (k, coefficient) in Coefficient::ALL.into_iter().enumerate().filter(|(k, _)| asked[*k]) {
        if g[(k, k)].sqrt() < limits[k] {
            found.push(Singular::NoVariance(coefficient));
        } else {
            there.push(k);
        }
    }
    let part = DMatrix::from_fn(there.len(), there.len(), |i, j| g[(there[i], there[j])]);
    if least_relative_eigenvalue(&part) < DEPENDENT {
        found.push(Singular::Dependent);
    }
    found
}

/// Least eigenvalue of the correlations: 0 if one coefficient follows from the others.
fn least_relative_eigenvalue(covariance: &DMatrix<f64>) -> f64 {
    let sd: Vec<f64> = covariance.diagonal().iter().map(|v| v.max(f64::MIN_POSITIVE).sqrt()).collect();
    let n = sd.len();
    let correlation = DMatrix::from_fn(n, n, |i, j| covariance[(i, j)] / (sd[i] * sd[j]));
    if n == 0 { 1.0 } else { correlation.symmetric_eigenvalues().min() }
}
