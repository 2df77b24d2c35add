//! An edition for release, as a whole: what is in its folder may be handed on.

use super::{SmallGroup, account, mendcurve, project, sheet, stderr, stdout, text};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use tempfile::TempDir;

/// The sample's edition for release, written once for all tests, and what the terminal said.
fn release() -> (PathBuf, &'static str) {
    static SLOT: OnceLock<(TempDir, String)> = OnceLock::new();
    let (folder, said) = SLOT.get_or_init(|| {
        let scratch = tempfile::tempdir().unwrap();
        let out = scratch.path().join("out");
        let output = mendcurve(&["report", "sample-data", "--audience", "release", "--out", text(&out)]);
        assert!(output.status.success(), "{}", stderr(&output));
        (scratch, stdout(&output))
    });
    (folder.path().join("out"), said)
}

/// Every file below a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let (mut found, mut folders) = (Vec::new(), vec![folder.to_path_buf()]);
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() { folders.push(path) } else { found.push(path) }
        }
    }
    found
}

#[test]
fn no_patient_and_no_row_stands_in_the_folder_and_no_page_leads_to_one() {
    let (out, said) = release();
    assert!(!out.join("restricted").exists());
    for path in files(&out) {
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_owned();
        assert!(["html", "png", "csv", "json", ""].contains(&ending.as_str()), "{}", path.display());
        if ending == "html" {
            let page = std::fs::read_to_string(&path).unwrap();
            assert!(!page.contains("restricted/") && !page.contains("restricted part"), "{}", path.display());
        }
    }
    assert!(said.contains("patients' pages and rows are in no edition for release"), "{said}");
    assert!(said.contains("internal edition"), "{said}");
}

#[test]
fn counts_are_in_fives_and_everybody_is_told_so() {
    let (out, said) = release();
    let mut counted = 0;
    for (name, columns) in [
        ("completeness", &["episodes", "with_baseline", "with_endpoint"][..]),
        ("responders", &["episodes", "with_outcome", "responders", "baseline_too_low", "baseline_missing"]),
        ("change", &["episodes"]),
        ("time_to_response", &["episodes", "events", "stopped"]),
        ("backtest", &["patients"]),
        ("site_comparison", &["episodes"]),
        ("recovery_curves", &["patients", "readings"]),
    ] {
        for line in sheet(&out.join(format!("tables/{name}.csv"))) {
            for count in columns.iter().map(|column| &line[*column]).filter(|cell| !cell.is_empty()) {
                let count: u32 = count.parse().unwrap();
                assert!(count.is_multiple_of(5) && (count == 0 || count > 10), "{name}: {count}");
                counted += 1;
            }
        }
    }
    assert!(counted > 200, "{counted} counts");
    let package = std::fs::read_to_string(out.join("tables/datapackage.json")).unwrap();
    assert!(
        package.contains("Counts are rounded to fives") && package.contains("of these, responders; rounded to fives")
    );
    assert!(std::fs::read_to_string(out.join("index.html")).unwrap().contains("Counts are rounded to fives"));
    assert!(said.contains("counts are in fives"), "{said}");
    assert!(account(&out).iter().all(|file| file.read == file.kept + file.duplicate + file.rejected));
}

#[test]
fn it_does_not_take_the_place_of_the_internal_edition() {
    let place = tempfile::tempdir().unwrap();
    let sample = project().join("sample-data");
    let run = |audience: &str| {
        let arguments = ["report", text(&sample), "--audience", audience];
        let output = super::command(&arguments).current_dir(place.path()).output().unwrap();
        assert!(output.status.success(), "{}", stderr(&output));
        stdout(&output)
    };
    run("internal");
    let said = run("release");
    let internal = place.path().join("reports/sample-data");
    assert!(internal.join("restricted/worklist.html").is_file());
    assert!(place.path().join("reports/sample-data-release/index.html").is_file());
    assert!(said.contains("in the internal edition, reports/sample-data\n"), "{said}");
}

#[test]
fn too_many_rejected_rows_leave_the_account_alone_and_say_where_the_rows_are() {
    let mapping = "[file]\ndates = \"iso\"\n[columns]\npatient = \"p\"\ndate = \"d\"\nregion = \"r\"\n\
                   [[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\ncolumn = \"pain\"\n";
    let small = SmallGroup::new(mapping, "p,d,r,pain\nk,2026-03-01,lumbar,3\nk,not a day,lumbar,3\n");
    let folder = small.path("");
    let out = small.path("out");
    let output = mendcurve(&["report", text(&folder), "--out", text(&out), "--audience", "release"]);
    assert_eq!(output.status.code(), Some(3), "{}", stderr(&output));
    assert!(out.join("tables/reconciliation.csv").is_file() && !out.join("restricted").exists());
    let said = stderr(&output);
    assert!(said.contains("--audience internal") && said.contains("reconciliation.csv"), "{said}");
}

/// The digits of a number that carry information; none of a whole number, which may be a count.
fn digits(cell: &str) -> usize {
    if cell.parse::<f64>().is_err() || !cell.contains('.') {
        return 0;
    }
    cell.trim_start_matches(['-', '0', '.']).chars().filter(char::is_ascii_digit).count()
}

#[test]
fn no_sheet_holds_a_number_in_full_digits() {
    assert_eq!(["0.737", "-12.50", "0.0004", "17", "2026-Q3"].map(digits), [3, 4, 1, 0, 0]);
    for (out, most) in [(release().0, 4), (super::sample_group::report(), 5)] {
        let mut numbers = 0;
        for path in files(&out.join("tables")).iter().filter(|path| path.extension().is_some_and(|e| e == "csv")) {
            for line in sheet(path) {
                // published means are as published
                for (column, cell) in line.into_iter().filter(|(column, _)| column != "natural_course") {
                    assert!(digits(&cell) <= most, "{}: {column} {cell}", path.display());
                    numbers += usize::from(digits(&cell) > 0);
                }
            }
        }
        assert!(numbers > 1000, "{numbers} numbers");
    }
}
