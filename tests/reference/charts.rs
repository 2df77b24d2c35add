//! Checks of counts compared with what was expected, and of values followed over time.

use mendcurve_stats::Level;
use mendcurve_stats::change_point::{Observations, Settings, Shape, one_change, shifts};
use mendcurve_stats::control_chart::{Dispersal, Rule, p_chart, xmr};
use mendcurve_stats::funnel::{
    ControlLimits, Inflation, Interpolation, WINSORISED_SHARE, dispersion, proportion_limits, standardised_limits,
};
use mendcurve_stats::poisson_binomial::PoissonBinomial;

use crate::reader::Dataset;

pub fn poisson_binomial(d: &Dataset) {
    let (set, p) = (d.column("set"), d.column("p"));
    let counts: [(f64, &[u64]); 2] =
        [(1.0, &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]), (2.0, &[0, 3, 12, 20, 24, 30, 45, 80, 120])];
    for (name, counts) in counts {
        let p: Vec<f64> = set.iter().zip(p).filter(|(s, _)| **s == name).map(|(_, p)| *p).collect();
        let found = PoissonBinomial::new(&p).unwrap();
        for k in counts {
            d.compare(&format!("mass_{name}_{k}"), found.mass(*k));
            d.compare(&format!("at_most_{name}_{k}"), found.at_most(*k));
            d.compare(&format!("at_least_{name}_{k}"), found.at_least(*k));
        }
    }
}

pub fn funnel_limits(d: &Dataset) {
    let compare = |label: &str, limits: &dyn Fn(Level, Interpolation) -> ControlLimits| {
        for percent in [95.0, 99.8] {
            let level = Level::new(percent / 100.0).unwrap();
            let published = limits(level, Interpolation::Published).interval;
            let inside = limits(level, Interpolation::Inside).interval;
            d.compare(&format!("low_{label}_{percent}"), published.low);
            assert_eq!(published.low, inside.low);
            d.compare(&format!("published_{label}_{percent}"), published.high);
            d.compare(&format!("inside_{label}_{percent}"), inside.high);
        }
    };
    for (target, n) in d.column("target").iter().zip(d.column("n")) {
        compare(&format!("{target}_{n}"), &|level, how| proportion_limits(*target, *n as u64, level, how).unwrap());
    }
    let mixed: Vec<f64> = [(90, 0.1), (60, 0.45), (12, 0.9)].iter().flat_map(|(n, p)| vec![*p; *n]).collect();
    let expected = PoissonBinomial::new(&mixed).unwrap();
    compare("mixed", &|level, how| standardised_limits(&expected, level, how).unwrap());
}

pub fn funnel_dispersion(d: &Dataset) {
    let target = 0.4;
    let (x, n) = (d.column("successes"), d.column("trials"));
    let values: Vec<f64> = x.iter().zip(n).map(|(x, n)| x / n).collect();
    let errors: Vec<f64> = n.iter().map(|n| (target * (1.0 - target) / n).sqrt()).collect();
    let found = dispersion(&values, &errors, target, WINSORISED_SHARE).unwrap();
    assert_eq!(found.inflation, Inflation::Applied);
    d.compare("phi", found.phi);
    d.compare("tau2", found.tau2);
    d.compare("p", found.p);
    for (i, (value, error)) in values.iter().zip(&errors).enumerate() {
        d.compare(&format!("z_{}", i + 1), (value - target) / error);
        d.compare(&format!("additive_{}", i + 1), found.z_additive[i]);
    }
}

pub fn bcg_trials(d: &Dataset) {
    let [a, n1, c, n2] = ["cases_vaccinated", "vaccinated", "cases_control", "control"].map(|name| d.column(name));
    let (mut log_ratio, mut errors) = (vec![], vec![]);
    for i in 0..a.len() {
        log_ratio.push((a[i] / n1[i]).ln() - (c[i] / n2[i]).ln());
        errors.push((1.0 / a[i] - 1.0 / n1[i] + 1.0 / c[i] - 1.0 / n2[i]).sqrt());
    }
    let weights: Vec<f64> = errors.iter().map(|s| 1.0 / (s * s)).collect();
    let mean = mendcurve_stats::sum::weighted_mean(&log_ratio, &weights).unwrap();
    d.compare("fixed_mean", mean);
    let found = dispersion(&log_ratio, &errors, mean, 0.0).unwrap();
    d.compare("q", found.phi_estimate * a.len() as f64);
    d.compare("dersimonian_laird_tau2", found.tau2);
}

pub fn individuals_charts(d: &Dataset) {
    let series = |name: f64| -> Vec<f64> {
        d.column("series").iter().zip(d.column("value")).filter(|(s, _)| **s == name).map(|(_, v)| *v).collect()
    };
    let nist = xmr(&series(1.0)).unwrap();
    d.compare("nist_centre", nist.centre);
    d.compare("nist_mean_moving_range", nist.mean_moving_range);
    // the printed limits use d2 = 1.128 and D4 = 3.267
    let rounded = 3.0 * nist.mean_moving_range / 1.128;
    d.compare("nist_low_d2_rounded", nist.centre - rounded);
    d.compare("nist_high_d2_rounded", nist.centre + rounded);
    assert!((nist.limits.high - (nist.centre + rounded)).abs() < 2e-3);
    d.compare("nist_moving_range_limit_rounded", nist.moving_range_limit * 3.267 / 3.266_532);
    let jet = xmr(&series(2.0)).unwrap();
    d.compare("jet_centre", jet.centre);
    d.compare("jet_mean_moving_range", jet.mean_moving_range);
    d.compare("jet_low", jet.limits.low);
    d.compare("jet_high", jet.limits.high);
    // the example prints its moving ranges and mean, not its values: any values with these ranges and mean will do
    let ranges = [1.0, 2.0, 1.0, 0.0, 4.0, 1.0, 2.0, 1.0, 5.0, 5.0, 6.0, 1.0, 8.0, 3.0, 1.0, 2.0, 4.0, 6.0, 3.0];
    let mut values = vec![0.0];
    for (i, range) in ranges.iter().enumerate() {
        values.push(values[i] + if i % 2 == 0 { *range } else { -range });
    }
    let shift = 53.05 - values.iter().sum::<f64>() / 20.0;
    values.iter_mut().for_each(|v| *v += shift);
    let montgomery = xmr(&values).unwrap();
    // printed with d2 = 1.128, too
    let rounded = 3.0 * montgomery.mean_moving_range / 1.128;
    d.compare("montgomery_low", montgomery.centre - rounded);
    d.compare("montgomery_high", montgomery.centre + rounded);
    assert!((montgomery.limits.low - (montgomery.centre - rounded)).abs() < 3e-3);
    d.compare("montgomery_moving_range_limit", montgomery.moving_range_limit);
}

pub fn p_chart_nist(d: &Dataset) {
    let counts = d.column("count");
    let sizes = vec![50.0; counts.len()];
    let chart = p_chart(counts, &sizes, Dispersal::CountsAlone).unwrap();
    let limits = chart.limits(50.0).unwrap().interval;
    d.compare("centre", chart.centre);
    d.compare("low", limits.low);
    d.compare("high", limits.high);
    let signals = chart.signals(counts, &sizes, &[Rule::OneBeyondThree]).unwrap();
    assert_eq!(signals.len(), 2);
    d.compare("first_beyond", (signals[0].index + 1) as f64);
    d.compare("last_beyond", (signals[1].index + 1) as f64);
}

pub fn laney_charts(d: &Dataset) {
    let (counts, sizes) = (d.column("count"), d.column("size"));
    let [chart, plain] = [Dispersal::Laney, Dispersal::CountsAlone].map(|d| p_chart(counts, sizes, d).unwrap());
    d.compare("p_centre", chart.centre);
    d.compare("p_sigma_z", chart.sigma_z);
    d.compare("p_low_1", chart.limits(sizes[0]).unwrap().interval.low);
    d.compare("p_high_30", chart.limits(sizes[29]).unwrap().interval.high);
    d.compare("p_plain_sigma_7", plain.limits(sizes[6]).unwrap().sigma);
}

pub fn nile_shift(d: &Dataset) {
    let (years, flow) = (d.column("year"), d.column("flow"));
    let observations = Observations::new(years, flow, None).unwrap();
    let found = shifts(&observations, 10, 4).unwrap();
    for (k, bic) in found.bic.iter().enumerate() {
        d.compare(&format!("bic_{k}"), *bic);
        for (j, start) in found.starts_by_changes[k].iter().enumerate() {
            d.compare(&format!("last_before_{k}_{}", j + 1), *start as f64);
        }
    }
    d.compare("rss_1", found.rss);
    d.compare("last_year_before", years[found.starts[0] - 1]);
    d.compare("mean_1", found.means[0]);
    d.compare("mean_2", found.means[1]);
    let settings = Settings { least_segment: 10, level: Level::NINETY_FIVE, permutations: 999, seed: 1, key: b"nile" };
    let one = one_change(&observations, &settings).unwrap();
    assert_eq!((one.chosen, one.shift.place, one.p), (Some(Shape::Shift), found.starts[0], 0.001));
    let places = one.shift.places;
    println!("first year at the new level: {} to {}", years[places.0], years[places.1]);
    assert!(places.0 <= 28 && 28 <= places.1 && places.1 - places.0 <= 10);
}

pub fn mean_shifts(d: &Dataset) {
    let values = d.column("value");
    let steps: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
    let observations = Observations::new(&steps, values, None).unwrap();
    let found = shifts(&observations, 6, 5).unwrap();
    assert_eq!(found.starts.len(), 3);
    for (k, starts) in found.starts_by_changes.iter().enumerate().skip(1) {
        d.compare(&format!("bic_{k}"), found.bic[k]);
        for (j, start) in starts.iter().enumerate() {
            d.compare(&format!("start_{k}_{j}"), *start as f64);
        }
    }
}

pub fn drift_onset(d: &Dataset) {
    let observations = Observations::new(d.column("day"), d.column("value"), Some(d.column("weight"))).unwrap();
    let settings = Settings { least_segment: 5, level: Level::NINETY_FIVE, permutations: 0, seed: 1, key: b"" };
    let found = one_change(&observations, &settings).unwrap();
    assert_eq!(found.chosen, Some(Shape::Drift));
    d.compare("place", found.drift.place as f64);
    d.compare("before", found.drift.before);
    d.compare("slope", found.drift.size);
    d.compare("rss", found.drift.rss);
    d.compare("bic_drift", found.drift.bic);
    d.compare("bic_shift", found.shift.bic);
    d.compare("shift_size", found.shift.size);
    d.compare("bic_none", found.bic_none);
}
