use super::*;
use crate::logistic::Method;
use crate::random::{standard_normal, stream, uniform};
use derivatives::evaluate;

struct Data {
    successes: Vec<u32>,
    trials: Vec<u32>,
    design: Vec<f64>,
    group: Vec<usize>,
}

impl Data {
    /// Groups in turn, two columns beside the intercept.
    fn invented(groups: usize, each: usize, trials: u32, sd: f64) -> Self {
        let mut s = stream(11, b"mixed logistic");
        let intercepts: Vec<f64> = (0..groups).map(|_| sd * standard_normal(&mut s)).collect();
        let mut data = Self { successes: vec![], trials: vec![], design: vec![], group: vec![] };
        for j in 0..groups * each {
            let (first, second) = (standard_normal(&mut s), f64::from(u8::from(uniform(&mut s) < 0.4)));
            data.design.extend([1.0, first, second]);
            let eta = -0.7 + 0.5 * first + 0.4 * second + intercepts[j % groups];
            let chance = crate::logistic::sums::chances(eta).0;
            data.successes.push((0..trials).map(|_| u32::from(uniform(&mut s) < chance)).sum());
            data.trials.push(trials);
            data.group.push(j % groups);
        }
        data
    }

    fn rows(&self) -> Rows<'_> {
        let names = &["intercept", "first", "second"][..self.design.len() / self.trials.len()];
        Rows { successes: &self.successes, trials: &self.trials, design: &self.design, names, offset: None }
    }

    fn fit(&self, points: usize) -> Outcome {
        logistic_mixed(&self.rows(), &self.group, Options { points, ..Options::default() }).unwrap()
    }

    fn fitted(&self, points: usize) -> MixedFit {
        match self.fit(points) {
            Outcome::Fitted(fit) => *fit,
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn the_quadrature_agrees_with_the_integral_written_down() {
    for trials in [1, 4] {
        let data = Data::invented(5, 12, trials, 0.8);
        let (rows, b) = (data.rows(), [-0.5, 0.4, 0.3]);
        let sorted = Sorted::new(&rows.check().unwrap(), &data.group).unwrap();
        let rule = GaussHermite::new(25).unwrap();
        for sd in [0.05, 0.9, 2.5] {
            let at = evaluate(&sorted, &rule, &rule, &[b[0], b[1], b[2], sd], &[0.0; 5]).unwrap();
            let slow = naive::log_likelihood(&rows, &data.group, &b, sd);
            assert!((at.log_likelihood - slow).abs() < 1e-6, "{sd} {} {slow}", at.log_likelihood);
        }
    }
}

#[test]
fn the_gradient_is_that_of_the_quadrature_with_any_number_of_points() {
    let data = Data::invented(7, 9, 2, 0.8);
    let sorted = Sorted::new(&data.rows().check().unwrap(), &data.group).unwrap();
    let fine = GaussHermite::new(9).unwrap();
    for points in [1, 3, 9, 25] {
        let rule = GaussHermite::new(points).unwrap();
        let value = |parameters: &[f64]| evaluate(&sorted, &rule, &fine, parameters, &[0.0; 7]).unwrap();
        let parameters = [-0.5, 0.4, 0.3, 1.2];
        let at = value(&parameters);
        for k in 0..4 {
            let moved = |by: f64| {
                let mut moved = parameters;
                moved[k] += by;
                value(&moved).log_likelihood
            };
            let step = 1e-4;
            let slope = (8.0 * (moved(step) - moved(-step)) - (moved(2.0 * step) - moved(-2.0 * step))) / (12.0 * step);
            assert!((slope - at.gradient[k]).abs() < 1e-8, "{points} {k} {slope} {}", at.gradient[k]);
        }
    }
}

#[test]
fn the_information_is_minus_the_second_derivative() {
    let data = Data::invented(7, 9, 2, 0.8);
    let sorted = Sorted::new(&data.rows().check().unwrap(), &data.group).unwrap();
    let rule = GaussHermite::new(25).unwrap();
    let value = |parameters: &[f64]| evaluate(&sorted, &rule, &rule, parameters, &[0.0; 7]).unwrap();
    let parameters = [-0.5, 0.4, 0.3, 1.2];
    let at = value(&parameters);
    for k in 0..4 {
        let moved = |by: f64| {
            let mut moved = parameters;
            moved[k] += by;
            value(&moved).gradient
        };
        let column = (moved(-1e-4) - moved(1e-4)) / 2e-4;
        assert!((column - at.information.column(k)).norm() < 1e-5 * at.information.norm());
    }
}

#[test]
fn an_sd_of_zero_is_stated_and_leaves_the_plain_logistic_fit() {
    // every group has the same table, so that groups differ less than by chance
    let group: Vec<usize> = (0..24).map(|j| j / 4).collect();
    let data = Data {
        successes: (0..24).map(|j| [1, 0, 0, 1][j % 4]).collect(),
        trials: vec![1; 24],
        design: (0..24).flat_map(|j| [1.0, [0.0, 0.0, 1.0, 1.0][j % 4]]).collect(),
        group,
    };
    let fit = data.fitted(9);
    assert_eq!((fit.sd, fit.sd_value(), fit.groups.len(), fit.shift), (Sd::Zero, 0.0, 6, None));
    let crate::logistic::Outcome::Fitted(plain) = crate::logistic::logistic(&data.rows()).unwrap() else { panic!() };
    assert_eq!((&fit.coefficients, fit.deviance), (&plain.coefficients, plain.deviance));
    assert!(fit.groups.iter().all(|g| g.mean == 0.0 && (g.rate - 0.5).abs() < 1e-12));
}

#[test]
fn an_sd_without_end_is_its_own_outcome() {
    // groups wholly of successes or wholly of failures
    let group: Vec<usize> = (0..60).map(|j| j / 10).collect();
    let data = Data {
        successes: group.iter().map(|g| (*g % 2) as u32).collect(),
        trials: vec![1; 60],
        design: vec![1.0; 60],
        group,
    };
    assert!(matches!(data.fit(9), Outcome::SdUnbounded(_)), "{:?}", data.fit(9));
}

#[test]
fn separated_rows_get_firths_coefficients_a_shift_and_random_intercepts() {
    let mut data = Data::invented(8, 30, 1, 1.0);
    for j in 0..data.successes.len() {
        if data.design[3 * j + 2] == 1.0 {
            data.successes[j] = 1;
        }
    }
    let fit = data.fitted(9);
    let crate::logistic::Outcome::Separated { firth, .. } = crate::logistic::logistic(&data.rows()).unwrap() else {
        panic!("separated")
    };
    assert_eq!(
        (fit.method, &fit.coefficients, &fit.covariance),
        (Method::Firth, &firth.coefficients, &firth.covariance)
    );
    let shift = fit.shift.unwrap();
    assert!(fit.sd_value() > 0.3 && shift.value.abs() < 1.0 && shift.standard_error > 0.0);
    // the same as handing Firth's log odds in as offset
    let offset: Vec<f64> =
        data.design.chunks(3).map(|x| x.iter().zip(&firth.coefficients).map(|(x, b)| x * b).sum()).collect();
    let ones = vec![1.0; offset.len()];
    let rows = Rows { design: &ones, names: &["shift"], offset: Some(&offset), ..data.rows() };
    let Outcome::Fitted(by_offset) = logistic_mixed(&rows, &data.group, Options::default()).unwrap() else { panic!() };
    assert!((by_offset.coefficients[0] - shift.value).abs() < 1e-9);
    assert!((by_offset.sd_value() - fit.sd_value()).abs() < 1e-9);
    assert!(
        (fit.predict(&[1.0, 0.0, 0.0], 0.0, 0.5).unwrap().recip()
            - 1.0
            - (-(firth.coefficients[0] + shift.value + 0.5)).exp())
        .abs()
            < 1e-12
    );
}

#[test]
fn groups_are_shrunken_towards_zero_and_rates_rise_with_intercepts() {
    let data = Data::invented(12, 40, 1, 1.0);
    let fit = data.fitted(9);
    let by = fit.estimate(1, Level::NINETY_FIVE).unwrap();
    assert!((by.value - 0.5).abs() < 3.0 * by.standard_error);
    let mut order: Vec<_> = fit.groups.iter().collect();
    order.sort_by(|a, b| a.mean.total_cmp(&b.mean));
    assert!(order.windows(2).all(|w| w[0].rate < w[1].rate));
    let Sd::Positive(sd) = fit.sd else { panic!("positive") };
    assert!(sd.interval.contains(sd.value) && sd.interval.contains(1.0));
    for group in &fit.groups {
        assert!(group.sd < sd.value && group.rate_interval.contains(group.rate));
        let own = |u: f64| fit.predict(&[1.0, 0.0, 0.0], 0.0, u).unwrap();
        assert!(own(1.0) > own(0.0));
    }
    let spread =
        |of: fn(&GroupIntercept) -> f64| crate::sum::sample_sd(&fit.groups.iter().map(of).collect::<Vec<_>>()).unwrap();
    assert!(spread(|g| g.mean) < sd.value * 1.2);
}

#[test]
fn order_of_rows_and_number_of_threads_do_not_matter() {
    let data = Data::invented(300, 20, 1, 0.7);
    let in_pool = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| data.fitted(9))
    };
    let fit = in_pool(1);
    assert_eq!(fit, in_pool(3), "the same bits");
    let n = data.group.len();
    let turned = Data {
        successes: data.successes.iter().rev().copied().collect(),
        trials: data.trials.clone(),
        design: (0..n).rev().flat_map(|j| data.design[3 * j..3 * j + 3].to_vec()).collect(),
        group: data.group.iter().rev().copied().collect(),
    };
    let turned = turned.fitted(9);
    assert!((0..3).all(|k| (turned.coefficients[k] - fit.coefficients[k]).abs() < 1e-8));
    assert!((turned.groups[17].mean - fit.groups[17].mean).abs() < 1e-8);
}

#[test]
fn many_small_groups_are_fitted_and_the_sd_is_found() {
    let fit = Data::invented(5000, 4, 1, 1.0).fitted(9);
    assert!(fit.evidence.converged());
    let Sd::Positive(sd) = fit.sd else { panic!("positive") };
    assert!(sd.interval.contains(1.0) && sd.interval.width() < 0.3, "{sd:?}");
}

#[test]
fn faulty_groups_and_points_are_refused() {
    let data = Data::invented(3, 8, 1, 0.5);
    let with = |group: &[usize], points| logistic_mixed(&data.rows(), group, Options { points, ..Options::default() });
    for points in [0, 2, 27] {
        assert!(matches!(with(&data.group, points), Err(InputError::OutOfRange { .. })));
    }
    assert!(matches!(with(&data.group[1..], 9), Err(InputError::LengthsDiffer { .. })));
    assert!(matches!(with(&[0; 24], 9), Err(InputError::TooFew { needed: 2, found: 1, .. })));
    let gap: Vec<usize> = data.group.iter().map(|g| if *g == 1 { 5 } else { *g }).collect();
    assert!(matches!(with(&gap, 9), Err(InputError::BadElement { index: 1, .. })));
    assert!(matches!(with(&[usize::MAX; 24], 9), Err(InputError::BadElement { index: 0, .. })));
    let fit = data.fitted(9);
    assert!(fit.predict(&[1.0], 0.0, 0.0).is_err() && fit.predict(&[1.0, 0.0, 0.0], 0.0, f64::NAN).is_err());
}
