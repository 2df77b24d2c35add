//! Checks of the nonlinear mixed recovery curve.

use mendcurve_stats::Level;
use mendcurve_stats::nlme::{KnownParameters, Options, Outcome, RecoveryFit, RecoveryModel, Varying};
use mendcurve_stats::series::Series;
use nalgebra::{Matrix3, Vector3};

use crate::alternating::fixed_point;
use crate::reader::Dataset;

/// Where each subject's rows begin and end; rows of a subject lie together.
fn subjects(d: &Dataset) -> Vec<std::ops::Range<usize>> {
    let id = d.column("subject");
    let mut ranges: Vec<std::ops::Range<usize>> = Vec::new();
    for i in 0..id.len() {
        match ranges.last_mut() {
            Some(last) if id[last.start] == id[i] => last.end = i + 1,
            _ => ranges.push(i..i + 1),
        }
    }
    ranges
}

fn series<'a>(d: &'a Dataset, ranges: &[std::ops::Range<usize>], covariate: Option<&'a [f64]>) -> Vec<Series<'a>> {
    let (times, values) = (d.column("t"), d.column("y"));
    let one = |r: &std::ops::Range<usize>| Series {
        times: &times[r.clone()],
        values: &values[r.clone()],
        covariates: covariate.map_or(&[], |c| &c[r.start..=r.start]),
    };
    ranges.iter().map(one).collect()
}

fn fitted(data: &[Series], varying: Varying) -> RecoveryFit {
    match RecoveryModel::fit(data, Options { varying, simplify: false }).unwrap() {
        Outcome::Fitted(fit) => *fit,
        other => panic!("{other:?}"),
    }
}

/// With a random asymptote alone the subjects' densities are normal, and the log-likelihood of `nlme` is the likelihood
/// itself: it is reproduced at the estimates of `nlme`, which are the published ones. Those are not at the maximum, because
/// the alternating algorithm leaves out how the determinant of the covariance depends on the common rate; the maximum,
/// 0.05 higher, is checked against `optim`.
pub fn loblolly(d: &Dataset) {
    let ranges = subjects(d);
    let data = series(d, &ranges, None);
    let fit = fitted(&data, Varying { baseline: false, plateau: true, log_tau: false });
    let (beta, sd) = (fit.fixed_effects(), fit.random_covariance()[(1, 1)].sqrt());
    d.compare("ml_asym", beta[1]);
    d.compare("ml_r0", beta[0]);
    d.compare("ml_lrc", -beta[2]);
    d.compare("ml_asym_sd", sd);
    d.compare("ml_residual_sd", fit.residual_sd());
    d.compare("ml_log_likelihood", fit.log_likelihood);

    let start = Matrix3::from_diagonal(&Vector3::new(0.0, 10.0, 0.0));
    let other = fixed_point(&data, Vector3::new(-8.5, 103.0, 3.3), start, 1.0);
    let published_sd = other.covariance[(1, 1)].sqrt();
    for prefix in ["", "published_"] {
        d.compare(&format!("{prefix}asym"), other.beta[1]);
        d.compare(&format!("{prefix}r0"), other.beta[0]);
        d.compare(&format!("{prefix}lrc"), -other.beta[2]);
        d.compare(&format!("{prefix}asym_sd"), published_sd);
        d.compare(&format!("{prefix}residual_sd"), other.residual_sd);
        d.compare(&format!("{prefix}log_likelihood"), other.log_likelihood);
    }
    let known = KnownParameters::new(other.beta.as_slice(), &other.covariance, other.residual_sd).unwrap();
    let there = known.log_likelihood(&data).unwrap();
    d.compare("log_likelihood", there);
    assert!(fit.log_likelihood > there);
}

fn compare(d: &Dataset, fit: &RecoveryFit, tag: &str) {
    let covariance = fit.fixed_effects_covariance();
    for (j, b) in fit.fixed_effects().iter().enumerate() {
        d.compare(&format!("{tag}beta{}", j + 1), *b);
        d.compare(&format!("{tag}beta{}_se", j + 1), covariance[(j, j)].sqrt());
    }
    for i in 0..3 {
        for j in 0..=i {
            d.compare(&format!("{tag}g{}{}", i + 1, j + 1), fit.random_covariance()[(i, j)]);
        }
    }
    d.compare(&format!("{tag}residual_sd"), fit.residual_sd());
    d.compare(&format!("{tag}log_likelihood"), fit.log_likelihood);
}

pub fn recovery(d: &Dataset) {
    let ranges = subjects(d);
    let data = series(d, &ranges, None);
    let fit = fitted(&data, Varying::ALL);
    compare(d, &fit, "");
    compare(d, &fitted(&series(d, &ranges, Some(d.column("x"))), Varying::ALL), "x_");

    // the estimates of the linearising program, judged by the likelihood itself
    let at = |name: &str| d.expected(&format!("at_{name}"));
    let g = |i: usize, j: usize| at(&format!("g{}{}", i.max(j) + 1, i.min(j) + 1));
    let known = KnownParameters::new(&[at("mu1"), at("mu2"), at("mu3")], &Matrix3::from_fn(g), at("sigma")).unwrap();
    let from = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, 0.2));
    let other = fixed_point(&data, Vector3::new(7.0, 2.5, 3.0), from, 1.0);
    for j in 0..3 {
        d.compare(&format!("nlme_beta{}", j + 1), other.beta[j]);
    }
    d.compare("nlme_residual_sd", other.residual_sd);
    d.compare("nlme_log_likelihood", other.log_likelihood);
    let there = known.log_likelihood(&data).unwrap();
    d.compare("exact_log_likelihood", there);
    assert!(fit.log_likelihood >= there);
    for i in 1..=3 {
        let r = ranges[i - 1].start;
        let first_three = Series { times: &d.column("t")[r..r + 3], values: &d.column("y")[r..r + 3], covariates: &[] };
        let posterior = known.posterior(&first_three).unwrap();
        d.compare(&format!("exact_density_{i}"), posterior.log_density());
        d.compare(&format!("posterior_mean_{i}"), posterior.predict(60.0).mean);
    }
    assert!(fit.half_time(&[], Level::NINETY_FIVE).unwrap().interval.contains(18.0 * std::f64::consts::LN_2));
}
