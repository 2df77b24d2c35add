//! The invented group end to end, held against the truth that its generator wrote down.

use super::{account, command, mendcurve, project, sheet, stderr, stdout, text};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use tempfile::TempDir;

/// The report of the sample, written once for all tests.
pub fn report() -> PathBuf {
    static SLOT: OnceLock<TempDir> = OnceLock::new();
    let folder = SLOT.get_or_init(|| {
        let scratch = tempfile::tempdir().unwrap();
        let output = mendcurve(&["report", "sample-data", "--out", text(&scratch.path().join("out")), "--quiet"]);
        assert!(output.status.success(), "{}", stderr(&output));
        assert_eq!(stdout(&output), "");
        scratch
    });
    folder.path().join("out")
}

fn truth() -> serde_json::Value {
    let text = std::fs::read_to_string(project().join("sample-data/truth/truth.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// Every file below a folder with its bytes.
pub fn bytes(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut out = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                out.insert(path.strip_prefix(folder).unwrap().to_path_buf(), std::fs::read(&path).unwrap());
            }
        }
    }
    out
}

#[test]
fn the_ledger_is_exactly_what_the_generator_planted() {
    let truth = truth();
    let accounts: BTreeMap<String, _> = account(&report()).into_iter().map(|a| (a.file.clone(), a)).collect();
    let files = truth["files"].as_array().unwrap();
    assert_eq!(accounts.len(), files.len());
    for file in files {
        let path = file["path"].as_str().unwrap();
        let got = &accounts[path];
        let planted = |key: &str| file[key].as_u64().unwrap();
        assert_eq!(
            (got.read, got.kept, got.duplicate, got.rejected, got.left_out, got.blanked),
            (
                planted("rows_read"),
                planted("rows_kept"),
                planted("rows_duplicate"),
                planted("rows_rejected"),
                planted("rows_left_out"),
                planted("cells_blanked")
            ),
            "{path}"
        );
        assert_eq!(got.read, got.kept + got.duplicate + got.rejected, "{path}");
    }
}

#[test]
fn every_planted_rejection_is_found_on_its_line_for_its_reason() {
    let rejected = sheet(&report().join("restricted/rejected_rows.csv"));
    let found: Vec<(&str, &str)> = rejected.iter().map(|r| (r["file"].as_str(), r["line"].as_str())).collect();
    let truth = truth();
    let mut checked = 0;
    for file in truth["files"].as_array().unwrap() {
        for fault in file["planted"].as_array().unwrap().iter().filter(|f| f["account"] == "rejected") {
            let line = fault["line"].as_u64().unwrap().to_string();
            let path = file["path"].as_str().unwrap();
            let at = found.iter().position(|place| *place == (path, line.as_str()));
            let row = &rejected[at.unwrap_or_else(|| panic!("{path}:{line} was not rejected: {fault}"))];
            assert_eq!(row["reason"], fault["reason"].as_str().unwrap(), "{path}:{line}");
            checked += 1;
        }
    }
    assert!(checked > 100, "{checked} planted rejections");
}

#[test]
fn the_episodes_are_those_of_the_generator() {
    let output = mendcurve(&[
        "query",
        text(&write_query("SELECT COUNT(*) AS episodes FROM episodes ORDER BY episodes")),
        "--from",
        text(&report()),
        "--format",
        "csv",
    ]);
    assert!(output.status.success(), "{}", stderr(&output));
    assert_eq!(stdout(&output).lines().nth(1), Some(truth()["episodes"].to_string().as_str()));
}

fn write_query(sql: &str) -> PathBuf {
    static SLOT: OnceLock<TempDir> = OnceLock::new();
    let folder = SLOT.get_or_init(|| tempfile::tempdir().unwrap());
    let path = folder.path().join("question.sql");
    std::fs::write(&path, sql).unwrap();
    path
}

#[test]
fn one_thread_and_two_give_the_same_bytes() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    let status = command(&["report", "sample-data", "--out", text(&out), "--quiet"])
        .env("RAYON_NUM_THREADS", "1")
        .env("POLARS_MAX_THREADS", "1")
        .status()
        .unwrap();
    assert!(status.success());
    let (one, two) = (bytes(&out), bytes(&report()));
    assert_eq!(one.keys().collect::<Vec<_>>(), two.keys().collect::<Vec<_>>());
    for (path, content) in &one {
        assert!(*content == two[path], "{} differs", path.display());
    }
    assert!(one.len() > 30, "{} files", one.len());
}

#[test]
fn the_committed_sample_is_what_the_generator_writes() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("sample");
    let output = mendcurve(&["sample", text(&folder)]);
    assert!(output.status.success(), "{}", stderr(&output));
    let (written, committed) = (bytes(&folder), bytes(&project().join("sample-data")));
    assert_eq!(written.keys().collect::<Vec<_>>(), committed.keys().collect::<Vec<_>>());
    for (path, content) in &written {
        // packers differ in the bytes they choose, not in what they hold
        let unpacked = |bytes: &[u8]| match path.extension().is_some_and(|e| e == "gz") {
            true => std::io::read_to_string(flate2::read::GzDecoder::new(bytes)).map(String::into_bytes).ok(),
            false => Some(bytes.to_vec()),
        };
        let (a, b) = (unpacked(content), unpacked(&committed[path]));
        assert!(a == b, "{} differs", path.display());
    }
    let size: usize = committed.values().map(Vec::len).sum();
    assert!(size < 3_000_000, "{size} bytes");
}

#[test]
fn patients_stay_out_of_what_circulates() {
    let out = report();
    let output = mendcurve(&["query", text(&write_patient_query()), "--from", text(&out), "--format", "csv"]);
    let keys: Vec<String> = stdout(&output).lines().skip(1).map(str::to_owned).collect();
    assert!(keys.len() > 800, "{} patients", keys.len());
    for (path, content) in bytes(&out) {
        if path.starts_with("restricted") || path.extension().is_some_and(|e| e == "png") {
            continue;
        }
        let text = String::from_utf8_lossy(&content);
        let told = keys.iter().find(|key| text.contains(key.as_str()));
        assert_eq!(told, None, "{}", path.display());
    }
}

fn write_patient_query() -> PathBuf {
    static SLOT: OnceLock<TempDir> = OnceLock::new();
    let folder = SLOT.get_or_init(|| tempfile::tempdir().unwrap());
    let path = folder.path().join("patients.sql");
    std::fs::write(&path, "SELECT patient FROM episodes GROUP BY patient ORDER BY patient").unwrap();
    path
}

#[test]
fn every_page_carries_the_cautions_and_fetches_nothing() {
    let mut pages = 0;
    for (path, content) in bytes(&report()) {
        if path.extension().is_none_or(|e| e != "html") {
            continue;
        }
        let text = String::from_utf8_lossy(&content);
        for needed in ["not a medical device", "NG59", "no comparison group", "contraindications"] {
            assert!(text.to_lowercase().contains(&needed.to_lowercase()), "{} lacks '{needed}'", path.display());
        }
        for address in ["src=\"http", "href=\"http", "url(http", "@import"] {
            assert!(!text.contains(address), "{} has {address}", path.display());
        }
        pages += 1;
    }
    assert!(pages >= 8, "{pages} pages");
}
