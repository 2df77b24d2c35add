//! Reads a folder of reference values and refuses every way in which a check could pass without checking.
//!
//! A folder holds `data.csv` and `expected.csv`, and, if a program made the values, `make.R` or `make.py` with
//! `version.txt`. It fails: an unexpected or missing file, a column of the data or a quantity never read, a quantity
//! asked for but absent or given twice, and a tolerance above a hundredth of the value.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// A tolerance may be this share of the value at most: two digits must agree.
const LOOSEST: f64 = 0.01;
/// The tolerance for a value of 0.
const LOOSEST_AT_ZERO: f64 = 1e-9;

/// One folder of reference values.
pub struct Dataset {
    name: String,
    columns: BTreeMap<String, (Vec<f64>, Cell<bool>)>,
    expected: BTreeMap<String, Expected>,
    failures: RefCell<Vec<String>>,
}

struct Expected {
    value: f64,
    tolerance: f64,
    read: Cell<bool>,
}

/// The folder in which this file lies.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference")
}

/// Sorted names of what lies in `folder`.
pub fn names_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

impl Dataset {
    /// Runs `check` on the folder called `name`, then fails on any disagreement and on anything left unread.
    pub fn check(name: &str, check: fn(&Dataset)) {
        let data = Self::open(name);
        check(&data);
        let mut failures = data.failures.take();
        failures.extend(
            data.columns.iter().filter(|(_, (_, read))| !read.get()).map(|(c, _)| format!("column {c} never read")),
        );
        failures.extend(data.expected.iter().filter(|(_, e)| !e.read.get()).map(|(q, _)| format!("{q} never checked")));
        assert!(failures.is_empty(), "{name}:\n{}", failures.join("\n"));
    }

    fn open(name: &str) -> Self {
        let folder = root().join(name);
        let files = names_in(&folder);
        let allowed: [&[&str]; 3] = [
            &["data.csv", "expected.csv"],
            &["data.csv", "expected.csv", "make.R", "version.txt"],
            &["data.csv", "expected.csv", "make.py", "version.txt"],
        ];
        assert!(allowed.iter().any(|a| files == *a), "{name}: unexpected or missing file among {files:?}");
        if files.len() > 2 {
            let version = fs::read_to_string(folder.join("version.txt")).unwrap();
            assert!(version.chars().any(|c| c.is_ascii_digit()), "{name}: version.txt names no version");
        }
        let (header, rows) = table(&folder.join("data.csv"));
        let column = |j: usize| rows.iter().map(|row| number(&row[j])).collect::<Vec<f64>>();
        let columns = header.iter().enumerate().map(|(j, h)| (h.clone(), (column(j), Cell::new(false)))).collect();
        let (header, rows) = table(&folder.join("expected.csv"));
        assert_eq!(header, ["quantity", "value", "abs_tol", "rel_tol", "source", "made_by"], "{name}");
        assert!(!rows.is_empty(), "{name}: nothing expected");
        let mut expected = BTreeMap::new();
        for row in rows {
            let (value, absolute, relative) = (number(&row[1]), number(&row[2]), number(&row[3]));
            let tolerance = absolute.max(relative * value.abs());
            let loosest = if value == 0.0 { LOOSEST_AT_ZERO } else { LOOSEST * value.abs() };
            assert!((0.0..=loosest).contains(&tolerance), "{name}: tolerance of {} too wide", row[0]);
            assert!(!row[4].is_empty() && !row[5].is_empty(), "{name}: {} has no source or maker", row[0]);
            let before = expected.insert(row[0].clone(), Expected { value, tolerance, read: Cell::new(false) });
            assert!(before.is_none(), "{name}: {} given twice", row[0]);
        }
        Self { name: name.to_owned(), columns, expected, failures: RefCell::default() }
    }

    /// The column called `name`.
    pub fn column(&self, name: &str) -> &[f64] {
        let (values, read) = self.columns.get(name).unwrap_or_else(|| panic!("{}: no column {name}", self.name));
        read.set(true);
        values
    }

    /// The expected `quantity` itself, where it is an argument of the check.
    pub fn expected(&self, quantity: &str) -> f64 {
        let expected =
            self.expected.get(quantity).unwrap_or_else(|| panic!("{}: {quantity} is not expected", self.name));
        expected.read.set(true);
        expected.value
    }

    /// Compares `found` with the expected `quantity` and prints the digits that agree.
    pub fn compare(&self, quantity: &str, found: f64) {
        let expected =
            self.expected.get(quantity).unwrap_or_else(|| panic!("{}: {quantity} is not expected", self.name));
        expected.read.set(true);
        let difference = (found - expected.value).abs();
        let size = if expected.value == 0.0 { 1.0 } else { expected.value.abs() };
        let digits = (-(difference / size).log10()).min(16.0);
        println!("{:<26} {quantity:<36} {:>24e} {digits:>5.1} digits", self.name, expected.value);
        // "is within", so that NaN fails
        let agrees = difference <= expected.tolerance;
        if !agrees {
            self.failures.borrow_mut().push(format!(
                "{quantity}: {found:e} found, {:e} expected within {:e}",
                expected.value, expected.tolerance
            ));
        }
    }
}

/// Header and rows of a comma-separated file without quotes, every row as long as the header.
fn table(path: &Path) -> (Vec<String>, Vec<Vec<String>>) {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert!(!text.contains('"'), "{}: quotes are not understood", path.display());
    let mut lines = text.lines().map(|line| line.split(',').map(|cell| cell.trim().to_owned()).collect::<Vec<_>>());
    let header = lines.next().unwrap_or_else(|| panic!("{}: empty", path.display()));
    let rows: Vec<_> = lines.collect();
    for (i, row) in rows.iter().enumerate() {
        assert_eq!(row.len(), header.len(), "{}: line {}", path.display(), i + 2);
    }
    (header, rows)
}

fn number(cell: &str) -> f64 {
    let value: f64 = cell.parse().unwrap_or_else(|_| panic!("not a number: '{cell}'"));
    assert!(value.is_finite(), "not a finite number: '{cell}'");
    value
}
