//! Words on the terminal. A closed pipe (`| head`) is a quiet end, not an error.
//!
//! Whatever a command prints goes through here, and nothing that would steer a terminal comes out: a name in an export, a file
//! name or an argument may hold such characters.

use crate::error::{Problem, plain};
use crate::outputs::work_folder::Leftovers;
use std::io::{self, IsTerminal, Write};
use std::path::Path;

/// Prints to the standard output.
///
/// # Errors
/// The output cannot be written, other than by a closed pipe.
pub fn out(text: &str) -> Result<(), Problem> {
    let mut stdout = io::stdout().lock();
    quiet_when_closed(stdout.write_all(lines(text).as_bytes()).and_then(|()| stdout.flush()))
}

/// A text of several lines, each [`plain`].
fn lines(text: &str) -> String {
    text.split_inclusive('\n')
        .flat_map(|line| match line.strip_suffix('\n') {
            Some(line) => [plain(line), "\n".into()],
            None => [plain(line), "".into()],
        })
        .collect()
}

/// The standard output for an answer that a program may read: as it is into a file or a pipe, [`plain`] on a terminal.
pub fn answer_out() -> Box<dyn Write> {
    let stdout = io::stdout();
    if stdout.is_terminal() {
        Box::new(Plain { out: stdout.lock(), begun: Vec::new() })
    } else {
        Box::new(stdout.lock())
    }
}

/// Writes texts, each line [`plain`].
struct Plain<W: Write> {
    out: W,
    /// The first bytes of a character whose others are still to come.
    begun: Vec<u8>,
}

impl<W: Write> Write for Plain<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.begun.extend_from_slice(bytes);
        let whole = match str::from_utf8(&self.begun) {
            Err(error) if error.error_len().is_none() => error.valid_up_to(),
            _ => self.begun.len(),
        };
        let text: Vec<u8> = self.begun.drain(..whole).collect();
        self.out.write_all(lines(&String::from_utf8_lossy(&text)).as_bytes())?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// A closed pipe is no error.
///
/// # Errors
/// Any other failure to write.
pub fn quiet_when_closed(result: io::Result<()>) -> Result<(), Problem> {
    match result {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Problem::failure(format!("the standard output cannot be written: {error}"))
                .hint("free some space where it goes, or write it elsewhere"))
        }
        _ => Ok(()),
    }
}

/// Prints a problem to the standard error.
pub fn problem(problem: &Problem) {
    let _ = writeln!(io::stderr().lock(), "mendcurve: {problem}");
}

/// Prints what is wrong with the arguments to the standard error.
pub fn usage(text: &str) {
    let _ = io::stderr().lock().write_all(lines(text).as_bytes());
}

/// Prints a note to the standard error.
pub fn note(text: &str) {
    let _ = writeln!(io::stderr().lock(), "mendcurve: {}", plain(text));
}

/// Says what runs that were killed left beside an output: what is still there always, what was removed unless quiet.
pub fn leftovers(found: &Leftovers, quiet: bool) {
    for path in found.removed.iter().filter(|_| !quiet) {
        note(&format!("removed {}, which a run that was killed had left", path.display()));
    }
    for path in &found.remaining {
        note(&format!(
            "a run that was killed has left {}; it may hold rows of patients: remove it, or write the same output again",
            path.display()
        ));
    }
}

/// Says that a folder of rejected rows stays although the run went well.
pub fn rejected_stays(folder: &Path) {
    note(&format!("{} stays, since files of others or changed ones lie in it: remove it by hand", folder.display()));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_is_printed_steers_the_terminal_and_lines_stay_lines() {
        assert_eq!(lines("a\u{1b}[2J\nb\r\n\nc\u{7}"), "a\\u{1b}[2J\nb\\u{d}\n\nc\\u{7}");
        let mut out = Vec::new();
        let text = "Öz,A\u{1b}]0;x\u{7}\n漢";
        let mut plain = Plain { out: &mut out, begun: Vec::new() };
        text.as_bytes().iter().for_each(|byte| plain.write_all(&[*byte]).unwrap());
        assert_eq!(String::from_utf8(out).unwrap(), "Öz,A\\u{1b}]0;x\\u{7}\n漢");
    }
}
