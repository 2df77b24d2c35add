//! The command line as typed.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

const CAUTION: &str = "Decision support for review by licensed clinicians: no diagnosis, no dose advice, not a medical device. \
Traction has contraindications, and some guidelines advise against it for low-back pain; local codes, the equipment maker's \
instructions and the clinician's judgement come first.";

/// Tells a group of clinics whether their motorised spinal traction works: for whom, how fast, where, at what dose, set up how.
#[derive(Parser, Debug)]
#[command(name = "mendcurve", version, after_help = CAUTION, arg_required_else_help = true)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Subcommand, Debug)]
pub enum Command {
    /// Read a group's exports and write its report
    Report(ReportArguments),
    /// Look at an unknown export and draft a mapping for it
    Inspect(InspectArguments),
    /// Prepare an export at the clinic: keyed pseudonyms, dropped columns, shifted dates
    Pseudonymise(PseudonymiseArguments),
    /// Write the invented sample group
    Sample(SampleArguments),
    /// Show who sets patients up differently, in what and since when
    Setups(SetupsArguments),
    /// Show whether one patient is on track
    Patient(PatientArguments),
    /// Show how predictions did for patients they had not seen
    Backtest(BacktestArguments),
    /// Ask the datasets of a report a question in SQL
    Query(QueryArguments),
}

/// `report`.
#[derive(Args, Debug)]
pub struct ReportArguments {
    /// The group folder, with group.toml in it
    pub folder: PathBuf,
    /// Where the report goes [default: reports/NAME-OF-FOLDER]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Move files of others in DIR, and changed pages, along with the new report; else they are named and the run ends. A file
    /// whose name is taken becomes NAME.kept
    #[arg(long)]
    pub keep_foreign_files: bool,
    /// The quarter to report, such as 2026-Q3 [default: the latest that is complete]
    #[arg(long, value_name = "QUARTER")]
    pub period: Option<String>,
    /// Who may see it; overrides group.toml
    #[arg(long)]
    pub audience: Option<AudienceWord>,
    /// Print nothing but errors
    #[arg(long, short)]
    pub quiet: bool,
    /// Print how long each stage took, on the standard error
    #[arg(long)]
    pub timings: bool,
}

/// Who may see the report.
#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub enum AudienceWord {
    /// Inside the group: counts below 5 are withheld
    Internal,
    /// Outside: counts of 1 to 10 are withheld
    Release,
}

/// `inspect`.
#[derive(Args, Debug)]
pub struct InspectArguments {
    /// The export
    pub file: PathBuf,
}

/// `pseudonymise`.
#[derive(Args, Debug)]
pub struct PseudonymiseArguments {
    /// The export
    pub file: PathBuf,
    /// Columns with keys of persons, separated by commas
    #[arg(long, value_name = "COLUMNS", value_delimiter = ',', required = true)]
    pub key_columns: Vec<String>,
    /// The clinic's secret: a file of at least 32 bytes that never leaves it
    #[arg(long, value_name = "FILE")]
    pub secret_file: PathBuf,
    /// Where the result goes; an existing file is not replaced
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Columns to leave out
    #[arg(long, value_name = "COLUMNS", value_delimiter = ',')]
    pub drop: Vec<String>,
    /// Date columns to shift by a number of days that is the same for all rows of a person
    #[arg(long, value_name = "COLUMNS", value_delimiter = ',', requires = "date_format")]
    pub shift_dates: Vec<String>,
    /// How those dates are written, such as %d.%m.%Y
    #[arg(long, value_name = "FORMAT")]
    pub date_format: Option<String>,
    /// The character between fields; `tab` for a tab
    #[arg(long, default_value = ",")]
    pub delimiter: String,
    /// The encoding of the export
    #[arg(long, default_value = "utf-8")]
    pub encoding: String,
}

/// `sample`.
#[derive(Args, Debug)]
pub struct SampleArguments {
    /// The folder to write; new, empty, or holding an earlier sample in which nothing was changed or added
    pub folder: PathBuf,
    /// Another seed gives another group
    #[arg(long, default_value_t = 20_250_701)]
    pub seed: u64,
    /// About how many patients
    #[arg(long, default_value_t = 900)]
    pub patients: u32,
    /// All sites alike, no setup faults: what a report must not find differences in
    #[arg(long)]
    pub without_faults: bool,
}

/// `setups`.
#[derive(Args, Debug)]
pub struct SetupsArguments {
    /// The group folder, with group.toml in it
    #[arg(required_unless_present = "print_standard")]
    pub folder: Option<PathBuf>,
    /// End with exit code 6 when a required item of the standard falls short, for a scheduled job
    #[arg(long)]
    pub strict: bool,
    /// Print the program's own setup standard, to be saved as setup-standard.toml and changed
    #[arg(long, conflicts_with_all = ["folder", "strict"])]
    pub print_standard: bool,
    /// Print nothing but the answer and errors
    #[arg(long, short)]
    pub quiet: bool,
}

/// `patient`.
#[derive(Args, Debug)]
pub struct PatientArguments {
    /// The patient's key, as in the exports or as their pseudonym
    pub key: String,
    /// The group folder, with group.toml in it
    pub folder: PathBuf,
    /// Print nothing but the answer and errors
    #[arg(long, short)]
    pub quiet: bool,
}

/// `backtest`.
#[derive(Args, Debug)]
pub struct BacktestArguments {
    /// The group folder, with group.toml in it
    pub folder: PathBuf,
    /// Print nothing but the answer and errors
    #[arg(long, short)]
    pub quiet: bool,
}

/// `query`.
#[derive(Args, Debug)]
pub struct QueryArguments {
    /// The name of a question, or a file with one; leave out to list the questions
    pub question: Option<String>,
    /// The report whose datasets are asked
    #[arg(long, value_name = "DIR", default_value = "reports/sample-data")]
    pub from: PathBuf,
    /// How the answer is printed
    #[arg(long, value_enum, default_value_t = AnswerForm::Sheet)]
    pub format: AnswerForm,
}

/// How an answer is printed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub enum AnswerForm {
    /// A sheet for the terminal, rounded for people
    Sheet,
    /// CSV, full precision
    Csv,
    /// JSON, one object a row
    Json,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_consistent() {
        Arguments::command().debug_assert();
    }
}
