//! One course of care for one condition.

use crate::catalogue::{ConditionId, Region};
use crate::rows::row::{Age, BodyMassIndex, EndedHow, NameId, Onset, Row, Sex};
use crate::rows::when::{Quarter, When};
use std::ops::Range;

/// One course of care.
#[derive(Clone, PartialEq, Debug)]
pub struct Episode {
    pub patient: NameId,
    /// The export's own label of it, if any.
    pub label: Option<NameId>,
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
    /// Its treated visits in order of day, as a range of [`Episodes::visit_rows`].
    pub visit_rows: Range<u32>,
}

/// Every episode of a run, with the way back to the rows.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct Episodes {
    /// The episodes, in order of patient, clock (calendar first), first day, region.
    pub list: Vec<Episode>,
    /// Positions of treated visits in the run's rows, episode after episode. Courses of care may
    /// overlap, so that the visits of one need not stand side by side among the rows.
    pub visit_rows: Vec<u32>,
    /// The episode of each row: of treated visits always, of missed visits where one is near,
    /// never of rows that hold readings only.
    pub episode_of_row: Vec<Option<u32>>,
    /// One entry a patient, in the order of the rows.
    pub patients: Vec<PatientSpan>,
    /// What the cutting met on its way.
    pub counts: CutCounts,
}

impl Episodes {
    /// The treated visits of an episode in order of day, as positions in the run's rows.
    pub fn visits_of(&self, episode: &Episode) -> &[u32] {
        let Range { start, end } = episode.visit_rows;
        self.visit_rows.get(start as usize..end as usize).unwrap_or_default()
    }

    /// The episodes of one patient.
    pub fn of_patient(&self, span: &PatientSpan) -> &[Episode] {
        self.list.get(span.episodes.start as usize..span.episodes.end as usize).unwrap_or_default()
    }
}

/// Where one patient's rows and episodes stand.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PatientSpan {
    pub patient: NameId,
    /// Range of the run's rows.
    pub rows: Range<u32>,
    /// Range of [`Episodes::list`].
    pub episodes: Range<u32>,
}

/// What the cutting met and the episodes themselves do not show.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct CutCounts {
    /// Patients whose rows name more than one sex.
    pub patients_with_conflicting_sex: u64,
    /// Patients treated at two sites on one day.
    pub patients_at_two_sites_on_one_day: u64,
    /// Patients with calendar dates in some rows and day offsets in others.
    pub patients_on_two_clocks: u64,
    /// Missed visits with no episode of the patient near.
    pub missed_visits_without_episode: u64,
    /// Treated visits that name a condition of another region than the one treated; it gets no say.
    pub visits_with_condition_of_another_region: u64,
}

impl CutCounts {
    /// Adds the counts of other patients.
    pub fn add(&mut self, other: Self) {
        self.patients_with_conflicting_sex += other.patients_with_conflicting_sex;
        self.patients_at_two_sites_on_one_day += other.patients_at_two_sites_on_one_day;
        self.patients_on_two_clocks += other.patients_on_two_clocks;
        self.missed_visits_without_episode += other.missed_visits_without_episode;
        self.visits_with_condition_of_another_region += other.visits_with_condition_of_another_region;
    }
}

/// Of episodes in order of first day, those that one row is compared with: the last two hundred that had begun. A
/// patient has a handful; an export whose patient column is a constant has millions, and must not take hours.
pub(crate) fn looked_at<T>(episodes: &[T], had_begun: impl Fn(&T) -> bool) -> Range<usize> {
    let end = episodes.partition_point(had_begun);
    end.saturating_sub(200)..end
}

/// Whether a row stands for a visit to which the patient came.
pub fn is_treated(row: &Row) -> bool {
    row.is_visit && row.attended != Some(false)
}

/// Days from one day number to another, which may lie at the ends of the range of `i32`.
pub fn days_between(from: i32, to: i32) -> i64 {
    i64::from(to) - i64::from(from)
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
