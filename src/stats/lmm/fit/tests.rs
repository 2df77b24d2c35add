use nalgebra::{DMatrix, DVector, Matrix1, Matrix2, Vector1, Vector2};

use super::*;
use crate::lmm::block::SubjectSums;
use crate::lmm::naive::{Dense, dense};
use crate::random::{standard_normal, stream};

fn fitted(outcome: Outcome<Fit>) -> Fit {
    match outcome {
        Outcome::Fitted(fit) => *fit,
        other => panic!("{other:?}"),
    }
}

/// Subjects with a random intercept around one common mean.
fn intercepts(values: &[&[f64]]) -> Outcome<Fit> {
    let subjects = values.iter().map(|subject| {
        let mut sums = SubjectSums::<1, 1>::default();
        subject.iter().for_each(|y| sums.add(&Vector1::new(1.0), &Vector1::new(1.0), *y));
        sums
    });
    fit_blocks(&Reduced::gather(1, subjects).unwrap(), Criterion::Reml)
}

/// Subjects with a random line in t around a common one; (t, y) for each reading.
fn lines(subjects: &[&[(f64, f64)]]) -> Outcome<Fit> {
    let sums = subjects.iter().map(|subject| {
        let mut sums = SubjectSums::<2, 2>::default();
        subject.iter().for_each(|(t, y)| sums.add(&Vector2::new(1.0, *t), &Vector2::new(1.0, *t), *y));
        sums
    });
    fit_blocks(&Reduced::gather(2, sums).unwrap(), Criterion::Reml)
}

#[test]
fn a_balanced_one_way_layout_has_its_closed_form() {
    // REML of the balanced one-way layout is the analysis of variance: within MS = 2, between MS = 32, 2 readings each
    let fit = fitted(intercepts(&[&[1.0, 3.0], &[5.0, 7.0], &[9.0, 11.0]]));
    assert!((fit.beta[0] - 6.0).abs() < 1e-12);
    assert!((fit.sigma - 2.0_f64.sqrt()).abs() < 1e-8, "{}", fit.sigma);
    assert!((fit.g[(0, 0)] - 15.0).abs() < 1e-6, "{}", fit.g);
    assert!((fit.standard_errors()[0] - (32.0_f64 / 6.0).sqrt()).abs() < 1e-7);
    assert_eq!(fit.singular, None);
    assert_eq!((fit.subjects, fit.readings), (3, 6));
}

#[test]
fn the_fit_is_the_minimum_of_the_dense_likelihood() {
    let lambda = Matrix2::new(1.0, 0.0, -0.5, 0.8);
    let data = Dense::simulated(11, 80, &dense(&lambda));
    for criterion in [Criterion::Ml, Criterion::Reml] {
        let fit = fitted(fit_blocks(&data.reduced::<2, 3>(), criterion));
        let (deviance, beta) = data.deviance(&fit.lambda, criterion);
        assert!((fit.deviance - deviance).abs() < 1e-10 * deviance);
        assert!((&fit.beta - beta).norm() < 1e-9);
        let mut rng = stream(2, b"around");
        for size in [1e-3, 1e-2, 0.1] {
            for _ in 0..20 {
                let by = DMatrix::from_fn(2, 2, |i, j| if i >= j { size * standard_normal(&mut rng) } else { 0.0 });
                assert!(data.deviance(&(&fit.lambda + by), criterion).0 > deviance);
            }
        }
        assert!(fit.evidence.distance < 1e-7 && fit.evidence.curvature > 0.0);
    }
}

#[test]
fn the_answer_does_not_depend_on_the_start_or_on_units() {
    let data = Dense::simulated(11, 80, &dense(&Matrix2::new(1.0, 0.0, -0.5, 0.8)));
    let plain = fitted(fit_blocks(&data.reduced::<2, 3>(), Criterion::Ml));
    for start in
        [Matrix2::identity() * 1e-3, Matrix2::identity() * 30.0, Matrix2::zeros(), Matrix2::new(-1.0, 9.0, 0.5, 0.1)]
    {
        let other = fitted(fit_blocks_from(&data.reduced::<2, 3>(), Criterion::Ml, Some(&start)));
        assert!((plain.deviance - other.deviance).abs() < 1e-8, "{start} {:?}", other.evidence);
        assert!((&plain.g - &other.g).norm() < 1e-5);
    }
    let mut hours = Dense::simulated(11, 80, &dense(&Matrix2::new(1.0, 0.0, -0.5, 0.8)));
    hours.z.iter_mut().for_each(|z| z.column_mut(1).scale_mut(3600.0));
    let other = fitted(fit_blocks(&hours.reduced::<2, 3>(), Criterion::Ml));
    assert!((plain.deviance - other.deviance).abs() < 1e-8);
    assert!((plain.g[(1, 1)] / other.g[(1, 1)] / 3600.0_f64.powi(2) - 1.0).abs() < 1e-5);
}

#[test]
fn a_variance_at_zero_is_a_fit_that_names_it() {
    // the subjects' means are nearer to each other than their readings suggest
    let fit = fitted(intercepts(&[&[1.0, 9.0], &[2.0, 8.1], &[0.5, 9.5]]));
    let singular = fit.singular.unwrap();
    assert_eq!((singular.rank, singular.zero_variances), (0, vec![0]));
    assert_eq!(fit.g[(0, 0)], 0.0);
    let all: [f64; 6] = [1.0, 9.0, 2.0, 8.1, 0.5, 9.5];
    assert!((fit.sigma - crate::sum::sample_sd(&all).unwrap()).abs() < 1e-12);
    assert!(fit.boundary_slope.unwrap() > 0.0);
}

#[test]
fn a_line_without_its_own_slopes_is_singular_or_nearly_so_and_no_worse_than_intercepts_alone() {
    let data = Dense::simulated(4, 60, &DMatrix::from_row_slice(2, 2, &[1.0, 0.0, 0.0, 0.0]));
    let both = fitted(fit_blocks(&data.reduced::<2, 3>(), Criterion::Reml));
    let intercept_only =
        Dense { z: data.z.iter().map(|z| z.columns(0, 1).into_owned()).collect(), x: data.x, y: data.y };
    let one = fitted(fit_blocks(&intercept_only.reduced::<1, 3>(), Criterion::Reml));
    assert!(both.deviance <= one.deviance + 1e-9);
}

#[test]
fn every_seed_of_a_singular_truth_ends_in_a_proven_fit() {
    let truth = DMatrix::from_row_slice(2, 2, &[0.8, 0.0, -0.4, 0.0]);
    let mut singular = 0;
    for seed in 0..60 {
        let data = Dense::simulated(seed, 40, &truth).reduced::<2, 3>();
        singular += usize::from(fitted(fit_blocks(&data, Criterion::Reml)).singular.is_some());
    }
    assert!(singular > 10, "{singular}");
}

#[test]
fn one_subject_is_too_few() {
    assert_eq!(intercepts(&[&[1.0, 2.0, 4.0]]), Outcome::NotFitted(Refusal::TooFewSubjects { found: 1 }));
    assert_eq!(intercepts(&[&[1.0, 2.0, 4.0], &[]]), Outcome::NotFitted(Refusal::TooFewSubjects { found: 1 }));
    assert_eq!(intercepts(&[]), Outcome::NotFitted(Refusal::TooFewSubjects { found: 0 }));
}

#[test]
fn two_readings_a_subject_leave_a_line_of_its_own_no_residual() {
    let outcome = lines(&[&[(0.0, 1.0), (1.0, 3.0)], &[(0.0, 2.0), (1.0, 2.5)], &[(0.0, 0.0), (1.0, 4.0)]]);
    assert_eq!(outcome, Outcome::NotFitted(Refusal::TooFewReadings { needed: 7, found: 6 }));
    assert_eq!(
        intercepts(&[&[1.0], &[2.0], &[4.0]]),
        Outcome::NotFitted(Refusal::TooFewReadings { needed: 4, found: 3 })
    );
}

#[test]
fn no_follow_up_makes_the_slope_a_repetition() {
    let outcome = lines(&[&[(0.0, 1.0), (0.0, 3.0)], &[(0.0, 2.0), (0.0, 2.5)]]);
    assert_eq!(outcome, Outcome::NotFitted(Refusal::RankDeficient { column: 1 }));
}

#[test]
fn a_repeated_fixed_column_is_named() {
    let mut data = Dense::simulated(4, 30, &DMatrix::identity(1, 1));
    for x in &mut data.x {
        let copy = x.column(0) * 2.0 - x.column(1) * 3.0;
        *x = x.clone().insert_column(2, 0.0);
        x.set_column(2, &copy);
    }
    assert_eq!(
        fit_blocks(&data.reduced::<1, 4>(), Criterion::Ml),
        Outcome::NotFitted(Refusal::RankDeficient { column: 2 })
    );
}

#[test]
fn equal_values_have_no_variation_and_constant_subjects_no_residual() {
    for value in [0.0, 3.7, 1e6] {
        assert_eq!(intercepts(&[&[value, value], &[value, value]]), Outcome::NotFitted(Refusal::NoVariation));
    }
    assert_eq!(intercepts(&[&[1.0, 1.0], &[4.0, 4.0], &[2.0, 2.0]]), Outcome::NotFitted(Refusal::NoResidualVariation));
}

#[test]
fn one_subject_with_nearly_all_readings_does_not_decide_the_variance_between_subjects() {
    let mut rng = stream(9, b"dominant");
    let many: Vec<f64> = (0..20_000).map(|_| 50.0 + standard_normal(&mut rng)).collect();
    let few: Vec<Vec<f64>> = (0..40)
        .map(|_| {
            let own = 5.0 * standard_normal(&mut rng);
            vec![30.0 + own + standard_normal(&mut rng), 30.0 + own + standard_normal(&mut rng)]
        })
        .collect();
    let mut all: Vec<&[f64]> = vec![&many];
    all.extend(few.iter().map(Vec::as_slice));
    let fit = fitted(intercepts(&all));
    assert!((fit.beta[0] - 30.5).abs() < 2.0, "{}", fit.beta[0]); // the mean of subjects, not of readings
    assert!((fit.sigma - 1.0).abs() < 0.03);
}

#[test]
fn a_random_column_of_zeros_is_a_zero_variance_not_a_failure() {
    let mut data = Dense::simulated(4, 30, &DMatrix::identity(1, 1));
    data.z.iter_mut().for_each(|z| *z = z.clone().insert_column(1, 0.0));
    let fit = fitted(fit_blocks(&data.reduced::<2, 2>(), Criterion::Ml));
    assert_eq!(fit.singular.unwrap().zero_variances, vec![1]);
}

#[test]
fn numbers_beyond_double_precision_end_without_a_fit_but_without_a_panic() {
    let huge = Reduced {
        blocks: vec![
            crate::lmm::Block { zz: Matrix1::new(1e300), zx: Matrix1::new(1e300), zy: Vector1::new(1e300) };
            3
        ],
        xx: Matrix1::new(3e300),
        xy: Vector1::new(3e300),
        yy: 1e308,
        readings: 30,
        fixed: 1,
    };
    let outcome = fit_blocks(&huge, Criterion::Reml);
    if let Outcome::Fitted(fit) = outcome {
        assert!(fit.deviance.is_finite() && fit.sigma.is_finite() && fit.g[(0, 0)].is_finite());
    }
}

#[test]
fn correlations_and_deviations_come_from_g() {
    let fit = fitted(fit_blocks(
        &Dense::simulated(11, 200, &dense(&Matrix2::new(1.0, 0.0, -0.5, 0.8))).reduced::<2, 3>(),
        Criterion::Reml,
    ));
    assert!((fit.random_sd(0).unwrap().powi(2) - fit.g[(0, 0)]).abs() < 1e-12);
    assert!(fit.correlation(0, 1).unwrap() < 0.0);
    assert_eq!(fit.random_sd(2), None);
    let _: DVector<f64> = fit.standard_errors();
}
