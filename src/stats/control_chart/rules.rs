//! Which patterns on a control chart count as a signal.
//!
//! **Rules.** Western Electric Company 1956, Statistical Quality Control Handbook: see [`Rule`]. Distances are in sigmas from
//! the centre line; a point on a line is not beyond it, a point on the centre is on neither side. A signal is put at the
//! point that completes the pattern, which lies in the rule's zone itself.
//!
//! **False alarms.** On stable normal data with known centre and sigma the mean number of points until the first signal is
//! 370.4 for rule 1 alone, 225.4 with rule 2, 166.0 for rules 1 and 3, 152.7 for 1 and 4, and 91.75 for all four (Champ & Woodall 1987,
//! Technometrics 29:393-9; M, reproduced within 2 % by the simulation in the tests). Under all four rules 22 % of stable
//! series of 24 points signal somewhere; with limits from those very points, 15 % (see `individuals`).
//!
//! **Domain and edge cases.** Any numbers; an infinite distance is beyond every line; NaN refused. No points, no signals.
//!
//! **Cost.** One pass, O(n) for each rule.

use crate::error::InputError;

/// A pattern that is unlikely if nothing changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// One point beyond 3 sigma.
    OneBeyondThree,
    /// Two of three successive points beyond 2 sigma on the same side.
    TwoOfThreeBeyondTwo,
    /// Four of five successive points beyond 1 sigma on the same side.
    FourOfFiveBeyondOne,
    /// Eight successive points on the same side of the centre.
    EightOnOneSide,
}

/// The four rules together.
pub const WESTERN_ELECTRIC: [Rule; 4] =
    [Rule::OneBeyondThree, Rule::TwoOfThreeBeyondTwo, Rule::FourOfFiveBeyondOne, Rule::EightOnOneSide];

/// The side of the centre on which a signal lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Above the centre.
    Above,
    /// Below the centre.
    Below,
}

/// A rule met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// The point that completes the pattern, from 0.
    pub index: usize,
    /// The rule.
    pub rule: Rule,
    /// The side.
    pub side: Side,
}

impl Rule {
    /// How many of how many successive points must be beyond which line, in sigmas.
    #[must_use]
    pub fn definition(self) -> (usize, usize, f64) {
        match self {
            Self::OneBeyondThree => (1, 1, 3.0),
            Self::TwoOfThreeBeyondTwo => (2, 3, 2.0),
            Self::FourOfFiveBeyondOne => (4, 5, 1.0),
            Self::EightOnOneSide => (8, 8, 0.0),
        }
    }
}

/// Every signal among points at the distances `z` from the centre, in sigmas: by point, then in the order of `rules`.
///
/// # Errors
/// If a distance is NaN.
pub fn signals(z: &[f64], rules: &[Rule]) -> Result<Vec<Signal>, InputError> {
    if let Some(index) = z.iter().position(|z| z.is_nan()) {
        return Err(InputError::BadElement { what: "distances in sigmas", index, domain: "a number" });
    }
    let mut found = vec![];
    for (index, point) in z.iter().enumerate() {
        for rule in rules {
            let (needed, window, line) = rule.definition();
            for (side, sign) in [(Side::Above, 1.0), (Side::Below, -1.0)] {
                let beyond = |z: &f64| sign * z > line;
                let from = (index + 1).saturating_sub(window);
                if beyond(point) && z[from..=index].iter().filter(|z| beyond(z)).count() >= needed {
                    found.push(Signal { index, rule: *rule, side });
                }
            }
        }
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{standard_normal, stream};

    fn at(z: &[f64], rule: Rule) -> Vec<usize> {
        signals(z, &[rule]).unwrap().into_iter().map(|s| s.index).collect()
    }

    #[test]
    fn each_rule_by_hand() {
        assert_eq!(at(&[0.0, 3.0, 3.1, -3.1, f64::INFINITY], Rule::OneBeyondThree), [2, 3, 4]);
        // 2.1 . 2.1 within three; then 2.1 and -2.1 are on different sides
        assert_eq!(at(&[2.1, 0.0, 2.1, -2.1, 0.0, 0.0, -2.1], Rule::TwoOfThreeBeyondTwo), [2]);
        assert_eq!(at(&[-2.1, -2.5, 0.0, -2.1], Rule::TwoOfThreeBeyondTwo), [1, 3]);
        // the completing point must itself be in the zone: nothing at the 0.5
        assert_eq!(at(&[1.1, 1.1, 1.1, 1.1, 0.5, 1.1], Rule::FourOfFiveBeyondOne), [3, 5]);
        let mut run = vec![0.1; 9];
        assert_eq!(at(&run, Rule::EightOnOneSide), [7, 8]);
        run[4] = 0.0; // on the centre: on neither side
        assert_eq!(at(&run, Rule::EightOnOneSide), [] as [usize; 0]);
    }

    #[test]
    fn a_signal_names_its_rule_and_side_and_early_points_need_no_history() {
        let found = signals(&[-3.5, -2.5], &WESTERN_ELECTRIC).unwrap();
        let signal = |index, rule| Signal { index, rule, side: Side::Below };
        assert_eq!(found, [signal(0, Rule::OneBeyondThree), signal(1, Rule::TwoOfThreeBeyondTwo)]);
        assert_eq!(signals(&[], &WESTERN_ELECTRIC), Ok(vec![]));
        assert!(matches!(signals(&[0.0, f64::NAN], &[]), Err(InputError::BadElement { index: 1, .. })));
    }

    #[test]
    fn stable_data_signal_as_rarely_as_champ_and_woodall_computed() {
        use Rule::{EightOnOneSide as R4, FourOfFiveBeyondOne as R3, OneBeyondThree as R1, TwoOfThreeBeyondTwo as R2};
        // mean run length to the first signal, Champ & Woodall 1987 (M)
        let cases: [(&[Rule], f64); 5] = [
            (&[R1], 370.40),
            (&[R1, R2], 225.44),
            (&[R1, R3], 166.05),
            (&[R1, R4], 152.73),
            (&WESTERN_ELECTRIC, 91.75),
        ];
        let mut s = stream(9, b"run length");
        let z: Vec<f64> = (0..4_000_000).map(|_| standard_normal(&mut s)).collect();
        for (rules, published) in cases {
            // start afresh behind each signal; 20,000 to 40,000 runs
            let (mut runs, mut from, mut covered) = (0_u32, 0, 0);
            while from + 8000 < z.len() {
                let length = first_signal(&z[from..], rules);
                from += length;
                covered += length;
                runs += 1;
            }
            let mean = covered as f64 / f64::from(runs);
            println!("{rules:?}: {mean:.2} over {runs} runs, published {published}");
            assert!((mean / published - 1.0).abs() < 0.03, "{rules:?} {mean}");
        }
    }

    /// Points up to and with the first signal; the search goes in blocks that overlap by the longest pattern.
    fn first_signal(z: &[f64], rules: &[Rule]) -> usize {
        let mut end = 64_usize;
        loop {
            let from = end.saturating_sub(64 + 8);
            if let Some(first) = signals(&z[from..end.min(z.len())], rules).unwrap().first() {
                return from + first.index + 1;
            }
            end += 64;
        }
    }

    #[test]
    fn more_than_a_fifth_of_stable_series_of_24_signal_under_all_four_rules() {
        let runs = 20_000_u32;
        let alarms = (0..runs)
            .filter(|run| {
                let mut s = stream(10, &run.to_le_bytes());
                let z: Vec<f64> = (0..24).map(|_| standard_normal(&mut s)).collect();
                !signals(&z, &WESTERN_ELECTRIC).unwrap().is_empty()
            })
            .count();
        let share = alarms as f64 / f64::from(runs);
        println!("stable series of 24 that signal: {share:.3}");
        assert!((share - 0.217).abs() < 0.01, "{share}");
    }
}
