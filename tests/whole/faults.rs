//! Faults while a command writes: the disk is full, a limit is met, it is not allowed, it is killed. After each the previous output
//! is whole, the error says what to do, and nothing of patients lies about unnamed.
//!
//! Each write of the program is let fail by itself in `src/report/publish_tests.rs` and `src/cli/fault_tests.rs`; here the faults
//! are real. What a machine does not let a test do is said on the standard error.

use super::outputs::{names, pseudonymise, pseudonymise_needs, refused, small_sample, tree};
use super::sample_group::report;
use super::{command, mendcurve, stderr, text};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_mendcurve");

fn could_not_run(what: &str, why: &str) {
    eprintln!("NOT RUN: {what}: {why}");
}

/// The program in a shell that has first done something.
#[cfg(unix)]
fn after(first: &str, arguments: &[&str]) -> Output {
    Command::new("sh")
        .args(["-c", &format!("{first}; exec \"$@\""), "sh", PROGRAM])
        .args(arguments)
        .current_dir(super::project())
        .output()
        .unwrap()
}

/// A group and its report, in a folder of their own.
fn group_with_report(scratch: &Path) -> (PathBuf, PathBuf) {
    let (group, out) = (scratch.join("group"), scratch.join("out"));
    small_sample(&group);
    let output = mendcurve(&["report", text(&group), "--out", text(&out), "--quiet"]);
    assert!(output.status.success(), "{}", stderr(&output));
    (group, out)
}

/// Files of growing size may not be written: the report, the sample and the pseudonyms each meet the limit at another file.
#[cfg(unix)]
#[test]
fn a_limit_on_the_size_of_files_ends_each_command_with_code_1_and_changes_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let (group, out) = group_with_report(scratch.path());
    let (secret, export) = pseudonymise_needs(scratch.path());
    let (before, beside) = (tree(scratch.path()), names(scratch.path()));
    let largest =
        before.iter().filter(|(path, _)| path.starts_with("out")).map(|(_, bytes)| bytes.len()).max().unwrap();
    let pseudonyms = scratch.path().join("pseudonyms.csv");
    let mut failed = 0;
    for blocks in [1, 4, 16, 64, 200, 400] {
        let limit = format!("trap '' XFSZ; ulimit -f {blocks}"); // blocks of 512 or of 1,024 bytes
        let run = |arguments: &[&str], fails: bool| {
            let output = after(&limit, arguments);
            if fails {
                let said = refused(&output, 1);
                assert!(said.contains("limit on the size of files"), "{blocks}: {said}");
            }
            usize::from(!output.status.success())
        };
        let limits = blocks * 1_024;
        let by_report = run(&["report", text(&group), "--out", text(&out), "--quiet"], limits < largest);
        let by_sample = run(&["sample", text(&group), "--patients", "24"], blocks < 16);
        let by_pseudonyms = run(&pseudonymise(&secret, &export, &pseudonyms), blocks < 16);
        failed += by_report + by_sample + by_pseudonyms;
        if by_pseudonyms == 0 {
            fs::remove_file(&pseudonyms).unwrap();
        }
        assert_eq!(names(scratch.path()), beside, "{blocks}");
        assert!(tree(scratch.path()) == before, "{blocks}: same input, same bytes, or as before");
    }
    assert!(failed >= 9, "{failed}");
}

#[cfg(target_os = "linux")]
#[test]
fn an_answer_that_cannot_be_written_is_an_error() {
    let from = report();
    for arguments in [
        &["query", "attendance", "--from", text(&from)][..],
        &["query", "episode_sums", "--from", text(&from), "--format", "csv"],
        &["query", "episode_sums", "--from", text(&from), "--format", "json"],
        &["query"],
        &["inspect", "sample-data/exports/fennick-bridge-visits.csv"],
        &["setups", "--print-standard"],
    ] {
        let full = fs::File::options().write(true).open("/dev/full").unwrap();
        let output = command(arguments).stdout(full).output().unwrap();
        let said = refused(&output, 1);
        assert!(said.contains("cannot be written") && said.contains("free some space"), "{said}");
    }
}

/// Mounts a small file system, where the machine lets a test do so, and fills it.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_ends_a_run_with_code_1_and_leaves_the_previous_report() {
    let scratch = tempfile::tempdir().unwrap();
    let (group, out) = group_with_report(scratch.path());
    let size: usize = tree(&out).values().map(Vec::len).sum();
    let disk = scratch.path().join("disk");
    fs::create_dir(&disk).unwrap();
    let script = "mount -t tmpfs -o size=$((($3 * 3 / 2) / 1024))k none \"$2\" || exit 99\n\
                  cp -a \"$4\" \"$2/out\" || exit 98\n\
                  \"$1\" report \"$5\" --out \"$2/out\" --quiet\n\
                  code=$?\n\
                  diff -r \"$4\" \"$2/out\" >/dev/null || exit 97\n\
                  [ \"$(ls -A \"$2\")\" = out ] || exit 96\n\
                  exit $code";
    let size = size.to_string();
    let arguments = ["-c", script, "sh", PROGRAM, text(&disk), &size, text(&out), text(&group)];
    let output = Command::new("unshare").args(["--user", "--map-root-user", "--mount", "sh"]).args(arguments).output();
    match output {
        Ok(output) if output.status.code() == Some(1) && stderr(&output).contains("what to do: free some space") => {}
        Ok(output) if matches!(output.status.code(), Some(1 | 99)) && stderr(&output).contains("ermi") => {
            could_not_run("a full disk", "no file system can be mounted here");
        }
        Ok(output) => panic!("{:?} {}", output.status, stderr(&output)),
        Err(error) => could_not_run("a full disk", &error.to_string()),
    }
}

/// The superuser may do everything, so the program is run as nobody, where the machine lets a test do so.
#[cfg(unix)]
#[test]
fn a_folder_that_may_not_be_written_is_code_2_and_a_report_that_may_not_be_replaced_stays() {
    use std::os::unix::fs::{PermissionsExt, chown};
    const NOBODY: u32 = 65_534;
    let scratch = tempfile::tempdir().unwrap();
    fs::set_permissions(scratch.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let program = scratch.path().join("mendcurve");
    fs::copy(PROGRAM, &program).unwrap();
    let closed = scratch.path().join("closed");
    fs::create_dir(&closed).unwrap();
    let group = scratch.path().join("group");
    small_sample(&group);
    let is_root = chown(&closed, Some(NOBODY), None).is_ok();
    let run = |arguments: &[&str]| {
        let mut command = if is_root {
            let mut command = Command::new("setpriv");
            command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]).arg(&program);
            command
        } else {
            Command::new(&program)
        };
        command.args(arguments).current_dir(scratch.path()).output()
    };
    let out = closed.join("out");
    let report = ["report", text(&group), "--out", text(&out), "--quiet"];
    match run(&report) {
        Ok(output) if output.status.success() => {}
        Ok(output) => return could_not_run("no permission", &stderr(&output)),
        Err(error) => return could_not_run("no permission", &error.to_string()),
    }
    let before = tree(&out);
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o555)).unwrap();
    let said = refused(&run(&report).unwrap(), 2);
    assert!(said.contains("ermission denied") && said.contains("--out"), "{said}");
    refused(&run(&["sample", text(&closed.join("sample")), "--patients", "24"]).unwrap(), 2);
    assert!(tree(&out) == before);
    assert_eq!(names(&closed), ["out"]);
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o755)).unwrap();
}

/// Folders that runs write in, beside an output.
#[cfg(unix)]
fn work_folders(parent: &Path) -> Vec<PathBuf> {
    names(parent).iter().filter(|name| name.contains(".writing-")).map(|name| parent.join(name)).collect()
}

#[cfg(unix)]
#[test]
fn a_run_that_is_killed_at_any_moment_leaves_the_previous_report_and_a_closed_folder_that_the_next_run_removes() {
    use std::os::unix::fs::PermissionsExt;
    let scratch = tempfile::tempdir().unwrap();
    let (group, out) = group_with_report(scratch.path());
    let whole = tree(&out);
    let started = std::time::Instant::now();
    mendcurve(&["report", text(&group), "--out", text(&out), "--quiet"]);
    let takes = started.elapsed();
    let mut left = 0;
    for share in 0..14 {
        let mut child = command(&["report", text(&group), "--out", text(&out), "--quiet"])
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        std::thread::sleep(takes.mul_f64(f64::from(share) / 12.0));
        for work in work_folders(scratch.path()) {
            if let Ok(found) = fs::metadata(&work) {
                assert_eq!(found.permissions().mode() & 0o077, 0, "others can look into it while it is written");
            }
        }
        let _ = child.kill();
        child.wait().unwrap();
        assert!(tree(&out) == whole, "killed after {share}/12 of a run");
        let found = work_folders(scratch.path());
        left += found.len();
        assert!(found.len() <= 1, "the one before was removed: {found:?}");
    }
    assert!(left >= 3, "only {left} runs were killed while they wrote");
    let output = mendcurve(&["report", text(&group), "--out", text(&out)]);
    assert!(output.status.success() && tree(&out) == whole, "{}", stderr(&output));
    assert_eq!(names(scratch.path()), ["group", "out"]);
}

#[cfg(unix)]
#[test]
fn what_a_killed_run_left_of_another_output_is_named_by_whoever_writes_beside_it() {
    let scratch = tempfile::tempdir().unwrap();
    let group = scratch.path().join("group");
    small_sample(&group);
    let (secret, export) = pseudonymise_needs(scratch.path());
    let killed = scratch.path().join(".march.writing-abcdef");
    fs::create_dir_all(killed.join("new/restricted")).unwrap();
    fs::write(killed.join(".lock"), "").unwrap();
    fs::write(killed.join("new/restricted/worklist.html"), "patients").unwrap();
    let [april, sample, pseudonyms] = ["april", "sample", "pseudonyms.csv"].map(|name| scratch.path().join(name));
    for arguments in [
        &["report", text(&group), "--out", text(&april), "--quiet"][..],
        &["sample", text(&sample), "--patients", "24"],
        &pseudonymise(&secret, &export, &pseudonyms),
    ] {
        let output = mendcurve(arguments);
        assert!(output.status.success(), "{}", stderr(&output));
        let said = stderr(&output);
        assert!(
            said.contains(".march.writing-abcdef") && said.contains("may hold rows of patients: remove it"),
            "{said}"
        );
        assert!(killed.exists());
    }
    let output = mendcurve(&["report", text(&group), "--out", text(&scratch.path().join("march"))]);
    assert!(stderr(&output).contains("removed") && !killed.exists(), "{}", stderr(&output));
    assert!(work_folders(scratch.path()).is_empty());
}

/// Pseudonyms and a sample, killed while they are written.
#[cfg(unix)]
#[test]
fn a_killed_sample_or_pseudonymise_leaves_no_half_file_and_the_next_run_clears_up() {
    let scratch = tempfile::tempdir().unwrap();
    let (secret, export) = pseudonymise_needs(scratch.path());
    let mut rows = fs::read_to_string(&export).unwrap();
    let more: String = rows.lines().skip(1).map(|row| format!("{row}\n")).collect();
    (0..150).for_each(|_| rows.push_str(&more));
    fs::write(&export, rows).unwrap();
    let [sample, pseudonyms] = ["sample", "pseudonyms.csv"].map(|name| scratch.path().join(name));
    let commands =
        [vec!["sample", text(&sample), "--patients", "900"], pseudonymise(&secret, &export, &pseudonyms).to_vec()];
    for (arguments, result) in commands.iter().zip([&sample, &pseudonyms]) {
        let mut was_killed = 0;
        for wait in [0, 5, 10, 20, 40, 80, 160] {
            let mut child = command(arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
            std::thread::sleep(Duration::from_millis(wait));
            let _ = child.kill();
            let status = child.wait().unwrap();
            was_killed += usize::from(!status.success());
            assert_eq!(status.success(), result.exists(), "half of it: {arguments:?}");
            assert!(work_folders(scratch.path()).len() <= 1);
            if result.is_dir() {
                fs::remove_dir_all(result).unwrap()
            } else {
                let _ = fs::remove_file(result);
            }
        }
        assert!(was_killed > 2, "{was_killed} of {arguments:?}");
        let output = mendcurve(arguments);
        assert!(output.status.success() && work_folders(scratch.path()).is_empty(), "{}", stderr(&output));
    }
}
