use super::*;
use crate::random::standard_normal;

/// The definition, pair by pair.
fn naive(first: &[f64], second: &[f64]) -> f64 {
    let mean = |a: &[f64], b: &[f64]| {
        let sum: f64 = a.iter().flat_map(|x| b.iter().map(move |y| (x - y).abs())).sum();
        sum / (a.len() * b.len()) as f64
    };
    2.0 * mean(first, second) - mean(first, first) - mean(second, second)
}

fn normal(n: usize, shift: f64, name: &[u8]) -> Vec<f64> {
    let mut random = stream(11, name);
    (0..n).map(|_| shift + standard_normal(&mut random)).collect()
}

#[test]
fn two_points_by_hand() {
    // E|X - Y| = 3, no distance within: E = 6, and nothing in common
    let found = energy(&[1.0], &[4.0]).unwrap();
    assert_eq!((found.distance, found.inhomogeneity), (6.0, 1.0));
    // 0 2 against 1: 2 * 1 - (0 + 2 + 2 + 0) / 4 = 1
    assert_eq!(energy(&[2.0, 0.0], &[1.0]).unwrap().distance, 1.0);
}

#[test]
fn sorting_gives_what_all_pairs_give_with_ties() {
    let (a, b) = ([3.0, 1.0, 1.0, 8.5, 2.0], [2.0, 2.0, 9.0]);
    assert!((energy(&a, &b).unwrap().distance - naive(&a, &b)).abs() < 1e-14);
}

#[test]
fn without_variation_nothing_differs() {
    let found = energy_test(&[5.0; 4], &[5.0; 3], 99, 1, b"flat").unwrap();
    assert_eq!((found.energy.distance, found.energy.inhomogeneity, found.p), (0.0, 0.0, 1.0));
}

#[test]
fn the_p_value_comes_near_the_share_of_all_divisions() {
    let (a, b) = ([0.3, 1.9, 2.2, 4.0], [2.5, 3.1, 5.8, 6.6]);
    let line = Line::new(&a, &b).unwrap();
    let least = energy(&a, &b).unwrap().distance - 1e-12;
    let (mut divisions, mut as_large) = (0.0, 0.0);
    for set in 0_u32..256 {
        if set.count_ones() == 4 {
            divisions += 1.0;
            let in_first: Vec<bool> = (0..8).map(|i| set >> i & 1 == 1).collect();
            as_large += f64::from(u8::from(line.compare(&in_first).0 >= least));
        }
    }
    assert_eq!(divisions, 70.0);
    let exact: f64 = as_large / divisions;
    let found = energy_test(&a, &b, 20_000, 5, b"all").unwrap().p;
    assert!((found - exact).abs() < 4.0 * (exact * (1.0 - exact) / 20_000.0).sqrt(), "{found} {exact}");
}

#[test]
fn the_key_and_not_the_order_of_calls_decides() {
    let (a, b) = (normal(20, 0.0, b"a"), normal(30, 0.7, b"b"));
    let p = |key: &[u8]| energy_test(&a, &b, 500, 5, key).unwrap().p;
    let (one, other) = (p(b"one"), p(b"other"));
    assert_eq!((p(b"other"), p(b"one")), (other, one));
    assert_ne!(division(20, 30, 5, b"one", 0), division(20, 30, 5, b"other", 0));
    assert_eq!(division(20, 30, 5, b"one", 7).iter().filter(|first| **first).count(), 20);
    assert_eq!(division(30, 20, 5, b"one", 7).iter().filter(|first| **first).count(), 30);
}

#[test]
fn alike_samples_are_called_different_as_often_as_the_level_says_and_a_change_of_spread_is_seen() {
    let runs = 400;
    let called = (0..runs)
        .filter(|i: &u32| {
            let (a, b) = (normal(12, 0.0, &i.to_le_bytes()), normal(40, 0.0, &(i + 1000).to_le_bytes()));
            energy_test(&a, &b, 199, 5, &i.to_le_bytes()).unwrap().p <= 0.05
        })
        .count() as f64
        / f64::from(runs);
    assert!((called - 0.05).abs() < 4.0 * (0.05_f64 * 0.95 / 400.0).sqrt(), "{called}");
    let wide: Vec<f64> = normal(60, 0.0, b"wide").iter().map(|x| 3.0 * x).collect();
    assert!(energy_test(&wide, &normal(60, 0.0, b"narrow"), 499, 5, b"spread").unwrap().p < 0.01);
}

#[test]
fn empty_samples_and_nan_are_refused() {
    assert!(matches!(energy(&[], &[1.0]), Err(InputError::TooFew { .. })));
    assert!(matches!(energy(&[1.0], &[f64::NAN]), Err(InputError::BadElement { index: 0, .. })));
    assert!(matches!(energy_test(&[1.0], &[1.0], 0, 1, b""), Err(InputError::TooFew { .. })));
}

#[test]
fn the_distance_alone_is_that_of_the_comparison() {
    let (a, b) = (normal(40, 0.0, b"a"), normal(70, 0.3, b"b"));
    let line = Line::new(&a, &b).unwrap();
    for i in 0..20 {
        let in_first = division(40, 70, 3, b"distance", i);
        let (whole, alone) = (line.compare(&in_first).0, line.distance(&in_first));
        assert!((whole - alone).abs() < 1e-13, "{whole} {alone}");
    }
}
