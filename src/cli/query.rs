//! `mendcurve query`: asks the datasets of a report a question in SQL.

use super::args::{AnswerForm, QueryArguments};
use super::say;
use crate::error::{Exit, Problem};
use crate::query::{self, Format, RESTRICTED_NOTE};

/// Runs the command.
///
/// # Errors
/// No such question, SQL that cannot be run, or no datasets.
pub fn run(arguments: &QueryArguments) -> Result<Exit, Problem> {
    let format = match arguments.format {
        AnswerForm::Sheet => Format::Sheet,
        AnswerForm::Csv => Format::Csv,
        AnswerForm::Json => Format::Json,
    };
    query::run(arguments.question.as_deref(), &arguments.from, format, &mut *say::answer_out())?;
    // under a sheet the note is part of the answer; a file of numbers must stay readable by machine
    if arguments.question.is_some() && format != Format::Sheet {
        say::note(RESTRICTED_NOTE);
    }
    Ok(Exit::Fine)
}
