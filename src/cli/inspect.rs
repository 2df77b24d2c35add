//! `mendcurve inspect`: drafts a mapping for an unknown export.

use super::args::InspectArguments;
use super::say;
use crate::error::{Exit, Problem};
use crate::rows::draft_mapping;

/// Runs the command: the draft goes to the standard output, what a person must settle to the standard error.
///
/// # Errors
/// The file cannot be read, or is not a table of text.
pub fn run(arguments: &InspectArguments) -> Result<Exit, Problem> {
    let draft = draft_mapping::inspect(&arguments.file)?;
    say::out(&draft.text)?;
    for warning in &draft.warnings {
        say::note(warning);
    }
    Ok(Exit::Fine)
}
