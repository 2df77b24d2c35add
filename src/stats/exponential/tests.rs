use super::*;
use crate::level::Level;
use crate::random::{standard_normal, stream};

const L95: Level = Level::NINETY_FIVE;

fn fitted(times: &[f64], values: &[f64], start: StartValue) -> ExponentialFit {
    match fit_exponential(times, values, None, start).unwrap() {
        ExponentialOutcome::Fitted(fit) => fit,
        other => panic!("expected a fit, got {other:?}"),
    }
}

fn doubt(times: &[f64], values: &[f64], start: StartValue) -> Doubt {
    match fit_exponential(times, values, None, start).unwrap() {
        ExponentialOutcome::NotIdentifiable { why, .. } => why,
        other => panic!("expected a refusal, got {other:?}"),
    }
}

#[test]
fn the_derivatives_agree_with_differences() {
    let (theta, t, h) = ([60.0, 20.0, 2.3], 7.0, 1e-5);
    let (_, gradient) = value_and_gradient(theta[0], theta[1], theta[2], t);
    for (j, g) in gradient.iter().enumerate() {
        let value = |step: f64| {
            let mut moved = theta;
            moved[j] += step;
            value_and_gradient(moved[0], moved[1], moved[2], t).0
        };
        assert!(((value(h) - value(-h)) / (2.0 * h) - g).abs() < 1e-8);
    }
}

#[test]
fn an_exact_curve_is_recovered_whatever_its_direction_rate_and_order() {
    for (start, plateau, tau) in [(60.0, 20.0, 14.0), (20.0, 75.0, 3.0), (1e-3, 5e-3, 40.0), (-4.0, -90.0, 9.0)] {
        let times = [28.0, 0.0, 3.0, 56.0, 7.0, 14.0, 3.0];
        let values = times.map(|t: f64| plateau + (start - plateau) * (-t / tau).exp());
        for known in [StartValue::Free, StartValue::Fixed(start)] {
            let fit = fitted(&times, &values, known);
            assert!((fit.start / start - 1.0).abs() < 1e-9, "{fit:?}");
            assert!((fit.plateau / plateau - 1.0).abs() < 1e-9, "{fit:?}");
            assert!((fit.tau() / tau - 1.0).abs() < 1e-9, "{fit:?}");
            assert!(fit.evidence.converged());
        }
    }
}

#[test]
fn subacute_pooled_means_are_refused_because_the_plateau_is_reached_at_once() {
    // Wallwork 2024, subacute: 63, 29, 29, 31 at weeks 0, 6, 26, 52 (point estimates from a secondary page)
    let weeks = [0.0, 6.0, 26.0, 52.0];
    assert_eq!(doubt(&weeks, &[63.0, 29.0, 29.0, 31.0], StartValue::Free), Doubt::PlateauAtOnce);
}

#[test]
fn no_change_is_refused() {
    let times = [0.0, 1.0, 2.0, 3.0, 4.0];
    assert_eq!(doubt(&times, &[40.0; 5], StartValue::Free), Doubt::NoChange);
    assert_eq!(doubt(&times, &[0.0; 5], StartValue::Free), Doubt::NoChange);
    assert_eq!(doubt(&times, &[40.0; 5], StartValue::Fixed(40.0)), Doubt::NoChange);
    // from a known start elsewhere, equal values say that the plateau was reached before the first reading
    assert_eq!(doubt(&times[1..], &[40.0; 4], StartValue::Fixed(60.0)), Doubt::PlateauAtOnce);
}

#[test]
fn noise_without_change_is_hardly_ever_given_a_curve() {
    // 200 keyed samples of 8 readings around 50: not one false fit in twenty
    let times: Vec<f64> = (0..8).map(|i| f64::from(i) * 7.0).collect();
    let mut fits = 0;
    for sample in 0..200 {
        let mut s = stream(1, format!("flat {sample}").as_bytes());
        let values: Vec<f64> = times.iter().map(|_| 50.0 + 5.0 * standard_normal(&mut s)).collect();
        let outcome = fit_exponential(&times, &values, None, StartValue::Free).unwrap();
        fits += usize::from(matches!(outcome, ExponentialOutcome::Fitted(_)));
    }
    assert!(fits <= 10, "{fits}");
}

#[test]
fn a_straight_line_is_refused_because_no_plateau_is_in_sight() {
    let times = [0.0, 7.0, 14.0, 21.0, 28.0];
    assert_eq!(doubt(&times, &[60.0, 55.0, 50.0, 45.0, 40.0], StartValue::Free), Doubt::StraightLine);
    assert_eq!(doubt(&times, &[60.0, 55.0, 50.0, 45.0, 40.0], StartValue::Fixed(60.0)), Doubt::StraightLine);
    // bending the wrong way: the best exponential is the line itself
    assert_eq!(doubt(&times, &[60.0, 59.0, 56.0, 51.0, 40.0], StartValue::Free), Doubt::StraightLine);
}

#[test]
fn too_few_observations_or_times_are_an_outcome_of_their_own() {
    let outcome = |times: &[f64], start| {
        fit_exponential(times, &times.iter().map(|t| 9.0 - t).collect::<Vec<_>>(), None, start).unwrap()
    };
    for (times, start) in [
        (&[][..], StartValue::Free),
        (&[0.0, 1.0][..], StartValue::Free),
        (&[0.0, 1.0, 2.0][..], StartValue::Free),
        (&[0.0, 1.0, 1.0, 0.0, -0.0][..], StartValue::Free),
        (&[0.0, 1.0][..], StartValue::Fixed(9.0)),
        (&[1.0, 1.0, 1.0][..], StartValue::Fixed(9.0)),
    ] {
        assert!(matches!(outcome(times, start), ExponentialOutcome::TooFewPoints { .. }), "{times:?}");
    }
}

#[test]
fn whole_weights_count_repeats_in_the_estimates() {
    let (times, values) = ([0.0, 3.0, 7.0, 20.0, 40.0], [61.0, 44.0, 33.0, 22.0, 20.0]);
    let weighted = match fit_exponential(&times, &values, Some(&[1.0, 1.0, 2.0, 1.0, 1.0]), StartValue::Free).unwrap() {
        ExponentialOutcome::Fitted(fit) => fit,
        other => panic!("{other:?}"),
    };
    let repeated = fitted(&[0.0, 3.0, 7.0, 7.0, 20.0, 40.0], &[61.0, 44.0, 33.0, 33.0, 22.0, 20.0], StartValue::Free);
    assert!((weighted.plateau - repeated.plateau).abs() < 1e-9);
    assert!((weighted.log_tau - repeated.log_tau).abs() < 1e-9);
    assert!((weighted.rss - repeated.rss).abs() < 1e-9);
}

#[test]
fn a_change_of_scale_or_of_time_unit_changes_nothing_else() {
    let (times, values) = ([0.0, 3.0, 7.0, 20.0, 40.0], [61.0, 44.0, 33.0, 22.0, 20.0]);
    let plain = fitted(&times, &values, StartValue::Free);
    let scaled = fitted(&times.map(|t| t / 7.0), &values.map(|v| 1e4 * v), StartValue::Free);
    assert!((scaled.plateau / plain.plateau / 1e4 - 1.0).abs() < 1e-9);
    assert!((scaled.tau() * 7.0 / plain.tau() - 1.0).abs() < 1e-9);
    assert!((scaled.log_tau_error() - plain.log_tau_error()).abs() < 1e-9);
}

#[test]
fn the_time_of_a_fall_is_where_the_curve_has_fallen_by_that_much() {
    let fit = fitted(&[0.0, 3.0, 7.0, 20.0, 40.0], &[61.0, 44.0, 33.0, 22.0, 20.0], StartValue::Free);
    for amount in [1.0, 10.0, 30.0, 40.0] {
        let time = fit.time_of_fall(amount, L95).unwrap().unwrap();
        assert!((fit.start - fit.value_at(time.value) - amount).abs() < 1e-10);
        assert!(time.interval.low > 0.0 && time.interval.contains(time.value));
        // the delta method by differences of the parameters
        let moved = |j: usize, h: f64| {
            let mut other = fit.clone();
            match j {
                0 => other.start += h,
                1 => other.plateau += h,
                _ => other.log_tau += h,
            }
            other.time_of_fall(amount, L95).unwrap().unwrap().value
        };
        let gradient = nalgebra::Vector3::from_fn(|j, _| (moved(j, 1e-5) - moved(j, -1e-5)) / 2e-5);
        let error = gradient.dot(&(fit.covariance * gradient)).sqrt();
        assert!((time.standard_error / error - 1.0).abs() < 1e-6, "{amount}");
    }
    let half = fit.half_time(L95).unwrap();
    let halfway = fit.time_of_fall((fit.start - fit.plateau) / 2.0, L95).unwrap().unwrap();
    assert!((half.value - halfway.value).abs() < 1e-12);
}

#[test]
fn a_fall_that_the_plateau_does_not_reach_has_no_time() {
    let fit = fitted(&[0.0, 3.0, 7.0, 20.0, 40.0], &[61.0, 44.0, 33.0, 22.0, 20.0], StartValue::Free);
    assert_eq!(fit.time_of_fall(fit.start - fit.plateau + 0.01, L95), Ok(None));
    assert_eq!(fit.time_of_rise(5.0, L95), Ok(None));
    for bad in [0.0, -3.0, f64::NAN, f64::INFINITY] {
        assert!(fit.time_of_fall(bad, L95).is_err());
    }
}

#[test]
fn the_mean_is_the_start_at_zero_and_the_plateau_far_out_with_their_errors() {
    let fit = fitted(&[0.0, 3.0, 7.0, 20.0, 40.0], &[61.0, 44.0, 33.0, 22.0, 20.0], StartValue::Free);
    for (time, expected) in [(0.0, fit.start_estimate(L95)), (1e9, fit.plateau_estimate(L95))] {
        let (mean, expected) = (fit.mean_at(time, L95).unwrap().mean, expected.unwrap());
        assert!((mean.value - expected.value).abs() < 1e-12);
        assert!((mean.standard_error - expected.standard_error).abs() < 1e-12);
        assert!((mean.interval.low - expected.interval.low).abs() < 1e-12);
    }
    assert!(fit.mean_at(f64::NAN, L95).is_err());
    assert!(fit.mean_at(-1e9, L95).is_err());
    let known = fitted(&[3.0, 7.0, 20.0, 40.0], &[44.0, 33.0, 22.0, 20.0], StartValue::Fixed(61.0));
    assert_eq!(known.start_estimate(L95).unwrap().interval.width(), 0.0);
}

#[test]
fn the_half_time_interval_covers_the_truth_about_as_often_as_it_says() {
    // start 60, plateau 25, half-time 12, SD 6, 40 readings on 10 days; 95 % within 4 SE of 500 samples (0.039)
    let times: Vec<f64> = (0..40).map(|i| f64::from(i % 10) * 5.0).collect();
    let tau = 12.0 / std::f64::consts::LN_2;
    let (mut covered, mut fits) = (0, 0);
    for sample in 0..500 {
        let mut s = stream(1, format!("half-time {sample}").as_bytes());
        let values: Vec<f64> =
            times.iter().map(|t| 25.0 + 35.0 * (-t / tau).exp() + 6.0 * standard_normal(&mut s)).collect();
        if let ExponentialOutcome::Fitted(fit) = fit_exponential(&times, &values, None, StartValue::Free).unwrap() {
            fits += 1;
            covered += usize::from(fit.half_time(L95).unwrap().interval.contains(12.0));
        }
    }
    assert!(fits >= 490, "{fits}");
    assert!((f64::from(covered as u32) / f64::from(fits as u32) - 0.95).abs() < 0.039, "{covered} of {fits}");
}

#[test]
fn numbers_that_make_no_sense_are_refused() {
    let (times, values) = ([0.0, 1.0, 2.0, 3.0], [9.0, 5.0, 3.0, 2.0]);
    assert!(fit_exponential(&times[1..], &values, None, StartValue::Free).is_err());
    assert!(fit_exponential(&[0.0, 1.0, f64::NAN, 3.0], &values, None, StartValue::Free).is_err());
    assert!(fit_exponential(&times, &[9.0, f64::INFINITY, 3.0, 2.0], None, StartValue::Free).is_err());
    assert!(fit_exponential(&times, &values, Some(&[1.0, 0.0, 1.0, 1.0]), StartValue::Free).is_err());
    assert!(fit_exponential(&times, &values, None, StartValue::Fixed(f64::NAN)).is_err());
}

#[test]
fn a_fast_curve_from_a_known_start_is_found_between_time_zero_and_the_first_reading() {
    let tau = 0.14;
    let times = [0.1, 0.2, 7.0, 9.0];
    let values = times.map(|t: f64| 20.0 + 40.0 * (-t / tau).exp());
    let fit = fitted(&times, &values, StartValue::Fixed(60.0));
    assert!((fit.tau() / tau - 1.0).abs() < 1e-9);
    let late = [0.1, 7.0, 9.0];
    let values = late.map(|t: f64| 20.0 + 40.0 * (-t / tau).exp());
    let fit = fitted(&late, &values, StartValue::Fixed(60.0));
    assert!((fit.tau() / tau - 1.0).abs() < 1e-9);
}
