//! `mendcurve sample`: writes the invented group.

use super::args::SampleArguments;
use super::say;
use crate::error::{Exit, Problem};
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
    let summary = sample::write(&arguments.folder, options)?;
    say::out(&format!("{summary}\n"))?;
    Ok(Exit::Fine)
}
