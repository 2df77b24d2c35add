//! The invented Harrow Vale group: a group folder to try the program on, and to test it with.
//!
//! ```text
//! plan.toml -> patient -> course -> schedule, setup, scores -> episode_care -> care -> dialects -> broken rows -> files, truth
//! ```
//!
//! Everything is drawn from streams keyed by seed, site and patient; the same seed gives the same
//! bytes on every platform. Nothing here is used by the rest of the program.

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
use std::fmt;
use std::path::{Path, PathBuf};
use truth::Truth;

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
    /// The folder holds something else.
    #[error("{} is not empty and holds no group.toml: choose a new folder", .0.display())]
    NotASample(PathBuf),
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
            SampleError::NotASample(folder) => Self::input("the folder is not empty and holds no sample")
                .at(Spot::file(folder))
                .hint("name a new folder, or one that holds an earlier sample"),
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
/// Files of an earlier sample are replaced.
///
/// # Errors
/// The folder is in use for something else, a file cannot be written, or too few patients are asked for.
pub fn write(folder: &Path, options: SampleOptions) -> Result<SampleSummary, SampleError> {
    let in_use = std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some());
    if in_use && !folder.join("group.toml").exists() {
        return Err(SampleError::NotASample(folder.into()));
    }
    let (summary, files) = invent(options)?;
    for file in files {
        let path = folder.join(&file.path);
        let written =
            path.parent().map_or(Ok(()), std::fs::create_dir_all).and_then(|()| std::fs::write(&path, &file.bytes));
        written.map_err(|why| SampleError::File { path, why })?;
    }
    Ok(summary)
}

/// Draws the group and puts all its files together.
fn invent(options: SampleOptions) -> Result<(SampleSummary, Vec<SampleFile>), SampleError> {
    let shipped = Plan::shipped()?;
    let plan = if options.faults { shipped } else { shipped.without_faults() };
    if options.patients < plan.sites.len() {
        return Err(SampleError::TooFewPatients(options.patients));
    }
    let histories = histories(&plan, options);
    let records: Vec<SiteRecords> =
        (0..plan.sites.len()).map(|site| SiteRecords::gather(&plan, &histories, site)).collect();
    let mut files: Vec<SampleFile> = SETTINGS.iter().map(|(path, text)| of_text(path, (*text).into())).collect();
    let mut accounts = Vec::new();
    for site in &records {
        for mut export in dialects::exports(&plan, site) {
            broken_rows::plant(&mut export, options.seed);
            let written = export.write()?;
            let per_item: &[&str] = match export.mapping {
                "coldlarch.toml" => &["odi", "ndi"],
                "eastlow.toml" => &["rmdq"],
                _ => &[],
            };
            accounts.push(truth::file(&plan, &export, &written).with_forms(site, per_item));
            files.push(SampleFile { path: export.path, bytes: written.bytes, text: written.text });
        }
    }
    let truth = Truth::of(options.seed, &plan, &histories, &records, accounts);
    let json = serde_json::to_string_pretty(&truth).map_err(|e| SampleError::Plan(e.to_string()))?;
    files.push(of_text("truth/truth.json", json + "\n"));
    files.push(of_text("truth/episodes.csv", Truth::episodes_csv(&plan, &histories)));
    let readme = include_str!("readme.md")
        .replace("{patients}", &options.patients.to_string())
        .replace("{seed}", &options.seed.to_string());
    files.push(of_text("README.md", readme));
    let summary = SampleSummary {
        patients: histories.len(),
        episodes: histories.iter().map(|h| h.episodes.len()).sum(),
        visits: records.iter().map(|r| r.visits.len()).sum(),
        files: files.iter().map(|f| (f.path.clone(), f.bytes.len())).collect(),
    };
    Ok((summary, files))
}

/// Every patient of every site; the last site makes up for rounding.
fn histories(plan: &Plan, options: SampleOptions) -> Vec<History> {
    let last = plan.sites.len() - 1;
    let mut left = options.patients;
    let mut all = Vec::with_capacity(options.patients);
    for (home, site) in plan.sites.iter().enumerate() {
        let share = (site.share * options.patients as f64).round().max(1.0) as usize;
        let here = if home == last { left } else { share.min(left.saturating_sub(last - home)) };
        left -= here;
        all.extend((0..here).filter_map(|number| simulate(options.seed, plan, home, number)));
    }
    all
}

fn of_text(path: &str, text: String) -> SampleFile {
    SampleFile { path: path.into(), bytes: text.clone().into_bytes(), text }
}

#[cfg(test)]
mod alike;
#[cfg(test)]
mod alike_setups;
#[cfg(test)]
mod disclosure;
#[cfg(test)]
mod read_back;
#[cfg(test)]
mod tests;
