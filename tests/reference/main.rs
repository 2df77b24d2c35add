//! The numerics against published and independently computed values, one folder a data set.
//!
//! Strict on purpose: see `reader.rs`. `cargo test -p mendcurve-stats --test reference -- --nocapture` prints, for every
//! value, how many digits agree.

mod alternating;
mod charts;
mod lmm;
mod logistic;
mod predictions;
mod reader;
mod recovery;
mod samples;
mod sites;
mod survival;
mod variation;

use reader::Dataset;

/// Makes one test of each folder, and the list by which a folder without a test is found.
macro_rules! datasets {
    ($($folder:ident => $check:path),* $(,)?) => {
        $(#[test]
        fn $folder() {
            Dataset::check(stringify!($folder), $check);
        })*
        const DATASETS: &[&str] = &[$(stringify!($folder)),*];
    };
}

datasets! {
    asah_prediction => predictions::asah,
    bcg_trials => charts::bcg_trials,
    between_dyestuff => sites::dyestuff,
    benjamini_hochberg_1995 => samples::benjamini_hochberg,
    drift_onset => charts::drift_onset,
    energy_distance => variation::energy_distance,
    firth_endometrial => logistic::endometrial,
    firth_urinary => logistic::urinary,
    freireich_1963 => survival::freireich,
    funnel_dispersion => charts::funnel_dispersion,
    funnel_limits => charts::funnel_limits,
    individuals_charts => charts::individuals_charts,
    glmm_cbpp => logistic::cbpp,
    keyed_streams => samples::keyed_streams,
    laney_charts => charts::laney_charts,
    lmm_chick_weight => lmm::chick_weight,
    lmm_dyestuff2 => lmm::dyestuff2,
    lmm_orthodont => lmm::orthodont,
    lmm_sleepstudy => lmm::sleepstudy,
    logistic_birth_weight => logistic::birth_weight,
    logistic_menarche => logistic::menarche,
    lung_survival => survival::lung,
    mean_shifts => charts::mean_shifts,
    mehrotra_heyse_2004 => samples::first_adjusted,
    mgus2_incidence => survival::mgus2,
    natural_spline => lmm::natural_spline,
    nested_oxide => variation::oxide,
    nested_pastes => variation::pastes,
    newcombe_1998_difference => samples::proportion_differences,
    newcombe_1998_proportion => samples::proportions,
    nile_shift => charts::nile_shift,
    nist_longley => samples::longley,
    nlme_loblolly => recovery::loblolly,
    nlme_recovery => recovery::recovery,
    p_chart_nist => charts::p_chart_nist,
    poisson_binomial => charts::poisson_binomial,
    proportion_intervals => samples::proportions,
    quantile_functions => samples::quantile_functions,
    quantile_type_7 => samples::quantiles,
    rao_score => sites::rao_score,
    rubin_pooled => predictions::rubin,
    student_sleep => samples::student_sleep,
    terminal_digits => variation::terminal_digits,
}

#[test]
fn every_file_in_the_reference_folder_is_read() {
    let mut expected: Vec<String> = [
        "README.md",
        "alternating.rs",
        "charts.rs",
        "lmm.rs",
        "logistic.rs",
        "main.rs",
        "predictions.rs",
        "reader.rs",
        "recovery.rs",
        "samples.rs",
        "sites.rs",
        "survival.rs",
        "variation.rs",
    ]
    .map(String::from)
    .to_vec();
    expected.extend(DATASETS.iter().map(|name| (*name).to_owned()));
    expected.sort();
    assert_eq!(reader::names_in(&reader::root()), expected);
}
