//! `mendcurve setups`: who sets patients up differently, in what and since when, on the terminal and by exit code.

use super::args::SetupsArguments;
use super::journey;
use super::progress::Stages;
use super::say;
use crate::catalogue::setup_standard::default_text;
use crate::error::{Exit, Problem};
use crate::findings::setup_audience::shown_to;
use crate::group::load::load;
use crate::report::wording::setup_terminal;

/// Runs the command.
///
/// # Errors
/// Settings, mappings, the standard or exports are wrong, or too many rows were rejected to say anything.
pub fn run(arguments: &SetupsArguments) -> Result<Exit, Problem> {
    let Some(folder) = arguments.folder.as_ref().filter(|_| !arguments.print_standard) else {
        say::out(default_text())?;
        return Ok(Exit::Fine);
    };
    let group = load(folder)?;
    let stages = Stages::new(arguments.quiet);
    let understood = journey::understand(&group, &stages)?;
    journey::refuse_too_many_rejected(&group, &understood)?;
    let records = journey::records(&group, &understood, None);
    let (found, _) = journey::setups_and_dose(&group, &understood, records, &stages);
    let shown = shown_to(&found, group.audience);
    say::out(&setup_terminal::terminal(&shown.setups))?;
    Ok(if arguments.strict && found.required_fall_short() { Exit::FallsShort } else { Exit::Fine })
}
