use super::null::{Null, repeats_of_one, with_run};
use super::*;
use crate::random::{standard_normal, stream, uniform};
use rand_chacha::ChaCha8Rng;

/// Entries of three fields: `steps` steps, each a repeat with the chance that `rate` gives for the repeats and steps so far.
fn patient(random: &mut ChaCha8Rng, steps: usize, rate: impl Fn(usize, usize) -> f64) -> Vec<u32> {
    let mut entry: [u32; 3] = [0; 3].map(|_: u32| (uniform(random) * 5.0) as u32);
    let mut entries = entry.to_vec();
    let mut repeats = 0;
    for step in 0..steps {
        if uniform(random) < rate(repeats, step) {
            repeats += 1;
        } else {
            entry[step % 3] += 1;
        }
        entries.extend(entry);
    }
    entries
}

/// Sources of patients with 1 to 12 steps; rates beta with this correlation, or else logit-normal with about that variance.
fn group(sources: usize, patients: usize, correlation: f64, beta: bool, seed: u64) -> Vec<(usize, Vec<u32>)> {
    let mut random = stream(seed, b"copies");
    let mut all = Vec::new();
    for source in 0..sources {
        for _ in 0..patients {
            let steps = 1 + (uniform(&mut random) * 12.0) as usize;
            let own = 1.0 / (1.0 + (-2.5 * correlation.sqrt() * standard_normal(&mut random)).exp());
            let entries = patient(&mut random, steps, |repeats, steps| {
                let (repeats, steps) = (repeats as f64, steps as f64);
                let urn =
                    (0.5 * (1.0 - correlation) + repeats * correlation) / (1.0 - correlation + steps * correlation);
                if beta { urn } else { own }
            });
            all.push((source, entries));
        }
    }
    all
}

fn run(all: &[(usize, Vec<u32>)], sources: usize) -> Vec<Source> {
    let sequences: Vec<Sequence> = all.iter().map(|(source, entries)| Sequence { source: *source, entries }).collect();
    copies(&sequences, sources, 3, 2).unwrap()
}

#[test]
fn steps_repeats_runs_and_what_is_left_out_are_counted_by_hand() {
    const N: u32 = NOT_RECORDED;
    // steps: repeat, repeat, change; repeat on two fields, then one field only (left out), then repeat on two
    let first = [1, 2, 3, 1, 2, 3, 1, 2, 3, 1, 2, 4];
    let second = [1, 2, N, 1, 2, 3, 1, N, N, 1, 5, N, 1, 5, N];
    let mut all = vec![(0, first.to_vec()), (0, second.to_vec())];
    // the others: 5 patients of 5 steps, 2 of them repeats
    let other = [1, 1, 1, 1, 1, 1, 1, 1, 2, 1, 1, 2, 1, 1, 3, 1, 1, 4];
    all.extend((0..5).map(|_| (1, other.to_vec())));
    let found = run(&all, 2);
    let own = found[0];
    // of the second patient's steps, the second and third have one field at both ends
    assert_eq!((own.patients, own.steps, own.left_out, own.repeats, own.longest_run), (2, 5, 2, 4, 2));
    // on three fields the others repeat 10 of 25 steps; on the first two, 25 of 25
    let (three, two) = (10.5 / 26.0, 25.5 / 26.0);
    let comparison = own.against_others.unwrap();
    assert!((comparison.expected - (3.0 * three + 2.0 * two)).abs() < 1e-12, "{}", comparison.expected);
    // the other source: too few steps to be held against
    assert_eq!((found[1].steps, found[1].left_out, found[1].against_others), (0, 25, None));
    // 1 2 3 (3 of the first's entries) meets 1 2 3 once among 4 * 5 pairs
    assert!((own.chance_agreement.unwrap() - 3.0 / 20.0).abs() < 1e-15);
}

#[test]
fn the_urn_has_the_moments_of_the_beta_binomial_and_the_binomial_without_correlation() {
    for (n, p, rho) in [(7, 0.3, 0.2), (12, 0.9, 0.6), (5, 0.5, 0.0)] {
        let chances = repeats_of_one(n, p, rho);
        let moment = |k| chances.iter().enumerate().map(|(x, c)| c * (x as f64).powi(k)).sum::<f64>();
        let size = n as f64;
        assert!((moment(0) - 1.0).abs() < 1e-14 && (moment(1) - size * p).abs() < 1e-13);
        let variance = size * p * (1.0 - p) * (1.0 + (size - 1.0) * rho);
        assert!((moment(2) - moment(1).powi(2) - variance).abs() < 1e-12);
    }
    assert!((repeats_of_one(5, 0.5, 0.0)[2] - 10.0 / 32.0).abs() < 1e-15);
    // two steps: p (p (1 - rho) + rho)
    assert!((repeats_of_one(2, 0.3, 0.2)[2] - 0.3 * (0.24 + 0.2)).abs() < 1e-15);
}

#[test]
fn the_chance_of_a_run_is_that_of_all_sequences_counted_one_by_one() {
    for (p, rho, length) in [(0.5, 0.0, 3), (0.3, 0.4, 2), (0.8, 0.1, 5)] {
        let found = with_run(9, p, rho, length);
        for n in 0..=9 {
            let mut slow = 0.0;
            for set in 0_u32..1 << n {
                let (mut chance, mut repeats, mut run, mut longest) = (1.0, 0.0, 0, 0);
                for step in 0..n {
                    let up = (p * (1.0 - rho) + repeats * rho) / (1.0 - rho + f64::from(step) * rho);
                    if set >> step & 1 == 1 {
                        (chance, repeats, run) = (chance * up, repeats + 1.0, run + 1);
                    } else {
                        (chance, run) = (chance * (1.0 - up), 0);
                    }
                    longest = longest.max(run);
                }
                slow += if longest >= length { chance } else { 0.0 };
            }
            assert!((found[n as usize] - slow).abs() < 1e-13, "{n} {p}");
        }
    }
}

#[test]
fn without_error_and_correlation_the_tail_is_binomial_and_the_normal_takes_over_smoothly() {
    let null = |trials: Vec<(usize, f64)>, error| Null { trials, correlation: 0.0, error };
    // 3 or 4 of 4 at a half
    assert!((null(vec![(2, 0.5), (1, 0.5), (1, 0.5)], 0.0).tail(3) - 5.0 / 16.0).abs() < 1e-15);
    assert!((null(vec![(3, 0.5)], 0.0).run_tail(2) - 3.0 / 8.0).abs() < 1e-15);
    assert_eq!((null(vec![(3, 0.5)], 0.3).run_tail(0), null(vec![(3, 0.5)], 0.3).tail(0)), (1.0, 1.0));
    // an uncertain rate makes a surprise less surprising
    assert!(null(vec![(40, 0.5)], 0.5).tail(30) > 2.0 * null(vec![(40, 0.5)], 0.0).tail(30));
    let patients = |n: usize| Null { trials: vec![(10, 0.3); n], correlation: 0.2, error: 0.05 };
    let at = |null: &Null| null.tail((null.expected() + 1.7 * null.sd()) as usize);
    let (exact, normal) = (at(&patients(400)), at(&patients(402)));
    assert!((exact / normal - 1.0).abs() < 0.06, "{exact} {normal}");
}

#[test]
fn without_copying_p_values_are_as_small_as_they_say_whatever_patients_differ_by() {
    for (correlation, beta) in [(0.0, true), (0.2, true), (0.4, true), (0.2, false), (0.4, false)] {
        let (mut below, mut runs_below, mut all) = (0.0, 0.0, 0.0);
        for seed in 0..50 {
            for source in run(&group(6, 25, correlation, beta, seed), 6) {
                let comparison = source.against_others.unwrap();
                all += 1.0;
                below += f64::from(u8::from(comparison.p <= 0.05));
                runs_below += f64::from(u8::from(comparison.longest_run_p <= 0.05));
            }
        }
        let (below, runs_below) = (below / all, runs_below / all);
        println!("correlation {correlation} beta {beta}: {below:.4} of the totals, {runs_below:.4} of the runs");
        // 300 p values: a standard error of 0.013 around 0.05; runs are whole numbers, so theirs may lie well below
        assert!((0.01..=0.1).contains(&below), "{below}");
        assert!(runs_below <= 0.09, "{runs_below}");
    }
}

#[test]
fn a_source_that_carries_entries_forward_stands_out_and_the_others_do_not() {
    let mut all = group(6, 25, 0.2, true, 7);
    let mut random = stream(7, b"copied");
    for (source, entries) in &mut all {
        if *source == 2 {
            // half of the visits get the entry of the visit before
            for visit in 1..entries.len() / 3 {
                if uniform(&mut random) < 0.5 {
                    entries.copy_within(3 * (visit - 1)..3 * visit, 3 * visit);
                }
            }
        }
    }
    let found = run(&all, 6);
    let p = |s: &Source| s.against_others.unwrap().p;
    assert!(p(&found[2]) < 1e-3, "{:?}", found[2]);
    assert!(found.iter().filter(|s| s.source != 2).all(|s| p(s) > 0.01));
}

#[test]
fn a_source_that_records_fewer_fields_is_not_blamed_for_repeating_them() {
    let mut all = group(6, 25, 0.2, true, 8);
    let before = run(&all, 6)[4];
    for (source, entries) in &mut all {
        if *source == 4 {
            entries.iter_mut().skip(2).step_by(3).for_each(|code| *code = NOT_RECORDED);
        }
    }
    let own = run(&all, 6)[4];
    // one change in three is no longer seen, here and in what is expected
    assert!(own.repeats > before.repeats + before.steps / 10);
    let (now, then) = (own.against_others.unwrap(), before.against_others.unwrap());
    assert!(now.expected > then.expected + before.steps as f64 / 10.0);
    assert!(now.p > 0.05, "{own:?}");
}

#[test]
fn nothing_to_compare_with_and_wrong_shapes_are_said_so() {
    let all = group(1, 25, 0.0, true, 1);
    let alone = run(&all, 1)[0];
    assert_eq!((alone.against_others, alone.steps), (None, 0));
    assert_eq!(run(&[], 1)[0].chance_agreement, None);
    let sequence = |source, entries| [Sequence { source, entries }];
    assert!(matches!(copies(&sequence(0, &[1, 2]), 1, 3, 1), Err(InputError::BadElement { index: 0, .. })));
    assert!(matches!(copies(&sequence(1, &[1]), 1, 1, 1), Err(InputError::BadElement { index: 0, .. })));
    assert!(matches!(copies(&[], 1, 65, 1), Err(InputError::OutOfRange { .. })));
    assert!(matches!(copies(&[], 1, 2, 3), Err(InputError::OutOfRange { .. })));
    assert!(matches!(copies(&[], 0, 2, 1), Err(InputError::TooFew { .. })));
}
