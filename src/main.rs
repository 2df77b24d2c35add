//! Parses the command line, runs the command, renders the error, exits.

use mendcurve::cli;
use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run(std::env::args_os())
}
