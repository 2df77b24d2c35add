//! The clinician's findings: who is on track, one entry an episode in care. Patient-level and restricted.

use super::curve::CurveModel;
use super::shown::Estimate;
use crate::catalogue::Region;
use chrono::NaiveDate;

/// Where a patient stands, most worrying first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Status {
    /// Worse by more than the measure's error, or beyond the patient's own prediction.
    Worsening,
    /// In the lowest fifth of patients like them, and more likely than not not to respond.
    Behind,
    /// No baseline and follow-up yet, or no prediction that may be relied on.
    TooFewReadings,
    /// Neither.
    AsExpected,
    /// In the best fifth of patients like them.
    Ahead,
}

impl Status {
    /// The word that leads the sentence, and stands in `on_track.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Worsening => "worsening",
            Self::Behind => "behind",
            Self::TooFewReadings => "too few readings",
            Self::AsExpected => "as expected",
            Self::Ahead => "ahead",
        }
    }
}

/// Every episode in care, most worrying first.
#[derive(Clone, PartialEq, Debug)]
pub struct Worklist {
    /// The group's name.
    pub group: String,
    /// The last day that any export of calendar dates reaches.
    pub up_to: Option<NaiveDate>,
    /// The cut-offs in words, one sentence each.
    pub rules: Vec<String>,
    /// The patients.
    pub patients: Vec<PatientOnTrack>,
}

/// One episode.
#[derive(Clone, PartialEq, Debug)]
pub struct PatientOnTrack {
    /// Site of most visits.
    pub site: String,
    /// Clinician of most visits.
    pub clinician: Option<String>,
    /// Opaque patient key.
    pub patient: String,
    /// Number of the episode among the patient's, 1 the first.
    pub episode: u32,
    /// Condition key.
    pub condition: String,
    /// Condition title for people.
    pub condition_title: String,
    /// Region treated.
    pub region: Region,
    /// A code of the episode asks for caution (myelopathy).
    pub caution: bool,
    /// First treated visit, when the export has dates.
    pub first_visit: Option<NaiveDate>,
    /// Day of the last treated visit, counted from the first.
    pub last_visit_day: i32,
    /// Treated visits.
    pub visits: u32,
    /// Visits planned.
    pub planned_visits: Option<u32>,
    /// Whether care is still going on.
    pub in_care: bool,
    /// The most worrying status of the outcomes.
    pub status: Status,
    /// Its sentence.
    pub reason: String,
    /// Readings that are overdue, one sentence each.
    pub overdue: Vec<String>,
    /// Pain and disability, most worrying first.
    pub outcomes: Vec<OutcomeOnTrack>,
    /// Dose and setup on the episode's time axis; quantities that were never recorded are left out.
    pub channels: Vec<Channel>,
}

/// One outcome of the episode.
#[derive(Clone, PartialEq, Debug)]
pub struct OutcomeOnTrack {
    /// Outcome key.
    pub key: String,
    /// Title for people.
    pub title: String,
    /// Unit for people.
    pub unit: String,
    /// Decimals for people.
    pub decimals: usize,
    /// Lowest and highest possible value.
    pub range: (f64, f64),
    /// Whether a lower score is better.
    pub lower_is_better: bool,
    /// Where the patient stands.
    pub status: Status,
    /// The sentence with its numbers.
    pub reason: String,
    /// Day of the latest reading.
    pub day: i32,
    /// The latest reading.
    pub last_value: f64,
    /// What was expected of it before it was seen: mean and 80 % band.
    pub expected: Option<Estimate>,
    /// Share of patients like them (same baseline) who would do worse on that day, 0 to 100.
    pub percentile: Option<f64>,
    /// Chance of a minimal important change by the endpoint, 0 to 1, all readings used.
    pub chance_of_response: Option<f64>,
    /// Day for which that chance is given.
    pub endpoint_day: Option<f64>,
    /// All readings, each with the band predicted before it was seen.
    pub readings: Vec<ReadingPoint>,
    /// What is expected after the last reading: day, mean and 80 % band.
    pub to_come: Vec<(f64, Estimate)>,
    /// The next reading, if one is to come.
    pub next: Option<NextReading>,
    /// The model the predictions come from.
    pub model: Option<CurveModel>,
}

/// A reading and what was expected of it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ReadingPoint {
    /// Day since the first treated visit.
    pub day: i32,
    /// The score.
    pub value: f64,
    /// Mean and 80 % band predicted from the earlier readings.
    pub expected: Option<Estimate>,
}

/// What to look for at the next visit.
#[derive(Clone, PartialEq, Debug)]
pub struct NextReading {
    /// The likely day.
    pub day: f64,
    /// Mean and 80 % band.
    pub expected: Estimate,
    /// A score at least this good is good news: the best fifth of what is expected.
    pub good_news: f64,
    /// A score at least this bad is bad news: the worst fifth.
    pub bad_news: f64,
}

/// One recorded quantity of dose or setup over the visits.
#[derive(Clone, PartialEq, Debug)]
pub struct Channel {
    /// For people: `peak pull`.
    pub label: &'static str,
    /// Unit for people: `N`.
    pub unit: &'static str,
    /// Decimals for people.
    pub decimals: usize,
    /// Day and value.
    pub points: Vec<(i32, f64)>,
    /// Visits at which it differs from the one before: day, before, after.
    pub changes: Vec<(i32, f64, f64)>,
}
