use super::*;
use crate::random::{standard_normal, stream, uniform};

struct Data {
    successes: Vec<u32>,
    trials: Vec<u32>,
    design: Vec<f64>,
}

const NAMES: [&str; 3] = ["intercept", "first", "second"];

impl Data {
    /// Single trials of an intercept and the numbers given.
    fn single(successes: &[u32], columns: &[&[f64]]) -> Self {
        let row = |j: usize| std::iter::once(1.0).chain(columns.iter().map(move |c| c[j])).collect::<Vec<f64>>();
        let design = (0..successes.len()).flat_map(row).collect();
        Self { successes: successes.to_vec(), trials: vec![1; successes.len()], design }
    }

    fn invented(n: usize) -> Self {
        let mut s = stream(5, b"logistic");
        let (mut successes, mut design) = (Vec::new(), Vec::new());
        for _ in 0..n {
            let (first, second) = (standard_normal(&mut s), standard_normal(&mut s));
            design.extend([1.0, first, second]);
            successes.push(u32::from(uniform(&mut s) < sums::chances(-0.5 + 0.8 * first - 0.3 * second).0));
        }
        Self { successes, trials: vec![1; n], design }
    }

    fn rows(&self) -> Rows<'_> {
        let names = &NAMES[..self.design.len() / self.trials.len()];
        Rows { successes: &self.successes, trials: &self.trials, design: &self.design, names, offset: None }
    }
}

fn fitted(data: &Data) -> LogisticFit {
    match logistic(&data.rows()).unwrap() {
        Outcome::Fitted(fit) => *fit,
        other => panic!("{other:?}"),
    }
}

fn separation(successes: &[u32], columns: &[&[f64]]) -> Option<Separation> {
    match logistic(&Data::single(successes, columns).rows()).unwrap() {
        Outcome::Separated { separation, firth } => {
            assert!(firth.evidence.converged() && firth.coefficients.iter().all(|b| b.is_finite()));
            Some(separation)
        }
        Outcome::Fitted(_) => None,
        Outcome::NotConverged(e) => panic!("{e:?}"),
    }
}

#[test]
fn two_groups_have_the_odds_ratio_of_their_table() {
    // 56 of 70 against 48 of 80: log odds ratio ln(56 x 32 / (14 x 48)), variance the sum of the four reciprocals
    let data = Data { successes: vec![56, 48], trials: vec![70, 80], design: vec![1.0, 1.0, 1.0, 0.0] };
    let fit = fitted(&data);
    assert!((fit.coefficients[1] - (56.0 * 32.0 / (14.0 * 48.0_f64)).ln()).abs() < 1e-12);
    let variance = 1.0 / 56.0 + 1.0 / 14.0 + 1.0 / 48.0 + 1.0 / 32.0;
    assert!((fit.covariance[(1, 1)] - variance).abs() < 1e-12);
    assert!(fit.deviance.abs() < 1e-11, "as many coefficients as rows");
    assert!((fit.predict(&[1.0, 1.0], 0.0).unwrap() - 0.8).abs() < 1e-12);
}

#[test]
fn the_penalised_log_odds_of_one_proportion_add_half_a_success_and_half_a_failure() {
    // with an intercept alone h sums to 1: y - np + 1/2 - p = 0, so p = (y + 1/2)/(n + 1), as Haldane and Anscombe
    for y in [0, 3, 10] {
        let data = Data { successes: vec![y], trials: vec![10], design: vec![1.0] };
        let Outcome::Fitted(fit) = firth(&data.rows()).unwrap() else { panic!("fitted") };
        assert!((fit.coefficients[0] - ((f64::from(y) + 0.5) / (10.5 - f64::from(y))).ln()).abs() < 1e-9);
    }
}

#[test]
fn separation_whole_or_but_for_ties_is_found_with_its_columns() {
    let x: &[f64] = &[1.0, 2.0, 3.0, 4.0];
    let whole = separation(&[0, 0, 1, 1], &[x]).unwrap();
    assert_eq!((whole.columns, whole.rows), (vec![0, 1], 4));
    let tied = separation(&[0, 0, 1, 1, 1], &[&[1.0, 2.0, 2.0, 3.0, 4.0]]).unwrap();
    assert_eq!((tied.columns, tied.rows), (vec![0, 1], 3));
    assert_eq!(separation(&[0, 1, 0, 1], &[x]), None);
    let all = separation(&[1; 4], &[x]).unwrap();
    assert_eq!(all.rows, 4);
    // a group without a failure: its own column runs off, the rest is as it was
    let group = [1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    let other = [1.0, 2.0, 3.0, 1.0, 2.0, 3.0, 4.0, 5.0];
    let one = separation(&[1, 1, 1, 0, 1, 1, 0, 1], &[&group, &other]).unwrap();
    assert_eq!((one.columns, one.rows), (vec![1], 3));
}

#[test]
fn one_row_that_speaks_against_it_is_no_separation_however_far_the_others_lie() {
    // the nearest misses: a contradiction by a hundred-thousandth, and one row a million times as far out as the rest
    let close = [1.0, 2.0, 3.000_01, 3.0, 4.0, 5.0];
    assert_eq!(separation(&[0, 0, 0, 1, 1, 1], &[&close]), None);
    let outlier = [1.0, 2.0, 3.0, 4.0, 5.0, 1e7];
    assert_eq!(separation(&[0, 1, 0, 1, 0, 1], &[&outlier]), None);
}

#[test]
fn grouped_rows_give_what_their_single_trials_give() {
    let single = Data::invented(400);
    let binary: Vec<f64> = single.design.chunks(3).map(|x| f64::from(x[1] > 0.0)).collect();
    let by_one = fitted(&Data::single(&single.successes, &[&binary]));
    let of = |value: f64| {
        let rows = single.successes.iter().zip(&binary).filter(move |(_, b)| **b == value);
        (rows.clone().map(|(y, _)| *y).sum::<u32>(), rows.count() as u32)
    };
    let ((y0, n0), (y1, n1)) = (of(0.0), of(1.0));
    let grouped = Data { successes: vec![y0, y1], trials: vec![n0, n1], design: vec![1.0, 0.0, 1.0, 1.0] };
    let fit = fitted(&grouped);
    for i in 0..2 {
        assert!((fit.coefficients[i] - by_one.coefficients[i]).abs() < 1e-11);
        assert!((fit.covariance[(i, i)] - by_one.covariance[(i, i)]).abs() < 1e-11);
    }
}

#[test]
fn an_offset_moves_the_intercept_and_units_move_their_own_coefficient_only() {
    let data = Data::invented(500);
    let plain = fitted(&data);
    let offset = vec![2.0; 500];
    let moved = Rows { offset: Some(&offset), ..data.rows() };
    let moved = logistic(&moved).unwrap().fit().unwrap().clone();
    assert!((moved.coefficients[0] + 2.0 - plain.coefficients[0]).abs() < 1e-11);
    assert!((moved.log_likelihood - plain.log_likelihood).abs() < 1e-9);
    let mut scaled = Data::invented(500);
    scaled.design.chunks_mut(3).for_each(|x| x[1] = x[1] * 1e-6 + 1e-4);
    let scaled = fitted(&scaled);
    assert!((scaled.coefficients[1] * 1e-6 - plain.coefficients[1]).abs() < 1e-9);
    assert!((scaled.coefficients[2] - plain.coefficients[2]).abs() < 1e-9);
}

#[test]
fn the_score_and_the_information_are_the_derivatives_of_the_likelihood() {
    let data = Data::invented(300);
    let rows = data.rows();
    let rows = rows.check().unwrap();
    let b = [0.3, -0.2, 0.5];
    let at = rows.derivatives(&b);
    let by_row = |j: usize| {
        let eta = rows.predictor(j, &b);
        rows.successes[j] * eta - (1.0 + eta.exp()).ln()
    };
    let log_likelihood: f64 = (0..300).map(by_row).sum();
    assert!((at.log_likelihood / log_likelihood - 1.0).abs() < 1e-12);
    for k in 0..3 {
        let moved = |by: f64| {
            let mut b = b;
            b[k] += by;
            rows.derivatives(&b)
        };
        let (up, down) = (moved(1e-5), moved(-1e-5));
        assert!(((up.log_likelihood - down.log_likelihood) / 2e-5 - at.score[k]).abs() < 1e-6);
        let by_difference = (down.score - up.score) / 2e-5;
        assert!((by_difference - at.information.column(k)).norm() < 1e-6);
    }
}

#[test]
fn any_number_of_threads_gives_the_same_bits() {
    let data = Data::invented(20_000);
    let in_pool = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| (fitted(&data), firth(&data.rows()).unwrap()))
    };
    assert_eq!(in_pool(1), in_pool(3));
}

#[test]
fn faulty_rows_are_refused() {
    let good = Data::invented(20);
    let rows = good.rows();
    let refuse = |rows: Rows| logistic(&rows).unwrap_err();
    let few = Data { successes: vec![1], trials: vec![1], design: vec![1.0, 2.0, 3.0] };
    assert!(matches!(refuse(few.rows()), InputError::TooFew { needed: 3, found: 1, .. }));
    assert!(matches!(refuse(Rows { trials: &[0; 20], ..rows }), InputError::BadElement { index: 0, .. }));
    assert!(matches!(refuse(Rows { successes: &[2; 20], ..rows }), InputError::BadElement { index: 0, .. }));
    assert!(matches!(refuse(Rows { successes: &[1; 19], ..rows }), InputError::LengthsDiffer { found: 19, .. }));
    assert!(matches!(refuse(Rows { design: &good.design[1..], ..rows }), InputError::LengthsDiffer { .. }));
    assert!(matches!(refuse(Rows { offset: Some(&[0.0]), ..rows }), InputError::LengthsDiffer { .. }));
    let mut bad = good.design.clone();
    bad[4] = f64::NAN;
    assert!(matches!(refuse(Rows { design: &bad, ..rows }), InputError::BadElement { index: 4, .. }));
    bad.chunks_mut(3).for_each(|x| x[2] = 2.0 * x[0]);
    bad[4] = 1.0;
    assert_eq!(refuse(Rows { design: &bad, ..rows }), InputError::RankDeficient { term: "second".to_owned() });
    let fit = fitted(&good);
    assert!(fit.predict(&[1.0], 0.0).is_err() && fit.predict(&[1.0, 0.0, f64::NAN], 0.0).is_err());
    assert!(profile_interval(&rows, &fit, 0, crate::Level::NINETY_FIVE).is_err(), "not Firth's");
    assert_eq!(fit.estimate(3, crate::Level::NINETY_FIVE), None);
}

#[test]
fn another_start_ends_at_the_same_maximum() {
    let data = Data::invented(400);
    let plain = fitted(&data);
    let near: Vec<f64> = plain.coefficients.iter().map(|b| b + 0.05).collect();
    let Outcome::Fitted(from) = logistic_from(&data.rows(), &near).unwrap() else { panic!("there is a maximum") };
    assert!(from.coefficients.iter().zip(&plain.coefficients).all(|(a, b)| (a - b).abs() < 1e-10));
    assert!(from.evidence.iterations < plain.evidence.iterations);
    // where there is none, any start runs off
    let (successes, column) = ([0, 0, 0, 1, 1, 1], [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]);
    let apart = Data::single(&successes, &[&column]);
    let firth = |outcome| match outcome {
        Outcome::Separated { firth, .. } => firth.coefficients,
        other => panic!("{other:?}"),
    };
    let (zero, far) =
        (firth(logistic(&apart.rows()).unwrap()), firth(logistic_from(&apart.rows(), &[-2.0, 0.6]).unwrap()));
    assert!(zero.iter().zip(&far).all(|(a, b)| (a - b).abs() < 1e-7), "{zero:?} {far:?}");
    assert!(logistic_from(&data.rows(), &[0.0]).is_err());
    assert!(logistic_from(&data.rows(), &[0.0, f64::NAN, 0.0]).is_err());
}

#[test]
fn a_class_of_one_row_among_many_does_not_keep_the_penalised_search_from_its_maximum() {
    // row 7 has a column to itself and no success. Its leverage is nearly 1, so that its chance solves -p + (1/2 - p) = 0: 1/4
    let n = 20_000;
    let mut s = stream(9, b"one of a kind");
    let first: Vec<f64> = (0..n).map(|_| standard_normal(&mut s)).collect();
    let alone: Vec<f64> = (0..n).map(|j| f64::from(u8::from(j == 7))).collect();
    let successes: Vec<u32> = first
        .iter()
        .enumerate()
        .map(|(j, x)| u32::from(j != 7 && uniform(&mut s) < sums::chances(0.4 * x).0))
        .collect();
    let data = Data::single(&successes, &[&first, &alone]);
    let Outcome::Separated { separation, firth } = logistic(&data.rows()).unwrap() else { panic!("separated") };
    assert!(separation.columns.contains(&2), "{separation:?}");
    assert!(firth.evidence.converged() && firth.evidence.iterations < 60, "{:?}", firth.evidence);
    let row = &data.design[7 * 3..8 * 3];
    let chance = sums::chances(row.iter().zip(&firth.coefficients).map(|(x, b)| x * b).sum()).0;
    assert!((chance - 0.25).abs() < 1e-3, "{chance}");
}
