//! One score of one patient on one day, scored and attached to its episode.

use crate::catalogue::{MeasureId, Measures, PainSite, Region};
use crate::export::place::Place;
use crate::readings::score::ImputationRule;
use crate::rows::row::NameId;
use crate::rows::when::When;
use crate::units::Burden;

/// What is followed over time: a measure, and for pain where it is felt.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Outcome {
    /// The measure.
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

/// One reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reading {
    /// The patient.
    pub patient: NameId,
    /// The site that recorded it.
    pub site: NameId,
    /// The episode it belongs to, by position in the run's episodes; none when no visit is near.
    pub episode: Option<u32>,
    /// The day on the row's own clock.
    pub when: When,
    /// Days since the first treated visit of the episode; absent without an episode.
    pub day: Option<i32>,
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
    /// Where another line gave a different value for the same day, not used.
    pub disagrees_with: Option<Place>,
}
