//! A natural cubic spline in log(1 + day) whose coefficients vary between patients, by restricted maximum likelihood.
//!
//! Three degrees of freedom, or fewer when the readings do not carry them: with fewer distinct days, or when the fit with more
//! does not converge. No shape is assumed, so there is neither plateau nor half-time.

use super::unfit::Unfit;
use mendcurve_stats::lmm::trajectory::{Curve, Options, Posterior};
use mendcurve_stats::lmm::{self, Criterion, Outcome, Refusal, Spline, Trajectory};
use mendcurve_stats::series::{PopulationPoint, Predictive, Series};
use mendcurve_stats::{Estimate, Interval, distribution};
use rand_chacha::ChaCha8Rng;

/// Degrees of freedom tried, in order.
const DEGREES_OF_FREEDOM: [usize; 3] = [3, 2, 1];
/// Days apart at which a change is looked for before its day is narrowed down.
const GRID_DAYS: f64 = 1.0;
const BISECTIONS: usize = 50;

#[derive(Clone, Debug)]
pub struct SplineCourse {
    trajectory: Trajectory,
    degrees_of_freedom: usize,
}

impl SplineCourse {
    /// Fits it.
    ///
    /// # Errors
    /// Why there is no fit, with the fewest degrees of freedom.
    pub fn fit(series: &[Series<'_>]) -> Result<Self, Unfit> {
        let days: Vec<f64> = series.iter().flat_map(|series| series.times.iter().copied()).collect();
        let options = Options { criterion: Criterion::Reml, covariates_change_course: false };
        let mut why = Unfit::TooFew;
        for degrees_of_freedom in DEGREES_OF_FREEDOM {
            let Ok(spline) = Spline::from_times(&days, degrees_of_freedom) else { continue };
            match lmm::trajectory::fit(&spline, series, options).map_err(|error| Unfit::Refused(error.to_string()))? {
                Outcome::Fitted(trajectory) => return Ok(Self { trajectory: *trajectory, degrees_of_freedom }),
                Outcome::NotFitted(refusal) => why = in_words(&refusal),
            }
        }
        Err(why)
    }

    pub(super) fn posterior(&self, subject: &Series<'_>) -> Option<Posterior> {
        self.trajectory.posterior(subject).ok()
    }

    pub(super) fn predict(&self, posterior: &Posterior, day: f64) -> Option<Predictive> {
        self.trajectory.predict(posterior, day).ok()
    }

    pub(super) fn log_density(&self, subject: &Series<'_>) -> Option<f64> {
        self.trajectory.log_density(subject).ok()
    }

    pub(super) fn drawn(&self, stream: &mut ChaCha8Rng) -> Self {
        Self { trajectory: self.trajectory.draw(stream), ..*self }
    }

    pub(super) fn drawn_curve(&self, posterior: &Posterior, stream: &mut ChaCha8Rng) -> Curve {
        self.trajectory.random_curve(posterior, stream)
    }

    pub(super) fn score(&self, curve: &Curve, day: f64, residual: f64) -> Option<f64> {
        Some(self.trajectory.curve_at(curve, day).ok()? + residual * self.trajectory.residual_sd())
    }

    pub(super) fn population(&self, day: f64) -> Option<PopulationPoint> {
        self.trajectory.population(day, &[]).ok()
    }

    pub(super) fn residual_sd(&self) -> f64 {
        self.trajectory.residual_sd()
    }

    /// The first day, up to a last one, on which the mean differs from that of day 0 by `change`, with its 95 % interval
    /// (delta method, on the log scale since a day is positive).
    pub(super) fn day_of_change(&self, change: f64, last_day: f64) -> Option<Estimate> {
        let start = self.population(0.0)?.mean;
        let gone = |day: f64| Some((self.population(day)?.mean - start) * change.signum() - change.abs());
        let days = (1..=(last_day / GRID_DAYS) as u32).map(|step| f64::from(step) * GRID_DAYS);
        let mut high = days.into_iter().find(|day| gone(*day).is_some_and(|gone| gone >= 0.0))?;
        let mut low = high - GRID_DAYS;
        for _ in 0..BISECTIONS {
            let middle = 0.5 * (low + high);
            if gone(middle)? >= 0.0 { high = middle } else { low = middle }
        }
        let step = 1e-3 * high;
        let slope = (gone(high + step)? - gone(high - step)?) / (2.0 * step);
        if slope <= 0.0 {
            return None;
        }
        let standard_error = self.error_of_change(high)? / slope;
        let factor = (distribution::normal_quantile(0.975).ok()? * standard_error / high).min(50.0).exp();
        let interval = Interval { low: high / factor, high: high * factor };
        Some(Estimate { value: high, standard_error, interval })
    }

    /// Standard error of the mean on a day less the mean on day 0.
    fn error_of_change(&self, day: f64) -> Option<f64> {
        let (then, start) = (self.trajectory.spline().at(day).ok()?, self.trajectory.spline().at(0.0).ok()?);
        let difference: Vec<f64> = self
            .trajectory
            .columns()
            .iter()
            .map(|column| Some(then.get(column.basis)? - start.get(column.basis)?))
            .collect::<Option<_>>()?;
        let covariance = &self.trajectory.fit().beta_covariance;
        let mut variance = 0.0;
        for (i, a) in difference.iter().enumerate() {
            for (j, b) in difference.iter().enumerate() {
                variance += a * b * covariance.get((i, j))?;
            }
        }
        Some(variance.max(0.0).sqrt())
    }

    pub(super) fn singular(&self) -> Option<String> {
        let singular = self.trajectory.fit().singular.as_ref()?;
        let functions = self.trajectory.spline().functions();
        Some(format!(
            "patients' courses vary in {} of {functions} ways; in the others no variation was found",
            singular.rank
        ))
    }

    pub(super) fn evidence(&self) -> String {
        let fit = self.trajectory.fit();
        format!(
            "restricted maximum likelihood, {} degrees of freedom, {} iterations, distance to the optimum {:.0e} standard errors",
            self.degrees_of_freedom, fit.evidence.iterations, fit.evidence.distance
        )
    }
}

fn in_words(refusal: &Refusal) -> Unfit {
    match refusal {
        Refusal::NotConverged(_) => Unfit::NotConverged,
        Refusal::TooFewSubjects { .. } | Refusal::TooFewReadings { .. } => Unfit::TooFew,
        Refusal::RankDeficient { .. } => Unfit::NotIdentifiable("the days of the readings do not carry a course"),
        Refusal::NoVariation => Unfit::NotIdentifiable("no patient's score changes"),
        Refusal::NoResidualVariation => Unfit::NotIdentifiable("the readings lie on the curves without any residual"),
    }
}
