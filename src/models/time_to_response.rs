//! Time from the first treated visit to a response, with stopping early as the competing event.
//!
//! Of each episode with a baseline from which the definition can be reached:
//! - **response** on the day of the first reading after the baseline that meets it (sustained: that and the next reading);
//! - else **stopped early** on the last day of care, when that is what was recorded (stopped, lost or referred on), or when nothing was
//!   recorded, the endpoint window is over and neither a visit nor a reading reached it;
//! - else censored at the last reading.
//!
//! The day of a response is the day it was seen; it came some time after the reading before. Kaplan & Meier take those
//! who stopped as censored, as if they went on like the others; Aalen & Johansen count them as lost to a response. The
//! truth for the group that came is the second.

use super::panel::Track;
use crate::catalogue::Definition;
use crate::episodes::episode::Episode;
use crate::rows::row::{EndedHow, Onset};
use mendcurve_stats::Level;
use mendcurve_stats::interval::Interval;
use mendcurve_stats::survival::{
    AalenJohansen, IncidenceStep, Spell, SpellEnd, aalen_johansen, kaplan_meier, log_rank,
};

/// The time to a response of a group of episodes.
#[derive(Clone, PartialEq, Debug)]
pub struct TimeToResponse {
    /// Episodes.
    pub episodes: u32,
    /// Responses.
    pub events: u32,
    /// Stopped early before a response.
    pub stopped: u32,
    /// Kaplan-Meier median, day.
    pub median: Option<f64>,
    /// Brookmeyer-Crowley limits of the median.
    pub median_limits: (Option<f64>, Option<f64>),
    /// Log-rank p between the onset classes; `None` with fewer than two.
    pub p_onset: Option<f64>,
    /// Cumulative incidence after each day on which something happened.
    pub incidence: Vec<Step>,
}

/// Cumulative incidence after a day.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Step {
    /// The day.
    pub day: f64,
    /// Share that has responded, with its limits.
    pub response: (f64, Interval),
    /// Share that has stopped.
    pub stopped: f64,
    /// Responses and stops so far.
    pub seen: u32,
}

/// How one episode's wait ended; `None` when it cannot respond or has no baseline.
///
/// `window_begins` is the first day of the endpoint window.
pub fn spell(
    episode: &Episode,
    track: Track<'_>,
    definition: &Definition,
    sustained: bool,
    window_begins: i32,
) -> Option<Spell> {
    let baseline = track.baseline().filter(|score| definition.reachable(*score))?;
    let met: Vec<(f64, bool)> =
        track.points().skip(1).map(|(day, score)| (day, definition.reached(baseline, score))).collect();
    let response = if sustained {
        met.windows(2).find(|pair| pair.iter().all(|(_, met)| *met)).and_then(|pair| pair.first())
    } else {
        met.iter().find(|(_, met)| *met)
    };
    if let Some((day, _)) = response {
        return Some(Spell { time: *day, end: SpellEnd::Event });
    }
    let last_reading = track.last().map_or(0.0, |(day, _)| day);
    let last_day = last_reading.max(f64::from(last_visit_day(episode)));
    let is_stopped = match episode.ended_how {
        Some(EndedHow::StoppedEarly | EndedHow::Lost | EndedHow::ReferredOn) => true,
        Some(EndedHow::Completed | EndedHow::Ongoing) => false,
        None => episode.is_due && last_day < f64::from(window_begins),
    };
    Some(match is_stopped {
        true => Spell { time: last_day, end: SpellEnd::Competing },
        false => Spell { time: last_reading, end: SpellEnd::Censored },
    })
}

/// Day of the last treated visit, counted from the first.
pub fn last_visit_day(episode: &Episode) -> i32 {
    episode.last.day().saturating_sub(episode.first.day()).max(0)
}

/// Works out the time to a response of episodes by onset class. `None` without episodes.
pub fn time_to_response(spells: &[(Option<Onset>, Spell)]) -> Option<TimeToResponse> {
    let all: Vec<Spell> = spells.iter().map(|(_, spell)| *spell).collect();
    let curve = kaplan_meier(&all, Level::NINETY_FIVE).ok()?;
    let incidence = aalen_johansen(&all, Level::NINETY_FIVE).ok()?;
    let count = |end: SpellEnd| u32::try_from(all.iter().filter(|spell| spell.end == end).count()).unwrap_or(u32::MAX);
    let classes: Vec<Vec<Spell>> = [Onset::Acute, Onset::Subacute, Onset::Persistent]
        .into_iter()
        .map(|onset| spells.iter().filter(|(class, _)| *class == Some(onset)).map(|(_, spell)| *spell).collect())
        .filter(|class: &Vec<Spell>| !class.is_empty())
        .collect();
    let slices: Vec<&[Spell]> = classes.iter().map(Vec::as_slice).collect();
    Some(TimeToResponse {
        episodes: u32::try_from(all.len()).unwrap_or(u32::MAX),
        events: count(SpellEnd::Event),
        stopped: count(SpellEnd::Competing),
        median: curve.median.value,
        median_limits: (curve.median.low, curve.median.high),
        p_onset: log_rank(&slices).ok().map(|test| test.p_value),
        incidence: steps(&incidence),
    })
}

fn steps(incidence: &AalenJohansen) -> Vec<Step> {
    let mut seen = 0_u32;
    let step = |step: &IncidenceStep| {
        seen = seen.saturating_add(u32::try_from(step.events + step.competing_ends).unwrap_or(u32::MAX));
        let value = step.event.value;
        let certain = Interval { low: value, high: value }; // 0 before the first response, 1 after the last
        Step {
            day: step.time,
            response: (value, step.event.interval.unwrap_or(certain)),
            stopped: step.competing.value,
            seen,
        }
    };
    incidence.steps.iter().map(step).collect()
}
