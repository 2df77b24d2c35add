//! What a condition's page and sheets say of its recovery curve, of the time to a response, and of the predictions.

use super::shown::{Estimate, Shown};

/// What came of fitting the curve.
#[derive(Clone, PartialEq, Debug)]
pub enum CurveOutcome {
    /// A curve.
    Fitted(Box<Curve>),
    /// The data do not identify one; why, in words.
    NotIdentifiable(String),
    /// Too few patients with enough readings.
    TooFewReadings,
}

impl CurveOutcome {
    /// The curve, if there is one.
    pub fn fitted(&self) -> Option<&Curve> {
        match self {
            Self::Fitted(curve) => Some(curve),
            Self::NotIdentifiable(_) | Self::TooFewReadings => None,
        }
    }
}

/// A fitted mixed model of the whole course, over every episode of the condition with a reading.
#[derive(Clone, PartialEq, Debug)]
pub struct Curve {
    /// Which model: see [`CurveModel`].
    pub model: CurveModel,
    /// Every parameter, for `recovery_curves.csv`.
    pub parameters: Vec<Parameter>,
    /// Mean at day 0.
    pub baseline: Estimate,
    /// Level approached; absent for the spline, which has none.
    pub plateau: Option<Estimate>,
    /// Days in which half of what is left of the way is done; absent for the spline.
    pub half_time_days: Option<Estimate>,
    /// Minimal important change of the measure, own unit.
    pub important_change: Option<f64>,
    /// Day on which the mean has improved by it, when it does within the days observed.
    pub day_of_important_change: Option<Estimate>,
    /// Mean with interval and individual band by day, for drawing and `curve_points.csv`.
    pub points: Vec<CurvePoint>,
    /// Held-out comparison of the two models; absent when only one could be fitted.
    pub choice: Option<Choice>,
    /// Share of the readings at the best and at the worst end of the scale, 0 to 1.
    pub at_best_end: f64,
    /// See `at_best_end`.
    pub at_worst_end: f64,
    /// All episodes with readings, where the curve was fitted to those of some patients, drawn by their key.
    pub drawn_from: Option<u32>,
    /// What the ends of the scale do to the curve, as a sentence.
    pub ends: Option<String>,
    /// Which variance or correlation could not be told from its bound, as a sentence.
    pub singular: Option<String>,
    /// Iterations, gradient, why it stopped: one line of evidence.
    pub evidence: String,
}

/// The model of a curve.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum CurveModel {
    /// score = plateau + (baseline - plateau) exp(-t ln 2 / half-time), each of the three varying between patients.
    Exponential,
    /// A natural cubic spline in log(1 + day), its coefficients varying between patients.
    Spline,
}

impl CurveModel {
    /// Its name in sheets and for people.
    pub fn label(self) -> &'static str {
        match self {
            Self::Exponential => "exponential approach to a plateau, nonlinear mixed model",
            Self::Spline => "natural spline in log(1 + day), linear mixed model",
        }
    }
}

/// One parameter of a fitted model.
#[derive(Clone, PartialEq, Debug)]
pub struct Parameter {
    /// Its name in the sheet.
    pub name: &'static str,
    /// The estimate, in the measure's own unit, its square, days or none; see the name.
    pub value: f64,
    /// Standard error and 95 % interval, where there is one.
    pub uncertainty: Option<(f64, f64, f64)>,
}

/// The fitted course at a day.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct CurvePoint {
    /// Day since the first treated visit.
    pub day: f64,
    /// Mean of all patients with its 95 % interval.
    pub mean: Estimate,
    /// Where 80 % of single readings of single patients are expected.
    pub band: (f64, f64),
}

/// The two models held against readings of patients they had not seen, five folds by patient.
#[derive(Clone, PartialEq, Debug)]
pub struct Choice {
    /// Mean held-out log density a patient of the chosen model less that of the other; positive.
    pub margin: f64,
    /// Standard error of the margin over patients.
    pub margin_error: f64,
    /// Patients held out, all folds together.
    pub patients: u32,
}

/// Time to a response by one definition, `time_to_response.csv`, over every episode that started and could respond.
#[derive(Clone, PartialEq, Debug)]
pub struct TimeToResponse {
    /// Definition key; `sustained_` before it where two readings in a row must meet it.
    pub definition: String,
    /// What it asks for, in words.
    pub label: String,
    /// Episodes with a baseline from which the definition can be reached, and a later reading or visit.
    pub episodes: Shown<u32>,
    /// Of these, responses seen.
    pub events: Shown<u32>,
    /// Of these, care that stopped early before a response.
    pub stopped: Shown<u32>,
    /// Kaplan-Meier median with its Brookmeyer-Crowley limits; limits may not be reached.
    pub median_day: Option<f64>,
    /// Lower limit of the median.
    pub median_low: Option<f64>,
    /// Upper limit of the median.
    pub median_high: Option<f64>,
    /// Log-rank p between the onset classes.
    pub p_logrank: Option<f64>,
    /// Cumulative incidence of a response by day, for the figure: of the weeks that set too few apart only the last is told.
    pub incidence: Vec<IncidencePoint>,
    /// Day and share whose care stopped early before a response, likewise.
    pub stopped_by: Vec<(f64, f64)>,
}

/// Cumulative incidence of a response at a day (Aalen-Johansen).
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct IncidencePoint {
    /// Day since the first treated visit.
    pub day: f64,
    /// Share that has responded.
    pub response: Estimate,
}

/// How well predictions did for patients they had not seen: one line of `backtest.csv`.
#[derive(Clone, PartialEq, Debug)]
pub struct BacktestRow {
    /// `five folds by patient` or `later episodes`.
    pub scheme: &'static str,
    /// Number of the follow-up reading, 1 the first after the baseline.
    pub visit_no: u32,
    /// Patients with that reading and a known end.
    pub patients: u32,
    /// Area under the receiver operating characteristic of the chance of response.
    pub auc: Option<Estimate>,
    /// Mean squared difference of chance and response.
    pub brier: Option<f64>,
    /// Calibration slope, 1 is ideal.
    pub calibration_slope: Option<Estimate>,
    /// Calibration intercept, 0 is ideal.
    pub calibration_intercept: Option<Estimate>,
    /// Share of these readings inside the 80 % band predicted before they were seen.
    pub band_coverage: Option<Estimate>,
    /// Of those who did not respond, the share called `behind`.
    pub sensitivity: Option<Estimate>,
    /// Of those who responded, the share not called `behind`.
    pub specificity: Option<Estimate>,
    /// Of those called `behind`, the share that did not respond.
    pub ppv: Option<Estimate>,
}

/// The backtest of one outcome of a condition.
#[derive(Clone, PartialEq, Debug)]
pub struct Backtest {
    /// Its lines; those with too few patients are left out.
    pub rows: Vec<BacktestRow>,
    /// Coverage of the 80 % band over all readings, five folds.
    pub coverage: Option<Estimate>,
    /// Why `behind` and `ahead` are withheld for this outcome, as a sentence.
    pub withheld: Option<String>,
}
