use super::*;

fn close(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{found:e} found, {expected:e} expected");
}

#[test]
fn three_trials_by_hand() {
    // p = 0.1, 0.5, 0.8: P(0) = 0.9 0.5 0.2, P(3) = 0.1 0.5 0.8, P(1) = 0.1 0.5 0.2 + 0.9 0.5 0.2 + 0.9 0.5 0.8
    let s = PoissonBinomial::new(&[0.5, 0.1, 0.8]).unwrap();
    for (k, mass) in [(0, 0.09), (1, 0.46), (2, 0.41), (3, 0.04), (4, 0.0)] {
        assert!((s.mass(k) - mass).abs() < 1e-15);
    }
    close(s.mean(), 1.4, 1e-15);
    close(s.variance(), 0.5, 1e-15);
    close(s.at_most(1), 0.55, 1e-15);
    close(s.at_least(2), 0.45, 1e-15);
}

#[test]
fn equal_probabilities_give_the_binomial_also_far_out() {
    let s = PoissonBinomial::new(&[0.25; 400]).unwrap();
    for k in [0_u32, 40, 100, 230, 400] {
        let choose: f64 = (1..=k).map(|i| (f64::from(400 - k + i) / f64::from(i)).ln()).sum();
        let log_mass = choose + f64::from(k) * 0.25_f64.ln() + f64::from(400 - k) * 0.75_f64.ln();
        close(s.mass(u64::from(k)), log_mass.exp(), 1e-10);
        close(s.at_most(u64::from(k)) + s.at_least(u64::from(k) + 1), 1.0, 1e-13);
    }
}

#[test]
fn certain_and_impossible_trials_only_shift_the_sum() {
    let plain = PoissonBinomial::new(&[0.3, 0.6]).unwrap();
    let shifted = PoissonBinomial::new(&[1.0, 0.3, 0.0, 1.0, 0.6]).unwrap();
    for k in 0..=2 {
        assert_eq!(plain.mass(k), shifted.mass(k + 2));
        assert_eq!(plain.at_most(k), shifted.at_most(k + 2));
    }
    assert_eq!((shifted.mass(1), shifted.at_most(1), shifted.at_least(1)), (0.0, 0.0, 1.0));
    let sure = PoissonBinomial::new(&[1.0, 0.0]).unwrap();
    assert_eq!([0, 1, 2].map(|k| sure.mass(k)), [0.0, 1.0, 0.0]);
    let none = PoissonBinomial::new(&[]).unwrap();
    assert_eq!((none.mass(0), none.at_least(1)), (1.0, 0.0));
}

/// Probabilities between 0.01 and 0.6, most of them small.
fn unequal(n: usize) -> Vec<f64> {
    (0..n).map(|i| 0.01 + 0.59 * ((i as f64 * 0.618_033_988_75).fract()).powi(2)).collect()
}

#[test]
fn the_saddlepoint_agrees_with_the_exact_distribution_to_the_stated_error() {
    let p = unequal(4000);
    let exact = PoissonBinomial::exact_up_to(4000, &p).unwrap();
    let approximate = PoissonBinomial::exact_up_to(0, &p).unwrap();
    let (mean, sd) = (exact.mean(), exact.variance().sqrt());
    let (mut worst, mut near) = ([0.0_f64; 3], 0.0_f64);
    for z in (-110..=110).map(|i| f64::from(i) / 10.0) {
        let k = (mean + z * sd).round() as u64;
        let pairs = [
            (approximate.mass(k), exact.mass(k)),
            (approximate.at_most(k), exact.at_most(k)),
            (approximate.at_least(k), exact.at_least(k)),
        ];
        for (worst, (found, expected)) in worst.iter_mut().zip(pairs) {
            let error = (found / expected - 1.0).abs();
            *worst = worst.max(error);
            near = if z.abs() <= 4.0 { near.max(error) } else { near };
        }
    }
    println!("largest relative errors of mass, lower and upper tail: {worst:?}");
    println!("within four standard deviations: {near}");
    assert!(worst[0] < 8e-5 && worst[1] < 1.5e-4 && worst[2] < 1.5e-4, "{worst:?}");
    assert!(near < 3e-5, "{near}");
    assert_eq!((approximate.mass(4001), approximate.at_least(4001), approximate.at_most(4000)), (0.0, 0.0, 1.0));
}

#[test]
fn a_sum_beyond_the_exact_limit_is_answered_by_the_saddlepoint() {
    let p = unequal(EXACT_UP_TO + 1);
    let many = PoissonBinomial::new(&p).unwrap();
    assert!(matches!(many.uncertain, Uncertain::Approximate(_)));
    let exact = PoissonBinomial::exact_up_to(p.len(), &p).unwrap();
    let k = (many.mean() + 2.0 * many.variance().sqrt()) as u64;
    close(many.at_least(k), exact.at_least(k), 1e-5);
}

#[test]
fn what_is_no_probability_is_refused() {
    for bad in [-0.1, 1.1, f64::NAN] {
        assert!(matches!(PoissonBinomial::new(&[0.5, bad]), Err(InputError::BadElement { index: 1, .. })));
    }
}
