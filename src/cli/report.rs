//! `mendcurve report`: a group's exports in, its report out.

use super::args::{AudienceWord, ReportArguments};
use super::journey::{self, Understood};
use super::progress::Stages;
use super::{say, summary};
use crate::error::{Exit, Problem};
use crate::group::load::load;
use crate::group::settings::{Audience, Group};
use crate::report::publish::{ForeignFiles, Output, Publication};
use crate::rows::when::Quarter;
use std::path::{Path, PathBuf};

/// Runs the command.
///
/// # Errors
/// Settings, mappings or exports are wrong, hold direct identifiers, or the output cannot be written.
/// The previous output is then untouched.
pub fn run(arguments: &ReportArguments) -> Result<Exit, Problem> {
    let mut group = load(&arguments.folder)?;
    group.audience = match arguments.audience {
        Some(AudienceWord::Internal) => Audience::Internal,
        Some(AudienceWord::Release) => Audience::Release,
        None => group.audience,
    };
    let period = arguments.period.as_deref().map(read_period).transpose()?;
    let out = arguments.out.clone().unwrap_or_else(|| default_out(&arguments.folder));

    let foreign = if arguments.keep_foreign_files { ForeignFiles::Keep } else { ForeignFiles::Refuse };
    let publication = Publication::begin(&out, Output::Report, foreign)?;
    say::leftovers(publication.left_behind(), arguments.quiet);
    let stages = Stages::new(arguments.quiet).with_timings(arguments.timings);
    let understood = journey::understand(&group, &stages)?;
    if journey::has_too_many_rejected(&group, &understood) {
        return too_many_rejected(&group, &understood, publication);
    }
    let records = journey::records(&group, &understood, period);
    let setups = journey::setups_and_dose(&group, &understood, records, &stages);
    let fitted = journey::fit(records, &stages);
    let bulletin = journey::find(&group, &understood, records, &fitted, Some(setups), &stages)?;
    let worklist = journey::worklist(&group, &understood, records, &fitted, &stages);
    drop(fitted); // they hold every reading once more, and writing takes memory, too
    let folder = publication.path();
    journey::write_patients(&understood, &worklist, folder, &stages)?;
    drop(worklist);
    journey::write_findings(&group, &bulletin, folder, &stages)?;
    journey::write_datasets(&group, &understood, folder, &stages)?;
    if let Some(rejected) = stages.run("flushing to the disk", |_| publication.finish())? {
        say::rejected_stays(&rejected);
    }
    if arguments.timings {
        eprint!("{}", stages.total());
    }
    if !arguments.quiet {
        say::out(&summary::of(&bulletin, &out.join("index.html")))?;
    }
    Ok(Exit::Fine)
}

fn read_period(text: &str) -> Result<Quarter, Problem> {
    Quarter::parse(text)
        .ok_or_else(|| Problem::input("--period is not a quarter").hint("write it as year and quarter: 2026-Q3"))
}

/// `reports/NAME`, where NAME is the folder's own.
fn default_out(folder: &Path) -> PathBuf {
    let full = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    Path::new("reports").join(full.file_name().unwrap_or("group".as_ref()))
}

fn too_many_rejected(group: &Group, understood: &Understood, publication: Publication) -> Result<Exit, Problem> {
    journey::write_account(understood, None, publication.path())?;
    let place = publication.finish_partial()?;
    let where_to = format!(
        "read {} for the reasons, mend the mapping or the export, or raise reject_limit in group.toml",
        place.join("restricted").join("rejected_rows.csv").display()
    );
    Err(journey::too_many_rejected(group, understood).hint(where_to))
}
