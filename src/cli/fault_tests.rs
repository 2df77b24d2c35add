//! The disk is full from one step of a command on, whichever step: the previous output stays, and nothing lies beside it.

use super::args::{PseudonymiseArguments, ReportArguments, SampleArguments};
use super::{pseudonymise, report, sample};
use crate::error::{Exit, Problem};
use crate::outputs::fault::Faults;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Every file below a folder with its bytes.
fn tree(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() { folders.push(path) } else { drop(files.insert(path.clone(), fs::read(&path).unwrap())) }
        }
    }
    files
}

/// Lets a command fail at about `runs` steps: the first ones, the last ones, and some between. Gives how many steps it has.
fn fail_at_many_steps(parent: &Path, runs: u64, command: impl Fn() -> Result<Exit, Problem>) -> u64 {
    let faults = Faults::below(parent, 0);
    assert_eq!(command().unwrap(), Exit::Fine);
    let steps = faults.taken();
    drop(faults);
    let before = tree(parent);
    let between = (0..runs).map(|run| 1 + run * steps / runs);
    let mut failing: Vec<u64> = (1..=5).chain(between).chain(steps.saturating_sub(4)..=steps).collect();
    failing.retain(|step| (1..=steps).contains(step));
    failing.sort_unstable();
    failing.dedup();
    for step in failing {
        let faults = Faults::below(parent, step);
        let done = command();
        drop(faults);
        let problem = done.expect_err("a step that fails is told");
        let said = problem.to_string();
        assert_eq!(problem.exit, Exit::Failed, "step {step}: {said}");
        assert!(said.contains("what to do: free some space"), "step {step}: {said}");
        assert!(tree(parent) == before, "step {step}: {said}");
    }
    steps
}

fn group(folder: &Path) {
    let made = crate::sample::write(folder, crate::sample::SampleOptions { patients: 24, ..Default::default() });
    made.unwrap();
}

#[test]
fn a_report_that_fills_the_disk_at_any_step_leaves_the_previous_one() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, parent) = (scratch.path().join("group"), scratch.path().join("reports"));
    group(&folder);
    let arguments = ReportArguments {
        folder,
        out: Some(parent.join("out")),
        keep_foreign_files: false,
        period: None,
        audience: None,
        quiet: true,
        timings: false,
    };
    assert_eq!(report::run(&arguments).unwrap(), Exit::Fine);
    let steps = fail_at_many_steps(&parent, 40, || report::run(&arguments));
    assert!(steps > 200, "{steps}");
}

#[test]
fn pseudonyms_and_a_sample_that_fill_the_disk_at_any_step_leave_nothing_half_written() {
    let scratch = tempfile::tempdir().unwrap();
    let parent = scratch.path().join("parent");
    fs::create_dir(&parent).unwrap();
    let sample_arguments =
        SampleArguments { folder: parent.join("sample"), seed: 1, patients: 24, without_faults: false };
    fail_at_many_steps(&parent, 40, || sample::run(&sample_arguments));

    let (file, secret_file) = (scratch.path().join("export.csv"), scratch.path().join("secret"));
    let rows: String = (0..20_000).map(|row| format!("k{},{}\n", row % 400, row % 11)).collect();
    fs::write(&file, format!("patient,score\n{rows}")).unwrap();
    fs::write(&secret_file, "kV8#qz1R!mTx7Lw0&uEj5Yb2^cHn9Sg4aPd6oFi3%tZk").unwrap();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(&secret_file, fs::Permissions::from_mode(0o600)).unwrap();
    }
    let out = parent.join("pseudonyms.csv");
    let arguments = PseudonymiseArguments {
        file,
        key_columns: vec!["patient".into()],
        secret_file,
        out: out.clone(),
        drop: Vec::new(),
        shift_dates: Vec::new(),
        date_format: None,
        delimiter: ",".into(),
        encoding: "utf-8".into(),
    };
    let steps = fail_at_many_steps(&parent, 20, || {
        let done = pseudonymise::run(&arguments);
        let _ = fs::remove_file(&out); // an existing one is not replaced
        done
    });
    assert!(steps > 3, "{steps}");
}
