//! The fitted course of a condition: one of two mixed models, behind the same questions.
//!
//! - [`Kind::Exponential`]: score = plateau + (baseline - plateau) exp(-t / tau), baseline, plateau and log tau varying between
//!   patients (`mendcurve_stats::nlme`);
//! - [`Kind::Spline`]: a natural cubic spline in log(1 + day) whose coefficients vary between patients (`mendcurve_stats::lmm`).
//!
//! Days count from the first treated visit, scores are in the measure's own unit.

use super::panel::Track;
use super::score_scale::{Bell, ScoreScale};
use super::spline_course::SplineCourse;
use super::unfit::Unfit;
use mendcurve_stats::lmm;
use mendcurve_stats::nlme::{self, Doubt, Options, Outcome, RecoveryFit, RecoveryModel, Singular};
use mendcurve_stats::series::{PopulationPoint, Predictive, Series};
use mendcurve_stats::{Estimate, InputError, Level, distribution, interval};
use rand_chacha::ChaCha8Rng;

/// Fewest episodes with two readings that a model is fitted to.
pub const FEWEST_PATIENTS: usize = 15;

/// Which of the models.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// Exponential approach to a plateau.
    Exponential,
    /// Natural spline in log(1 + day).
    Spline,
}

/// What becomes of a curve without the readings at the ends of the scale.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum EndEffect {
    Changed {
        /// Plateau without them less plateau with them, own unit.
        plateau: f64,
        /// Half-time without them over half-time with them.
        half_time_ratio: f64,
    },
    /// Without them there is none.
    NoFit,
}

#[derive(Clone, Debug)]
pub enum CourseModel {
    /// Exponential approach to a plateau.
    Exponential(Box<RecoveryFit>),
    Spline(Box<SplineCourse>),
}

/// What is known of a patient's own course.
#[derive(Clone, Debug)]
pub enum Posterior {
    /// Under the exponential model.
    Exponential(nlme::Posterior),
    /// Under the spline.
    Spline(lmm::trajectory::Posterior),
}

/// A patient's course drawn from what is known of it.
#[derive(Clone, Debug)]
pub enum DrawnCurve {
    /// Under the exponential model.
    Exponential(nlme::Curve),
    /// Under the spline.
    Spline(lmm::trajectory::Curve),
}

impl CourseModel {
    /// Fits a model to the readings of many episodes.
    ///
    /// # Errors
    /// Why there is no fit.
    pub fn fit(kind: Kind, tracks: &[Track<'_>]) -> Result<Self, Unfit> {
        let series = enough(tracks)?;
        match kind {
            Kind::Exponential => exponential(RecoveryModel::fit(&series, Options::default())),
            Kind::Spline => SplineCourse::fit(&series).map(|course| Self::Spline(Box::new(course))),
        }
    }

    /// Fits the same model to other episodes, most of them those of this fit. It predicts; its standard errors are not its own.
    ///
    /// # Errors
    /// Why there is no fit.
    pub fn refit(&self, tracks: &[Track<'_>]) -> Result<Self, Unfit> {
        let series = enough(tracks)?;
        match self {
            Self::Exponential(fit) => exponential(fit.refit(&series)),
            Self::Spline(_) => SplineCourse::fit(&series).map(|course| Self::Spline(Box::new(course))),
        }
    }

    /// What leaving out the readings at the ends of the scale changes, for the exponential model fitted to these tracks.
    pub fn end_effect(&self, tracks: &[Track<'_>], scale: ScoreScale) -> Option<EndEffect> {
        let Self::Exponential(fit) = self else { return None };
        let series: Vec<Series<'_>> = tracks.iter().map(|track| series(track.days, track.scores)).collect();
        let (low, high) = scale.ends();
        let effect = fit.truncation_effect(&series, &[], low, high).ok()?;
        Some(match effect.change {
            Some([_, plateau, log_tau]) => EndEffect::Changed { plateau, half_time_ratio: log_tau.exp() },
            None => EndEffect::NoFit,
        })
    }

    pub fn kind(&self) -> Kind {
        match self {
            Self::Exponential(_) => Kind::Exponential,
            Self::Spline(_) => Kind::Spline,
        }
    }

    /// What is known of a patient's course after some readings; none are allowed too.
    pub fn posterior(&self, days: &[f64], scores: &[f64]) -> Option<Posterior> {
        let subject = series(days, scores);
        match self {
            Self::Exponential(fit) => fit.posterior(&subject).ok().map(Posterior::Exponential),
            Self::Spline(course) => course.posterior(&subject).map(Posterior::Spline),
        }
    }

    /// What is expected of a reading on a day; `None` if the posterior is of the other model.
    pub fn predict(&self, posterior: &Posterior, day: f64) -> Option<Bell> {
        let predicted: Predictive = match (self, posterior) {
            (Self::Exponential(fit), Posterior::Exponential(posterior)) => fit.predict(posterior, day),
            (Self::Spline(course), Posterior::Spline(posterior)) => course.predict(posterior, day)?,
            _ => return None,
        };
        (predicted.mean.is_finite() && predicted.sd > 0.0).then_some(Bell { mean: predicted.mean, sd: predicted.sd })
    }

    /// Log of the density of a patient's readings, all together.
    pub fn log_density(&self, days: &[f64], scores: &[f64]) -> Option<f64> {
        let subject = series(days, scores);
        let density = match self {
            Self::Exponential(fit) => fit.log_density(&subject).ok()?,
            Self::Spline(course) => course.log_density(&subject)?,
        };
        density.is_finite().then_some(density)
    }

    /// The same model with its parameters drawn from their sampling distribution.
    pub fn drawn(&self, stream: &mut ChaCha8Rng) -> Self {
        match self {
            Self::Exponential(fit) => Self::Exponential(Box::new(fit.draw(stream))),
            Self::Spline(course) => Self::Spline(Box::new(course.drawn(stream))),
        }
    }

    /// A patient's course drawn from what is known of it.
    pub fn drawn_curve(&self, posterior: &Posterior, stream: &mut ChaCha8Rng) -> Option<DrawnCurve> {
        match (self, posterior) {
            (Self::Exponential(fit), Posterior::Exponential(posterior)) => {
                Some(DrawnCurve::Exponential(fit.random_curve(posterior, stream)))
            }
            (Self::Spline(course), Posterior::Spline(posterior)) => {
                Some(DrawnCurve::Spline(course.drawn_curve(posterior, stream)))
            }
            _ => None,
        }
    }

    /// A reading on a day of a drawn course: the curve and a residual of so many standard deviations.
    pub fn score(&self, curve: &DrawnCurve, day: f64, residual: f64) -> Option<f64> {
        match (self, curve) {
            (Self::Exponential(fit), DrawnCurve::Exponential(curve)) => {
                Some(curve.value(day) + residual * fit.residual_sd())
            }
            (Self::Spline(course), DrawnCurve::Spline(curve)) => course.score(curve, day, residual),
            _ => None,
        }
    }

    /// The population on some days: its mean, and what is expected of a single reading of a single patient.
    pub fn population(&self, days: &[f64]) -> Vec<(Estimate, Bell)> {
        let points: Option<Vec<PopulationPoint>> = match self {
            Self::Exponential(fit) => fit.population_course(days, &[]).ok(),
            Self::Spline(course) => days.iter().map(|day| course.population(*day)).collect(),
        };
        let shown = |point: PopulationPoint| {
            let sd = point.between_sd.hypot(point.residual_sd);
            let mean = normal_estimate(point.mean, point.standard_error)?;
            (sd > 0.0).then_some((mean, Bell { mean: point.mean, sd }))
        };
        points.and_then(|points| points.into_iter().map(shown).collect()).unwrap_or_default()
    }

    /// Mean at day 0, over patients.
    pub fn baseline(&self) -> Option<Estimate> {
        match self {
            Self::Exponential(fit) => fit.baseline(&[], Level::NINETY_FIVE).ok(),
            Self::Spline(_) => self.population(&[0.0]).first().map(|(mean, _)| *mean),
        }
    }

    /// Mean level approached.
    pub fn plateau(&self) -> Option<Estimate> {
        match self {
            Self::Exponential(fit) => fit.plateau(&[], Level::NINETY_FIVE).ok(),
            Self::Spline(_) => None,
        }
    }

    /// Median half-time over patients, days.
    pub fn half_time_days(&self) -> Option<Estimate> {
        match self {
            Self::Exponential(fit) => fit.half_time(&[], Level::NINETY_FIVE).ok(),
            Self::Spline(_) => None,
        }
    }

    /// Day, up to a last one, on which the mean has improved by an amount.
    pub fn day_of_improvement(&self, scale: ScoreScale, amount: f64, last_day: f64) -> Option<Estimate> {
        let falls = scale.improvement(1.0, 0.0) > 0.0;
        let day = match self {
            Self::Exponential(fit) if falls => fit.time_of_fall(amount, &[], Level::NINETY_FIVE).ok()?,
            Self::Exponential(fit) => fit.time_of_rise(amount, &[], Level::NINETY_FIVE).ok()?,
            Self::Spline(course) => course.day_of_change(if falls { -amount } else { amount }, last_day),
        };
        day.filter(|day| day.value <= last_day)
    }

    /// Standard deviations between patients, correlations and residual, by the names of the sheet.
    pub fn spread(&self) -> Vec<(&'static str, f64)> {
        match self {
            Self::Exponential(fit) => {
                let Ok(parts) = fit.variance_components(Level::NINETY_FIVE) else { return Vec::new() };
                let [baseline, plateau, log_time] = parts.sd.map(|sd| sd.value);
                let mut spread = vec![
                    ("sd_baseline", baseline),
                    ("sd_plateau", plateau),
                    ("sd_log_time", log_time),
                    ("sd_residual", parts.residual_sd.value),
                ];
                let names =
                    ["correlation_baseline_plateau", "correlation_baseline_log_time", "correlation_plateau_log_time"];
                let known = names.into_iter().zip(parts.correlation);
                spread.extend(known.filter_map(|(name, correlation)| Some((name, correlation?.value))));
                spread
            }
            Self::Spline(course) => vec![("sd_residual", course.residual_sd())],
        }
    }

    /// Which variance or correlation could not be told from its bound, as a sentence.
    pub fn singular(&self) -> Option<String> {
        match self {
            Self::Exponential(fit) => {
                let mut said: Vec<&str> = fit.singular.iter().map(|singular| singular_in_words(*singular)).collect();
                if fit.simplified {
                    said.push("one half-time was fitted for all patients, since how it varies could not be told");
                }
                (!said.is_empty()).then(|| said.join("; "))
            }
            Self::Spline(course) => course.singular(),
        }
    }

    /// How the fit ended, in one line. The log-likelihood is not in it: of two editions one patient apart, its difference is that
    /// patient's own.
    pub fn evidence(&self) -> String {
        match self {
            Self::Exponential(fit) => format!(
                "maximum likelihood, {} steps, squared distance to the maximum {:.0e} standard errors, least curvature {:.2}",
                fit.evidence.iterations,
                fit.evidence.distance.powi(2),
                fit.evidence.curvature
            ),
            Self::Spline(course) => course.evidence(),
        }
    }
}

/// The tracks as the numerics take them, if enough patients have two readings.
fn enough<'a>(tracks: &[Track<'a>]) -> Result<Vec<Series<'a>>, Unfit> {
    match tracks.iter().filter(|track| track.days.len() > 1).count() {
        0..FEWEST_PATIENTS => Err(Unfit::TooFew),
        _ => Ok(tracks.iter().map(|track| series(track.days, track.scores)).collect()),
    }
}

fn exponential(fitted: Result<Outcome, InputError>) -> Result<CourseModel, Unfit> {
    match fitted.map_err(|error| Unfit::Refused(error.to_string()))? {
        Outcome::Fitted(fit) => Ok(CourseModel::Exponential(fit)),
        Outcome::NotIdentifiable { why, .. } => Err(Unfit::NotIdentifiable(in_words(why))),
        Outcome::NotConverged(_) => Err(Unfit::NotConverged),
        Outcome::TooFewData(_) => Err(Unfit::TooFew),
    }
}

fn series<'a>(days: &'a [f64], scores: &'a [f64]) -> Series<'a> {
    Series { times: days, values: scores, covariates: &[] }
}

/// An estimate with its 95 % normal interval.
pub(super) fn normal_estimate(value: f64, standard_error: f64) -> Option<Estimate> {
    let z = distribution::normal_quantile(0.975).ok()?;
    let half = z * standard_error;
    let interval = interval::Interval { low: value - half, high: value + half };
    (value.is_finite() && half.is_finite()).then_some(Estimate { value, standard_error, interval })
}

fn in_words(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::NoChange => "no patient's score changes",
        Doubt::PlateauAtOnce => {
            "the plateau is reached before the second reading, so that any faster rate fits as well"
        }
        Doubt::StraightLine => "no plateau is in sight: a straight line fits as well",
        Doubt::RateUnknown => "the readings do not tell a fast approach from a slow one",
        Doubt::RatesUnbounded => "half-times differ between patients beyond what the days of the readings can show",
        Doubt::FlatMean => "curves of different plateau and rate fit equally well",
        Doubt::NoResidual => "the readings lie on the curves without any residual",
        _ => "the readings do not determine the curve",
    }
}

fn singular_in_words(singular: Singular) -> &'static str {
    match singular {
        Singular::NoVariance(nlme::Coefficient::Baseline) => "no variation of the baseline between patients was found",
        Singular::NoVariance(nlme::Coefficient::Plateau) => "no variation of the plateau between patients was found",
        Singular::NoVariance(nlme::Coefficient::LogTau) => "no variation of the half-time between patients was found",
        Singular::Dependent => {
            "baseline, plateau and half-time of a patient could not be told apart: one follows from the others"
        }
    }
}
