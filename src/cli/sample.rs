//! `mendcurve sample`: writes the invented group.

use super::args::SampleArguments;
use super::say;
use crate::error::{Exit, Problem};
use crate::report::publish::{ForeignFiles, Output, Publication};
use crate::sample::{self, SampleOptions};

/// Runs the command.
///
/// # Errors
/// The folder holds something already, or cannot be written.
pub fn run(arguments: &SampleArguments) -> Result<Exit, Problem> {
    let options = SampleOptions {
        seed: arguments.seed,
        patients: arguments.patients as usize,
        faults: !arguments.without_faults,
    };
    let publication = Publication::begin(&arguments.folder, Output::Sample, ForeignFiles::Refuse)?;
    say::leftovers(publication.left_behind(), false);
    let summary = sample::write(publication.path(), options)?;
    publication.finish()?;
    say::out(&format!("{summary}\n"))?;
    Ok(Exit::Fine)
}
