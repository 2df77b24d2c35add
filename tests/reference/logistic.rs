//! Checks of logistic regression, plain, penalised and with random intercepts.

use mendcurve_stats::logistic::{LogisticFit, Method, Outcome, Rows, firth, logistic, profile_interval};
use mendcurve_stats::logistic_mixed::{self as mixed, Options, logistic_mixed};
use mendcurve_stats::{Interval, Level};

use crate::reader::Dataset;

/// A design of ones and the named columns, row after row.
fn design(d: &Dataset, columns: &[&str]) -> Vec<f64> {
    let columns: Vec<&[f64]> = columns.iter().map(|c| d.column(c)).collect();
    let row = |j: usize| std::iter::once(1.0).chain(columns.iter().map(move |c| c[j])).collect::<Vec<f64>>();
    (0..columns[0].len()).flat_map(row).collect()
}

fn counts(values: &[f64]) -> Vec<u32> {
    values.iter().map(|v| *v as u32).collect()
}

fn coefficients(d: &Dataset, fit: &LogisticFit) {
    println!("{:?}", fit.evidence);
    for (i, (b, se)) in fit.coefficients.iter().zip(fit.standard_errors()).enumerate() {
        d.compare(&format!("b{}", i + 1), *b);
        d.compare(&format!("b{}_se", i + 1), se);
    }
    d.compare("log_likelihood", fit.log_likelihood);
}

fn fitted(outcome: Outcome) -> LogisticFit {
    match outcome {
        Outcome::Fitted(fit) => *fit,
        other => panic!("{other:?}"),
    }
}

pub fn birth_weight(d: &Dataset) {
    let successes = counts(d.column("low"));
    let (trials, design) = (vec![1; successes.len()], design(d, &["age", "lwt", "black", "other", "ftv"]));
    let names = ["1", "age", "lwt", "black", "other", "ftv"];
    let rows = Rows { successes: &successes, trials: &trials, design: &design, names: &names, offset: None };
    let fit = fitted(logistic(&rows).unwrap());
    coefficients(d, &fit);
    d.compare("covariance_12", fit.covariance[(0, 1)]);
    d.compare("deviance", fit.deviance);
    d.compare("chance_1", fit.predict(&design[..6], 0.0).unwrap());
    for i in 0..6 {
        let estimate = fit.estimate(i, Level::NINETY_FIVE).unwrap();
        d.compare(&format!("published_b{}", i + 1), estimate.value);
        d.compare(&format!("published_b{}_se", i + 1), estimate.standard_error);
    }
    d.compare("published_deviance", fit.deviance);
}

pub fn menarche(d: &Dataset) {
    let (successes, trials) = (counts(d.column("menarche")), counts(d.column("total")));
    let design = design(d, &["age"]);
    let rows = Rows { successes: &successes, trials: &trials, design: &design, names: &["1", "age"], offset: None };
    let fit = fitted(logistic(&rows).unwrap());
    coefficients(d, &fit);
    d.compare("deviance", fit.deviance);
}

/// Separated in its column `column` by `separated` rows; all that R gave, and the profile limits of logistf.
fn penalised(d: &Dataset, response: &str, columns: &[&str], column: usize, separated: usize) -> LogisticFit {
    let successes = counts(d.column(response));
    let (trials, design) = (vec![1; successes.len()], design(d, columns));
    let names: Vec<&str> = std::iter::once("1").chain(columns.iter().copied()).collect();
    let rows = Rows { successes: &successes, trials: &trials, design: &design, names: &names, offset: None };
    let Outcome::Separated { separation, firth: fit } = logistic(&rows).unwrap() else { panic!("not separated") };
    assert_eq!((separation.columns.as_slice(), separation.rows), ([column].as_slice(), separated));
    assert_eq!(fit.method, Method::Firth);
    assert_eq!(fitted(firth(&rows).unwrap()), *fit);
    coefficients(d, &fit);
    d.compare("penalised_log_likelihood", fit.penalised_log_likelihood.unwrap());
    for i in 0..names.len() {
        d.compare(&format!("logistf_b{}", i + 1), fit.coefficients[i]);
        let Interval { low, high } = profile_interval(&rows, &fit, i, Level::NINETY_FIVE).unwrap().unwrap();
        d.compare(&format!("logistf_low{}", i + 1), low);
        d.compare(&format!("logistf_high{}", i + 1), high);
    }
    *fit
}

pub fn endometrial(d: &Dataset) {
    penalised(d, "hg", &["nv", "pi", "eh"], 1, 13);
}

pub fn urinary(d: &Dataset) {
    let fit = penalised(d, "case", &["age", "oc", "vic", "vicl", "vis", "dia"], 6, 7);
    let wald = fit.estimate(6, Level::NINETY_FIVE).unwrap().interval;
    d.compare("logistf_wald_low7", wald.low);
    d.compare("logistf_wald_high7", wald.high);
}

pub fn cbpp(d: &Dataset) {
    let (successes, trials) = (counts(d.column("incidence")), counts(d.column("size")));
    let design = design(d, &["period2", "period3", "period4"]);
    let names = ["1", "period2", "period3", "period4"];
    let rows = Rows { successes: &successes, trials: &trials, design: &design, names: &names, offset: None };
    let herd: Vec<usize> = d.column("herd").iter().map(|h| *h as usize - 1).collect();
    for points in [1, 3, 9, 25] {
        let options = Options { points, ..Options::default() };
        let mixed::Outcome::Fitted(fit) = logistic_mixed(&rows, &herd, options).unwrap() else { panic!("not fitted") };
        println!("{:?}", fit.evidence);
        assert!(fit.evidence.converged() && fit.evidence.distance < 1e-8);
        match points {
            1 => d.compare("k1_minus_twice", -2.0 * fit.log_likelihood),
            _ => d.compare(&format!("k{points}_deviance"), fit.deviance),
        }
        for i in 0..4 {
            let estimate = fit.estimate(i, Level::NINETY_FIVE).unwrap();
            d.compare(&format!("k{points}_b{}", i + 1), estimate.value);
            d.compare(&format!("k{points}_b{}_se", i + 1), estimate.standard_error);
        }
        d.compare(&format!("k{points}_sd"), fit.sd_value());
        for (i, group) in fit.groups.iter().enumerate() {
            d.compare(&format!("k{points}_mode{}", i + 1), group.mode);
        }
        if points == 9 {
            d.compare("published_deviance", fit.deviance);
            d.compare("published_sd", fit.sd_value());
            (0..4).for_each(|i| d.compare(&format!("published_b{}", i + 1), fit.coefficients[i]));
        }
        if points == 25 {
            for (i, group) in fit.groups.iter().enumerate() {
                d.compare(&format!("mean{}", i + 1), group.mean);
                d.compare(&format!("sd{}", i + 1), group.sd);
                d.compare(&format!("rate{}", i + 1), group.rate);
                d.compare(&format!("rate_low{}", i + 1), group.rate_interval.low);
                d.compare(&format!("rate_high{}", i + 1), group.rate_interval.high);
            }
        }
    }
}
