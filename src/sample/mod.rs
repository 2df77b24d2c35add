//! The invented Harrow Vale group: a group folder to try the program on, and to test it with.
//!
//! ```text
//! plan.toml -> patient -> course -> schedule, setup, scores -> episode_care -> care -> dialects -> broken rows -> files, truth
//! ```
//!
//! Everything is drawn from streams keyed by seed, site and patient; the same seed gives the same
//! bytes on every platform. A large group is drawn and written in parts, each with its own exports and truth, so that memory does
//! not grow with the number of patients. Nothing here is used by the rest of the program.

mod broken_rows;
mod care;
mod course;
mod dialects;
mod draw;
mod episode_care;
mod patient;
mod plan;
mod schedule;
mod scores;
mod setup;
mod sheet;
mod truth;

use crate::error::{Problem, Spot};
use care::{History, simulate};
use dialects::{SETTINGS, SiteRecords};
use plan::Plan;
use rayon::prelude::*;
use std::fmt;
use std::path::{Path, PathBuf};
use truth::Truth;

/// Most patients that are in memory at once: those of one part.
const PATIENTS_A_PART: usize = 25_000;

/// What to invent.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct SampleOptions {
    /// Seed of every stream.
    pub seed: u64,
    /// Patients in the group, at least 6.
    pub patients: usize,
    /// Whether sites differ and setups hold faults, as the truth file says.
    pub faults: bool,
}

impl Default for SampleOptions {
    /// The committed sample.
    fn default() -> Self {
        Self { seed: 20_250_701, patients: 900, faults: true }
    }
}

/// What was written.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SampleSummary {
    /// Patients.
    pub patients: usize,
    /// Episodes.
    pub episodes: usize,
    /// Appointments, kept or not.
    pub visits: usize,
    /// Files under the folder, with their sizes in bytes, in the order written.
    pub files: Vec<(String, usize)>,
}

impl SampleSummary {
    /// Size of the whole folder, bytes.
    pub fn bytes(&self) -> usize {
        self.files.iter().map(|(_, size)| size).sum()
    }
}

impl fmt::Display for SampleSummary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} invented patients, {} episodes, {} appointments; {} files, {:.1} MB",
            self.patients,
            self.episodes,
            self.visits,
            self.files.len(),
            self.bytes() as f64 / 1e6
        )
    }
}

/// Why no sample was written.
#[derive(thiserror::Error, Debug)]
pub enum SampleError {
    /// The folder holds something.
    #[error("{} is not empty: choose a new folder", .0.display())]
    NotEmpty(PathBuf),
    /// Fewer patients than sites.
    #[error("a group of six clinics needs at least 6 patients, not {0}")]
    TooFewPatients(usize),
    /// A file cannot be written.
    #[error("cannot write {}: {why}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// An export cannot be put together.
    #[error("cannot write {path}: {what}")]
    Export {
        /// Which.
        path: String,
        /// Why.
        what: String,
    },
    /// The plan that the program carries is wrong.
    #[error("the plan of the sample is wrong: {0}")]
    Plan(String),
}

impl From<SampleError> for Problem {
    fn from(error: SampleError) -> Self {
        let what = error.to_string();
        match error {
            SampleError::NotEmpty(folder) => {
                Self::input("the folder is not empty").at(Spot::file(folder)).hint("name a new folder")
            }
            SampleError::TooFewPatients(_) => Self::input(what).hint("ask for 6 patients or more"),
            SampleError::File { path, why } => Self::io(path, &why),
            SampleError::Export { .. } | SampleError::Plan(_) => Self::failure(what),
        }
    }
}

/// One file of the sample, ready to be written.
struct SampleFile {
    path: String,
    bytes: Vec<u8>,
    /// What a test compares: the text before compression.
    #[cfg_attr(
        not(test),
        expect(dead_code, reason = "compressed bytes may change with the library, the text may not")
    )]
    text: String,
}

/// Writes the sample into a folder: `group.toml`, `mappings/`, `exports/`, `truth/`, `README.md`.
/// The folder must be new or empty.
///
/// # Errors
/// The folder is in use for something else, a file cannot be written, or too few patients are asked for.
pub fn write(folder: &Path, options: SampleOptions) -> Result<SampleSummary, SampleError> {
    let in_use = std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some());
    if in_use {
        return Err(SampleError::NotEmpty(folder.into()));
    }
    invent(options, PATIENTS_A_PART, &mut |file| {
        let path = folder.join(&file.path);
        let written =
            path.parent().map_or(Ok(()), std::fs::create_dir_all).and_then(|()| std::fs::write(&path, &file.bytes));
        written.map_err(|why| SampleError::File { path, why })
    })
}

/// Draws the group, at most so many patients a part, and hands over each file as soon as it is put together.
fn invent(
    options: SampleOptions,
    most_a_part: usize,
    take: &mut dyn FnMut(SampleFile) -> Result<(), SampleError>,
) -> Result<SampleSummary, SampleError> {
    let shipped = Plan::shipped()?;
    let plan = if options.faults { shipped } else { shipped.without_faults() };
    if options.patients < plan.sites.len() {
        return Err(SampleError::TooFewPatients(options.patients));
    }
    let mut summary = SampleSummary { patients: 0, episodes: 0, visits: 0, files: Vec::new() };
    let mut hand_over = |file: SampleFile, summary: &mut SampleSummary| {
        summary.files.push((file.path.clone(), file.bytes.len()));
        take(file)
    };
    let parts = options.patients.div_ceil(most_a_part);
    // the number of parts in their names, so that none of an earlier, larger sample is read
    let folder = |part: &str| if parts == 1 { String::new() } else { format!("part-{part}-of-{parts:04}/") };
    for (path, text) in SETTINGS {
        let text = text.replace("\"exports/", &format!("\"exports/{}", folder("*")));
        hand_over(of_text(path, text), &mut summary)?;
    }
    let homes = patients_by_home(&plan, options.patients);
    for part in 0..parts {
        let folder = folder(&format!("{:04}", part + 1));
        let place = |path: &str| path.replacen('/', &format!("/{folder}"), 1);
        let histories = histories(&plan, options.seed, &homes, part, parts);
        let records: Vec<SiteRecords> =
            (0..plan.sites.len()).map(|site| SiteRecords::gather(&plan, &histories, site)).collect();
        let mut accounts = Vec::new();
        for site in &records {
            for mut export in dialects::exports(&plan, site) {
                export.path = place(&export.path);
                broken_rows::plant(&mut export, options.seed);
                let written = export.write()?;
                let per_item: &[&str] = match export.mapping {
                    "coldlarch.toml" => &["odi", "ndi"],
                    "eastlow.toml" => &["rmdq"],
                    _ => &[],
                };
                accounts.push(truth::file(&plan, &export, &written).with_forms(site, per_item));
                let file = SampleFile { path: export.path, bytes: written.bytes, text: written.text };
                hand_over(file, &mut summary)?;
            }
        }
        let truth = Truth::of(options.seed, &plan, &histories, &records, accounts);
        let json = serde_json::to_string_pretty(&truth).map_err(|e| SampleError::Plan(e.to_string()))?;
        hand_over(of_text(&place("truth/truth.json"), json + "\n"), &mut summary)?;
        hand_over(of_text(&place("truth/episodes.csv"), Truth::episodes_csv(&plan, &histories)), &mut summary)?;
        summary.patients += histories.len();
        summary.episodes += histories.iter().map(|h| h.episodes.len()).sum::<usize>();
        summary.visits += records.iter().map(|r| r.visits.len()).sum::<usize>();
    }
    let mut readme = include_str!("readme.md")
        .replace("{patients}", &options.patients.to_string())
        .replace("{seed}", &options.seed.to_string());
    if parts > 1 {
        readme += &format!("\nThe group is written in {parts} parts, each with its own exports and its own truth.\n");
    }
    hand_over(of_text("README.md", readme), &mut summary)?;
    Ok(summary)
}

/// How many patients begin at each site; the last site makes up for rounding.
fn patients_by_home(plan: &Plan, patients: usize) -> Vec<usize> {
    let last = plan.sites.len() - 1;
    let mut left = patients;
    let here = |(home, site): (usize, &plan::SitePlan)| {
        let share = (site.share * patients as f64).round().max(1.0) as usize;
        let here = if home == last { left } else { share.min(left.saturating_sub(last - home)) };
        left -= here;
        here
    };
    plan.sites.iter().enumerate().map(here).collect()
}

/// The patients of a part, site after site: of each site's patients by number the part's share. Each is drawn from a stream of
/// their own, so the parts together are the patients that one part would hold.
fn histories(plan: &Plan, seed: u64, homes: &[usize], part: usize, parts: usize) -> Vec<History> {
    let of_home = |(home, patients): (usize, &usize)| {
        let numbers = patients * part / parts..patients * (part + 1) / parts;
        numbers.into_par_iter().filter_map(|number| simulate(seed, plan, home, number)).collect::<Vec<_>>()
    };
    homes.iter().enumerate().flat_map(of_home).collect()
}

fn of_text(path: &str, text: String) -> SampleFile {
    SampleFile { path: path.into(), bytes: text.clone().into_bytes(), text }
}

#[cfg(test)]
mod alike;
#[cfg(test)]
mod alike_setups;
#[cfg(test)]
mod bounds_attack;
#[cfg(test)]
mod disclosure;
#[cfg(test)]
mod disclosure_digits;
#[cfg(test)]
mod disclosure_drawings;
#[cfg(test)]
mod disclosure_editions;
#[cfg(test)]
mod read_back;
#[cfg(test)]
mod tests;
