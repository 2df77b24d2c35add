use super::*;
use crate::error::Exit;
use crate::outputs::create;
use std::sync::atomic::{AtomicBool, Ordering};
use tempfile::TempDir;

/// A parent folder for one test.
fn parent() -> TempDir {
    tempfile::tempdir().unwrap()
}

/// Writes a file of the program's.
fn write(folder: &Path, file: &str, text: &str) {
    let path = folder.join(file);
    make_folder(path.parent().unwrap()).unwrap();
    create::write(&path, text.as_bytes()).unwrap();
}

/// Writes a file of someone else's.
fn put(folder: &Path, file: &str, text: &str) {
    let path = folder.join(file);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, text).unwrap();
}

fn begin(out: &Path) -> Result<Publication, Problem> {
    Publication::begin(out, Output::Report, ForeignFiles::Refuse)
}

fn publish(out: &Path, text: &str) {
    let run = begin(out).unwrap();
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
    fs::remove_file(out.join("index.html")).unwrap(); // what is missing does no harm
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
    let run = begin(&out).unwrap();
    write(run.path(), "index.html", "half");
    assert_eq!(names(parent.path()).len(), 2);
    drop(run);
    assert_eq!(read(out.join("index.html")), "first");
    assert_eq!(names(parent.path()), ["report"]);
}

#[test]
fn of_two_runs_at_once_the_last_to_finish_stays_whole() {
    let parent = parent();
    let out = parent.path().join("report");
    let (one, two) = (begin(&out).unwrap(), begin(&out).unwrap());
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
    drop(begin(&out).unwrap());
    put(&out, "dear.txt", "keep me");
    let problem = begin(&out).unwrap_err();
    assert_eq!(problem.exit, Exit::BadInput);
    assert!(problem.to_string().contains("not empty"), "{problem}");
    assert_eq!(names(parent.path()), ["letters"]);
    assert_eq!(read(out.join("dear.txt")), "keep me");
    let file = out.join("dear.txt");
    assert!(begin(&file).unwrap_err().to_string().contains("a file of that name"));
}

#[test]
fn a_folder_filled_by_someone_else_during_the_run_is_not_replaced() {
    let parent = parent();
    let out = parent.path().join("report");
    let run = begin(&out).unwrap();
    put(&out, "dear.txt", "keep me");
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
    assert!(begin(&nowhere).unwrap_err().to_string().contains("leads nowhere"));
}

#[cfg(target_os = "linux")]
#[test]
fn a_parent_that_cannot_be_written_is_a_clear_error() {
    // Nobody may make a folder there, not even the superuser, whom modes do not stop.
    let problem = begin(Path::new("/proc/report")).unwrap_err();
    assert_eq!(problem.exit, Exit::BadInput);
    assert!(problem.to_string().contains("/proc"), "{problem}");
    assert!(problem.to_string().contains("--out"), "{problem}");
}

#[test]
fn the_root_folder_is_no_output_folder() {
    assert!(begin(Path::new("/")).unwrap_err().to_string().contains("folder of its own"));
}

#[cfg(unix)]
#[test]
fn only_the_owner_opens_what_is_restricted_whatever_was_set_before_and_nobody_else_looks_in_while_it_is_written() {
    use std::os::unix::fs::PermissionsExt;
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let parent = parent();
    let out = parent.path().join("report");
    publish(&out, "first");
    assert_eq!((mode(&out.join("restricted")), mode(&out.join("restricted/visits.parquet"))), (0o700, 0o600));
    fs::set_permissions(out.join("restricted"), fs::Permissions::from_mode(0o755)).unwrap();
    fs::set_permissions(&out, fs::Permissions::from_mode(0o711)).unwrap();
    let run = begin(&out).unwrap();
    assert_eq!(mode(run.path().parent().unwrap()), 0o700);
    write(run.path(), "restricted/a.csv", "x");
    assert_eq!((mode(&run.path().join("restricted")), mode(&run.path().join("restricted/a.csv"))), (0o700, 0o600));
    drop(run);
    publish(&out, "second");
    assert_eq!((mode(&out.join("restricted")), mode(&out)), (0o700, 0o711));
}

#[test]
fn what_is_not_the_reports_own_is_named_and_stops_the_run_before_it_begins() {
    let parent = parent();
    let out = parent.path().join("report");
    publish(&out, "first");
    put(&out, "notes.txt", "mine");
    put(&out, "index.html", "edited");
    put(&out, "restricted/patients/HV-0412.html", "mine");
    put(&out, "restricted/patients/HV-0413.html", "mine");
    let problem = begin(&out).unwrap_err();
    assert_eq!(problem.exit, Exit::BadInput);
    let said = problem.to_string();
    let named = "replaced: index.html (changed since it was written), notes.txt, 2 files in restricted/patients\n";
    assert!(said.contains(named) && said.contains("--keep-foreign-files"), "{said}");
    assert!(!said.contains("HV-"), "a name there may be a patient's key: {said}");
    assert_eq!((read(out.join("notes.txt")), names(parent.path())), ("mine".to_owned(), vec!["report".to_owned()]));
}

#[test]
fn what_is_not_the_reports_own_moves_along_when_told() {
    let parent = parent();
    let out = parent.path().join("report");
    publish(&out, "first");
    put(&out, "drafts/letter.txt", "mine");
    put(&out, "index.html", "edited");
    put(&out, "index.html.kept", "edited before");
    put(&out, "restricted/visits.parquet", "edited");
    for text in ["second", "third"] {
        let run = Publication::begin(&out, Output::Report, ForeignFiles::Keep).unwrap();
        write(run.path(), "index.html", text);
        write(run.path(), "restricted/visits.parquet", text);
        run.finish().unwrap();
        let kept = ["drafts/letter.txt", "index.html.kept", "index.html.kept-2", "restricted/visits.parquet.kept"];
        assert_eq!(kept.map(|file| read(out.join(file))), ["mine", "edited before", "edited", "edited"]);
        assert_eq!(read(out.join("index.html")), text);
    }
    assert_eq!(
        names(&out),
        [".mendcurve", "drafts", "index.html", "index.html.kept", "index.html.kept-2", "restricted"]
    );
    assert!(begin(&out).unwrap_err().to_string().contains("letter.txt"), "they stay foreign");
}

#[test]
fn a_file_of_the_markers_name_makes_no_folder_replaceable() {
    let parent = parent();
    let out = parent.path().join("letters");
    put(&out, "dear.txt", "keep me");
    for (text, why) in [
        ("", "no report of ours"),
        (
            "A report of mendcurve. The next run replaces this folder as a whole: keep nothing of your own in it.\n",
            "an earlier version",
        ),
        (&format!("{REPORT}\n"), "was changed"),
    ] {
        put(&out, ".mendcurve", text);
        for foreign in [ForeignFiles::Refuse, ForeignFiles::Keep] {
            let problem = Publication::begin(&out, Output::Report, foreign).unwrap_err();
            assert!(problem.to_string().contains(why) && problem.remedy.is_some(), "{problem}");
        }
        assert_eq!(read(out.join("dear.txt")), "keep me");
    }
}

#[test]
fn a_report_and_a_sample_never_take_each_others_place() {
    let parent = parent();
    let out = parent.path().join("group");
    let run = Publication::begin(&out, Output::Sample, ForeignFiles::Refuse).unwrap();
    write(run.path(), "group.toml", "name = 'x'");
    run.finish().unwrap();
    assert!(begin(&out).unwrap_err().to_string().contains("no report of ours"));
    Publication::begin(&out, Output::Sample, ForeignFiles::Refuse).unwrap();
    put(&out, "exports/mine.csv", "x");
    let problem = Publication::begin(&out, Output::Sample, ForeignFiles::Refuse).unwrap_err().to_string();
    assert!(problem.contains("exports/mine.csv") && problem.contains("rename or remove this one"), "{problem}");
}

/// Every file below a folder with its text.
fn texts(folder: &Path) -> Vec<(PathBuf, String)> {
    let (mut files, mut folders) = (Vec::new(), Vec::new());
    below(folder, &mut files, &mut folders).unwrap();
    files.sort();
    files.into_iter().map(|file| (file.clone(), read(file))).collect()
}

#[test]
fn a_disk_that_is_full_at_any_step_leaves_the_previous_output_and_nothing_beside_it() {
    use crate::outputs::fault::Faults;
    let parent = parent();
    let out = parent.path().join("report");
    publish(&out, "first");
    put(&out, "notes.txt", "mine");
    let before = texts(&out);
    let second = || -> Result<(), Problem> {
        let run = Publication::begin(&out, Output::Report, ForeignFiles::Keep)?;
        let io = |error: io::Error| Problem::io(run.path(), &error);
        make_folder(&run.path().join("restricted/patients")).map_err(io)?;
        create::write(&run.path().join("restricted/patients/a.html"), b"second").map_err(io)?;
        create::write(&run.path().join("index.html"), b"second").map_err(io)?;
        run.finish().map(drop)
    };
    let mut steps = 0;
    loop {
        steps += 1;
        let faults = Faults::below(parent.path(), steps);
        let done = second();
        drop(faults);
        let Err(problem) = done else { break };
        assert_eq!(problem.exit, Exit::Failed, "step {steps}: {problem}");
        assert!(problem.to_string().contains("what to do: free some space"), "step {steps}: {problem}");
        assert_eq!(names(parent.path()), ["report"], "step {steps}");
        assert_eq!(texts(&out), before, "step {steps}");
    }
    assert!(steps > 15, "{steps}");
    assert_eq!((read(out.join("index.html")), read(out.join("notes.txt"))), ("second".into(), "mine".into()));
}

fn fail(out: &Path, text: &str) -> PathBuf {
    let run = begin(out).unwrap();
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
        (vec![".mendcurve".into(), "rejected_rows.csv".into()], vec!["reconciliation.csv".into()])
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
    let at = fail(&out, "2");
    put(&at, "notes.txt", "mine");
    assert!(begin(&out).unwrap().finish_partial().unwrap_err().to_string().contains("notes.txt"));
    let run = begin(&out).unwrap();
    assert_eq!(run.finish().unwrap(), Some(at.clone()), "it is named, and stays");
    assert_eq!(read(at.join("notes.txt")), "mine");
}
