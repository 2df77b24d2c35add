//! A quarter against the one before it, and against the same quarter a year ago.
//!
//! Mean changes: Welch's interval for the difference, and his test. Rates of minimal important change: Newcombe's hybrid score
//! interval, and Pearson's chi-square. Two quarters differ by chance as well: the p values of all differences in a report, over
//! conditions, outcomes and both earlier quarters, go through one Benjamini-Hochberg step. Neither allows for a different case mix.

use super::bulletin::{AgainstPrevious, ConditionFindings, Difference};
use super::complementary::Pattern;
use super::outcome::{Evaluated, HEADLINE};
use super::shown::Estimate;
use super::withhold::OutcomePatterns;
use crate::models::change::change_summary;
use crate::models::followed::Followed;
use crate::models::responders::Responders;
use crate::rows::when::Quarter;
use mendcurve_stats::Level;
use mendcurve_stats::distribution::{chi_square_tail, t_two_sided};
use mendcurve_stats::interval::{newcombe_difference, welch_difference};
use mendcurve_stats::multiplicity::benjamini_hochberg;

impl Evaluated<'_> {
    /// The reported quarter against the one that `earlier` gives; `None` where nothing of it may be shown.
    pub(super) fn against(&self, own: &OutcomePatterns, earlier: fn(Quarter) -> Quarter) -> Option<AgainstPrevious> {
        let quarter = self.follow.sources.records.period?;
        let now = self.follow.grid.group_cell(quarter)?;
        let before = self.follow.grid.group_cell(earlier(quarter))?;
        let shown = |pattern: &Pattern| !pattern.has(now) && !pattern.has(before);
        let change = (self.is_averaged() && shown(&own.with_endpoint)).then(|| {
            let cells = self.follow.grid.sort(&self.followed);
            difference_of_changes(cells.get(now)?, cells.get(before)?)
        });
        let headline = self.definitions.iter().zip(&self.responders).zip(&own.definitions);
        let rate = headline
            .filter(|((definition, _), pattern)| definition.key == HEADLINE && shown(&pattern.responders))
            .find_map(|((_, table), _)| difference_of_rates(*table.get(now)?, *table.get(before)?));
        let against = AgainstPrevious { change: change.flatten(), rate };
        (against.change.is_some() || against.rate.is_some()).then_some(against)
    }
}

/// Adjusts the p values of all differences of a report for their number.
pub(super) fn allow_for_their_number(conditions: &mut [ConditionFindings]) {
    let mut differences: Vec<&mut Difference> = conditions
        .iter_mut()
        .flat_map(|condition| &mut condition.outcomes)
        .flat_map(|outcome| [&mut outcome.against_previous, &mut outcome.against_year_ago])
        .flatten()
        .flat_map(|against| [&mut against.change, &mut against.rate])
        .flatten()
        .filter(|difference| difference.p.is_some())
        .collect();
    let p: Vec<f64> = differences.iter().filter_map(|difference| difference.p).collect();
    for (difference, q) in differences.iter_mut().zip(benjamini_hochberg(&p).unwrap_or_default()) {
        difference.q = Some(q);
    }
}

/// Mean change now less mean change before, in the measure's own unit; `None` when either has under two episodes.
pub fn difference_of_changes(now: &[&Followed], before: &[&Followed]) -> Option<Difference> {
    let welch = welch_difference(change_summary(now)?, change_summary(before)?, Level::NINETY_FIVE).ok()?;
    let has_spread = welch.standard_error > 0.0;
    let p = has_spread.then(|| t_two_sided(welch.difference / welch.standard_error, welch.degrees_of_freedom).ok());
    let estimate = Estimate { value: welch.difference, low: welch.interval.low, high: welch.interval.high };
    Some(Difference { estimate, p: p.flatten(), q: None })
}

/// Rate now less rate before, -1 to 1; `None` when either has no episode with an outcome.
pub fn difference_of_rates(now: Responders, before: Responders) -> Option<Difference> {
    let counts = |r: Responders| (r.responders.into(), r.with_outcome.into());
    let newcombe = newcombe_difference(counts(now), counts(before), Level::NINETY_FIVE).ok()?;
    let estimate = Estimate { value: newcombe.difference, low: newcombe.interval.low, high: newcombe.interval.high };
    let (n, m) = (f64::from(now.with_outcome), f64::from(before.with_outcome));
    let pooled = f64::from(now.responders + before.responders) / (n + m);
    let variance = pooled * (1.0 - pooled) * (1.0 / n + 1.0 / m);
    let p = (variance > 0.0).then(|| chi_square_tail(newcombe.difference.powi(2) / variance, 1.0).ok()).flatten();
    Some(Difference { estimate, p, q: None })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rows::names::NameList;

    #[test]
    fn two_quarters_of_three_by_hand() {
        let site = NameList::default().intern("A").unwrap();
        let of = |change: f64| Followed { quarter: None, site, baseline: Some(8.0), endpoint: Some(8.0 + change) };
        let (now, before) = ([of(-4.0), of(-5.0), of(-6.0)], [of(-2.0), of(-3.0), of(-4.0)]);
        // means -5 and -3, SD 1 each: SE sqrt(2/3), Welch df 4, t(0.975; 4) = 2.776445
        let before: Vec<&Followed> = before.iter().collect();
        let difference = difference_of_changes(&now.iter().collect::<Vec<_>>(), &before).unwrap();
        assert_eq!(difference.estimate.value, -2.0);
        assert!((difference.estimate.high - (-2.0 + 2.776_445 * (2.0_f64 / 3.0).sqrt())).abs() < 1e-5);
        assert_eq!(difference_of_changes(&[&now[0]], &before), None);
    }

    #[test]
    fn rates_of_56_in_70_and_48_in_80_differ_as_published() {
        // Newcombe 1998, Stat Med 17:873-90: 0.0524 to 0.3339 (recalled; computed again to 0.052431 and 0.333873)
        let of = |responders, with_outcome| Responders { with_outcome, responders, ..Responders::default() };
        let difference = difference_of_rates(of(56, 70), of(48, 80)).unwrap();
        assert!((difference.estimate.low - 0.0524).abs() < 5e-5 && (difference.estimate.high - 0.3339).abs() < 5e-5);
        // Pearson's chi-square of the 2 x 2 table by hand: 150 (56 x 32 - 14 x 48)^2 / (70 x 80 x 104 x 46) = 7.02341...
        let chi_square = 150.0 * (56.0_f64 * 32.0 - 14.0 * 48.0).powi(2) / (70.0 * 80.0 * 104.0 * 46.0);
        assert!((difference.p.unwrap() - chi_square_tail(chi_square, 1.0).unwrap()).abs() < 1e-12);
        assert_eq!(difference_of_rates(of(0, 0), of(1, 2)), None);
    }
}
