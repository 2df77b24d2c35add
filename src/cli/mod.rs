//! The command line: what was typed, one file a command, errors and exit codes.

pub mod args;
mod backtest;
mod chart;
#[cfg(test)]
mod fault_tests;
mod inspect;
mod journey;
mod patient;
mod progress;
mod pseudonymise;
mod query;
mod report;
mod sample;
mod say;
mod setups;
mod summary;

use crate::error::{Exit, Problem};
use args::{Arguments, Command};
use clap::Parser;
use std::ffi::OsString;
use std::process::ExitCode;

/// Runs the program on its arguments and gives its exit code.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            let exit = if error.use_stderr() {
                say::usage(&error.render().to_string()); // an argument may hold anything
                Exit::BadInput
            } else {
                let _ = error.print(); // a closed pipe is no error
                Exit::Fine
            };
            return ExitCode::from(exit as u8);
        }
    };
    let result = match arguments.command {
        Command::Report(arguments) => report::run(&arguments),
        Command::Inspect(arguments) => inspect::run(&arguments),
        Command::Pseudonymise(arguments) => pseudonymise::run(&arguments),
        Command::Sample(arguments) => sample::run(&arguments),
        Command::Setups(arguments) => setups::run(&arguments),
        Command::Patient(arguments) => patient::run(&arguments),
        Command::Backtest(arguments) => backtest::run(&arguments),
        Command::Query(arguments) => query::run(&arguments),
    };
    let exit = result.unwrap_or_else(|problem: Problem| {
        say::problem(&problem);
        problem.exit
    });
    ExitCode::from(exit as u8)
}

// a child of this module, so that it sees the steps of the commands; it lies beside its corpus
#[cfg(test)]
#[path = "../../tests/fuzz/mod.rs"]
mod fuzz;
