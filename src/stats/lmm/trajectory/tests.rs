use nalgebra::{DMatrix, DVector};

use super::*;
use crate::lmm::Refusal;
use crate::random::{standard_normal, stream, uniform};
use crate::sum::{mean, sample_variance};

/// Times, values and covariates of invented subjects: 1 to 8 readings, the first at time 0.
struct Invented(Vec<(Vec<f64>, Vec<f64>, Vec<f64>)>);

impl Invented {
    fn new(seed: u64, subjects: usize) -> Self {
        let mut rng = stream(seed, b"invented");
        Self(
            (0..subjects)
                .map(|i| {
                    let age = standard_normal(&mut rng);
                    let (level, slope) = (8.0 * standard_normal(&mut rng), 3.0 * standard_normal(&mut rng));
                    let times: Vec<f64> =
                        (0..1 + i % 8).map(|k| if k == 0 { 0.0 } else { 120.0 * uniform(&mut rng) }).collect();
                    let values = times
                        .iter()
                        .map(|t| {
                            let s = t.ln_1p();
                            60.0 + 2.0 * age + level + (slope - 8.0) * s + 0.6 * s * s + 4.0 * standard_normal(&mut rng)
                        })
                        .collect();
                    (times, values, vec![age])
                })
                .collect(),
        )
    }

    fn series(&self) -> Vec<Series<'_>> {
        self.0.iter().map(|(times, values, covariates)| Series { times, values, covariates }).collect()
    }
}

const ML: Options = Options { criterion: Criterion::Ml, covariates_change_course: true };

fn spline() -> Spline {
    Spline::with_knots(&[0.0, 20.0, 90.0]).unwrap()
}

fn fitted(subjects: &[Series], options: Options) -> Trajectory {
    match fit(&spline(), subjects, options).unwrap() {
        Outcome::Fitted(trajectory) => *trajectory,
        Outcome::NotFitted(why) => panic!("{why:?}"),
    }
}

/// Basis at each reading, one row a reading.
fn rows(times: &[f64]) -> DMatrix<f64> {
    DMatrix::from_fn(times.len(), 3, |r, j| spline().at(times[r]).unwrap()[j])
}

/// Fixed design of a subject with covariates that change the course.
fn fixed(w: &DMatrix<f64>, age: f64) -> DMatrix<f64> {
    DMatrix::from_fn(w.nrows(), 6, |r, j| w[(r, j % 3)] * if j < 3 { 1.0 } else { age })
}

#[test]
fn the_log_densities_of_all_subjects_add_up_to_the_log_likelihood() {
    let invented = Invented::new(1, 90);
    let trajectory = fitted(&invented.series(), ML);
    let total: f64 = invented.series().iter().map(|s| trajectory.log_density(s).unwrap()).sum();
    let likelihood = trajectory.fit().log_likelihood();
    // cross-products round the basis to 2^-33
    assert!((total - likelihood).abs() < 1e-6, "{total} {likelihood}");
}

#[test]
fn the_density_of_one_subject_is_that_of_the_dense_normal_distribution() {
    let invented = Invented::new(1, 90);
    let trajectory = fitted(&invented.series(), ML);
    let subject = invented.series()[31]; // 8 readings
    let w = rows(subject.times);
    let fit = trajectory.fit();
    let v = &w * &fit.g * w.transpose() + DMatrix::identity(8, 8) * fit.sigma.powi(2);
    let e = DVector::from_column_slice(subject.values) - fixed(&w, subject.covariates[0]) * &fit.beta;
    let squares = (e.transpose() * v.clone().try_inverse().unwrap() * &e)[0];
    let dense = -0.5 * (8.0 * (2.0 * std::f64::consts::PI).ln() + v.determinant().ln() + squares);
    assert!((trajectory.log_density(&subject).unwrap() - dense).abs() < 1e-9);
}

#[test]
fn a_prediction_has_the_mean_and_error_of_hendersons_mixed_model_equations() {
    let invented = Invented::new(5, 40);
    let series = invented.series();
    let trajectory = fitted(&series, Options { criterion: Criterion::Reml, covariates_change_course: true });
    let fit = trajectory.fit();
    assert_eq!(fit.singular, None);
    // all subjects' equations at once: 6 fixed effects, then 3 random ones a subject
    let size = 6 + 3 * series.len();
    let mut left = DMatrix::zeros(size, size);
    let mut right = DVector::zeros(size);
    let g_inverse = fit.g.clone().try_inverse().unwrap() * fit.sigma.powi(2);
    for (i, subject) in series.iter().enumerate() {
        let w = rows(subject.times);
        let mut all = DMatrix::zeros(w.nrows(), size);
        all.columns_mut(0, 6).copy_from(&fixed(&w, subject.covariates[0]));
        all.columns_mut(6 + 3 * i, 3).copy_from(&w);
        left += all.transpose() * &all;
        right += all.transpose() * DVector::from_column_slice(subject.values);
        let mut corner = left.view_mut((6 + 3 * i, 6 + 3 * i), (3, 3));
        corner += &g_inverse;
    }
    let inverse = left.try_inverse().unwrap();
    let solution = &inverse * right;
    for i in [0, 7, 20] {
        let posterior = trajectory.posterior(&series[i]).unwrap();
        for t in [0.0, 14.0, 200.0] {
            let w = rows(&[t]);
            let mut k = DMatrix::zeros(1, size);
            k.columns_mut(0, 6).copy_from(&fixed(&w, series[i].covariates[0]));
            k.columns_mut(6 + 3 * i, 3).copy_from(&w);
            let predicted = trajectory.predict(&posterior, t).unwrap();
            let error = (&k * &inverse * k.transpose())[0].sqrt() * fit.sigma;
            assert!((predicted.mean - (&k * &solution)[0]).abs() < 1e-6);
            assert!((predicted.sd_of_mean - error).abs() < 1e-6 * error);
            assert!((predicted.sd.powi(2) - error.powi(2) - fit.sigma.powi(2)).abs() < 1e-6);
        }
    }
}

#[test]
fn without_readings_a_subject_is_expected_where_the_population_is() {
    let trajectory = fitted(&Invented::new(1, 90).series(), ML);
    let nothing = Series { times: &[], values: &[], covariates: &[0.7] };
    let posterior = trajectory.posterior(&nothing).unwrap();
    assert_eq!(trajectory.log_density(&nothing).unwrap(), 0.0);
    for t in [0.0, 30.0, 365.0] {
        let (one, all) = (trajectory.predict(&posterior, t).unwrap(), trajectory.population(t, &[0.7]).unwrap());
        assert!((one.mean - all.mean).abs() < 1e-10);
        let spread = (all.between_sd.powi(2) + all.standard_error.powi(2)).sqrt();
        assert!((one.sd_of_mean - spread).abs() < 1e-9 * spread);
        assert_eq!(all.residual_sd, trajectory.residual_sd());
    }
}

#[test]
fn the_order_of_a_subjects_readings_does_not_change_a_bit() {
    let invented = Invented::new(2, 60);
    let backwards = Invented(
        invented
            .0
            .iter()
            .map(|(t, y, c)| (t.iter().rev().copied().collect(), y.iter().rev().copied().collect(), c.clone()))
            .collect(),
    );
    assert_eq!(fitted(&invented.series(), ML).fit(), fitted(&backwards.series(), ML).fit());
}

#[test]
fn covariates_move_the_level_alone_or_the_whole_course() {
    let invented = Invented::new(1, 90);
    let level = fitted(&invented.series(), Options { criterion: Criterion::Ml, covariates_change_course: false });
    let course = fitted(&invented.series(), ML);
    let moved = |of: &Trajectory, t| of.population(t, &[1.0]).unwrap().mean - of.population(t, &[0.0]).unwrap().mean;
    assert!((moved(&level, 0.0) - moved(&level, 100.0)).abs() < 1e-10);
    assert!((moved(&course, 0.0) - moved(&course, 100.0)).abs() > 1e-3);
    assert_eq!((level.columns().len(), course.columns().len()), (4, 6));
    assert!(course.fit().deviance <= level.fit().deviance);
}

#[test]
fn new_subjects_fall_inside_their_predicted_band_as_often_as_it_says() {
    let trajectory = fitted(&Invented::new(3, 600).series(), ML);
    let fresh = Invented::new(4, 1600);
    let (mut inside, mut all) = (0.0, 0.0);
    for subject in fresh.series().iter().filter(|s| s.times.len() > 2) {
        let last = subject.times.len() - 1;
        let so_far = Series { times: &subject.times[..last], values: &subject.values[..last], ..*subject };
        let predicted = trajectory.predict(&trajectory.posterior(&so_far).unwrap(), subject.times[last]).unwrap();
        all += 1.0;
        inside += f64::from((subject.values[last] - predicted.mean).abs() < 1.281_551_6 * predicted.sd);
    }
    assert!((inside / all - 0.8).abs() < 0.04, "{}", inside / all);
}

#[test]
fn draws_scatter_around_the_estimates_as_their_standard_errors_say() {
    let trajectory = fitted(&Invented::new(1, 90).series(), ML);
    let mut rng = stream(8, b"draws");
    let draws: Vec<Trajectory> = (0..2000).map(|_| trajectory.draw(&mut rng)).collect();
    let at = |d: &Trajectory| d.population(30.0, &[0.0]).unwrap().mean;
    let means: Vec<f64> = draws.iter().map(at).collect();
    let point = trajectory.population(30.0, &[0.0]).unwrap();
    assert!((mean(&means).unwrap() - point.mean).abs() < 4.0 * point.standard_error / 2000.0_f64.sqrt());
    assert!((sample_variance(&means).unwrap().sqrt() / point.standard_error - 1.0).abs() < 0.1);
    let sigmas: Vec<f64> = draws.iter().map(Trajectory::residual_sd).collect();
    assert!((mean(&sigmas).unwrap() / trajectory.residual_sd() - 1.0).abs() < 0.02);
    let betweens: Vec<f64> = draws.iter().map(|d| d.population(0.0, &[0.0]).unwrap().between_sd).collect();
    assert!(sample_variance(&betweens).unwrap() > 0.0);
    assert_eq!(draws[0].population(3.0, &[0.0]).unwrap().standard_error, 0.0);
}

#[test]
fn drawn_readings_have_the_mean_and_spread_that_were_predicted() {
    let invented = Invented::new(1, 90);
    let trajectory = fitted(&invented.series(), ML);
    let posterior = trajectory.posterior(&invented.series()[5]).unwrap();
    let predicted = trajectory.predict(&posterior, 60.0).unwrap();
    let mut rng = stream(8, b"readings");
    let draws: Vec<f64> = (0..4000)
        .map(|_| {
            let curve = trajectory.random_curve(&posterior, &mut rng);
            trajectory.curve_at(&curve, 60.0).unwrap() + trajectory.fit().sigma * standard_normal(&mut rng)
        })
        .collect();
    assert!((mean(&draws).unwrap() - predicted.mean).abs() < 4.0 * predicted.sd / 4000.0_f64.sqrt());
    assert!((sample_variance(&draws).unwrap().sqrt() / predicted.sd - 1.0).abs() < 0.06);
}

fn outcome(subjects: &[Series]) -> Refusal {
    match fit(&spline(), subjects, ML).unwrap() {
        Outcome::Fitted(t) => panic!("{:?}", t.fit()),
        Outcome::NotFitted(why) => why,
    }
}

fn one<'a>(times: &'a [f64], values: &'a [f64]) -> Series<'a> {
    Series { times, values, covariates: &[] }
}

#[test]
fn small_and_empty_data_each_have_their_own_outcome() {
    assert_eq!(outcome(&[]), Refusal::TooFewSubjects { found: 0 });
    let (times, values) = ([0.0, 7.0, 14.0, 50.0], [60.0, 41.0, 38.0, 20.0]);
    assert_eq!(outcome(&[one(&times, &values)]), Refusal::TooFewSubjects { found: 1 });
    // two readings each
    let pair = one(&times[..2], &values[..2]);
    assert!(matches!(outcome(&[pair, pair, pair]), Refusal::RankDeficient { column: 2 }));
    let spread = [one(&times[..2], &values[..2]), one(&times[2..], &values[2..]), one(&[0.0, 90.0], &[9.0, 1.0])];
    assert_eq!(outcome(&spread), Refusal::TooFewReadings { needed: 7, found: 6 });
    // no follow-up
    let start = one(&[0.0, 0.0], &[50.0, 52.0]);
    assert_eq!(outcome(&[start, start, one(&[0.0], &[30.0])]), Refusal::RankDeficient { column: 1 });
    // all equal, all at the floor of a scale
    for value in [0.0, 37.3] {
        let equal = [value; 4];
        assert_eq!(outcome(&[one(&times, &equal); 5]), Refusal::NoVariation);
    }
    // each subject at its own constant: nothing is left for the residual
    let (low, high) = ([10.0; 4], [30.0; 4]);
    assert_eq!(outcome(&[one(&times, &low), one(&times, &high)]), Refusal::NoResidualVariation);
    // a covariate that is the same for all repeats the constant
    let mut same = Invented::new(1, 30);
    same.0.iter_mut().for_each(|s| s.2[0] = 1.0);
    assert_eq!(outcome(&same.series()), Refusal::RankDeficient { column: 3 });
}

#[test]
fn identical_subjects_have_no_variance_between_them() {
    let (times, values) = ([0.0, 7.0, 14.0, 50.0, 90.0], [60.0, 41.0, 44.0, 20.0, 25.0]);
    let same = [Series { times: &times, values: &values, covariates: &[] }; 20];
    let trajectory = fitted(&same, ML);
    assert_eq!(trajectory.fit().singular.as_ref().unwrap().zero_variances, vec![0, 1, 2]);
    assert_eq!(trajectory.population(10.0, &[]).unwrap().between_sd, 0.0);
    let posterior = trajectory.posterior(&same[0]).unwrap();
    assert!(trajectory.predict(&posterior, 10.0).unwrap().sd_of_mean.is_finite());
    let mut rng = stream(1, b"singular");
    assert_eq!(trajectory.draw(&mut rng).population(10.0, &[]).unwrap().between_sd, 0.0);
}

#[test]
fn one_subject_with_most_readings_leaves_a_usable_fit() {
    let mut invented = Invented::new(1, 60);
    let mut rng = stream(1, b"dominant");
    let times: Vec<f64> = (0..5000).map(|_| 120.0 * uniform(&mut rng)).collect();
    let values = times.iter().map(|t| 20.0 - t.ln_1p() + 4.0 * standard_normal(&mut rng)).collect();
    invented.0.push((times, values, vec![0.0]));
    let trajectory = fitted(&invented.series(), ML);
    assert!((trajectory.residual_sd() - 4.0).abs() < 0.2);
    assert!((trajectory.population(0.0, &[0.0]).unwrap().mean - 60.0).abs() < 5.0);
}

#[test]
fn bad_numbers_lengths_and_too_many_covariates_are_refused() {
    let good = Series { times: &[0.0, 1.0], values: &[1.0, 2.0], covariates: &[] };
    for bad in [
        Series { times: &[0.0], ..good },
        Series { times: &[-1.0, 0.0], ..good },
        Series { values: &[1.0, f64::NAN], ..good },
        Series { values: &[1.0, 1e9], ..good },
        Series { covariates: &[1.0], ..good },
    ] {
        assert!(fit(&spline(), &[good, bad], ML).is_err());
    }
    let many = vec![0.0; 16];
    assert!(fit(&spline(), &[Series { covariates: &many, ..good }], ML).is_err());
    let trajectory = fitted(&Invented::new(1, 90).series(), ML);
    assert!(trajectory.population(1.0, &[]).is_err());
    assert!(trajectory.population(-1.0, &[0.0]).is_err());
    assert!(trajectory.posterior(&good).is_err());
    assert!(trajectory.log_density(&good).is_err());
}
