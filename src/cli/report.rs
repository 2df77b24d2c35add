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
    let out = arguments.out.clone().unwrap_or_else(|| default_out(&arguments.folder, group.audience));

    let foreign = if arguments.keep_foreign_files { ForeignFiles::Keep } else { ForeignFiles::Refuse };
    let publication = Publication::begin(&out, Output::Report, foreign)?;
    say::leftovers(publication.left_behind(), arguments.quiet);
    let stages = Stages::new(arguments.quiet).with_timings(arguments.timings);
    let understood = journey::understand(&group, &stages)?;
    if journey::has_too_many_rejected(&group, &understood) {
        return too_many_rejected(&arguments.folder, &group, &understood, publication);
    }
    let records = journey::records(&group, &understood, period);
    let setups = journey::setups_and_dose(&group, &understood, records, &stages);
    let fitted = journey::fit(records, &stages);
    let bulletin = journey::find(&group, &understood, records, &fitted, Some(setups), &stages)?;
    let folder = publication.path();
    // an edition for release says nothing of patients one by one, so that the whole folder may be handed on
    let says_patients = group.audience == Audience::Internal;
    let worklist = says_patients.then(|| journey::worklist(&group, &understood, records, &fitted, &stages));
    drop(fitted); // they hold every reading once more, and writing takes memory, too
    if let Some(worklist) = worklist {
        journey::write_patients(&understood, &worklist, folder, &stages)?;
    }
    journey::write_findings(&group, &bulletin, folder, &stages)?;
    if says_patients {
        journey::write_datasets(&group, &understood, folder, &stages)?;
    }
    if let Some(rejected) = stages.run("flushing to the disk", |_| publication.finish())? {
        say::rejected_stays(&rejected);
    }
    if arguments.timings {
        eprint!("{}", stages.total());
    }
    if !arguments.quiet {
        let patients = (!says_patients).then(|| where_patients_are(&arguments.folder));
        say::out(&summary::of(&bulletin, &out.join("index.html"), patients.as_deref()))?;
    }
    Ok(Exit::Fine)
}

fn read_period(text: &str) -> Result<Quarter, Problem> {
    Quarter::parse(text)
        .ok_or_else(|| Problem::input("--period is not a quarter").hint("write it as year and quarter: 2026-Q3"))
}

/// `reports/NAME`, where NAME is the folder's own; for release `reports/NAME-release`, so that it never takes the place of the other.
fn default_out(folder: &Path, audience: Audience) -> PathBuf {
    let full = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    let mut name = full.file_name().unwrap_or("group".as_ref()).to_owned();
    if audience == Audience::Release {
        name.push("-release");
    }
    Path::new("reports").join(name)
}

/// Where the patients are whom an edition for release says nothing of.
fn where_patients_are(folder: &Path) -> String {
    let internal = default_out(folder, Audience::Internal);
    match internal.join("restricted").is_dir() {
        true => format!("in the internal edition, {}", internal.display()),
        false => format!("in the internal edition: mendcurve report {} --audience internal", folder.display()),
    }
}

fn too_many_rejected(
    folder: &Path,
    group: &Group,
    understood: &Understood,
    publication: Publication,
) -> Result<Exit, Problem> {
    journey::write_reconciliation(&journey::account_of_rows(group, understood), publication.path())?;
    let mend = "mend the mapping or the export, or raise reject_limit in group.toml";
    let hint = match group.audience {
        Audience::Internal => {
            journey::write_rows(understood, None, publication.path())?;
            let place = publication.finish_partial()?.join("restricted").join("rejected_rows.csv");
            format!("read {} for the reasons, {mend}", place.display())
        }
        // rows of patients stand in no folder that is made to be handed on
        Audience::Release => {
            let place = publication.finish_partial()?.join("tables").join("reconciliation.csv");
            format!(
                "{} counts them; their lines and reasons are told by `mendcurve report {} --audience internal`; {mend}",
                place.display(),
                folder.display()
            )
        }
    };
    Err(journey::too_many_rejected(group, understood).hint(hint))
}
