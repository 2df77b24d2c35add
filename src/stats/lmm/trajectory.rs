//! The course over time as a linear mixed model: one spline for the population, one for each subject around it.
//!
//! **Model.** y(t) = w(t)'(A beta + b) + e, w a natural cubic spline in log(1 + t) with its constant ([`super::spline`]),
//! A beta the population's coefficients for a subject with these covariates (each moves the level or, if asked, the whole
//! course), b ~ N(0, G) the subject's own, e ~ N(0, sigma2).
//!
//! **One pass.** Each reading is looked at once, for its subject's cross-products ([`super::cross_products`]); the order of
//! a subject's readings does not change a bit of the fit.
//!
//! **A subject's own course** given readings y: with C = I + Lambda' W'W Lambda and the estimates as if known, b has mean
//! Lambda C^-1 Lambda' W'(y - W A beta) and covariance sigma2 Lambda C^-1 Lambda'; to this is added what beta's standard
//! errors leave open, F A Cov(beta) A' F', F = I - Lambda C^-1 Lambda' W'W (Henderson 1975, Biometrics 31:423-47). The
//! uncertainty of G and sigma is left out; [`Trajectory::draw`] has it.
//!
//! **Edge cases.** No readings: the population with this subject's covariates. Readings at one time only, no follow-up,
//! equal values: see [`Refusal`].
//!
//! [`Refusal`]: super::Refusal

use nalgebra::{DMatrix, DVector, SMatrix, SVector};
use rand_chacha::ChaCha8Rng;

use super::criterion::Criterion;
use super::cross_products::{CrossProducts, FixedColumn, reduce};
use super::fit::{Fit, Outcome, fit_blocks};
use super::small_matrix::{cholesky, inverse, log_determinant, solve};
use super::spline::{MOST_FUNCTIONS, Spline};
use crate::error::{InputError, all_finite, same_length};
use crate::random::standard_normal;
use crate::series::{PopulationPoint, Predictive, Series};

mod draws;

/// The most fixed effects.
pub const MOST_FIXED_EFFECTS: usize = 48;

/// Square matrix over the spline's functions; the rows and columns of functions out of use are 0.
type Square = SMatrix<f64, MOST_FUNCTIONS, MOST_FUNCTIONS>;
/// One number a function.
type Coefficients = SVector<f64, MOST_FUNCTIONS>;

/// How to fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Which likelihood.
    pub criterion: Criterion,
    /// Whether covariates change the whole course, or its level alone.
    pub covariates_change_course: bool,
}

/// A fitted course over time, or one drawn from what the data leave open.
#[derive(Debug, Clone, PartialEq)]
pub struct Trajectory {
    spline: Spline,
    columns: Vec<FixedColumn>,
    covariates: usize,
    beta: DVector<f64>,
    /// 0 in a drawn course.
    beta_covariance: DMatrix<f64>,
    lambda: Square,
    sigma: f64,
    fit: Fit,
}

/// What is known of one subject's own course.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    mean: Coefficients,
    covariance: Square,
}

/// One possible course of a subject.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    coefficients: Coefficients,
}

/// Fits a course to the subjects' readings; subjects without any are left out.
///
/// # Errors
/// If lengths differ, a time is negative, a number is not finite or beyond 2^20, or there are more than
/// [`MOST_FIXED_EFFECTS`] fixed effects. Too little data are no error but an outcome.
pub fn fit(spline: &Spline, subjects: &[Series], options: Options) -> Result<Outcome<Trajectory>, InputError> {
    let covariates = subjects.first().map_or(0, |s| s.covariates.len());
    for subject in subjects {
        check(subject, covariates)?;
    }
    let columns = fixed_columns(spline.functions(), covariates, options.covariates_change_course);
    let (fitted, centre) = match (spline.functions(), columns.len()) {
        (2, ..=4) => fit_sized::<2, 4>(spline, subjects, &columns, options.criterion),
        (2, ..=16) => fit_sized::<2, 16>(spline, subjects, &columns, options.criterion),
        (2, ..=MOST_FIXED_EFFECTS) => fit_sized::<2, 48>(spline, subjects, &columns, options.criterion),
        (3, ..=4) => fit_sized::<3, 4>(spline, subjects, &columns, options.criterion),
        (3, ..=16) => fit_sized::<3, 16>(spline, subjects, &columns, options.criterion),
        (3, ..=MOST_FIXED_EFFECTS) => fit_sized::<3, 48>(spline, subjects, &columns, options.criterion),
        (4, ..=4) => fit_sized::<4, 4>(spline, subjects, &columns, options.criterion),
        (4, ..=16) => fit_sized::<4, 16>(spline, subjects, &columns, options.criterion),
        (4, ..=MOST_FIXED_EFFECTS) => fit_sized::<4, 48>(spline, subjects, &columns, options.criterion),
        _ => return Err(InputError::OutOfRange { what: "number of fixed effects", domain: "at most 48" }),
    }?;
    Ok(match fitted {
        Outcome::NotFitted(why) => Outcome::NotFitted(why),
        Outcome::Fitted(mut fit) => {
            fit.beta[0] += centre;
            let q = spline.functions();
            Outcome::Fitted(Box::new(Trajectory {
                spline: spline.clone(),
                columns,
                covariates,
                beta: fit.beta.clone(),
                beta_covariance: fit.beta_covariance.clone(),
                lambda: Square::from_fn(|i, j| if i < q && j < q { fit.lambda[(i, j)] } else { 0.0 }),
                sigma: fit.sigma,
                fit: *fit,
            }))
        }
    })
}

/// The spline's functions, then for each covariate its product with the constant or with every function.
fn fixed_columns(functions: usize, covariates: usize, change_course: bool) -> Vec<FixedColumn> {
    let plain = (0..functions).map(|basis| FixedColumn { basis, covariate: None });
    let moved = if change_course { functions } else { 1 };
    let with = (0..covariates).flat_map(|k| (0..moved).map(move |basis| FixedColumn { basis, covariate: Some(k) }));
    plain.chain(with).collect()
}

fn check(subject: &Series, covariates: usize) -> Result<(), InputError> {
    same_length("values", subject.times.len(), subject.values.len())?;
    same_length("covariates", covariates, subject.covariates.len())?;
    all_finite("values", subject.values)?;
    all_finite("covariates", subject.covariates)
}

fn fit_sized<const B: usize, const P: usize>(
    spline: &Spline,
    subjects: &[Series],
    columns: &[FixedColumn],
    criterion: Criterion,
) -> Result<(Outcome<Fit>, f64), InputError> {
    let mut products = Vec::with_capacity(subjects.len());
    for subject in subjects {
        let mut sums = CrossProducts::<B>::default();
        for (t, y) in subject.times.iter().zip(subject.values) {
            let all = spline.at(*t)?;
            let mut basis = [0.0; B];
            basis.copy_from_slice(&all[..B]);
            sums.add(&basis, *y)?;
        }
        products.push((sums, subject.covariates));
    }
    let (data, centre) = reduce::<B, B, P>(&products, columns)?;
    drop(products);
    Ok((fit_blocks(&data, criterion), centre))
}

/// Sums over one subject's readings around the population's course.
struct Readings {
    ww: Square,
    /// W' residual.
    we: Coefficients,
    /// Residual' residual.
    ee: f64,
}

impl Trajectory {
    /// The estimates behind it, in the order of [`Self::columns`]; of a drawn course, those it was drawn around.
    #[must_use]
    pub fn fit(&self) -> &Fit {
        &self.fit
    }

    /// The columns of the fixed effects.
    #[must_use]
    pub fn columns(&self) -> &[FixedColumn] {
        &self.columns
    }

    /// The spline.
    #[must_use]
    pub fn spline(&self) -> &Spline {
        &self.spline
    }

    /// Residual standard deviation: of a reading around its subject's course.
    #[must_use]
    pub fn residual_sd(&self) -> f64 {
        self.sigma
    }

    /// The population at time `t` for subjects with these covariates.
    ///
    /// # Errors
    /// If `t` is not finite or negative, or the covariates do not fit.
    pub fn population(&self, t: f64, covariates: &[f64]) -> Result<PopulationPoint, InputError> {
        same_length("covariates", self.covariates, covariates.len())?;
        all_finite("covariates", covariates)?;
        let w = Coefficients::from(self.spline.at(t)?);
        let x = self.design(covariates).transpose() * w_dynamic(&w);
        Ok(PopulationPoint {
            mean: x.dot(&self.beta),
            standard_error: (x.transpose() * &self.beta_covariance * &x)[0].max(0.0).sqrt(),
            between_sd: self.sigma * (self.lambda.transpose() * w).norm(),
            residual_sd: self.sigma,
        })
    }

    /// What the readings of `subject` say of its own course.
    ///
    /// # Errors
    /// If lengths differ, a time is negative, or a number is not finite.
    pub fn posterior(&self, subject: &Series) -> Result<Posterior, InputError> {
        let design = self.design(subject.covariates);
        let population = self.population_coefficients(subject)?;
        let readings = self.readings(subject, &population)?;
        let l = self.factor(&readings)?;
        let spread = self.lambda * inverse(&l) * self.lambda.transpose(); // Lambda C^-1 Lambda'
        let left = Square::identity() - spread * readings.ww;
        let open = Square::from_fn(|i, j| {
            let covariance = &design * &self.beta_covariance * design.transpose();
            covariance[(i, j)]
        });
        Ok(Posterior {
            mean: population + spread * readings.we,
            covariance: spread * self.sigma.powi(2) + left * open * left.transpose(),
        })
    }

    /// What is expected of one more reading at time `t`.
    ///
    /// # Errors
    /// If `t` is not finite or negative.
    pub fn predict(&self, posterior: &Posterior, t: f64) -> Result<Predictive, InputError> {
        let w = Coefficients::from(self.spline.at(t)?);
        let variance = (w.transpose() * posterior.covariance * w)[0].max(0.0);
        Ok(Predictive {
            mean: w.dot(&posterior.mean),
            sd_of_mean: variance.sqrt(),
            sd: (variance + self.sigma.powi(2)).sqrt(),
        })
    }

    /// Logarithm of the density of all readings of `subject` together, at the estimates; 0 without readings.
    ///
    /// # Errors
    /// If lengths differ, a time is negative, or a number is not finite.
    pub fn log_density(&self, subject: &Series) -> Result<f64, InputError> {
        let population = self.population_coefficients(subject)?;
        let readings = self.readings(subject, &population)?;
        let l = self.factor(&readings)?;
        let seen = self.lambda.transpose() * readings.we;
        let explained = seen.dot(&solve(&l, seen));
        let variance = self.sigma.powi(2);
        let n = subject.values.len() as f64;
        let constant = n * (2.0 * std::f64::consts::PI * variance).ln();
        Ok(-0.5 * (constant + log_determinant(&l) + (readings.ee - explained) / variance))
    }

    /// A possible course of the subject, drawn from what its readings leave open.
    pub fn random_curve(&self, posterior: &Posterior, stream: &mut ChaCha8Rng) -> Curve {
        let by = Coefficients::from_fn(|_, _| standard_normal(stream));
        Curve { coefficients: posterior.mean + draws::root(&posterior.covariance) * by }
    }

    /// Where a drawn course is at time `t`.
    ///
    /// # Errors
    /// If `t` is not finite or negative.
    pub fn curve_at(&self, curve: &Curve, t: f64) -> Result<f64, InputError> {
        Ok(Coefficients::from(self.spline.at(t)?).dot(&curve.coefficients))
    }

    /// A: the population's coefficients are A beta.
    fn design(&self, covariates: &[f64]) -> DMatrix<f64> {
        let mut design = DMatrix::zeros(MOST_FUNCTIONS, self.columns.len());
        for (j, column) in self.columns.iter().enumerate() {
            design[(column.basis, j)] = column.factor(covariates);
        }
        design
    }

    fn population_coefficients(&self, subject: &Series) -> Result<Coefficients, InputError> {
        check(subject, self.covariates)?;
        let product = self.design(subject.covariates) * &self.beta;
        Ok(Coefficients::from_fn(|i, _| product[i]))
    }

    fn readings(&self, subject: &Series, population: &Coefficients) -> Result<Readings, InputError> {
        let mut sums = Readings { ww: Square::zeros(), we: Coefficients::zeros(), ee: 0.0 };
        for (t, y) in subject.times.iter().zip(subject.values) {
            let w = Coefficients::from(self.spline.at(*t)?);
            let e = y - w.dot(population);
            sums.ww += w * w.transpose();
            sums.we += w * e;
            sums.ee += e * e;
        }
        Ok(sums)
    }

    /// Cholesky factor of C.
    fn factor(&self, readings: &Readings) -> Result<Square, InputError> {
        let c = self.lambda.transpose() * readings.ww * self.lambda + Square::identity();
        // C is at least the identity: it has a factor unless a product overflowed
        cholesky(&c).ok_or(InputError::OutOfRange { what: "times", domain: "within the range of double precision" })
    }
}

fn w_dynamic(w: &Coefficients) -> DVector<f64> {
    DVector::from_column_slice(w.as_slice())
}

#[cfg(test)]
mod tests;
