//! Time until something happens, seen for some and cut short for others.
//!
//! Everything starts from [`Spell`]s: how long each subject was followed, and how that ended. Times are counted from
//! each subject's own start, at or after 0, in any unit. A subject censored at a time is still at risk at that time, so
//! an event and a censoring at the same time count in that order (Kaplan & Meier 1958, J Am Stat Assoc 53:457-81).
//!
//! [`kaplan_meier`] treats a competing end as censoring: it answers what would happen were nobody lost that way, if
//! those lost would have fared like the others. [`aalen_johansen`] answers what share did have the event, the others in
//! the way.

mod aalen_johansen;
mod kaplan_meier;
mod log_rank;

pub use aalen_johansen::{AalenJohansen, Incidence, IncidenceStep, aalen_johansen};
pub use kaplan_meier::{KaplanMeier, SurvivalStep, SurvivalTime, kaplan_meier};
pub use log_rank::{LogRank, LogRankGroup, log_rank};

use crate::error::{InputError, at_least};
use crate::interval::Interval;

/// How a spell ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpellEnd {
    /// The event.
    Event,
    /// Something after which the event can no longer happen, or no longer counts.
    Competing,
    /// Out of sight, the event still to come.
    Censored,
}

/// One subject's time under observation and how it ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spell {
    /// Time from the subject's own start; finite, at least 0.
    pub time: f64,
    /// How it ended.
    pub end: SpellEnd,
}

/// What happened at one time, of all subjects still in sight just before it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Moment {
    time: f64,
    at_risk: usize,
    events: usize,
    competing: usize,
}

/// Refuses no spells, and times that are negative or not finite.
fn check(spells: &[Spell]) -> Result<(), InputError> {
    at_least("subjects", 1, spells.len())?;
    match spells.iter().position(|s| !(s.time >= 0.0 && s.time.is_finite())) {
        Some(index) => Err(InputError::BadElement { what: "times", index, domain: "finite and at least 0" }),
        None => Ok(()),
    }
}

/// The distinct times in rising order, those with nothing but censoring included. Spells must be checked.
fn moments(spells: &[Spell]) -> Vec<Moment> {
    let mut sorted: Vec<&Spell> = spells.iter().collect();
    sorted.sort_by(|a, b| a.time.total_cmp(&b.time));
    let mut at_risk = spells.len();
    let mut moments = Vec::new();
    // "same time" as numbers: -0 and 0 are one
    for at_once in sorted.chunk_by(|a, b| a.time == b.time) {
        let count = |end| at_once.iter().filter(|s| s.end == end).count();
        let (events, competing) = (count(SpellEnd::Event), count(SpellEnd::Competing));
        let time = at_once.first().map_or(0.0, |s| s.time + 0.0);
        moments.push(Moment { time, at_risk, events, competing });
        at_risk -= at_once.len();
    }
    moments
}

/// Limits of a survival probability from log(-log S) -/+ z s / (S |log S|); `None` where that transformation has no
/// value.
fn log_log_interval(survival: f64, standard_error: f64, z: f64) -> Option<Interval> {
    if !(survival > 0.0 && survival < 1.0) {
        return None;
    }
    let log = survival.ln();
    let spread = z * standard_error / (survival * -log);
    Some(Interval {
        low: (log * spread.exp()).exp().clamp(0.0, survival),
        high: (log * (-spread).exp()).exp().clamp(survival, 1.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ties_are_gathered_and_censored_subjects_stay_at_risk_at_their_own_time() {
        let spell = |time, end| Spell { time, end };
        let found = moments(&[
            spell(5.0, SpellEnd::Censored),
            spell(2.0, SpellEnd::Censored),
            spell(5.0, SpellEnd::Event),
            spell(0.0, SpellEnd::Competing),
            spell(5.0, SpellEnd::Event),
        ]);
        let moment = |time, at_risk, events, competing| Moment { time, at_risk, events, competing };
        assert_eq!(found, [moment(0.0, 5, 0, 1), moment(2.0, 4, 0, 0), moment(5.0, 3, 2, 0)]);
    }

    #[test]
    fn no_subjects_and_impossible_times_are_refused() {
        assert!(matches!(check(&[]), Err(InputError::TooFew { what: "subjects", .. })));
        for bad in [-1.0, f64::NAN, f64::INFINITY] {
            let spells = [1.0, bad].map(|time| Spell { time, end: SpellEnd::Event });
            assert!(matches!(check(&spells), Err(InputError::BadElement { index: 1, .. })));
        }
    }
}
