//! Whether groups differ in when the event happens.
//!
//! **Formula.** At each event time, of n at risk and d events, a group with ni at risk expects d ni/n, with variance d
//! (n - d)/(n - 1) ni/n (1 - ni/n) and covariance -d (n - d)/(n - 1) ni nj/n2 (Mantel 1966, Cancer Chemother Rep
//! 50:163-70; Peto & Peto 1972, J R Stat Soc A 135:185-206). Chi-square: the summed observed less expected, but for the
//! last group, through the inverse of their covariance; as many degrees of freedom as groups less one.
//!
//! **Domain and edge cases.** Two groups or more with subjects; groups without any are passed over. A competing end
//! counts as censored. A group that is out of sight before the first event expects nothing and adds no degree of
//! freedom. If then fewer than two groups are left, or the first event time takes all at risk, nothing can be compared:
//! an error, not a chi-square of 0.
//!
//! **Published value.** Freireich and others 1963 (Blood 21:699-716), 6-MP against placebo: chi-square 16.8, observed 9
//! and 21, expected 19.25 and 10.75. Folder `freireich_1963`; R's `survdiff` with five groups in `lung_survival`.

use nalgebra::{DMatrix, DVector};

use super::{Spell, SpellEnd, check, moments};
use crate::distribution::chi_square_tail;
use crate::error::{InputError, at_least};

/// One group of a log-rank test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogRankGroup {
    /// Number of subjects.
    pub subjects: usize,
    /// Events seen.
    pub observed: usize,
    /// Events expected if the group were like all.
    pub expected: f64,
}

/// A log-rank test.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRank {
    /// The groups, in the order given.
    pub groups: Vec<LogRankGroup>,
    /// Chi-square.
    pub chi_square: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: usize,
    /// The chance of as large a chi-square were there no difference.
    pub p_value: f64,
}

/// Compares groups of spells; `groups[i]` holds the subjects of group i.
///
/// # Errors
/// If a time is negative or not finite (its index counts within its group), or fewer than two groups can be compared.
pub fn log_rank(groups: &[&[Spell]]) -> Result<LogRank, InputError> {
    for group in groups.iter().filter(|g| !g.is_empty()) {
        check(group)?;
    }
    at_least("groups with subjects", 2, groups.iter().filter(|g| !g.is_empty()).count())?;
    let k = groups.len();
    let times: Vec<Vec<f64>> = groups.iter().map(|g| sorted_times(g)).collect();
    let all: Vec<Spell> = groups.concat();
    let mut expected = vec![0.0; k];
    let mut covariance = DMatrix::<f64>::zeros(k, k);
    for moment in moments(&all).iter().filter(|m| m.events > 0) {
        let (n, d) = (moment.at_risk as f64, moment.events as f64);
        let share: Vec<f64> =
            times.iter().map(|t| (t.len() - t.partition_point(|x| *x < moment.time)) as f64 / n).collect();
        let scale = if moment.at_risk > 1 { d * (n - d) / (n - 1.0) } else { 0.0 };
        for (i, share_i) in share.iter().enumerate() {
            expected[i] += d * share_i;
            for (j, share_j) in share.iter().enumerate() {
                covariance[(i, j)] += scale * share_i * (f64::from(u8::from(i == j)) - share_j);
            }
        }
    }
    let groups: Vec<LogRankGroup> = groups.iter().zip(expected).map(|(g, e)| describe(g, e)).collect();
    let compared: Vec<usize> = (0..k).filter(|i| groups[*i].expected > 0.0).collect();
    at_least("groups in sight at an event", 2, compared.len())?;
    let kept = &compared[..compared.len() - 1];
    let excess =
        DVector::from_iterator(kept.len(), kept.iter().map(|i| groups[*i].observed as f64 - groups[*i].expected));
    let kept_covariance = DMatrix::from_fn(kept.len(), kept.len(), |i, j| covariance[(kept[i], kept[j])]);
    // at the first event every group compared is at risk, so this fails only if nobody is left after it
    let Some(factor) = kept_covariance.cholesky() else {
        return Err(InputError::TooFew {
            what: "subjects without the event at the first event time",
            needed: 1,
            found: 0,
        });
    };
    let chi_square = excess.dot(&factor.solve(&excess)).max(0.0);
    let degrees_of_freedom = kept.len();
    let p_value = chi_square_tail(chi_square, degrees_of_freedom as f64)?;
    Ok(LogRank { groups, chi_square, degrees_of_freedom, p_value })
}

fn sorted_times(group: &[Spell]) -> Vec<f64> {
    let mut times: Vec<f64> = group.iter().map(|s| s.time).collect();
    times.sort_by(f64::total_cmp);
    times
}

fn describe(group: &[Spell], expected: f64) -> LogRankGroup {
    let observed = group.iter().filter(|s| s.end == SpellEnd::Event).count();
    LogRankGroup { subjects: group.len(), observed, expected }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn events(times: &[f64]) -> Vec<Spell> {
        times.iter().map(|&time| Spell { time, end: SpellEnd::Event }).collect()
    }

    #[test]
    fn two_groups_of_two_by_hand() {
        // events at 1 (A), 2 (B), 3 (A), 4 (B). A expects 1/2 + 1/3 + 1/2 + 0; variance 1/4 + 2/9 + 1/4 + 0
        let test = log_rank(&[&events(&[1.0, 3.0]), &events(&[4.0, 2.0])]).unwrap();
        let expected = 0.5 + 1.0 / 3.0 + 0.5;
        assert!((test.groups[0].expected - expected).abs() < 1e-15);
        let by_hand = (2.0_f64 - expected).powi(2) / (0.5 + 2.0 / 9.0);
        assert!((test.chi_square - by_hand).abs() < 1e-14);
        assert_eq!((test.degrees_of_freedom, test.groups[1].observed), (1, 2));
    }

    #[test]
    fn observed_and_expected_have_one_sum_and_the_order_of_groups_does_not_matter() {
        let groups = [events(&[1.0, 2.0, 2.0, 9.0]), events(&[3.0, 4.0, 2.0]), events(&[8.0, 7.0, 5.0, 5.0])];
        let test = log_rank(&[&groups[0], &groups[1], &groups[2]]).unwrap();
        let turned = log_rank(&[&groups[2], &groups[0], &groups[1]]).unwrap();
        assert!((test.groups.iter().map(|g| g.expected).sum::<f64>() - 11.0).abs() < 1e-13);
        assert!((test.chi_square / turned.chi_square - 1.0).abs() < 1e-12);
    }

    #[test]
    fn identical_groups_have_a_chi_square_of_zero_and_p_one() {
        let group = events(&[1.0, 4.0, 6.0]);
        let test = log_rank(&[&group, &group]).unwrap();
        assert!(test.chi_square < 1e-25);
        assert!((test.p_value - 1.0).abs() < 1e-12);
    }

    #[test]
    fn empty_groups_and_groups_gone_before_the_first_event_add_no_degree_of_freedom() {
        let (a, b) = (events(&[2.0, 3.0, 7.0]), events(&[4.0, 5.0]));
        let gone = [Spell { time: 1.0, end: SpellEnd::Censored }];
        let plain = log_rank(&[&a, &b]).unwrap();
        let test = log_rank(&[&a, &[], &gone, &b]).unwrap();
        assert_eq!((test.degrees_of_freedom, test.groups.len()), (1, 4));
        assert!((test.chi_square - plain.chi_square).abs() < 1e-14);
    }

    #[test]
    fn where_nothing_can_be_compared_the_answer_is_an_error() {
        let a = events(&[2.0, 3.0]);
        let censored = [Spell { time: 1.0, end: SpellEnd::Censored }];
        assert!(log_rank(&[]).is_err());
        assert!(log_rank(&[&a]).is_err());
        assert!(log_rank(&[&a, &[]]).is_err());
        assert!(log_rank(&[&a, &censored]).is_err());
        assert!(log_rank(&[&censored, &censored]).is_err());
        assert!(log_rank(&[&events(&[2.0]), &events(&[2.0, 2.0])]).is_err());
        assert!(log_rank(&[&a, &events(&[f64::NAN])]).is_err());
    }
}
