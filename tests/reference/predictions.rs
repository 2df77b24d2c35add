//! Checks of predictions against outcomes, and of pooling over completed copies.

use mendcurve_stats::Level;
use mendcurve_stats::impute::{DrawnCount, PoolingScale, pool, pooled_proportion};
use mendcurve_stats::prediction::{Calibration, Rate, auc, brier, calibration, confusion};

use crate::reader::Dataset;

const L95: Level = Level::NINETY_FIVE;

pub fn asah(d: &Dataset) {
    let poor: Vec<bool> = d.column("poor").iter().map(|p| *p == 1.0).collect();
    let (marker, chance) = (d.column("s100b"), d.column("chance"));
    for (name, scores) in [("s100b", marker), ("chance", chance)] {
        let found = auc(scores, &poor, L95).unwrap();
        let estimate = found.estimate.unwrap();
        d.compare(&format!("auc_{name}"), found.value);
        d.compare(&format!("auc_se_{name}"), estimate.standard_error);
        d.compare(&format!("auc_low_{name}"), estimate.interval.low);
        d.compare(&format!("auc_high_{name}"), estimate.interval.high);
    }
    d.compare("brier", brier(chance, &poor).unwrap());
    let Calibration::Fitted(fit) = calibration(chance, &poor, L95).unwrap() else { panic!("not fitted") };
    for (name, estimate) in [("intercept", fit.intercept), ("slope", fit.slope)] {
        d.compare(name, estimate.value);
        d.compare(&format!("{name}_se"), estimate.standard_error);
        d.compare(&format!("{name}_low"), estimate.interval.low);
    }
    let compare_rate = |name: &str, rate: Rate| {
        d.compare(name, rate.share);
        d.compare(&format!("{name}_low"), rate.interval.low);
        d.compare(&format!("{name}_high"), rate.interval.high);
    };
    let called: Vec<bool> = marker.iter().map(|s| *s > 0.22).collect();
    let calls = confusion(&called, &poor, L95).unwrap();
    compare_rate("sensitivity", calls.sensitivity.unwrap());
    compare_rate("specificity", calls.specificity.unwrap());
    compare_rate("positive_predictive_value", calls.positive_predictive_value.unwrap());
}

pub fn rubin(d: &Dataset) {
    let (estimates, variances) = (d.column("estimate"), d.column("variance"));
    for (name, complete_df) in [("rubin", None), ("barnard_rubin", Some(24.0))] {
        let found = pool(estimates, variances, complete_df, L95).unwrap();
        d.compare("value", found.value);
        d.compare("within", found.within);
        d.compare("between", found.between);
        d.compare("se", found.standard_error);
        d.compare("share_between", found.share_between);
        d.compare(&format!("{name}_df"), found.degrees_of_freedom.unwrap());
        d.compare(&format!("{name}_fmi"), found.missing_information);
        d.compare(&format!("{name}_low"), found.interval.unwrap().low);
    }
    let draws: Vec<DrawnCount> = (d.column("successes").iter().zip(d.column("trials")))
        .map(|(x, n)| DrawnCount { successes: *x as u64, trials: *n as u64 })
        .collect();
    let found = pooled_proportion(&draws, L95).unwrap();
    assert_eq!(found.scale, PoolingScale::Logit);
    d.compare("share", found.estimate.value);
    d.compare("share_low", found.estimate.interval.low);
    d.compare("share_high", found.estimate.interval.high);
    d.compare("share_fmi", found.missing_information);
}
