use super::*;
use crate::error::Exit;
use std::sync::atomic::{AtomicBool, Ordering};

/// A parent folder for one test.
fn parent() -> TempDir {
    tempfile::tempdir().unwrap()
}

fn write(folder: &Path, file: &str, text: &str) {
    let path = folder.join(file);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, text).unwrap();
}

fn publish(out: &Path, text: &str) {
    let run = Publication::begin(out).unwrap();
    write(run.path(), "index.html", text);
    write(run.path(), "restricted/visits.parquet", text);
    write(run.path(), "tables/reconciliation.csv", text);
    run.finish().unwrap();
}

fn read(path: impl AsRef<Path>) -> String {
    fs::read_to_string(path).unwrap()
}

/// Names in a folder, sorted.
fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_finished_run_replaces_the_whole_previous_output_and_leaves_nothing_beside_it() {
    let parent = parent();
    let out = parent.path().join("a/b/report"); // parents are made
    publish(&out, "first");
    write(&out, "conditions/old.html", "gone with the next run");
    publish(&out, "second");
    assert_eq!(read(out.join("index.html")), "second");
    assert_eq!(names(&out), [".mendcurve", "index.html", "restricted", "tables"]);
    assert_eq!(names(&parent.path().join("a/b")), ["report"]);
}

#[test]
fn a_run_that_stops_half_way_leaves_the_previous_output_as_it_was() {
    let parent = parent();
    let out = parent.path().join("report");
    publish(&out, "first");
    let run = Publication::begin(&out).unwrap();
    write(run.path(), "index.html", "half");
    assert_eq!(names(parent.path()).len(), 2);
    drop(run);
    assert_eq!(read(out.join("index.html")), "first");
    assert_eq!(names(parent.path()), ["report"]);
}

#[test]
fn the_leftovers_of_a_killed_run_go_with_the_next_but_those_of_a_living_run_stay() {
    let parent = parent();
    let out = parent.path().join("report");
    let killed = Publication::begin(&out).unwrap();
    let killed_at = killed.path().to_path_buf();
    let Publication { folder, _marker: lock, .. } = killed;
    let _ = folder.keep();
    drop(lock); // the system lets go of the locks of a killed process
    let living = Publication::begin(&out).unwrap();
    assert!(!killed_at.exists());
    let other = Publication::begin(&out).unwrap();
    assert!(living.path().exists() && other.path().exists());
}

#[test]
fn of_two_runs_at_once_the_last_to_finish_stays_whole() {
    let parent = parent();
    let out = parent.path().join("report");
    let (one, two) = (Publication::begin(&out).unwrap(), Publication::begin(&out).unwrap());
    write(one.path(), "one.html", "1");
    write(two.path(), "two.html", "2");
    two.finish().unwrap();
    one.finish().unwrap();
    assert_eq!(names(&out), [".mendcurve", "one.html"]);
    assert_eq!(names(parent.path()), ["report"]);
}

#[test]
fn a_reader_sees_a_whole_report_at_any_moment() {
    let parent = parent();
    let out = parent.path().join("report");
    publish(&out, "0");
    let done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let reader = scope.spawn(|| {
            let (mut seen, mut absent, mut newest) = (0, 0, 0);
            while !done.load(Ordering::Relaxed) {
                match fs::read_to_string(out.join("index.html")) {
                    Ok(text) => {
                        let number: u32 = text.parse().unwrap(); // never a half-written page
                        assert!(number >= newest, "an older report came back");
                        (seen, newest) = (seen + 1, number);
                    }
                    Err(_) => absent += 1,
                }
            }
            (seen, absent)
        });
        for number in 1..=100 {
            publish(&out, &number.to_string());
        }
        done.store(true, Ordering::Relaxed);
        let (seen, absent) = reader.join().unwrap();
        assert!(seen > 0);
        if cfg!(target_os = "linux") {
            assert_eq!(absent, 0, "of {seen} readings");
        }
    });
    assert_eq!(read(out.join("index.html")), "100");
}

#[test]
fn a_folder_that_no_report_wrote_is_refused_and_an_empty_one_is_taken() {
    let parent = parent();
    let out = parent.path().join("letters");
    fs::create_dir(&out).unwrap();
    drop(Publication::begin(&out).unwrap());
    write(&out, "dear.txt", "keep me");
    let problem = Publication::begin(&out).unwrap_err();
    assert_eq!(problem.exit, Exit::BadInput);
    assert!(problem.to_string().contains("not empty"), "{problem}");
    assert_eq!(names(parent.path()), ["letters"]);
    assert_eq!(read(out.join("dear.txt")), "keep me");
    let file = out.join("dear.txt");
    assert!(Publication::begin(&file).unwrap_err().to_string().contains("a file of that name"));
}

#[test]
fn a_folder_filled_by_someone_else_during_the_run_is_not_replaced() {
    let parent = parent();
    let out = parent.path().join("report");
    let run = Publication::begin(&out).unwrap();
    write(&out, "dear.txt", "keep me");
    assert!(run.finish().is_err());
    assert_eq!(read(out.join("dear.txt")), "keep me");
    assert_eq!(names(parent.path()), ["report"]);
}

#[cfg(unix)]
#[test]
fn a_link_is_followed_and_stays_a_link() {
    let parent = parent();
    let (real, link) = (parent.path().join("disk/report"), parent.path().join("latest"));
    fs::create_dir_all(&real).unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    publish(&link, "first");
    publish(&link, "second");
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(read(real.join("index.html")), "second");
    assert_eq!(names(parent.path()), ["disk", "latest"]);
    let nowhere = parent.path().join("nowhere");
    std::os::unix::fs::symlink(parent.path().join("gone"), &nowhere).unwrap();
    assert!(Publication::begin(&nowhere).unwrap_err().to_string().contains("leads nowhere"));
}

#[cfg(target_os = "linux")]
#[test]
fn a_parent_that_cannot_be_written_is_a_clear_error() {
    // Nobody may make a folder there, not even the superuser, whom modes do not stop.
    let problem = Publication::begin(Path::new("/proc/report")).unwrap_err();
    assert_eq!(problem.exit, Exit::Failed);
    assert!(problem.to_string().contains("/proc"), "{problem}");
    assert!(problem.to_string().contains("--out"), "{problem}");
}

#[test]
fn the_root_folder_is_no_output_folder() {
    assert!(Publication::begin(Path::new("/")).unwrap_err().to_string().contains("folder of its own"));
}

#[cfg(unix)]
#[test]
fn only_the_owner_opens_the_restricted_folder_until_the_group_says_otherwise() {
    use std::os::unix::fs::PermissionsExt;
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let parent = parent();
    let out = parent.path().join("report");
    publish(&out, "first");
    assert_eq!(mode(&out.join("restricted")), 0o700);
    fs::set_permissions(out.join("restricted"), fs::Permissions::from_mode(0o750)).unwrap();
    fs::set_permissions(&out, fs::Permissions::from_mode(0o711)).unwrap();
    publish(&out, "second");
    assert_eq!((mode(&out.join("restricted")), mode(&out)), (0o750, 0o711));
}

fn fail(out: &Path, text: &str) -> PathBuf {
    let run = Publication::begin(out).unwrap();
    write(run.path(), "index.html", "never shown");
    write(run.path(), "figures/a.png", "never shown");
    write(run.path(), "restricted/rejected_rows.csv", text);
    write(run.path(), "restricted/visits.parquet", "never shown");
    write(run.path(), "tables/reconciliation.csv", text);
    write(run.path(), "tables/change.csv", "never shown");
    run.finish_partial().unwrap()
}

#[test]
fn a_run_with_too_many_rejected_rows_leaves_only_the_account_of_them() {
    let parent = parent();
    let out = parent.path().join("report");
    let at = fail(&out, "1");
    assert_eq!(at, out.canonicalize().unwrap());
    assert_eq!(names(&out), [".mendcurve", "restricted", "tables"]);
    assert_eq!(
        (names(&out.join("restricted")), names(&out.join("tables"))),
        (vec!["rejected_rows.csv".into()], vec!["reconciliation.csv".into()])
    );
    // No report to protect: the next failure takes the same place.
    assert_eq!(fail(&out, "2"), at);
    assert_eq!(read(out.join("tables/reconciliation.csv")), "2");
    assert_eq!(names(parent.path()), ["report"]);
}

#[test]
fn rejected_rows_never_replace_a_report_and_go_when_the_next_report_succeeds() {
    let parent = parent();
    let out = parent.path().join("report");
    publish(&out, "first");
    let at = fail(&out, "1");
    assert_eq!(read(out.join("index.html")), "first");
    assert_eq!(at.file_name().unwrap(), "report.rejected");
    assert_eq!(read(at.join("restricted/rejected_rows.csv")), "1");
    publish(&out, "second");
    assert_eq!(names(parent.path()), ["report"]);
}
