//! What the first page leads with: at most five findings, chosen by size and certainty.
//!
//! The two conditions with the most due episodes come first: how many responded is what the reader came for. The other places go
//! to what differs most for certain. **Weight** of a finding: how far the nearer end of its 95 % interval lies from "no difference",
//! in units of what matters, 10 percentage points of a rate or 10 points of burden. So neither a large difference that may be
//! chance nor a certain one too small to matter gets to the front. A difference whose interval holds zero weighs nothing; what was
//! asked all the same (this quarter against the last) fills what places are left. At most two of a kind.

use super::bulletin::{AgainstPrevious, Bulletin, ConditionFindings, Difference, OutcomeFindings};
use super::shown::{Estimate, Period, Shown};
use super::sites::{SeenAndLost, SiteComparison, SiteRow};
use crate::models::sites::cases::Quantity;

/// Most findings that a page leads with.
pub const MOST: usize = 5;
/// Conditions that come first.
const CONDITIONS_FIRST: usize = 2;
/// Most of one kind among the others.
const MOST_OF_A_KIND: usize = 2;
/// What matters: a tenth.
const MATTERS_RATE: f64 = 0.1;
const MATTERS_BURDEN: f64 = 10.0;

/// One finding to lead with.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Lead<'a> {
    /// How many of a condition responded.
    Responded(&'a ConditionFindings),
    /// The reported quarter against an earlier one.
    Against {
        /// The condition.
        condition: &'a ConditionFindings,
        /// Its outcome.
        outcome: &'a OutcomeFindings,
        /// The difference.
        difference: &'a AgainstPrevious,
        /// Whether it is told by the rate of response, else by the mean change.
        by_rate: bool,
        /// Whether the earlier quarter is the one a year ago.
        year_ago: bool,
    },
    /// A site that stands out.
    Site(&'a SiteComparison, &'a SiteRow),
    /// A site whose rate falls when the lost are imputed.
    Lost {
        /// The site.
        site: &'a str,
        /// What is known of it.
        lost: &'a SeenAndLost,
        /// The whole group.
        whole: &'a SeenAndLost,
    },
    /// How many of a condition were followed up.
    Completeness(&'a ConditionFindings),
}

impl Lead<'_> {
    fn kind(&self) -> u8 {
        match self {
            Self::Responded(_) => 0,
            Self::Against { .. } => 1,
            Self::Site(..) => 2,
            Self::Lost { .. } => 3,
            Self::Completeness(_) => 4,
        }
    }
}

/// The findings to lead with, in order; a page takes the first [`MOST`] that it may word.
pub fn leads(bulletin: &Bulletin) -> Vec<Lead<'_>> {
    let shown = bulletin.conditions.iter().filter(|condition| has_a_rate(condition));
    let mut chosen: Vec<Lead<'_>> = shown.take(CONDITIONS_FIRST).map(Lead::Responded).collect();
    let mut others = candidates(bulletin);
    others.sort_by(|a, b| b.1.total_cmp(&a.1)); // stable: equals stay in order of mention
    for (lead, _) in others {
        let of_kind = chosen.iter().filter(|other| other.kind() == lead.kind()).count();
        if of_kind < MOST_OF_A_KIND && !repeats(&chosen, &lead) {
            chosen.push(lead);
        }
    }
    chosen
}

/// A site is mentioned once on each quantity, whatever its measures.
fn repeats(chosen: &[Lead<'_>], lead: &Lead<'_>) -> bool {
    chosen.iter().any(|other| match (other, lead) {
        (Lead::Site(_, a), Lead::Site(_, b)) => a.site == b.site,
        (Lead::Lost { site: a, .. }, Lead::Lost { site: b, .. }) => a == b,
        (Lead::Against { year_ago: a, .. }, Lead::Against { year_ago: b, .. }) => a == b,
        _ => false,
    })
}

fn has_a_rate(condition: &ConditionFindings) -> bool {
    let rows = condition.leading().map(|outcome| outcome.responders.as_slice()).unwrap_or_default();
    rows.iter().any(|row| row.site.is_none() && matches!(row.rate, Shown::Value(_)))
}

/// All that may be led with, each with its weight.
fn candidates(bulletin: &Bulletin) -> Vec<(Lead<'_>, f64)> {
    let mut found = Vec::new();
    for comparison in &bulletin.sites_compared {
        for row in comparison.rows.iter().filter(|row| row.stands_out() && !row.hides_rates()) {
            found.push((Lead::Site(comparison, row), weight_of_site(comparison, row)));
        }
    }
    for site in &bulletin.site_findings {
        for lost in &site.lost {
            let Some(whole) = bulletin.lost.iter().find(|whole| whole.domain == lost.domain) else { continue };
            if let (Some(gap), Some(usual)) = (gap(lost), gap(whole))
                && gap > usual
            {
                found.push((Lead::Lost { site: &site.site, lost, whole }, (gap - usual) / MATTERS_RATE));
            }
        }
    }
    for condition in &bulletin.conditions {
        let Some(outcome) = condition.leading() else { continue };
        let earlier = [(&outcome.against_previous, false), (&outcome.against_year_ago, true)];
        for (difference, year_ago) in earlier {
            if let Some(difference) = difference {
                let (of_change, of_rate) = weights_of_difference(outcome, difference);
                let by_rate = of_rate > of_change || difference.change.is_none();
                found.push((
                    Lead::Against { condition, outcome, difference, by_rate, year_ago },
                    of_change.max(of_rate),
                ));
            }
        }
    }
    found.extend(bulletin.conditions.first().map(|condition| (Lead::Completeness(condition), 0.0)));
    found
}

/// By how much the rate falls when the lost are imputed.
fn gap(lost: &SeenAndLost) -> Option<f64> {
    match lost.gap {
        Shown::Value(gap) => Some(gap),
        Shown::Withheld | Shown::Missing => None,
    }
}

fn weight_of_site(comparison: &SiteComparison, row: &SiteRow) -> f64 {
    let matters = if comparison.quantity == Quantity::Change { MATTERS_BURDEN } else { MATTERS_RATE };
    match (row.shrunken, comparison.overall, row.adjusted, row.limits_95) {
        (Shown::Value(estimate), Shown::Value(overall), ..) => nearer_end(&estimate, overall) / matters,
        (_, _, Shown::Value(value), Shown::Value((low, high))) => (value - high).max(low - value).max(0.0) / matters,
        _ => 0.0,
    }
}

/// The weights of the difference in change, own unit as burden, and in rate.
fn weights_of_difference(outcome: &OutcomeFindings, against: &AgainstPrevious) -> (f64, f64) {
    let width = (outcome.range.1 - outcome.range.0) / 100.0;
    let of = |difference: &Option<Difference>, matters: f64| match difference {
        Some(difference) if difference.is_beyond_chance() => nearer_end(&difference.estimate, 0.0) / matters,
        _ => 0.0,
    };
    (of(&against.change, width * MATTERS_BURDEN), of(&against.rate, MATTERS_RATE))
}

/// Distance of the nearer end of an interval from a value; 0 where the interval holds it.
fn nearer_end(estimate: &Estimate, from: f64) -> f64 {
    (estimate.low - from).max(from - estimate.high).max(0.0)
}

impl ConditionFindings {
    /// The outcome that speaks for the condition: the first that has a change, else the first.
    pub fn leading(&self) -> Option<&OutcomeFindings> {
        self.outcomes.iter().find(|outcome| !outcome.change.is_empty()).or(self.outcomes.first())
    }
}

/// The last period in which something may be shown of a condition: the reported quarter, else everything.
pub fn periods_of(bulletin: &Bulletin) -> Vec<Period> {
    bulletin.period.map(Period::Quarter).into_iter().chain([Period::All]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearer_end_counts_and_an_interval_that_holds_the_value_weighs_nothing() {
        let of = |low, high| Estimate { value: 0.0, low, high };
        assert_eq!(nearer_end(&of(0.2, 0.9), 0.0), 0.2);
        assert_eq!(nearer_end(&of(-0.9, -0.3), 0.0), 0.3);
        assert_eq!(nearer_end(&of(-0.1, 0.9), 0.0), 0.0);
    }
}
