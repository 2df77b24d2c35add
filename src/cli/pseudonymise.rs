//! `mendcurve pseudonymise`: prepares an export at the clinic.

use super::args::PseudonymiseArguments;
use super::say;
use crate::error::{Exit, Problem};
use crate::outputs::work_folder::clear_leftovers;
use crate::rows::pseudonym::{Request, pseudonymise};

/// Runs the command.
///
/// # Errors
/// The export, the secret or a column is not as asked, or the result exists already.
pub fn run(arguments: &PseudonymiseArguments) -> Result<Exit, Problem> {
    let request = Request {
        file: arguments.file.clone(),
        key_columns: arguments.key_columns.clone(),
        secret_file: arguments.secret_file.clone(),
        out: arguments.out.clone(),
        drop: arguments.drop.clone(),
        shift_dates: arguments.shift_dates.clone(),
        date_format: arguments.date_format.clone(),
        delimiter: arguments.delimiter.clone(),
        encoding: arguments.encoding.clone(),
    };
    say::leftovers(&clear_leftovers(&arguments.out), false);
    let done = pseudonymise(&request)?;
    say::out(&format!(
        "{} rows written to {}: {} keys replaced, {} dates shifted, {} emptied (no patient on the row), {} columns left out\n",
        done.rows,
        arguments.out.display(),
        done.keys,
        done.dates_shifted,
        done.dates_emptied,
        done.columns_dropped,
    ))?;
    Ok(Exit::Fine)
}
