use nalgebra::{DMatrix, Matrix2, Matrix3};

use super::*;
use crate::lmm::naive::{Dense, dense};

const BOTH: [Criterion; 2] = [Criterion::Ml, Criterion::Reml];
const LAMBDA: Matrix3<f64> = Matrix3::new(1.2, 0.0, 0.0, -0.4, 0.7, 0.0, 0.1, -0.3, 0.2);

fn data() -> Dense {
    Dense::simulated(7, 60, &dense(&LAMBDA))
}

#[test]
fn the_value_from_sums_of_products_is_that_from_dense_covariance_matrices() {
    let (dense_data, reduced) = (data(), data().reduced::<3, 4>());
    let without_variance = Matrix3::new(0.5, 0.0, 0.0, 0.2, 0.0, 0.0, 0.0, 0.0, 0.0);
    for lambda in [LAMBDA, without_variance, Matrix3::zeros()] {
        for criterion in BOTH {
            let value = evaluate(&reduced, &lambda, criterion).unwrap();
            let (deviance, beta) = dense_data.deviance(&dense(&lambda), criterion);
            assert!((value.deviance - deviance).abs() < 1e-11 * deviance);
            for j in 0..4 {
                assert!((value.beta[j] - beta[j]).abs() < 1e-11);
            }
        }
    }
}

#[test]
fn columns_out_of_use_change_nothing() {
    let (narrow, wide) = (data().reduced::<3, 4>(), data().reduced::<3, 8>());
    for criterion in BOTH {
        let (a, b) = (evaluate(&narrow, &LAMBDA, criterion).unwrap(), evaluate(&wide, &LAMBDA, criterion).unwrap());
        assert!((a.deviance - b.deviance).abs() < 1e-12 * a.deviance);
        assert!((0..4).all(|j| (a.beta[j] - b.beta[j]).abs() < 1e-12));
        assert!((4..8).all(|j| b.beta[j] == 0.0 && b.unscaled[(j, j)] == 0.0));
        let (da, db) = (derivatives(&narrow, &a, criterion).unwrap(), derivatives(&wide, &b, criterion).unwrap());
        assert!((da.by_lambda - db.by_lambda).norm() < 1e-10);
    }
}

#[test]
fn the_gradient_is_that_of_the_dense_likelihood() {
    let (dense_data, reduced) = (data(), data().reduced::<3, 4>());
    for criterion in BOTH {
        let value = evaluate(&reduced, &LAMBDA, criterion).unwrap();
        let d = derivatives(&reduced, &value, criterion).unwrap();
        for i in 0..3 {
            for j in 0..=i {
                let at = |by: f64| {
                    let mut lambda = dense(&LAMBDA);
                    lambda[(i, j)] += by;
                    dense_data.deviance(&lambda, criterion).0
                };
                let h = 1e-5;
                let slope = (8.0 * (at(h) - at(-h)) - (at(2.0 * h) - at(-2.0 * h))) / (12.0 * h);
                assert!((slope - d.by_lambda[(i, j)]).abs() < 1e-6, "{criterion:?} {i} {j}");
            }
        }
        // by Lambda is twice (by G) Lambda, which is computed another way
        let product = d.by_g * LAMBDA * 2.0;
        assert!((product - d.by_lambda).norm() < 1e-9 * product.norm());
    }
}

#[test]
fn the_expected_curvature_is_near_the_observed_one_with_many_subjects() {
    let lambda = Matrix2::new(1.0, 0.0, -0.3, 0.5);
    let reduced = Dense::simulated(3, 20_000, &dense(&lambda)).reduced::<2, 3>();
    let value = evaluate(&reduced, &lambda, Criterion::Ml).unwrap();
    let d = derivatives(&reduced, &value, Criterion::Ml).unwrap();
    let entries = [(0, 0), (1, 0), (1, 1)];
    let at = |entry: (usize, usize), by: f64| {
        let mut moved = lambda;
        moved[entry] += by;
        let value = evaluate(&reduced, &moved, Criterion::Ml).unwrap();
        derivatives(&reduced, &value, Criterion::Ml).unwrap().by_lambda
    };
    let expected = DMatrix::from_fn(3, 3, |k, l| d.curvature(&lambda, entries[k], entries[l]));
    let observed = DMatrix::from_fn(3, 3, |k, l| ((at(entries[k], 1e-4) - at(entries[k], -1e-4)) / 2e-4)[entries[l]]);
    assert!((&expected - &observed).norm() < 0.03 * observed.norm(), "{expected} {observed}");
}

#[test]
fn the_number_of_threads_does_not_change_a_bit() {
    let reduced = Dense::simulated(5, 3000, &dense(&LAMBDA)).reduced::<3, 4>();
    let with = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            let value = evaluate(&reduced, &LAMBDA, Criterion::Reml).unwrap();
            let d = derivatives(&reduced, &value, Criterion::Reml).unwrap();
            (value.deviance.to_bits(), d.by_lambda.map(f64::to_bits))
        })
    };
    assert_eq!(with(1), with(2));
    assert_eq!(with(1), with(5));
}

#[test]
fn no_more_readings_than_fixed_effects_has_no_value() {
    let few = Dense::simulated(1, 2, &dense(&Matrix2::identity())).reduced::<2, 3>(); // 1 + 2 readings, 3 columns
    assert!(evaluate(&few, &Matrix2::identity(), Criterion::Reml).is_none());
}
