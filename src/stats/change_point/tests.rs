use super::observations::Running;
use super::place::{drift_fits, likely_places, shift_fits};
use super::*;
use crate::error::InputError;
use crate::level::Level;
use crate::random::{standard_normal, stream, uniform};

fn settings(key: &[u8], permutations: u32) -> Settings<'_> {
    Settings { least_segment: 5, level: Level::NINETY_FIVE, permutations, seed: 1, key }
}

/// Values one step of time apart, from time 0.
fn equally_spaced(values: &[f64]) -> Result<Observations, InputError> {
    let times: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
    Observations::new(&times, values, None)
}

fn noise(name: &str, run: u32, n: usize) -> Vec<f64> {
    let mut s = stream(run.into(), name.as_bytes());
    (0..n).map(|_| standard_normal(&mut s)).collect()
}

/// Every way to cut n observations, by brute force: least RSS with `changes` cuts.
fn naive_rss(values: &[f64], least: usize, changes: usize) -> f64 {
    let rss = |part: &[f64]| {
        let mean = part.iter().sum::<f64>() / part.len() as f64;
        part.iter().map(|y| (y - mean) * (y - mean)).sum::<f64>()
    };
    if changes == 0 {
        return rss(values);
    }
    (least..=values.len().saturating_sub(changes * least))
        .map(|cut| rss(&values[..cut]) + naive_rss(&values[cut..], least, changes - 1))
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn the_cuts_are_the_best_of_all_cuts() {
    let mut values = noise("cuts", 1, 24);
    values[9..].iter_mut().for_each(|y| *y += 100.0);
    let observations = equally_spaced(&values).unwrap();
    let found = shifts(&observations, 3, 3).unwrap();
    let running = Running::new(&values, &[1.0; 24]);
    for (k, starts) in found.starts_by_changes.iter().enumerate() {
        assert_eq!(starts.len(), k);
        let edges: Vec<usize> = std::iter::once(0).chain(starts.iter().copied()).chain([24]).collect();
        assert!(edges.windows(2).all(|e| e[1] - e[0] >= 3));
        let rss: f64 = edges.windows(2).map(|e| running.rss(e[0], e[1])).sum();
        assert!((rss / naive_rss(&values, 3, k) - 1.0).abs() < 1e-9);
    }
    assert_eq!(found.starts, [9]);
    assert!((found.means[1] - found.means[0] - 100.0).abs() < 2.0);
}

#[test]
fn a_perfect_step_a_flat_line_and_a_perfect_drift() {
    let step: Vec<f64> = (0..20).map(|i| if i < 8 { 0.1 } else { 0.7 }).collect();
    let observations = equally_spaced(&step).unwrap();
    let found = shifts(&observations, 2, 4).unwrap();
    assert_eq!((found.starts, found.rss), (vec![8], 0.0));
    let one = one_change(&observations, &settings(b"step", 99)).unwrap();
    assert_eq!((one.chosen, one.shift.place, one.shift.places), (Some(Shape::Shift), 8, (8, 8)));
    assert!((one.shift.before - 0.1).abs() < 1e-12 && (one.shift.size - 0.6).abs() < 1e-12);

    let flat = equally_spaced(&[0.1; 20]).unwrap();
    assert_eq!(shifts(&flat, 2, 4).unwrap().starts, [] as [usize; 0]);
    let one = one_change(&flat, &settings(b"flat", 9)).unwrap();
    assert_eq!((one.chosen, one.p, one.residual_correlation), (None, 1.0, 0.0));

    // level 3 up to day 30, then 0.5 a day; days unequal
    let times: Vec<f64> = (0..25).map(|i| f64::from(i * i) / 4.0 + f64::from(i)).collect();
    let drift: Vec<f64> = times.iter().map(|t| 3.0 + 0.5 * (t - times[9]).max(0.0)).collect();
    let one = one_change(&Observations::new(&times, &drift, None).unwrap(), &settings(b"drift", 99)).unwrap();
    assert_eq!((one.chosen, one.drift.place, one.drift.places), (Some(Shape::Drift), 9, (9, 9)));
    assert!((one.drift.before - 3.0).abs() < 1e-9 && (one.drift.size - 0.5).abs() < 1e-10);
    assert_eq!(one.p, 0.01); // smaller than all 99 permutations
}

#[test]
fn fits_at_every_place_agree_with_least_squares_by_its_definition() {
    let n = 17;
    let times: Vec<f64> = (0..n).map(|i| (i as f64).powf(1.3)).collect();
    let weights: Vec<f64> = (0..n).map(|i| 1.0 + (i % 4) as f64).collect();
    let values = noise("definition", 1, n);
    let observations = Observations::new(&times, &values, Some(&weights)).unwrap();
    let centred = observations.deviations();
    let total = observations.total();
    let check = |column: &dyn Fn(usize, usize) -> f64, fits: Vec<place::Fit>| {
        assert_eq!(fits.len(), 12); // 3 to 14 for a shift, 2 to 13 for a drift
        for fit in fits {
            // normal equations of two columns
            let x: Vec<f64> = (0..n).map(|i| column(fit.place, i)).collect();
            let dot = |a: &dyn Fn(usize) -> f64| (0..n).map(|i| weights[i] * a(i)).sum::<f64>();
            let (s0, s1, s2) = (dot(&|_| 1.0), dot(&|i| x[i]), dot(&|i| x[i] * x[i]));
            let (t0, t1) = (dot(&|i| centred[i]), dot(&|i| x[i] * centred[i]));
            let size = (t1 * s0 - t0 * s1) / (s2 * s0 - s1 * s1);
            let before = (t0 - size * s1) / s0;
            let rss = dot(&|i| (centred[i] - before - size * x[i]).powi(2));
            assert!((fit.size - size).abs() < 1e-10 && (fit.before - before).abs() < 1e-10);
            assert!((fit.rss / rss - 1.0).abs() < 1e-10);
        }
    };
    let step = |place, i| f64::from(u8::from(i >= place));
    check(&step, shift_fits(&centred, &observations, 3, total));
    let ramp = |place: usize, i: usize| (times[i] - times[place]).max(0.0);
    check(&ramp, drift_fits(&centred, &observations, 3, total));
}

#[test]
fn whole_weights_stand_for_as_many_equal_values() {
    let values = [1.0, 1.3, 0.8, 2.9, 3.3, 3.0];
    let weights = [1.0, 2.0, 3.0, 2.0, 1.0, 2.0];
    let weighted = Observations::new(&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0], &values, Some(&weights)).unwrap();
    let repeated: Vec<f64> = values.iter().zip(weights).flat_map(|(y, w)| vec![*y; w as usize]).collect();
    let repeated = equally_spaced(&repeated).unwrap();
    let (a, b) = (shifts(&weighted, 1, 1).unwrap(), shifts(&repeated, 1, 1).unwrap());
    assert_eq!((a.starts[0], b.starts[0]), (3, 6));
    assert!((a.rss - b.rss).abs() < 1e-12 && (a.means[1] - b.means[1]).abs() < 1e-12);
}

#[test]
fn the_interval_holds_the_true_place_as_often_as_it_says() {
    let (n, runs) = (60, 1500_u32);
    for size in [0.7, 1.0, 2.0] {
        let (mut shift_held, mut drift_held, mut width) = (0, 0, 0);
        for run in 0..runs {
            let mut s = stream(run.into(), b"place");
            let place = 10 + (uniform(&mut s) * 40.0) as usize;
            let noise = noise("coverage", run, n);
            let shifted: Vec<f64> = (0..n).map(|i| noise[i] + if i < place { 0.0 } else { size }).collect();
            // a drift that ends as far from its level as 2 shifts
            let slope = 2.0 * size / (n - place) as f64;
            let drifted: Vec<f64> = (0..n).map(|i| noise[i] + slope * i.saturating_sub(place) as f64).collect();
            let places = |values: &[f64], drift: bool| {
                let found = one_change(&equally_spaced(values).unwrap(), &settings(b"", 0)).unwrap();
                if drift { found.drift.places } else { found.shift.places }
            };
            let (first, last) = places(&shifted, false);
            shift_held += u32::from((first..=last).contains(&place));
            width += last - first + 1;
            let (first, last) = places(&drifted, true);
            drift_held += u32::from((first..=last).contains(&place));
        }
        let [shift, drift] = [shift_held, drift_held].map(|held| f64::from(held) / f64::from(runs));
        println!(
            "size {size}: shift held {shift:.3}, mean width {:.1}; drift held {drift:.3}",
            width as f64 / f64::from(runs)
        );
        assert!((0.94..0.995).contains(&shift), "{size} {shift}");
        assert!((0.93..0.98).contains(&drift), "{size} {drift}");
    }
}

#[test]
fn the_p_value_holds_its_level_for_independent_values_and_not_for_dependent_ones() {
    let (n, runs) = (60, 1000_u32);
    let rejected = |make: &dyn Fn(u32) -> Vec<f64>| {
        let count = (0..runs)
            .filter(|run| {
                let observations = equally_spaced(&make(*run)).unwrap();
                one_change(&observations, &settings(&run.to_le_bytes(), 99)).unwrap().p <= 0.05
            })
            .count();
        count as f64 / f64::from(runs)
    };
    let normal = rejected(&|run| noise("level", run, n));
    let skewed = rejected(&|run| noise("skewed", run, n).into_iter().map(|z| (1.2 * z).exp()).collect());
    let dependent = rejected(&|run| {
        let noise = noise("dependent", run, n + 20);
        let mut x = 0.0;
        let series: Vec<f64> = noise
            .into_iter()
            .map(|z| {
                x = 0.3 * x + z;
                x
            })
            .collect();
        series[20..].to_vec()
    });
    println!("p <= 0.05: normal {normal:.3}, skewed {skewed:.3}, lag-1 correlation 0.3 {dependent:.3}");
    // 0.05 -/+ 3 standard errors
    assert!((normal - 0.05).abs() < 0.021 && (skewed - 0.05).abs() < 0.021, "{normal} {skewed}");
    assert!((0.19..0.29).contains(&dependent), "{dependent}");
}

#[test]
fn bic_alone_finds_shifts_in_stable_series_as_often_as_stated() {
    for (n, low, high) in [(40, 0.06, 0.12), (150, 0.025, 0.07)] {
        let runs = 1000_u32;
        let alarms = (0..runs)
            .filter(|run| {
                let observations = equally_spaced(&noise("stable", *run, n)).unwrap();
                !shifts(&observations, 5, 2).unwrap().starts.is_empty()
            })
            .count();
        let share = alarms as f64 / f64::from(runs);
        println!("stable series of {n}: BIC finds a shift in {share:.3}");
        assert!((low..high).contains(&share), "{n} {share}");
    }
}

#[test]
fn the_same_key_gives_the_same_p_and_the_residuals_show_dependence() {
    let mut x = 0.0;
    let series: Vec<f64> = noise("residuals", 2, 400)
        .into_iter()
        .map(|z| {
            x = 0.6 * x + z;
            x
        })
        .collect();
    let observations = equally_spaced(&series).unwrap();
    let [a, b] = [(); 2].map(|()| one_change(&observations, &settings(b"a", 99)).unwrap());
    assert_eq!(a, b);
    assert!((a.residual_correlation - 0.6).abs() < 0.12, "{}", a.residual_correlation);
}

#[test]
fn of_two_equal_places_both_are_likely() {
    let fit = |place, rss| place::Fit { place, rss, before: 0.0, size: 1.0 };
    let fits = [fit(4, 50.0), fit(5, 1.0), fit(6, 9.0), fit(7, 1.0)];
    assert_eq!(likely_places(&fits, 20, 0.95), Some((5, 7)));
    assert_eq!(likely_places(&[fit(4, 3.0), fit(5, 0.0)], 20, 0.95), Some((5, 5)));
    assert_eq!(likely_places(&[], 20, 0.95), None);
}

#[test]
fn series_that_make_no_sense_are_refused() {
    assert!(equally_spaced(&[]).is_err());
    assert!(equally_spaced(&[1.0, f64::NAN]).is_err());
    assert!(matches!(
        Observations::new(&[0.0, 1.0, 1.0], &[1.0; 3], None),
        Err(InputError::BadElement { what: "times", index: 2, .. })
    ));
    assert!(Observations::new(&[0.0], &[1.0, 2.0], None).is_err());
    assert!(Observations::new(&[0.0, 1.0], &[1.0, 2.0], Some(&[1.0, 0.0])).is_err());
    let nine = equally_spaced(&[1.0; 9]).unwrap();
    assert!(matches!(one_change(&nine, &settings(b"", 9)), Err(InputError::TooFew { needed: 10, .. })));
    assert!(one_change(&nine, &Settings { least_segment: 1, ..settings(b"", 9) }).is_err());
    assert!(shifts(&nine, 0, 1).is_err() && shifts(&nine, 10, 1).is_err());
    assert_eq!(shifts(&nine, 9, 5).unwrap().bic.len(), 1);
}
