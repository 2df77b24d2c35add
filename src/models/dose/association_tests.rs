use super::*;
use crate::catalogue::{Measures, PainSite};
use crate::episodes::timeline::{cut_rows, name, visit};
use crate::readings::reading;
use mendcurve_stats::random::{standard_normal, stream, uniform};

/// An invented patient: site, exposure, burden at the start, log odds of a response.
type Patient = (u32, f64, f64, f64);

fn exposed(seed: u64, patients: impl Iterator<Item = Patient>) -> (Vec<Exposed>, Vec<Episode>) {
    let measure = Measures::embedded().unwrap().find("pain_nrs").unwrap();
    let outcome = reading::Outcome { measure, pain_site: PainSite::Back };
    let mut s = stream(seed, b"outcomes of invented patients");
    let exposed: Vec<Exposed> = (0..)
        .zip(patients)
        .map(|(episode, (site, value, baseline, log_odds))| {
            let responded = uniform(&mut s) < 1.0 / (1.0 + (-log_odds).exp());
            let case = Case {
                episode,
                site: name(site),
                quarter: None,
                condition: None,
                outcome,
                baseline: Some(baseline),
                other_baseline: None,
                value: f64::from(u8::from(responded)),
            };
            Exposed { case, value, lot: 0.0 }
        })
        .collect();
    let rows = (1..=exposed.len() as u32).map(|patient| visit(0).of(patient).for_condition(0));
    let episodes = cut_rows(rows.collect()).list;
    (exposed, episodes)
}

/// Patients of three sites with a pull of mean 40 and SD 5 that has nothing to do with anything.
fn patients(seed: u64, number: usize) -> Vec<Patient> {
    let mut s = stream(seed, b"invented patients");
    let one = |i: usize| {
        (1 + (i % 3) as u32, 40.0 + 5.0 * standard_normal(&mut s), 60.0 + 12.0 * standard_normal(&mut s), 0.2)
    };
    (0..number).map(one).collect()
}

fn found(seed: u64, patients: Vec<Patient>) -> Result<Association, Untested> {
    let (exposed, episodes) = exposed(seed, patients.into_iter());
    associate(exposed, &episodes, 5.0)
}

#[test]
fn a_planted_association_is_recovered() {
    for number in [1_500, 4_000] {
        let planted = patients(1, number)
            .into_iter()
            .map(|(site, pull, baseline, log_odds)| (site, pull, baseline, log_odds + 0.4 * (pull - 40.0) / 5.0));
        let found = found(2, planted.collect()).unwrap();
        assert!(found.interval.contains(0.4_f64.exp()), "{found:?}");
        assert!(found.p < 1e-4 && found.interval.low > 1.2 && found.interval.width() < 0.6, "{found:?}");
        assert!((found.spread - 5.0).abs() < 0.3 && found.sites == 3, "{found:?}");
        assert!(found.e_value.limit > 1.2 && found.e_value.estimate > found.e_value.limit);
        assert_eq!(found.test, if number > 2_000 { Test::Wald } else { Test::LikelihoodRatio });
        assert!(found.allowed_for.contains(&Covariate::Baseline));
    }
}

#[test]
fn none_is_found_more_often_than_chance_does_where_none_is_planted() {
    let small = (0..100).filter(|seed| found(*seed, patients(100 + seed, 150)).unwrap().p < 0.05).count();
    assert!((1..=11).contains(&small), "{small} of 100 below 0.05");
}

#[test]
fn a_site_of_high_dose_and_good_outcome_makes_no_association() {
    let apart = patients(3, 900).into_iter().map(|(site, pull, baseline, log_odds)| match site {
        1 => (site, pull + 15.0, baseline, log_odds + 1.2),
        _ => (site, pull, baseline, log_odds - 0.6),
    });
    let found = found(4, apart.collect()).unwrap();
    assert!(found.interval.contains(1.0) && found.p > 0.05, "{found:?}");
    assert_eq!(found.e_value.limit, 1.0);
}

#[test]
fn patients_in_less_pain_who_are_pulled_harder_and_do_better_make_none_either() {
    let confounded = patients(5, 1_200).into_iter().map(|(site, pull, baseline, log_odds)| {
        let ease = (60.0 - baseline) / 12.0;
        (site, pull + 4.0 * ease, baseline, log_odds + 0.9 * ease)
    });
    let found = found(6, confounded.collect()).unwrap();
    assert!(found.interval.contains(1.0), "{found:?}");
}

#[test]
fn too_few_and_what_does_not_vary_within_sites_are_said_and_not_tested() {
    assert_eq!(found(7, Vec::new()), Err(Untested::NotRecorded));
    assert_eq!(found(7, patients(7, 99)), Err(Untested::TooFew));
    let nearly_all = patients(8, 300).into_iter().map(|(site, pull, baseline, _)| (site, pull, baseline, 6.0));
    assert_eq!(found(8, nearly_all.collect()), Err(Untested::TooFew));
    let one_pull_a_site = |jitter: f64| {
        patients(9, 300).into_iter().map(move |(site, pull, baseline, log_odds)| {
            (site, 30.0 + 5.0 * f64::from(site) + jitter * (pull - 40.0), baseline, log_odds)
        })
    };
    assert_eq!(found(9, one_pull_a_site(0.0).collect()), Err(Untested::NoVariation));
    assert_eq!(found(9, one_pull_a_site(1e-6).collect()), Err(Untested::NoVariation), "rounding is no variation");
}

#[test]
fn a_site_where_all_responded_is_left_out() {
    let with_sure_site = patients(10, 600).into_iter().map(|(site, pull, baseline, log_odds)| match site {
        3 => (site, pull, baseline, 60.0),
        _ => (site, pull, baseline, log_odds),
    });
    let found = found(11, with_sure_site.collect()).unwrap();
    assert_eq!((found.sites, found.episodes), (2, 400));
}

#[test]
fn many_episodes_are_drawn_by_their_patients_lots() {
    let (mut exposed, episodes) = exposed(12, patients(12, 12_000).into_iter());
    let total = exposed.len() as f64;
    for (place, one) in (0..).zip(&mut exposed) {
        one.lot = f64::from(place) / total;
    }
    let found = associate(exposed, &episodes, 5.0).unwrap();
    assert!((found.episodes as i64 - 10_000).abs() <= 1, "{}", found.episodes);
}
