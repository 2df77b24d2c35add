//! Checks of linear mixed models and of the spline.

use mendcurve_stats::linear_regression::{Term, linear_regression};
use mendcurve_stats::lmm::cross_products::{CrossProducts, FixedColumn, reduce};
use mendcurve_stats::lmm::trajectory::{self, Options};
use mendcurve_stats::lmm::{Criterion, Fit, Outcome, Spline, Trajectory, fit_blocks};
use mendcurve_stats::series::Series;

use crate::reader::Dataset;

fn fitted<T: std::fmt::Debug>(outcome: Outcome<T>) -> T {
    match outcome {
        Outcome::Fitted(fit) => *fit,
        Outcome::NotFitted(why) => panic!("{why:?}"),
    }
}

/// Rows of each subject, subjects in the order in which they first appear.
fn rows_by(subject: &[f64]) -> Vec<Vec<usize>> {
    let mut names: Vec<f64> = Vec::new();
    let mut rows: Vec<Vec<usize>> = Vec::new();
    for (row, name) in subject.iter().enumerate() {
        match names.iter().position(|n| n == name) {
            Some(i) => rows[i].push(row),
            None => {
                names.push(*name);
                rows.push(vec![row]);
            }
        }
    }
    rows
}

/// Fits random effects on the first Q of (1, x), fixed effects on both, each also times `covariate` if there is one.
fn line<const Q: usize>(subject: &[f64], x: &[f64], y: &[f64], covariate: Option<&[f64]>, criterion: Criterion) -> Fit {
    let rows = rows_by(subject);
    let known: Vec<Vec<f64>> = rows.iter().map(|r| covariate.map_or(Vec::new(), |c| vec![c[r[0]]])).collect();
    let products: Vec<_> = rows
        .iter()
        .zip(&known)
        .map(|(rows, known)| {
            let mut sums = CrossProducts::<2>::default();
            rows.iter().for_each(|&r| sums.add(&[1.0, x[r]], y[r]).unwrap());
            (sums, known.as_slice())
        })
        .collect();
    let mut columns: Vec<_> = (0..2).map(|basis| FixedColumn { basis, covariate: None }).collect();
    if covariate.is_some() {
        columns.extend((0..2).map(|basis| FixedColumn { basis, covariate: Some(0) }));
    }
    let (data, centre) = reduce::<2, Q, 4>(&products, &columns).unwrap();
    let mut fit = fitted(fit_blocks(&data, criterion));
    fit.beta[0] += centre;
    println!("{:?} {:?}", fit.evidence, fit.singular);
    fit
}

/// Compares all that lme4 gave under `prefix`.
fn against_lme4(d: &Dataset, prefix: &str, fit: &Fit) {
    d.compare(&format!("{prefix}criterion"), fit.deviance);
    let errors = fit.standard_errors();
    for j in 0..fit.beta.len() {
        d.compare(&format!("{prefix}b{}", j + 1), fit.beta[j]);
        d.compare(&format!("{prefix}b{}_se", j + 1), errors[j]);
    }
    for i in 0..fit.g.nrows() {
        for j in 0..=i {
            d.compare(&format!("{prefix}g{}{}", i + 1, j + 1), fit.g[(i, j)]);
        }
    }
    d.compare(&format!("{prefix}sigma"), fit.sigma);
}

pub fn sleepstudy(d: &Dataset) {
    let (subject, days, reaction) = (d.column("subject"), d.column("days"), d.column("reaction"));
    let reml = line::<2>(subject, days, reaction, None, Criterion::Reml);
    against_lme4(d, "reml_", &reml);
    against_lme4(d, "ml_", &line::<2>(subject, days, reaction, None, Criterion::Ml));
    against_lme4(d, "intercepts_", &line::<1>(subject, days, reaction, None, Criterion::Reml));
    d.compare("published_criterion", reml.deviance);
    d.compare("published_intercept", reml.beta[0]);
    d.compare("published_intercept_se", reml.standard_errors()[0]);
    d.compare("published_slope", reml.beta[1]);
    d.compare("published_slope_se", reml.standard_errors()[1]);
    d.compare("published_intercept_sd", reml.random_sd(0).unwrap());
    d.compare("published_slope_sd", reml.random_sd(1).unwrap());
    d.compare("published_correlation", reml.correlation(0, 1).unwrap());
    d.compare("published_sigma", reml.sigma);
}

pub fn orthodont(d: &Dataset) {
    let (subject, age, female) = (d.column("subject"), d.column("age"), d.column("female"));
    for (name, criterion) in [("reml", Criterion::Reml), ("ml", Criterion::Ml)] {
        let fit = line::<2>(subject, age, d.column("distance"), Some(female), criterion);
        d.compare(&format!("{name}_log_likelihood"), fit.log_likelihood());
        // here age and sex are columns 2 and 3 and their product column 4, as there
        for j in 0..4 {
            d.compare(&format!("{name}_b{}", j + 1), fit.beta[j]);
            d.compare(&format!("{name}_b{}_se", j + 1), fit.standard_errors()[j]);
        }
        d.compare(&format!("{name}_intercept_sd"), fit.random_sd(0).unwrap());
        d.compare(&format!("{name}_slope_sd"), fit.random_sd(1).unwrap());
        d.compare(&format!("{name}_covariance"), fit.g[(0, 1)]);
        d.compare(&format!("{name}_sigma"), fit.sigma);
    }
}

pub fn chick_weight(d: &Dataset) {
    let (chick, diet) = (d.column("chick"), d.column("diet"));
    let pick = |column: &str, rows: &[usize]| rows.iter().map(|&r| d.column(column)[r]).collect::<Vec<f64>>();
    let subjects: Vec<_> = rows_by(chick)
        .iter()
        .map(|rows| (pick("time", rows), pick("weight", rows), [f64::from(diet[rows[0]] == 3.0)]))
        .collect();
    let series: Vec<Series> =
        subjects.iter().map(|(times, values, covariates)| Series { times, values, covariates }).collect();
    let spline = Spline::with_knots(&[0.0, 8.0, 20.0]).unwrap();
    let fit = |criterion, covariates_change_course| -> Trajectory {
        let options = Options { criterion, covariates_change_course };
        fitted(trajectory::fit(&spline, &series, options).unwrap())
    };
    let reml = fit(Criterion::Reml, true);
    println!("{:?} {:?}", reml.fit().evidence, reml.fit().singular);
    against_lme4(d, "reml_", reml.fit());
    let ml = fit(Criterion::Ml, false);
    println!("{:?} {:?}", ml.fit().evidence, ml.fit().singular);
    against_lme4(d, "ml_", ml.fit());
    let fifth = series[chick_position(chick, 5.0)];
    let own = ml.predict(&ml.posterior(&fifth).unwrap(), 10.0).unwrap();
    d.compare("ml_chick_5_at_10", own.mean);
}

fn chick_position(chick: &[f64], name: f64) -> usize {
    rows_by(chick).iter().position(|rows| chick[rows[0]] == name).unwrap()
}

pub fn dyestuff2(d: &Dataset) {
    let (batch, result) = (d.column("batch"), d.column("yield"));
    let products: Vec<_> = rows_by(batch)
        .iter()
        .map(|rows| {
            let mut sums = CrossProducts::<1>::default();
            rows.iter().for_each(|&r| sums.add(&[1.0], result[r]).unwrap());
            (sums, &[][..])
        })
        .collect();
    let (data, centre) = reduce::<1, 1, 1>(&products, &[FixedColumn { basis: 0, covariate: None }]).unwrap();
    for (prefix, criterion) in [("reml_", Criterion::Reml), ("ml_", Criterion::Ml)] {
        let mut fit = fitted(fit_blocks(&data, criterion));
        fit.beta[0] += centre;
        assert_eq!(fit.singular.as_ref().unwrap().zero_variances, [0]);
        against_lme4(d, prefix, &fit);
    }
}

pub fn natural_spline(d: &Dataset) {
    let (t, y) = (d.column("t"), d.column("y"));
    let knots: [&[f64]; 3] = [&[1.0, 200.0], &[1.0, 20.0, 200.0], &[1.0, 10.0, 50.0, 200.0]];
    for (df, knots) in (1..).zip(knots) {
        let spline = Spline::with_knots(knots).unwrap();
        let columns: Vec<Vec<f64>> =
            (0..spline.functions()).map(|j| t.iter().map(|t| spline.at(*t).unwrap()[j]).collect()).collect();
        let terms: Vec<Term> = columns.iter().map(|values| Term { name: "function", values }).collect();
        let fit = linear_regression(&terms, y).unwrap();
        for time in [0.0, 7.0, 45.0, 150.0, 700.0] {
            let value = fit.estimates.iter().zip(spline.at(time).unwrap()).map(|(b, w)| b * w).sum();
            d.compare(&format!("df{df}_at_{time}"), value);
        }
        d.compare(&format!("df{df}_rss"), fit.rss);
    }
}
