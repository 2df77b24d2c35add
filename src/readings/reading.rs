//! One score of one patient on one day, scored and attached to its episode.

use crate::catalogue::{MeasureId, Measures, PainSite, Region};
use crate::export::place::Place;
use crate::readings::score::ImputationRule;
use crate::rows::row::NameId;
use crate::rows::when::When;
use crate::units::Burden;
use std::num::NonZeroU32;

/// What is followed over time: a measure, and for pain where it is felt.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Outcome {
    pub measure: MeasureId,
    /// Where the pain is; `Unspecified` for measures that are not of one place.
    pub pain_site: PainSite,
}

impl Outcome {
    /// The region it is of: pain in back or leg lumbar, in neck or arm cervical; else the measure's own, if any.
    pub fn region(self, measures: &Measures) -> Option<Region> {
        match self.pain_site {
            PainSite::Back | PainSite::Leg => Some(Region::Lumbar),
            PainSite::Neck | PainSite::Arm => Some(Region::Cervical),
            PainSite::Other | PainSite::Unspecified => measures.get(self.measure).region,
        }
    }

    /// Its key in sheets and file names: `pain_nrs_back`, `odi`.
    pub fn key(self, measures: &Measures) -> String {
        let measure = &measures.get(self.measure).key;
        match self.pain_site {
            PainSite::Unspecified => measure.clone(),
            site => format!("{measure}_{}", site.key()),
        }
    }
}

/// An episode and a day of it, in eight bytes, also when absent.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct InEpisode {
    number: NonZeroU32, // one more than the position
    /// Days since the first treated visit of the episode.
    pub day: i32,
}

impl InEpisode {
    /// A day of an episode, which is given by its position in the run's episodes.
    pub fn new(episode: u32, day: i32) -> Self {
        Self { number: NonZeroU32::MIN.saturating_add(episode), day }
    }

    /// The episode's position in the run's episodes.
    pub fn episode(self) -> u32 {
        self.number.get() - 1
    }
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reading {
    pub patient: NameId,
    /// The site that recorded it.
    pub site: NameId,
    /// The episode it belongs to; none when no visit is near.
    pub within: Option<InEpisode>,
    /// The day on the row's own clock.
    pub when: When,
    /// What was measured.
    pub outcome: Outcome,
    /// The score in the measure's own unit.
    pub value: f64,
    /// The same from 0 (best) to 100 (worst).
    pub burden: Burden,
    /// Items answered, for measures with items.
    pub items_answered: Option<u8>,
    /// What was done about items left blank.
    pub rule: ImputationRule,
    /// Where it was read.
    pub place: Place,
    /// Whether another line gave a different value for the same day; that one is not used.
    pub disagrees: bool,
}

impl Reading {
    /// The episode it belongs to, by position in the run's episodes.
    pub fn episode(&self) -> Option<u32> {
        self.within.map(InEpisode::episode)
    }

    /// Days since the first treated visit of its episode.
    pub fn day(&self) -> Option<i32> {
        self.within.map(|within| within.day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_small_enough_for_tens_of_millions() {
        assert!(size_of::<Reading>() <= 56, "{} bytes", size_of::<Reading>());
    }
}
