//! Worklist -> the clinician's pages: the list, a page for each clinician, a page for each patient.
//!
//! They show patients one by one, lie in a folder of their own, and say so at their head. Pages of patients are made
//! side by side; each is a function of the worklist alone.

mod list;
mod names;
mod patient;
#[cfg(test)]
mod tests;

use super::assemble::{PagesWritten, ReportError, rendered, write};
use super::pages::{PageLink, RestrictedPage, Section, Surround};
use super::wording::{self, notice, on_track as words};
use crate::findings::worklist::{PatientOnTrack, Worklist};
use names::FileNames;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::path::Path;

const FOLDER: &str = "restricted";
const LIST_FILE: &str = "worklist.html";
const STYLE_FILE: &str = "bulletin.css";
/// Most episodes that are listed and have pages; nobody reads more, and the sheet has them all.
const MOST_EPISODES: usize = 5_000;

/// The pages of a worklist, about to be written.
struct Restricted<'w> {
    worklist: &'w Worklist,
    /// The episodes listed: the most worrying.
    listed: &'w [PatientOnTrack],
    /// Episodes of each patient, in the order of the list.
    patients: BTreeMap<&'w str, Vec<&'w PatientOnTrack>>,
    patient_names: FileNames,
    /// Episodes of each clinician, in the order of the list.
    clinicians: BTreeMap<&'w str, Vec<&'w PatientOnTrack>>,
    clinician_names: FileNames,
}

/// A page about to be made.
enum Page<'w> {
    List,
    Clinician(&'w str),
    Patient(&'w str),
}

/// Writes `restricted/worklist.html`, `restricted/clinicians/*.html`, `restricted/patients/*.html` and their style
/// sheet under `out`, the report's folder, which is made if it does not exist. Same worklist, same bytes. `tell`: pages
/// written since the last call, and all.
///
/// # Errors
/// A figure or page cannot be made, or a file cannot be written.
pub fn write_restricted(
    worklist: &Worklist,
    out: &Path,
    tell: &(dyn Fn(u64, u64) + Sync),
) -> Result<PagesWritten, ReportError> {
    let restricted = Restricted::of(worklist);
    let folder = out.join(FOLDER);
    let around = restricted.around("", LIST_FILE, "", Vec::new());
    write(&folder, STYLE_FILE, around.css().as_bytes())?;
    let pages = restricted.pages();
    let written = pages
        .par_iter()
        .map(|page| {
            let (file, html) = restricted.rendered(page)?;
            let path = write(&folder, &file, html.as_bytes())?;
            tell(1, pages.len() as u64);
            Ok(path)
        })
        .collect::<Result<_, ReportError>>()?;
    Ok(PagesWritten { index: folder.join(LIST_FILE), pages: written, ..PagesWritten::default() })
}

impl<'w> Restricted<'w> {
    fn of(worklist: &'w Worklist) -> Self {
        let mut patients: BTreeMap<&str, Vec<&PatientOnTrack>> = BTreeMap::new();
        let mut clinicians: BTreeMap<&str, Vec<&PatientOnTrack>> = BTreeMap::new();
        let listed = worklist.patients.get(..MOST_EPISODES).unwrap_or(&worklist.patients);
        for episode in listed {
            patients.entry(&episode.patient).or_default().push(episode);
            if let Some(clinician) = &episode.clinician {
                clinicians.entry(clinician).or_default().push(episode);
            }
        }
        let patient_names = FileNames::of(patients.keys().copied());
        let clinician_names = FileNames::of(clinicians.keys().copied());
        Self { worklist, listed, patients, patient_names, clinicians, clinician_names }
    }

    /// Every page, the list first.
    fn pages(&self) -> Vec<Page<'w>> {
        let clinicians = self.clinicians.keys().map(|key| Page::Clinician(key));
        let patients = self.patients.keys().map(|key| Page::Patient(key));
        std::iter::once(Page::List).chain(clinicians).chain(patients).collect()
    }

    /// A page's file within the folder, and its HTML.
    fn rendered(&self, page: &Page<'w>) -> Result<(String, String), ReportError> {
        let (file, page) = match page {
            Page::List => (LIST_FILE.to_string(), list::worklist_page(self)),
            Page::Clinician(clinician) => (self.clinician_file(clinician), list::clinician_page(self, clinician)),
            Page::Patient(patient) => (self.patient_file(patient), patient::patient_page(self, patient)?),
        };
        rendered(&file, page.render())
    }

    fn patient_file(&self, patient: &str) -> String {
        format!("patients/{}.html", self.patient_names.get(patient))
    }

    fn clinician_file(&self, clinician: &str) -> String {
        format!("clinicians/{}.html", self.clinician_names.get(clinician))
    }

    /// A page; `up` leads from its folder to the one of the list. `clinicians` are those it links to.
    fn page(&self, title: &str, file: &str, up: &str, clinicians: Vec<&str>, sections: Vec<Section>) -> RestrictedPage {
        RestrictedPage {
            around: self.around(title, file, up, clinicians),
            restricted: words::RESTRICTED,
            style_href: format!("{up}{STYLE_FILE}"),
            sections,
        }
    }

    fn around(&self, title: &str, file: &str, up: &str, clinicians: Vec<&str>) -> Surround {
        let list = (words::WORKLIST.to_string(), LIST_FILE.to_string());
        let of_clinicians = clinicians.into_iter().map(|c| (words::clinician_link(c), self.clinician_file(c)));
        Surround {
            group: self.worklist.group.clone(),
            title: title.to_string(),
            period: words::up_to(self.worklist.up_to),
            links: std::iter::once(list)
                .chain(of_clinicians)
                .map(|(label, href)| PageLink { label, is_current: href == file, href: format!("{up}{href}") })
                .collect(),
            small_cells: words::NOTHING_WITHHELD.to_string(),
            made_by: notice::made_by(env!("CARGO_PKG_VERSION")),
            words: wording::AROUND,
        }
    }
}
