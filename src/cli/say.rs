//! Words on the terminal. A closed pipe (`| head`) is a quiet end, not an error.

use crate::error::Problem;
use std::io::{self, Write};

/// Prints to the standard output.
///
/// # Errors
/// The output cannot be written, other than by a closed pipe.
pub fn out(text: &str) -> Result<(), Problem> {
    let mut stdout = io::stdout().lock();
    quiet_when_closed(stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()))
}

/// A closed pipe is no error.
///
/// # Errors
/// Any other failure to write.
pub fn quiet_when_closed(result: io::Result<()>) -> Result<(), Problem> {
    match result {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Problem::failure(format!("the standard output cannot be written: {error}")))
        }
        _ => Ok(()),
    }
}

/// Prints a problem to the standard error.
pub fn problem(problem: &Problem) {
    let _ = writeln!(io::stderr().lock(), "mendcurve: {problem}");
}

/// Prints a note to the standard error.
pub fn note(text: &str) {
    let _ = writeln!(io::stderr().lock(), "mendcurve: {text}");
}
