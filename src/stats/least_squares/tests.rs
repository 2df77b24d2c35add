//! Worked values and endings; the certified sets are under `tests/reference`.

use super::*;
use crate::linear_regression::{Term, linear_regression};

fn converged(curve: &Curve, y: &[f64], weights: Option<&[f64]>, start: &[f64]) -> Fit {
    match least_squares(curve, y, weights, start).unwrap() {
        Outcome::Converged(fit) => fit,
        Outcome::NotConverged(evidence) => panic!("{evidence:?}"),
    }
}

fn ending(curve: &Curve, y: &[f64], start: &[f64]) -> Ending {
    match least_squares(curve, y, None, start).unwrap() {
        Outcome::Converged(fit) => fit.evidence.ending,
        Outcome::NotConverged(evidence) => evidence.ending,
    }
}

const X: [f64; 5] = [0.0, 1.0, 2.0, 3.0, 5.0];
const Y: [f64; 5] = [1.0, 3.0, 2.5, 6.0, 8.0];

fn line(b: &[f64], i: usize, gradient: &mut [f64]) -> f64 {
    gradient.copy_from_slice(&[1.0, X[i]]);
    b[0] + b[1] * X[i]
}

#[test]
fn a_straight_line_agrees_with_linear_regression() {
    let fit = converged(&line, &Y, None, &[50.0, -7.0]);
    let terms = [Term { name: "one", values: &[1.0; 5] }, Term { name: "x", values: &X }];
    let linear = linear_regression(&terms, &Y).unwrap();
    for j in 0..2 {
        assert!((fit.estimates[j] - linear.estimates[j]).abs() < 1e-12);
        assert!((fit.standard_errors[j] - linear.standard_errors[j]).abs() < 1e-12);
    }
    assert!((fit.evidence.curvature.unwrap() - 1.0).abs() < 1e-6, "a linear model has no curvature of its own");
    assert!(fit.evidence.start_rss > fit.evidence.end_rss);
}

#[test]
fn a_mean_by_hand_with_weights() {
    // weights 1 and 3 of 2 and 6: mean 5, RSS 1 x 9 + 3 x 1 = 12, variance of the mean 12 / 1 / (1 + 3) = 3
    let constant = |b: &[f64], _: usize, gradient: &mut [f64]| {
        gradient[0] = 1.0;
        b[0]
    };
    let fit = converged(&constant, &[2.0, 6.0], Some(&[1.0, 3.0]), &[0.0]);
    assert!((fit.estimates[0] - 5.0).abs() < 1e-12);
    assert!((fit.rss - 12.0).abs() < 1e-12);
    assert!((fit.standard_errors[0] - 3.0_f64.sqrt()).abs() < 1e-12);
}

#[test]
fn data_on_the_curve_exactly_converge_with_errors_of_nothing() {
    let y = X.map(|x| 2.0 - 3.0 * x);
    let fit = converged(&line, &y, None, &[0.0, 0.0]);
    assert!((fit.estimates[1] + 3.0).abs() < 1e-12);
    assert!(fit.standard_errors.iter().all(|e| *e < 1e-12));
}

#[test]
fn parameters_that_do_the_same_are_found_ill_conditioned() {
    let twice = |b: &[f64], _: usize, gradient: &mut [f64]| {
        gradient.copy_from_slice(&[1.0, 1.0]);
        b[0] + b[1]
    };
    let nothing = |b: &[f64], _: usize, gradient: &mut [f64]| {
        gradient.copy_from_slice(&[1.0, 0.0]);
        b[0]
    };
    for curve in [&twice as &Curve, &nothing] {
        assert_ne!(ending(curve, &Y, &[0.0, 0.0]), Ending::Minimum);
    }
}

/// The point at angle b on the unit circle, seen from (-3, 0): nearest at pi, farthest at 0.
fn circle(b: &[f64], i: usize, gradient: &mut [f64]) -> f64 {
    let (sin, cos) = b[0].sin_cos();
    gradient[0] = if i == 0 { -sin } else { cos };
    if i == 0 { cos } else { sin }
}

#[test]
fn a_stationary_point_that_is_a_maximum_is_not_taken_for_a_minimum() {
    assert_eq!(ending(&circle, &[-3.0, 0.0], &[0.0]), Ending::NotAMinimum);
    let fit = converged(&circle, &[-3.0, 0.0], None, &[0.1]);
    assert!((fit.estimates[0] - std::f64::consts::PI).abs() < 1e-9);
    // by hand: H = J'J - r f'' = 1 - (-2)(1) = 3
    assert!((fit.evidence.curvature.unwrap() - 3.0).abs() < 1e-5);
}

#[test]
fn a_start_where_the_curve_has_no_value_is_said_to_be_bad() {
    let logarithm = |b: &[f64], i: usize, gradient: &mut [f64]| {
        gradient[0] = 1.0 / b[0];
        b[0].ln() + X[i]
    };
    assert_eq!(ending(&logarithm, &Y, &[-1.0]), Ending::BadStart);
    // from a good start, steps beyond 0 are rejected: the answer is exp(mean of y - x)
    let fit = converged(&logarithm, &Y, None, &[100.0]);
    assert!((fit.estimates[0].ln() - (20.5 - 11.0) / 5.0).abs() < 1e-9);
}

#[test]
fn numbers_that_make_no_sense_are_refused() {
    assert!(least_squares(&line, &Y[..2], None, &[0.0, 0.0]).is_err());
    assert!(least_squares(&line, &[1.0, f64::NAN, 2.0], None, &[0.0, 0.0]).is_err());
    assert!(least_squares(&line, &Y, None, &[0.0, f64::INFINITY]).is_err());
    assert!(least_squares(&line, &Y, Some(&[1.0; 4]), &[0.0, 0.0]).is_err());
    assert!(least_squares(&line, &Y, Some(&[1.0, 1.0, 1.0, 1.0, -1.0]), &[0.0, 0.0]).is_err());
}
