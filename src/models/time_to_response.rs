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
    pub episodes: u32,
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

impl TimeToResponse {
    /// Neither responded nor stopped, as far as was seen.
    pub fn waiting(&self) -> u32 {
        self.episodes - self.events - self.stopped
    }
}

/// Cumulative incidence after a day.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Step {
    pub day: f64,
    /// Share that has responded, with its limits.
    pub response: (f64, Interval),
    /// Share that has stopped.
    pub stopped: f64,
    /// Responses so far.
    pub responses: u32,
    /// Stops so far.
    pub stops: u32,
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
    let (mut responses, mut stops) = (0_u32, 0_u32);
    let add = |count: &mut u32, more: usize| *count = count.saturating_add(u32::try_from(more).unwrap_or(u32::MAX));
    let step = |step: &IncidenceStep| {
        add(&mut responses, step.events);
        add(&mut stops, step.competing_ends);
        let value = step.event.value;
        let certain = Interval { low: value, high: value }; // 0 before the first response, 1 after the last
        Step {
            day: step.time,
            response: (value, step.event.interval.unwrap_or(certain)),
            stopped: step.competing.value,
            responses,
            stops,
        }
    };
    incidence.steps.iter().map(step).collect()
}

#[cfg(test)]
mod tests {
    use super::super::panel::Panel;
    use super::super::simulated::response;
    use super::*;
    use crate::episodes::boundaries::cut;
    use crate::episodes::timeline::*;
    use crate::group::settings::EpisodeRules;

    /// An episode of 20 days of care, not due or due, that ended in some way.
    fn episode(ended_how: Option<EndedHow>, is_due: bool) -> Episode {
        let visits = visits_with_scores(vec![(visit(100), Vec::new()), (visit(120), Vec::new())]);
        let cut = cut(&visits, &regions(), &EpisodeRules::default());
        Episode { ended_how, is_due, ..cut.list[0].clone() }
    }

    fn spell_of(scores: &[(f64, f64)], ended_how: Option<EndedHow>, is_due: bool, sustained: bool) -> Option<Spell> {
        let panel = Panel::made(&[scores.iter().copied().unzip()]);
        spell(&episode(ended_how, is_due), panel.track(0).unwrap(), &response(), sustained, 28)
    }

    #[test]
    fn a_wait_ends_with_a_response_a_stop_or_the_last_reading() {
        let course = [(0.0, 7.0), (7.0, 6.0), (14.0, 4.0), (21.0, 6.0), (35.0, 4.0), (42.0, 3.0)];
        let event = |time| Some(Spell { time, end: SpellEnd::Event });
        assert_eq!(spell_of(&course, None, true, false), event(14.0));
        assert_eq!(spell_of(&course, None, true, true), event(35.0), "that of day 14 did not last");
        let poor = &course[..2];
        let stopped = Some(Spell { time: 20.0, end: SpellEnd::Competing });
        assert_eq!(spell_of(poor, Some(EndedHow::StoppedEarly), false, false), stopped, "on the last day of care");
        assert_eq!(spell_of(poor, None, true, false), stopped, "the window is over and nothing reached it");
        let waiting = Some(Spell { time: 7.0, end: SpellEnd::Censored });
        assert_eq!(spell_of(poor, None, false, false), waiting);
        assert_eq!(spell_of(poor, Some(EndedHow::Completed), true, false), waiting);
        assert_eq!(spell_of(&[(0.0, 1.0), (7.0, 0.0)], None, true, false), None, "no room for two points");
    }

    #[test]
    fn those_who_stopped_lower_the_share_that_responds_and_not_the_median_of_the_others() {
        // four respond on days 10, 20, 30, 40, two stop on day 15
        let event = |time| (None, Spell { time, end: SpellEnd::Event });
        let stop = (None, Spell { time: 15.0, end: SpellEnd::Competing });
        let found = time_to_response(&[event(10.0), event(20.0), event(30.0), event(40.0), stop, stop]).unwrap();
        assert_eq!((found.episodes, found.events, found.stopped, found.p_onset), (6, 4, 2, None));
        let last = found.incidence.last().unwrap();
        // by hand: 1/6, then 1/2 of what is left after two stops ... 4/6 in the end
        assert!((last.response.0 - 4.0 / 6.0).abs() < 1e-12 && (last.stopped - 2.0 / 6.0).abs() < 1e-12);
        assert_eq!((last.responses, last.stops), (4, 2));
        // Kaplan & Meier: 5/6 after day 10, then 3 at risk: 5/9, 5/18
        assert_eq!(found.median, Some(30.0));
    }
}
