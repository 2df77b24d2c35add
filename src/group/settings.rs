//! A checked `group.toml`.

use super::mapping::Mapping;
use crate::catalogue::setup_standard::SetupStandard;
use crate::catalogue::{Conditions, Measures};
use std::path::PathBuf;

/// Who may see the report's aggregated pages and sheets.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Audience {
    /// Inside the group: counts below 5 are withheld.
    Internal,
    /// Outside: counts of 1 to 10 are withheld (CMS cell size suppression policy).
    Release,
}

impl Audience {
    /// Its word in settings and findings.
    pub fn key(self) -> &'static str {
        match self {
            Self::Internal => "internal",
            Self::Release => "release",
        }
    }
}

/// Where a patient key is unique.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PatientKeys {
    /// One key is one person everywhere in the group.
    Group,
    /// A key is unique within its site only.
    Site,
}

/// The rules that cut a patient's visits into episodes and pick readings.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct EpisodeRules {
    /// A longer gap between treated visits, in days, starts a new episode.
    pub gap_days: i32,
    /// First and last day of the baseline window, counted from the first treated visit.
    pub baseline_days: (i32, i32),
    /// First and last day of the endpoint window.
    pub endpoint_days: (i32, i32),
}

impl Default for EpisodeRules {
    fn default() -> Self {
        Self { gap_days: 60, baseline_days: (-14, 0), endpoint_days: (28, 84) }
    }
}

/// Where a patient counts as behind, ahead or worsening; see `models/on_track.rs`.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OnTrackRules {
    /// Percentile among patients like them below which a patient is behind, if a response is unlikely as well.
    pub behind_below: f64,
    /// Percentile above which a patient is ahead.
    pub ahead_above: f64,
    /// Chance of response, 0 to 1, below which it is unlikely.
    pub unlikely_below: f64,
    /// Days without a treated visit, counted to the end of the site's records, after which care counts as ended.
    pub in_care_days: i32,
    /// Days of care without a reading after which one is overdue.
    pub overdue_days: i32,
}

impl Default for OnTrackRules {
    fn default() -> Self {
        Self { behind_below: 20.0, ahead_above: 80.0, unlikely_below: 0.5, in_care_days: 28, overdue_days: 21 }
    }
}

/// Bytes that a compressed export may unpack to, unless `group.toml` says otherwise: some 40 million visits.
pub const DEFAULT_UNPACKED_LIMIT: u64 = 8_000_000_000;

/// The exports of one site or system.
#[derive(Clone, PartialEq, Debug)]
pub struct Export {
    /// The site, unless the mapping names a site column.
    pub site: Option<String>,
    /// The files, sorted by name: path relative to the group folder.
    pub files: Vec<PathBuf>,
    /// How to read them.
    pub mapping: Mapping,
}

/// A checked group.
#[derive(Clone, PartialEq, Debug)]
pub struct Group {
    /// The folder.
    pub folder: PathBuf,
    /// Its name for people.
    pub name: String,
    /// Who may see the report.
    pub audience: Audience,
    /// Share of rejected rows (0 to 1) above which the run ends with exit code 3.
    pub reject_limit: f64,
    /// Bytes that a compressed export may unpack to.
    pub unpacked_limit: u64,
    /// Where a patient key is unique.
    pub patient_keys: PatientKeys,
    /// Episode rules.
    pub episodes: EpisodeRules,
    /// Rules of the worklist.
    pub on_track: OnTrackRules,
    /// The day the group is read as of: a later date is an error. `as_of` in group.toml, else today.
    pub as_of: chrono::NaiveDate,
    /// The exports, in the order of `group.toml`.
    pub exports: Vec<Export>,
    /// How patients and tables should be set up, and which recorded numbers are not possible.
    pub setup_standard: SetupStandard,
    /// The file it was written in, as named in the group folder; none where it is the program's own.
    pub setup_standard_file: Option<String>,
    /// The measures, overrides applied.
    pub measures: Measures,
    /// The conditions, overrides applied.
    pub conditions: Conditions,
}
