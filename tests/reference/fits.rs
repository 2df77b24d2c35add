//! Checks of linear and nonlinear least squares and of the exponential.

use mendcurve_stats::Level;
use mendcurve_stats::exponential::{Doubt, ExponentialFit, ExponentialOutcome, StartValue, fit_exponential};
use mendcurve_stats::least_squares::{Outcome, least_squares};
use mendcurve_stats::linear_regression::{Term, linear_regression};

use crate::reader::Dataset;

/// Value and derivatives of a curve of one predictor.
type Model = fn(&[f64], f64, &mut [f64]) -> f64;

/// Fits from each start and compares estimates, standard errors and the residual sum of squares.
fn nist(d: &Dataset, model: Model, starts: [&[f64]; 2], has_residual_sd: bool) {
    let (x, y) = (d.column("x"), d.column("y"));
    let curve = |theta: &[f64], i: usize, gradient: &mut [f64]| model(theta, x[i], gradient);
    for start in starts {
        let fit = match least_squares(&curve, y, None, start).unwrap() {
            Outcome::Converged(fit) => fit,
            Outcome::NotConverged(evidence) => panic!("from {start:?}: {evidence:?}"),
        };
        println!("from {start:?}: {:?}", fit.evidence);
        for (j, (estimate, error)) in fit.estimates.iter().zip(&fit.standard_errors).enumerate() {
            d.compare(&format!("b{}", j + 1), *estimate);
            d.compare(&format!("b{}_se", j + 1), *error);
        }
        d.compare("rss", fit.rss);
        if has_residual_sd {
            d.compare("residual_sd", fit.residual_sd);
        }
    }
}

/// b1 (1 - exp(-b2 x))
fn saturation(b: &[f64], x: f64, gradient: &mut [f64]) -> f64 {
    let left = (-b[1] * x).exp();
    gradient.copy_from_slice(&[1.0 - left, b[0] * x * left]);
    b[0] * (1.0 - left)
}

/// b1 (1 - (1 + b2 x / 2)^-2)
fn misra1b_model(b: &[f64], x: f64, gradient: &mut [f64]) -> f64 {
    let base = 1.0 + b[1] * x / 2.0;
    gradient.copy_from_slice(&[1.0 - base.powi(-2), b[0] * x * base.powi(-3)]);
    b[0] * (1.0 - base.powi(-2))
}

/// b1 b2 x / (1 + b2 x)
fn misra1d_model(b: &[f64], x: f64, gradient: &mut [f64]) -> f64 {
    let base = 1.0 + b[1] * x;
    gradient.copy_from_slice(&[b[1] * x / base, b[0] * x / (base * base)]);
    b[0] * b[1] * x / base
}

/// b1 + b2 exp(-x b4) + b3 exp(-x b5)
fn mgh17_model(b: &[f64], x: f64, gradient: &mut [f64]) -> f64 {
    let (e4, e5) = ((-x * b[3]).exp(), (-x * b[4]).exp());
    gradient.copy_from_slice(&[1.0, e4, e5, -x * b[1] * e4, -x * b[2] * e5]);
    b[0] + b[1] * e4 + b[2] * e5
}

/// b1 x^b2
fn danwood_model(b: &[f64], x: f64, gradient: &mut [f64]) -> f64 {
    let power = x.powf(b[1]);
    gradient.copy_from_slice(&[power, b[0] * power * x.ln()]);
    b[0] * power
}

/// b1 / (1 + exp(b2 - b3 x))
fn rat42_model(b: &[f64], x: f64, gradient: &mut [f64]) -> f64 {
    let e = (b[1] - b[2] * x).exp();
    let share = 1.0 / (1.0 + e);
    gradient.copy_from_slice(&[share, -b[0] * e * share * share, b[0] * x * e * share * share]);
    b[0] * share
}

pub fn misra1a(d: &Dataset) {
    nist(d, saturation, [&[500.0, 0.0001], &[250.0, 0.0005]], true);
}

pub fn misra1b(d: &Dataset) {
    nist(d, misra1b_model, [&[500.0, 0.0001], &[300.0, 0.0002]], true);
}

pub fn misra1d(d: &Dataset) {
    nist(d, misra1d_model, [&[500.0, 0.0001], &[450.0, 0.0003]], false);
}

pub fn boxbod(d: &Dataset) {
    nist(d, saturation, [&[1.0, 1.0], &[100.0, 0.75]], true);
    // the same curve, found without starting values as an exponential from a start fixed at 0
    let fit = fitted(d.column("x"), d.column("y"), StartValue::Fixed(0.0));
    d.compare("b1", fit.plateau);
    d.compare("b1_se", fit.covariance[(1, 1)].sqrt());
    d.compare("b2", 1.0 / fit.tau());
    d.compare("b2_se", fit.log_tau_error() / fit.tau());
    d.compare("rss", fit.rss);
}

pub fn mgh17(d: &Dataset) {
    nist(d, mgh17_model, [&[50.0, 150.0, -100.0, 1.0, 2.0], &[0.5, 1.5, -1.0, 0.01, 0.02]], false);
}

pub fn danwood(d: &Dataset) {
    nist(d, danwood_model, [&[1.0, 5.0], &[0.7, 4.0]], false);
}

pub fn rat42(d: &Dataset) {
    nist(d, rat42_model, [&[100.0, 1.0, 0.1], &[75.0, 2.5, 0.07]], true);
}

pub fn longley(d: &Dataset) {
    let y = d.column("y");
    let ones = vec![1.0; y.len()];
    let mut terms = vec![Term { name: "intercept", values: &ones }];
    terms.extend(["x1", "x2", "x3", "x4", "x5", "x6"].map(|name| Term { name, values: d.column(name) }));
    let fit = linear_regression(&terms, y).unwrap();
    for j in 0..terms.len() {
        d.compare(&format!("b{j}"), fit.estimates[j]);
        d.compare(&format!("b{j}_se"), fit.standard_errors[j]);
    }
    d.compare("residual_sd", fit.residual_sd);
    d.compare("rss", fit.rss);
}

fn fitted(times: &[f64], values: &[f64], start: StartValue) -> ExponentialFit {
    match fit_exponential(times, values, None, start).unwrap() {
        ExponentialOutcome::Fitted(fit) => fit,
        other => panic!("{other:?}"),
    }
}

pub fn loblolly(d: &Dataset) {
    let fit = fitted(d.column("t"), d.column("y"), StartValue::Free);
    let level = Level::NINETY_FIVE;
    let (start, plateau) = (fit.start_estimate(level).unwrap(), fit.plateau_estimate(level).unwrap());
    d.compare("plateau", plateau.value);
    d.compare("plateau_se", plateau.standard_error);
    d.compare("start", start.value);
    d.compare("start_se", start.standard_error);
    d.compare("log_rate", -fit.log_tau);
    d.compare("log_rate_se", fit.log_tau_error());
    d.compare("residual_sd", fit.residual_sd);
    let half = fit.half_time(level).unwrap();
    d.compare("half_time", half.value);
    d.compare("half_time_low", half.interval.low);
    d.compare("half_time_high", half.interval.high);
    let mean = fit.mean_at(12.0, level).unwrap().mean;
    d.compare("mean_12", mean.value);
    d.compare("mean_12_se", mean.standard_error);
}

pub fn bod(d: &Dataset) {
    let fit = fitted(d.column("t"), d.column("y"), StartValue::Fixed(0.0));
    let plateau = fit.plateau_estimate(Level::NINETY_FIVE).unwrap();
    d.compare("plateau", plateau.value);
    d.compare("plateau_se", plateau.standard_error);
    d.compare("log_rate", -fit.log_tau);
    d.compare("log_rate_se", fit.log_tau_error());
    d.compare("rate", 1.0 / fit.tau());
    d.compare("rate_se", fit.log_tau_error() / fit.tau());
    d.compare("rss", fit.rss);
}

pub fn natural_course(d: &Dataset) {
    let weeks = d.column("weeks");
    for course in ["costa_acute", "costa_persistent", "wallwork_acute", "wallwork_persistent"] {
        let means = d.column(course);
        let fixed = fitted(weeks, means, StartValue::Fixed(means[0]));
        d.compare(&format!("{course}_plateau"), fixed.plateau);
        d.compare(&format!("{course}_plateau_se"), fixed.covariance[(1, 1)].sqrt());
        d.compare(&format!("{course}_rate"), 1.0 / fixed.tau());
        d.compare(&format!("{course}_log_rate_se"), fixed.log_tau_error());
        let free = fitted(weeks, means, StartValue::Free);
        d.compare(&format!("{course}_free_start"), free.start);
        d.compare(&format!("{course}_free_plateau"), free.plateau);
        d.compare(&format!("{course}_free_rate"), 1.0 / free.tau());
        d.compare(&format!("{course}_free_log_rate_se"), free.log_tau_error());
    }
    // 63 29 29 31: no information on the rate, whether or not the start is known
    let subacute = d.column("wallwork_subacute");
    for start in [StartValue::Free, StartValue::Fixed(subacute[0])] {
        let outcome = fit_exponential(weeks, subacute, None, start).unwrap();
        let refused = matches!(outcome, ExponentialOutcome::NotIdentifiable { why: Doubt::PlateauAtOnce, .. });
        assert!(refused, "{outcome:?}");
    }
}
