//! Checks of intervals, linear regression, quantiles, adjusted p values and random streams.

use mendcurve_stats::Level;
use mendcurve_stats::distribution::{normal_quantile, t_quantile, t_two_sided};
use mendcurve_stats::interval::{self, Interval, Summary};
use mendcurve_stats::linear_regression::{Term, linear_regression};
use mendcurve_stats::multiplicity::benjamini_hochberg as adjust;
use mendcurve_stats::quantile::Sorted;
use mendcurve_stats::random::{stream, uniform};

use crate::reader::Dataset;

const L95: Level = Level::NINETY_FIVE;

fn compare_interval(d: &Dataset, prefix: &str, interval: Interval) {
    d.compare(&format!("{prefix}low"), interval.low);
    d.compare(&format!("{prefix}high"), interval.high);
}

pub fn proportions(d: &Dataset) {
    let (x, n, percent) = (d.column("successes"), d.column("trials"), d.column("percent"));
    for i in 0..x.len() {
        let level = Level::new(percent[i] / 100.0).unwrap();
        let (successes, trials) = (x[i] as u64, n[i] as u64);
        let prefix = format!("wilson_{successes}_{trials}_{}_", percent[i]);
        compare_interval(d, &prefix, interval::wilson(successes, trials, level).unwrap());
    }
}

pub fn proportion_differences(d: &Dataset) {
    let columns = ["successes1", "trials1", "successes2", "trials2"].map(|name| d.column(name));
    for i in 0..columns[0].len() {
        let [x1, n1, x2, n2] = columns.map(|c| c[i] as u64);
        let found = interval::newcombe_difference((x1, n1), (x2, n2), L95).unwrap();
        let prefix = format!("{x1}_{n1}_{x2}_{n2}_");
        d.compare(&format!("{prefix}difference"), found.difference);
        compare_interval(d, &prefix, found.interval);
    }
}

pub fn student_sleep(d: &Dataset) {
    let (drug1, drug2) = (d.column("drug1"), d.column("drug2"));
    let paired = interval::paired_change(drug1, drug2, L95).unwrap();
    let standardised = paired.standardised.unwrap();
    d.compare("change", paired.mean_change);
    d.compare("change_se", paired.standard_error);
    compare_interval(d, "change_", paired.interval);
    d.compare("correlation", standardised.correlation);
    d.compare("baseline_sd", standardised.baseline_sd);
    let (first, second) = (Summary::of(drug1).unwrap(), Summary::of(drug2).unwrap());
    let welch = interval::welch_difference(first, second, L95).unwrap();
    d.compare("welch_difference", welch.difference);
    d.compare("welch_df", welch.degrees_of_freedom);
    d.compare("welch_se", welch.standard_error);
    compare_interval(d, "welch_", welch.interval);
    let mean = interval::mean_interval(first, Level::new(0.9).unwrap()).unwrap().interval;
    d.compare("mean_low_90", mean.low);
    d.compare("mean_high_90", mean.high);
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

pub fn quantile_functions(d: &Dataset) {
    let columns = ["p", "df", "t"].map(|name| d.column(name));
    for i in 0..columns[0].len() {
        let [p, df, t] = columns.map(|c| c[i]);
        let row = i + 1;
        d.compare(&format!("normal_{row}"), normal_quantile(p).unwrap());
        d.compare(&format!("t_{row}"), t_quantile(p, df).unwrap());
        d.compare(&format!("two_sided_{row}"), t_two_sided(t, df).unwrap());
    }
}

pub fn quantiles(d: &Dataset) {
    let sample = Sorted::new(d.column("x")).unwrap();
    for percent in [0.0, 5.0, 10.0, 25.0, 50.0, 66.0, 75.0, 90.0, 97.5, 100.0] {
        d.compare(&format!("percent_{percent}"), sample.quantile(percent / 100.0).unwrap());
    }
    assert_eq!(sample.median(), sample.quantile(0.5).unwrap());
}

pub fn benjamini_hochberg(d: &Dataset) {
    let adjusted = adjust(d.column("p")).unwrap();
    for (i, value) in adjusted.iter().enumerate() {
        d.compare(&format!("adjusted_{}", i + 1), *value);
    }
    d.compare("rejected_at_5_percent", adjusted.iter().filter(|p| **p <= 0.05).count() as f64);
}

/// The published list gives the first eight adjusted values only.
pub fn first_adjusted(d: &Dataset) {
    for (i, value) in adjust(d.column("p")).unwrap().iter().take(8).enumerate() {
        d.compare(&format!("adjusted_{}", i + 1), *value);
    }
}

/// The names are the bytes 0, 1, 2, ... up to the length given.
pub fn keyed_streams(d: &Dataset) {
    for (seed, length) in d.column("seed").iter().zip(d.column("name_length")) {
        let name: Vec<u8> = (0..*length as u8).collect();
        let mut random = stream(*seed as u64, &name);
        let draws: Vec<f64> = (0..10).map(|_| uniform(&mut random)).collect();
        for i in [0, 1, 9] {
            d.compare(&format!("uniform_{seed}_{length}_{i}"), draws[i]);
        }
    }
}
