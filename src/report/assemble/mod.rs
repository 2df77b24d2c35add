//! Findings -> page structs and figures. Looks rows up, words them, and writes; no result is computed here.

mod backtest;
mod by;
mod condition;
mod course;
mod data_quality;
mod dose;
mod index;
mod methods;
mod responders;
mod rules;
mod setup_figures;
mod setup_sheets;
mod setups;
#[cfg(test)]
mod setups_tests;
mod site;
mod sites;
#[cfg(test)]
mod tests;
mod time_to_response;

use super::edition::{self, Edition};
use super::figures::{Figure, FigureError};
use crate::error::Problem;
use crate::findings::bulletin::Bulletin;
use crate::outputs::create;
use rayon::prelude::*;
use std::path::{Path, PathBuf};
use thiserror::Error;

pub use rules::{Rules, Threshold};

/// Why a report could not be written.
#[derive(Debug, Error)]
pub enum ReportError {
    /// A figure could not be made.
    #[error(transparent)]
    Figure(#[from] FigureError),
    /// A page could not be made.
    #[error("the page `{page}` cannot be made: {source}")]
    Page {
        /// The page.
        page: String,
        /// What the template engine said.
        source: askama::Error,
    },
    /// One of two figures would be lost.
    #[error("two figures have the name `{name}`")]
    Twins {
        /// Their name.
        name: String,
    },
    /// A file could not be written.
    #[error("{path}: {source}")]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

impl From<ReportError> for Problem {
    fn from(error: ReportError) -> Self {
        match error {
            ReportError::Io { path, source } => Problem::io(path, &source),
            other => Problem::failure(other.to_string()),
        }
    }
}

/// What was written.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct PagesWritten {
    /// The first page.
    pub index: PathBuf,
    /// Every page, the first one first.
    pub pages: Vec<PathBuf>,
    /// Every PNG.
    pub figures: Vec<PathBuf>,
}

/// A report before it is written.
struct Report {
    /// (file, HTML), the first page first.
    pages: Vec<(String, String)>,
    /// Figures by name, each once.
    figures: Vec<Figure>,
}

/// A page as (file, HTML), with its figures.
type Drawn = ((String, String), Vec<Figure>);

/// Writes `index.html`, `conditions/*.html`, `sites.html`, `sites/*.html`, `setups.html`, `data-quality.html`, `methods.html` and `figures/*.png` under `out`,
/// which is made if it does not exist. Same bulletin, same bytes.
pub fn write_pages(
    bulletin: &Bulletin,
    rules: &Rules,
    out: &Path,
    tell: &(dyn Fn(u64, u64) + Sync),
) -> Result<PagesWritten, ReportError> {
    let report = report_of(&Edition::new(bulletin, rules))?;
    let mut written = PagesWritten { index: out.join(edition::INDEX_FILE), ..PagesWritten::default() };
    for (file, html) in &report.pages {
        written.pages.push(write(out, file, html.as_bytes())?);
    }
    written.figures = report
        .figures
        .par_iter()
        .map(|figure| {
            let path = write(out, &format!("figures/{}.png", figure.name), &figure.png()?)?;
            tell(1, report.figures.len() as u64);
            Ok(path)
        })
        .collect::<Result<_, ReportError>>()?;
    Ok(written)
}

fn report_of(edition: &Edition<'_>) -> Result<Report, ReportError> {
    let conditions = edition.bulletin.conditions.par_iter().map(|condition| {
        let (page, drawn) = condition::condition_page(edition, condition)?;
        Ok((rendered(&edition.condition_file(condition), page.render())?, drawn))
    });
    let is_compared = !edition.bulletin.sites_compared.is_empty();
    let sites = edition.bulletin.site_findings.par_iter().filter(|_| is_compared).map(|site| {
        let (page, drawn) = site::site_page(edition, site)?;
        Ok((rendered(&edition.site_file(&site.site), page.render())?, drawn))
    });
    let (first, others) =
        rayon::join(|| first_pages(edition), || conditions.chain(sites).collect::<Result<Vec<Drawn>, ReportError>>());
    let (mut pages, mut figures) = (Vec::new(), Vec::new());
    for (page, drawn) in first?.into_iter().chain(others?) {
        pages.push(page);
        figures.extend(drawn);
    }

    figures.sort_by(|a, b| a.name.cmp(&b.name));
    figures.dedup(); // the first page repeats figures of the conditions
    if let Some((one, _)) = figures.iter().zip(figures.iter().skip(1)).find(|(one, next)| one.name == next.name) {
        return Err(ReportError::Twins { name: one.name.clone() });
    }
    Ok(Report { pages, figures })
}

/// The pages of which there is one each.
fn first_pages(edition: &Edition<'_>) -> Result<Vec<Drawn>, ReportError> {
    let (index, figures) = index::index_page(edition)?;
    let mut pages = vec![(rendered(edition::INDEX_FILE, index.render())?, figures)];
    if !edition.bulletin.sites_compared.is_empty() {
        let (page, drawn) = sites::sites_page(edition)?;
        pages.push((rendered(edition::SITES_FILE, page.render())?, drawn));
    }
    if let Some((page, drawn)) = setups::setups_page(edition)? {
        pages.push((rendered(edition::SETUPS_FILE, page.render())?, drawn));
    }
    let (quality, drawn) = data_quality::data_quality_page(edition)?;
    pages.push((rendered(edition::DATA_QUALITY_FILE, quality.render())?, drawn));
    pages.push((rendered(edition::METHODS_FILE, methods::methods_page(edition).render())?, Vec::new()));
    Ok(pages)
}

pub(super) fn rendered(file: &str, html: Result<String, askama::Error>) -> Result<(String, String), ReportError> {
    match html {
        Ok(html) => Ok((file.to_string(), html)),
        Err(source) => Err(ReportError::Page { page: file.to_string(), source }),
    }
}

pub(super) fn write(out: &Path, file: &str, bytes: &[u8]) -> Result<PathBuf, ReportError> {
    let path = out.join(file);
    let made = path.parent().map_or(Ok(()), create::make_folder);
    match made.and_then(|()| create::write(&path, bytes)) {
        Ok(()) => Ok(path),
        Err(source) => Err(ReportError::Io { path, source }),
    }
}
