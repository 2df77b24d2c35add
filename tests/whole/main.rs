//! The whole command on whole groups: what a person at the keyboard gets.

mod bad_input;
mod balance;
mod commands;
mod dialects;
mod direction;
mod faults;
mod hostile_names;
mod order;
mod outputs;
mod privacy;
mod published_trials;
mod release;
mod remedies;
mod sample_group;
mod setups;
mod stray_quotes;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The project's folder.
fn project() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The program with arguments, run in the project's folder.
fn mendcurve(arguments: &[&str]) -> Output {
    command(arguments).output().expect("the program starts")
}

fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_mendcurve"));
    command.args(arguments).current_dir(project());
    command
}

fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A path as an argument.
fn text(path: &Path) -> &str {
    path.to_str().expect("a path in UTF-8")
}

/// A small group made for one test: `group.toml`, one mapping, one export.
struct SmallGroup {
    folder: tempfile::TempDir,
}

impl SmallGroup {
    /// A group of one site whose mapping has the given text.
    fn new(mapping: &str, export: impl AsRef<[u8]>) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let group = "name = \"Small\"\nas_of = 2026-11-25\n[[exports]]\nsite = \"Alderwick\"\n\
                     files = [\"export.csv\"]\nmapping = \"mapping.toml\"\n";
        let small = Self { folder };
        small.put("group.toml", group);
        small.put("mapping.toml", mapping);
        small.put("export.csv", export);
        small
    }

    fn put(&self, name: &str, content: impl AsRef<[u8]>) {
        std::fs::write(self.folder.path().join(name), content).expect("a file");
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Runs `report` into `out` beside the exports.
    fn report(&self) -> Output {
        mendcurve(&["report", text(self.folder.path()), "--out", text(&self.path("out"))])
    }

    /// The one line of the reconciliation after the header, by column.
    fn account(&self) -> Account {
        account(&self.path("out")).into_iter().next().expect("one file")
    }
}

/// One line of `reconciliation.csv`, with the file's own name from `restricted/columns.csv`.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Account {
    file: String,
    read: u64,
    kept: u64,
    duplicate: u64,
    rejected: u64,
    left_out: u64,
    blanked: u64,
}

fn account(out: &Path) -> Vec<Account> {
    // a run that rejected too many rows leaves the account alone
    let columns = out.join("restricted/columns.csv");
    let names: std::collections::HashMap<String, String> = columns
        .exists()
        .then(|| sheet(&columns))
        .into_iter()
        .flatten()
        .map(|mut line| (line.remove("export").expect("a place"), line.remove("file").expect("a file")))
        .collect();
    sheet(&out.join("tables/reconciliation.csv"))
        .iter()
        .map(|line| {
            let number = |column: &str| line[column].parse().expect("a count");
            Account {
                file: names.get(&line["file"]).unwrap_or(&line["file"]).clone(),
                read: number("rows_read"),
                kept: number("rows_kept"),
                duplicate: number("rows_duplicate"),
                rejected: number("rows_rejected"),
                left_out: number("rows_left_out"),
                blanked: number("cells_blanked"),
            }
        })
        .collect()
}

type Line = std::collections::HashMap<String, String>;

/// A sheet as lines of named cells.
fn sheet(path: &Path) -> Vec<Line> {
    let mut reader = csv::Reader::from_path(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let header = reader.headers().expect("a header").clone();
    let line =
        |record: csv::StringRecord| header.iter().map(str::to_owned).zip(record.iter().map(str::to_owned)).collect();
    reader.records().map(|record| line(record.expect("a line"))).collect()
}

fn number(line: &Line, column: &str) -> f64 {
    line[column].parse().unwrap_or_else(|_| panic!("{column} of {line:?}"))
}
