//! Checks of what compares sources: components of variance, distances and digits.

use mendcurve_stats::Level;
use mendcurve_stats::digits::digit_preference;
use mendcurve_stats::energy::energy;
use mendcurve_stats::nested::{Fit, Nested, Outcome, fit};

use crate::reader::Dataset;

fn nested(top: &[f64], second: &[f64], y: &[f64], keep: impl Fn(usize) -> bool) -> (Nested, Fit) {
    let rows: Vec<usize> = (0..y.len()).filter(|i| keep(*i)).collect();
    let codes = [top, second].map(|c| rows.iter().map(|&i| c[i] as u32).collect::<Vec<u32>>());
    let values: Vec<f64> = rows.iter().map(|&i| y[i]).collect();
    let data = Nested::new(&[&codes[0], &codes[1]], &values).unwrap();
    match fit(&data) {
        Outcome::Fitted(fit) => {
            println!("{:?}", fit.evidence);
            (data, *fit)
        }
        Outcome::NotFitted(why) => panic!("{why:?}"),
    }
}

pub fn pastes(d: &Dataset) {
    let (data, fit) = nested(d.column("batch"), d.column("cask"), d.column("strength"), |_| true);
    d.compare("criterion", fit.deviance);
    d.compare("mean", fit.mean);
    d.compare("mean_se", fit.mean_standard_error);
    let (batches, casks) = (fit.effects(&data, 0).unwrap(), fit.effects(&data, 1).unwrap());
    for (i, batch) in batches.iter().enumerate() {
        d.compare(&format!("batch_{}", i + 1), batch.value);
    }
    for i in [1, 5, 30] {
        d.compare(&format!("cask_{i}"), casks[i - 1].value);
    }
    d.compare("batch_sd_1", batches[0].sd);
    d.compare("cask_sd_1", casks[0].sd);
    for (k, interval) in fit.intervals(&data, Level::NINETY_FIVE).into_iter().enumerate() {
        d.compare(&format!("v{k}"), fit.components[k].variance);
        for (name, interval) in [("v", interval.variance.unwrap()), ("share", interval.share.unwrap())] {
            d.compare(&format!("{name}{k}_low"), interval.low);
            d.compare(&format!("{name}{k}_high"), interval.high);
        }
    }
}

pub fn oxide(d: &Dataset) {
    let (lot, wafer, thickness) = (d.column("lot"), d.column("wafer"), d.column("thickness"));
    for prefix in ["", "unbalanced_"] {
        // counted from 1, as the script does
        let (data, fit) = nested(lot, wafer, thickness, |i| prefix.is_empty() || (i + 1) % 5 != 0);
        d.compare(&format!("{prefix}log_likelihood"), fit.log_likelihood());
        d.compare(&format!("{prefix}mean"), fit.mean);
        for (k, component) in fit.components.iter().enumerate() {
            d.compare(&format!("{prefix}sd{k}"), component.sd());
        }
        let lots = fit.effects(&data, 0).unwrap();
        for i in [1, 8] {
            d.compare(&format!("{prefix}lot_{i}"), lots[i - 1].value);
        }
        if prefix.is_empty() {
            d.compare("published_mean", fit.mean);
            d.compare("published_lot", fit.components[0].sd());
            d.compare("published_wafer", fit.components[1].sd());
            d.compare("published_residual", fit.components[2].sd());
            d.compare("published_log_likelihood", fit.log_likelihood());
        }
    }
}

pub fn energy_distance(d: &Dataset) {
    let sample = d.column("sample");
    let first = sample.iter().filter(|s| **s == 1.0).count();
    for name in ["x", "z"] {
        let (a, b) = d.column(name).split_at(first);
        let found = energy(a, b).unwrap().distance;
        d.compare(&format!("scipy_{name}"), found);
        d.compare(&format!("dcor_{name}"), found);
    }
}

pub fn terminal_digits(d: &Dataset) {
    let counts = d.column("digit").iter().zip(d.column("count"));
    let digits: Vec<u8> = counts.flat_map(|(digit, count)| vec![*digit as u8; *count as usize]).collect();
    let shares: [f64; 10] = d.column("share").try_into().unwrap();
    for (name, expected) in [("even", None), ("given", Some(&shares))] {
        let found = digit_preference(&digits, expected).unwrap();
        d.compare(&format!("{name}_chi_square"), found.chi_square);
        d.compare(&format!("{name}_p"), found.p.unwrap());
        d.compare(&format!("{name}_digit"), f64::from(found.preferred.digit));
        d.compare(&format!("{name}_digit_p"), found.preferred.p);
    }
}
