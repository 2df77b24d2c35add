//! One course of care for one condition.

use crate::catalogue::{ConditionId, Region};
use crate::rows::row::{Age, BodyMassIndex, EndedHow, NameId, Onset, Sex};
use crate::rows::when::{Quarter, When};

/// One course of care.
#[derive(Clone, PartialEq, Debug)]
pub struct Episode {
    /// The patient.
    pub patient: NameId,
    /// The site where most visits fell; at a tie the earlier one.
    pub site: NameId,
    /// Whether visits fell at more than one site.
    pub transferred: bool,
    /// The clinician of most visits.
    pub clinician: Option<NameId>,
    /// The condition of most visits; at a tie the earlier one.
    pub condition: Option<ConditionId>,
    /// Whether the visits name more than one condition.
    pub condition_changed: bool,
    /// The region treated.
    pub region: Option<Region>,
    /// The first codes cell met.
    pub icd10: Option<NameId>,
    /// A code of the episode asks for caution (myelopathy).
    pub caution: bool,
    /// Time from onset to the start of care.
    pub onset: Option<Onset>,
    /// Age at the start.
    pub age: Option<Age>,
    /// Sex.
    pub sex: Option<Sex>,
    /// Body-mass index at the start.
    pub body_mass_index: Option<BodyMassIndex>,
    /// Surgery of the region before.
    pub prior_surgery: Option<bool>,
    /// A compensation claim is open.
    pub compensation: Option<bool>,
    /// The first treated visit.
    pub first: When,
    /// The last treated visit.
    pub last: When,
    /// Day of the second treated visit, counted from the first; absent with one visit.
    pub second_visit_day: Option<i32>,
    /// Treated visits.
    pub visits: u32,
    /// Visits recorded as not attended.
    pub missed_visits: u32,
    /// Visits planned at the start.
    pub planned_visits: Option<u16>,
    /// How it ended, as recorded.
    pub ended_how: Option<EndedHow>,
    /// The quarter in which the endpoint window closes.
    pub due: Option<Quarter>,
    /// Whether the endpoint window had closed when the site's records end.
    pub is_due: bool,
    /// Whether another episode of the patient ran at the same time.
    pub overlaps: bool,
    /// Dose over the episode.
    pub dose: DoseTotals,
    /// The visits, by position in the run's visits, in order of day.
    pub visit_rows: std::ops::Range<u32>,
}

/// Dose over an episode, from the visits that recorded it.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct DoseTotals {
    /// Visits with a known peak pull.
    pub visits_with_pull: u32,
    /// Mean peak pull as percent of body weight.
    pub mean_percent_body_weight: Option<f64>,
    /// Total time under pull, s.
    pub time_under_pull_s: Option<f64>,
    /// Total force-time integral, N s.
    pub force_time_n_s: Option<f64>,
    /// Treated visits a week, from first to last visit; absent under two visits.
    pub visits_a_week: Option<f64>,
    /// Least-squares slope of peak pull on visit number, N a visit; absent under three visits with a pull.
    pub progression_n_a_visit: Option<f64>,
}
