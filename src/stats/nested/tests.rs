use nalgebra::{DMatrix, DVector};

use super::criterion::evaluate;
use super::*;
use crate::error::InputError;
use crate::evidence::Ending;
use crate::level::Level;
use crate::random::{standard_normal, stream, uniform};

/// Three levels, unbalanced, values from `sd` of the levels and the residual.
fn invented(sd: [f64; 4], sites: u32, seed: u64) -> (Vec<Vec<u32>>, Vec<f64>) {
    let mut s = stream(seed, b"nested");
    let (mut codes, mut y) = (vec![Vec::new(); 3], Vec::new());
    for site in 0..sites {
        let a = sd[0] * standard_normal(&mut s);
        for clinician in 0..2 + (uniform(&mut s) * 3.0) as u32 {
            let b = sd[1] * standard_normal(&mut s);
            for patient in 0..1 + (uniform(&mut s) * 4.0) as u32 {
                let c = sd[2] * standard_normal(&mut s);
                for _ in 0..1 + (uniform(&mut s) * 4.0) as u32 {
                    codes[0].push(site);
                    codes[1].push(clinician);
                    codes[2].push(patient);
                    y.push(100.0 + a + b + c + sd[3] * standard_normal(&mut s));
                }
            }
        }
    }
    (codes, y)
}

fn reduced(codes: &[Vec<u32>], y: &[f64]) -> Nested {
    let codes: Vec<&[u32]> = codes.iter().map(Vec::as_slice).collect();
    Nested::new(&codes, y).unwrap()
}

fn fitted(data: &Nested) -> Fit {
    match fit(data) {
        Outcome::Fitted(fit) => *fit,
        Outcome::NotFitted(why) => panic!("{why:?}"),
    }
}

/// The restricted likelihood with V written out: slow and obvious.
fn dense(codes: &[Vec<u32>], y: &[f64], v: &[f64]) -> f64 {
    let n = y.len();
    let together = |i: usize, j: usize, level: usize| (0..=level).all(|k| codes[k][i] == codes[k][j]);
    let covariance = DMatrix::from_fn(n, n, |i, j| {
        let shared: f64 = (0..codes.len()).filter(|&k| together(i, j, k)).map(|k| v[k]).sum();
        shared + if i == j { v[codes.len()] } else { 0.0 }
    });
    let factor = covariance.cholesky().unwrap();
    let ones = DVector::from_element(n, 1.0);
    let solved = factor.solve(&ones);
    let information = ones.dot(&solved);
    let y = DVector::from_column_slice(y);
    let r = &y - &ones * (solved.dot(&y) / information);
    let log_determinant: f64 = 2.0 * factor.l().diagonal().map(f64::ln).sum();
    let constant = (n as f64 - 1.0) * (2.0 * std::f64::consts::PI).ln();
    constant + log_determinant + information.ln() + r.dot(&factor.solve(&r))
}

#[test]
fn the_walk_agrees_with_the_likelihood_written_out_and_its_gradient_with_differences() {
    let (codes, y) = invented([2.0, 1.0, 3.0, 1.5], 4, 1);
    let data = reduced(&codes, &y);
    for v in [[4.0, 1.0, 9.0, 2.25], [0.0, 0.3, 100.0, 1.0], [0.0; 4].map(|_: f64| 1.0), [5.0, 0.0, 0.0, 0.01]] {
        let value = evaluate(&data, &v).unwrap();
        let slow = dense(&codes, &y, &v);
        assert!((value.deviance / slow - 1.0).abs() < 1e-11, "{} {slow}", value.deviance);
        for k in 0..4 {
            let by = 1e-4 * (v[k] + 0.01);
            let moved = |by: f64| {
                let mut v = v;
                v[k] += by;
                dense(&codes, &y, &v)
            };
            // one-sided and of second order at zero, where there is no other side
            let slope = if v[k] > 0.0 {
                (moved(by) - moved(-by)) / (2.0 * by)
            } else {
                (4.0 * moved(by) - moved(2.0 * by) - 3.0 * moved(0.0)) / (2.0 * by)
            };
            let allowed = 1e-4 * slope.abs().max(0.1);
            assert!((value.gradient[k] - slope).abs() < allowed, "{v:?} {k}: {} {slope}", value.gradient[k]);
        }
    }
}

#[test]
fn a_balanced_layout_gives_the_analysis_of_variance_by_hand() {
    // means 2, 6, 10: between 4 per group of 2, within 2 each: MSA = 2 * 16 = 32, MSE = 2
    let y = [1.0, 3.0, 5.0, 7.0, 9.0, 11.0];
    let data = Nested::new(&[&[1, 1, 2, 2, 3, 3]], &y).unwrap();
    let fit = fitted(&data);
    assert!((fit.components[0].variance - 15.0).abs() < 1e-6, "{fit:?}");
    assert!((fit.components[1].variance - 2.0).abs() < 1e-7);
    assert!((fit.mean - 6.0).abs() < 1e-12);
    assert!((fit.mean_standard_error - (32.0_f64 / 6.0).sqrt()).abs() < 1e-6);
    // shrunken by 15 / (15 + 1)
    let effects = fit.effects(&data, 0).unwrap();
    assert!((effects[0].value + 4.0 * 15.0 / 16.0).abs() < 1e-6);
    assert_eq!(fit.effects(&data, 1), None);
}

#[test]
fn a_component_that_is_not_there_is_zero_with_its_slope_and_not_an_error() {
    // group means all 2: less spread than chance
    let data = Nested::new(&[&[1, 1, 2, 2, 3, 3]], &[1.0, 3.0, 3.0, 1.0, 0.0, 4.0]).unwrap();
    let fit = fitted(&data);
    assert_eq!(fit.components[0].variance, 0.0);
    assert!(fit.components[0].slope_at_zero.unwrap() > 0.0);
    assert!((fit.components[1].variance - 12.0 / 5.0).abs() < 1e-7); // the sample variance
    let intervals = fit.intervals(&data, Level::NINETY_FIVE);
    assert_eq!(intervals[0].variance.unwrap().low, 0.0);
    assert!(intervals[0].variance.unwrap().high > 0.1);
    assert_eq!(intervals[1].share.unwrap().high, 1.0);
    assert!(fit.effects(&data, 0).unwrap().iter().all(|e| e.value == 0.0 && e.sd == 0.0));
}

#[test]
fn limits_are_where_the_profile_says_and_shares_of_two_parts_mirror_each_other() {
    let (codes, y) = invented([2.0, 0.0, 0.0, 1.5], 12, 3);
    let data = reduced(&codes[..1], &y);
    let fit = fitted(&data);
    let intervals = fit.intervals(&data, Level::NINETY_FIVE);
    let (group, rest) = (intervals[0].share.unwrap(), intervals[1].share.unwrap());
    assert!((group.low + rest.high - 1.0).abs() < 1e-6 && (group.high + rest.low - 1.0).abs() < 1e-6);
    // the residual at its best for a held group variance, by a fine search
    let interval = intervals[0].variance.unwrap();
    for limit in [interval.low, interval.high] {
        let at = |ln_e: f64| dense(&codes[..1], &y, &[limit, ln_e.exp()]);
        let middle = fit.components[1].variance.ln();
        let best = (-200..=200).map(|i| at(middle + f64::from(i) * 0.002)).fold(f64::INFINITY, f64::min);
        assert!((best - fit.deviance - 3.841_458_820_694).abs() < 1e-3, "{}", best - fit.deviance);
    }
}

#[test]
fn units_and_a_shift_change_nothing_but_the_units() {
    let (codes, y) = invented([2.0, 1.0, 3.0, 1.5], 8, 5);
    let (plain, data) = (fitted(&reduced(&codes, &y)), reduced(&codes, &y));
    let other: Vec<f64> = y.iter().map(|y| 1e6 + 1e-3 * y).collect();
    let moved_data = reduced(&codes, &other);
    let moved = fitted(&moved_data);
    for (a, b) in plain.components.iter().zip(&moved.components) {
        assert!((a.share - b.share).abs() < 1e-5, "{a:?} {b:?}");
    }
    let (a, b) = (plain.intervals(&data, Level::NINETY_FIVE), moved.intervals(&moved_data, Level::NINETY_FIVE));
    for (a, b) in a.iter().zip(&b) {
        assert!((a.share.unwrap().high - b.share.unwrap().high).abs() < 1e-4);
    }
}

#[test]
fn every_fit_proves_its_minimum_and_every_interval_holds_its_estimate() {
    for seed in 0..30 {
        let sd = [[0.5, 0.0, 2.0, 1.0], [3.0, 1.0, 0.1, 1.0], [0.0, 0.0, 0.0, 1.0]][(seed % 3) as usize];
        let (codes, y) = invented(sd, 6, seed);
        let data = reduced(&codes, &y);
        let fit = fitted(&data);
        assert_eq!(fit.evidence.ending, Ending::Optimum);
        for (component, interval) in fit.components.iter().zip(fit.intervals(&data, Level::NINETY_FIVE)) {
            let (variance, share) = (interval.variance.unwrap(), interval.share.unwrap());
            assert!(variance.contains(component.variance) && share.contains(component.share));
            assert!(variance.high > component.variance && share.low >= 0.0 && share.high <= 1.0);
        }
        let total: f64 = fit.components.iter().map(|c| c.share).sum();
        assert!((total - 1.0).abs() < 1e-12);
    }
}

#[test]
fn what_cannot_be_told_apart_is_refused_with_the_level() {
    let why = |codes: &[&[u32]], y: &[f64]| match fit(&Nested::new(codes, y).unwrap()) {
        Outcome::NotFitted(why) => why,
        Outcome::Fitted(fit) => panic!("{fit:?}"),
    };
    let y = [1.0, 2.0, 4.0, 8.0];
    assert_eq!(why(&[&[1, 1, 1, 1]], &y), Refusal::NotNested { level: 0 });
    assert_eq!(why(&[&[1, 1, 2, 2], &[1, 1, 1, 1]], &y), Refusal::NotNested { level: 1 });
    assert_eq!(why(&[&[1, 2, 3, 4]], &y), Refusal::NoRepeats);
    assert_eq!(why(&[&[1, 1, 2, 2]], &[5.1, 5.1, 7.3, 7.3]), Refusal::NoResidualVariation);
    assert_eq!(why(&[&[1, 1, 2, 2]], &[5.1; 4]), Refusal::NoResidualVariation);
}

#[test]
fn unsorted_unequal_and_unfinite_rows_are_refused() {
    assert!(matches!(Nested::new(&[&[1, 2, 1]], &[1.0, 2.0, 3.0]), Err(InputError::BadElement { index: 2, .. })));
    assert!(Nested::new(&[&[1, 2], &[2, 1]], &[1.0, 2.0]).is_ok()); // the code counts within its parent
    assert!(matches!(Nested::new(&[&[1, 2]], &[1.0]), Err(InputError::TooFew { .. })));
    assert!(matches!(Nested::new(&[&[1, 2]], &[1.0, 2.0, 3.0]), Err(InputError::LengthsDiffer { .. })));
    assert!(matches!(Nested::new(&[&[1, 2]], &[1.0, f64::NAN]), Err(InputError::BadElement { index: 1, .. })));
    assert!(matches!(Nested::new(&[], &[1.0, 2.0]), Err(InputError::TooFew { .. })));
    let five: [&[u32]; 5] = [&[1, 2]; 5];
    assert!(matches!(Nested::new(&five, &[1.0, 2.0]), Err(InputError::OutOfRange { .. })));
}

#[test]
#[ignore = "a timing, run by hand"]
fn a_million_values_in_four_levels() {
    let mut s = stream(9, b"million");
    let (mut codes, mut y) = (vec![Vec::new(); 4], Vec::new());
    let mut n = 0;
    for site in 0..50_u32 {
        let a = standard_normal(&mut s);
        for clinician in 0..20_u32 {
            let b = standard_normal(&mut s);
            for patient in 0..50_u32 {
                let c = standard_normal(&mut s);
                for course in 0..2_u32 {
                    let d = standard_normal(&mut s);
                    for _ in 0..2 + (uniform(&mut s) * 17.0) as u32 {
                        [site, clinician, patient, course].iter().zip(&mut codes).for_each(|(c, to)| to.push(*c));
                        y.push(a + b + c + d + standard_normal(&mut s));
                        n += 1;
                    }
                }
            }
        }
    }
    let begun = std::time::Instant::now();
    let data = reduced(&codes, &y);
    let reduced_after = begun.elapsed();
    let fit = fitted(&data);
    let fitted_after = begun.elapsed();
    let intervals = fit.intervals(&data, Level::NINETY_FIVE);
    println!("{n} values: reduced {reduced_after:?}, fitted {fitted_after:?}, intervals {:?}", begun.elapsed());
    println!("{:?}\n{intervals:?}", fit.evidence);
}
