//! What a command may replace, who may read what it writes, and what it says when it cannot.

use super::sample_group::report;
use super::{command, mendcurve, project, stderr, stdout, text};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

/// Every file below a folder with its bytes, by its path in the folder.
pub fn tree(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                files.insert(path.strip_prefix(folder).unwrap().to_path_buf(), fs::read(&path).unwrap());
            }
        }
    }
    files
}

fn copy(from: &Path, to: &Path) {
    for (path, bytes) in tree(from) {
        fs::create_dir_all(to.join(&path).parent().unwrap()).unwrap();
        fs::write(to.join(&path), bytes).unwrap();
    }
}

/// The names in a folder, sorted.
pub fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// The command ended with this exit code, an error that says what to do, and no panic. Gives what it said.
pub fn refused(output: &Output, code: i32) -> String {
    let said = stderr(output);
    assert_eq!(output.status.code(), Some(code), "{said}");
    assert!(said.contains("what to do:") || said.contains("For more information, try"), "{said}");
    assert!(!said.contains("panicked") && !said.contains("overflow"), "{said}");
    said
}

/// A small sample group in a folder of its own.
pub fn small_sample(folder: &Path) {
    let output = mendcurve(&["sample", text(folder), "--patients", "24"]);
    assert!(output.status.success(), "{}", stderr(&output));
}

#[test]
fn a_sample_never_takes_the_place_of_someones_own_group() {
    let scratch = tempfile::tempdir().unwrap();
    let own = scratch.path().join("own");
    fs::create_dir_all(own.join("exports")).unwrap();
    fs::write(own.join("group.toml"), "name = \"Ours\"\n").unwrap();
    fs::write(own.join("exports/alderwick.csv"), "p,d\nk,2026-03-01\n").unwrap();
    let before = tree(&own);
    let said = refused(&mendcurve(&["sample", text(&own)]), 2);
    assert!(said.contains("not empty and no sample of ours") && said.contains("name a new folder"), "{said}");
    assert_eq!(tree(&own), before);
    // what another kind of output left as a marker does not make it a sample
    fs::copy(report().join(".mendcurve"), own.join(".mendcurve")).unwrap();
    refused(&mendcurve(&["sample", text(&own)]), 2);
    assert_eq!(names(scratch.path()), ["own"]);
}

#[test]
fn a_sample_takes_the_place_of_an_earlier_one_unless_something_was_changed_or_added() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("sample");
    small_sample(&folder);
    let before = tree(&folder);
    small_sample(&folder);
    assert_eq!(tree(&folder), before, "same seed, same bytes");
    let settings = folder.join("group.toml");
    fs::write(&settings, fs::read_to_string(&settings).unwrap() + "# mine\n").unwrap();
    let said = refused(&mendcurve(&["sample", text(&folder), "--patients", "24"]), 2);
    assert!(said.contains("group.toml (changed since it was written)") && said.contains("rename or remove"), "{said}");
    fs::write(&settings, &before[Path::new("group.toml")]).unwrap();
    fs::write(folder.join("exports/mine.csv"), "x").unwrap();
    let said = refused(&mendcurve(&["sample", text(&folder), "--patients", "24"]), 2);
    assert!(said.contains("exports/mine.csv") && folder.join("exports/mine.csv").exists(), "{said}");
}

/// If this fails after a wanted change of the sample: remove `sample-data`, and write it anew.
#[test]
fn the_committed_sample_is_marked_as_it_stands_so_that_it_can_be_written_anew() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("sample-data");
    copy(&project().join("sample-data"), &folder);
    let output = mendcurve(&["sample", text(&folder)]);
    assert!(output.status.success(), "{}", stderr(&output));
    let plain = |tree: BTreeMap<PathBuf, Vec<u8>>| -> BTreeMap<PathBuf, Vec<u8>> {
        let differs =
            |path: &Path| path.extension().is_some_and(|ending| ending == "gz") || path.ends_with(".mendcurve");
        tree.into_iter().filter(|(path, _)| !differs(path)).collect() // packers differ in the bytes they choose
    };
    assert!(plain(tree(&folder)) == plain(tree(&project().join("sample-data"))));
}

#[test]
fn foreign_files_in_a_report_are_named_and_move_along_when_told() {
    let scratch = tempfile::tempdir().unwrap();
    let (group, out) = (scratch.path().join("group"), scratch.path().join("out"));
    small_sample(&group);
    let run = |more: &[&str]| mendcurve(&[&["report", text(&group), "--out", text(&out), "--quiet"], more].concat());
    assert!(run(&[]).status.success());
    let first = tree(&out);
    assert!(run(&[]).status.success());
    assert!(tree(&out) == first, "same input, same bytes, the lists of files too");
    fs::write(out.join("notes.txt"), "mine").unwrap();
    fs::write(out.join("methods.html"), "edited").unwrap();
    let said = refused(&run(&[]), 2);
    assert!(said.contains("methods.html (changed since it was written), notes.txt"), "{said}");
    assert!(said.contains("--keep-foreign-files"), "{said}");
    assert_eq!(fs::read(out.join("notes.txt")).unwrap(), b"mine");
    let output = run(&["--keep-foreign-files"]);
    assert!(output.status.success(), "{}", stderr(&output));
    let mut after = tree(&out);
    assert_eq!(after.remove(Path::new("notes.txt")).unwrap(), b"mine");
    assert_eq!(after.remove(Path::new("methods.html.kept")).unwrap(), b"edited");
    assert!(after == first);
    assert_eq!(names(scratch.path()), ["group", "out"]);
    assert!(stdout(&mendcurve(&["report", "--help"])).contains("--keep-foreign-files"));
}

#[cfg(unix)]
#[test]
fn patients_rows_are_the_owners_alone_whatever_the_umask() {
    use std::os::unix::fs::PermissionsExt;
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let scratch = tempfile::tempdir().unwrap();
    let (group, out) = (scratch.path().join("group"), scratch.path().join("out"));
    small_sample(&group);
    for (umask, folder, file) in [("000", 0o777, 0o666), ("027", 0o750, 0o640), ("077", 0o700, 0o600)] {
        let run = std::process::Command::new("sh")
            .args(["-c", "umask \"$1\"; shift; exec \"$@\"", "sh", umask, env!("CARGO_BIN_EXE_mendcurve")])
            .args(["report", text(&group), "--out", text(&out), "--quiet"])
            .output()
            .unwrap();
        assert!(run.status.success(), "{umask}: {}", stderr(&run));
        assert_eq!((mode(&out), mode(&out.join("tables/change.csv"))), (folder, file), "{umask}");
        let restricted = out.join("restricted");
        let mut folders = vec![restricted.clone()];
        let mut files = 0;
        while let Some(next) = folders.pop() {
            assert_eq!(mode(&next), 0o700, "{umask}: {}", next.display());
            for entry in fs::read_dir(&next).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    assert_eq!(mode(&path), 0o600, "{umask}: {}", path.display());
                    files += 1;
                }
            }
        }
        assert!(files > 5, "{files}");
        fs::remove_dir_all(&out).unwrap(); // the next one takes no mode from it
    }
}

#[test]
fn a_bad_output_path_is_exit_code_2_and_changes_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("file");
    fs::write(&file, "mine").unwrap();
    let (secret, export) = pseudonymise_needs(scratch.path());
    let too_long = scratch.path().join("n".repeat(300));
    let below_file = file.join("below/out");
    let in_nowhere = Path::new("/proc/nowhere/out").to_path_buf();
    for out in [&file, &below_file, &too_long, &in_nowhere, &PathBuf::from("/"), &PathBuf::from("")] {
        refused(&mendcurve(&["report", "sample-data", "--out", text(out)]), 2);
        refused(&mendcurve(&["sample", text(out), "--patients", "24"]), 2);
        refused(&mendcurve(&pseudonymise(&secret, &export, out)), 2);
    }
    assert_eq!(fs::read(&file).unwrap(), b"mine");
    assert_eq!(names(scratch.path()), ["export.csv", "file", "secret"]);
}

/// A clinic's secret and an export of two thousand rows, made in a folder.
pub fn pseudonymise_needs(folder: &Path) -> (PathBuf, PathBuf) {
    let (secret, export) = (folder.join("secret"), folder.join("export.csv"));
    fs::write(&secret, "kV8#qz1R!mTx7Lw0&uEj5Yb2^cHn9Sg4aPd6oFi3%tZk").unwrap();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(&secret, fs::Permissions::from_mode(0o600)).unwrap();
    }
    let mut rows = String::from("patient,day,score\n");
    for row in 0..2_000 {
        rows.push_str(&format!("k{:03},2026-03-{:02},{}\n", row % 400, 1 + row % 28, row % 11));
    }
    fs::write(&export, rows).unwrap();
    (secret, export)
}

/// The arguments that put pseudonyms in the place of the patients' keys.
pub fn pseudonymise<'a>(secret: &'a Path, export: &'a Path, out: &'a Path) -> [&'a str; 8] {
    let [secret, export, out] = [secret, export, out].map(text);
    ["pseudonymise", export, "--key-columns", "patient", "--secret-file", secret, "--out", out]
}

#[test]
fn every_error_of_a_command_says_what_to_do() {
    let scratch = tempfile::tempdir().unwrap();
    let put = |name: &str, bytes: &[u8]| {
        let path = scratch.path().join(name);
        fs::write(&path, bytes).unwrap();
        text(&path).to_owned()
    };
    let binary = put("binary.sql", b"SELECT '\xff'");
    let empty = put("empty.sql", b"");
    let nowhere = text(&scratch.path().join("nowhere")).to_owned();
    let folder = text(scratch.path()).to_owned();
    let from = report();
    let from = text(&from);
    for arguments in [
        &["report", nowhere.as_str()][..],
        &["report", &folder],
        &["report", &empty],
        &["report", "sample-data", "--period", "autumn"],
        &["report", "sample-data", "--out", &empty],
        &["report", "sample-data", "--audience", "everyone"],
        &["report", "sample-data", "--ot", "x"],
        &["report"],
        &["inspect", &nowhere],
        &["inspect", &folder],
        &["inspect", &empty],
        &["inspect", &binary],
        &["query", "atendance", "--from", from],
        &["query", "what_is_this", "--from", from],
        &["query", &nowhere, "--from", from],
        &["query", &folder, "--from", from],
        &["query", &binary, "--from", from],
        &["query", &empty, "--from", from],
        &["query", "attendance", "--from", &nowhere],
        &["query", "attendance", "--from", &folder],
        &["query", "attendance", "--from", &empty],
        &["query", "attendance", "--format", "xml"],
        &["sample", &folder],
        &["sample", &empty],
        &["sample", &nowhere, "--patients", "3"],
        &["setups", &nowhere],
        &["patient", "nobody", "sample-data"],
        &["patient", "nobody", &nowhere],
        &["backtest", &nowhere],
    ] {
        let output = mendcurve(arguments);
        let said = refused(&output, 2);
        assert_eq!(stdout(&output), "", "{arguments:?}");
        assert!(!said.contains("os error") || said.contains("what to do:"), "{said}");
    }
}

#[test]
fn no_name_steers_the_terminal() {
    let scratch = tempfile::tempdir().unwrap();
    let evil = "a\u{1b}]0;owned\u{7}\u{1b}[2J\u{9b}31m\r\u{202e}";
    let path = scratch.path().join(evil);
    fs::create_dir(&path).unwrap();
    fs::write(path.join("q.sql"), "SELECT site AS \"s\u{1b}[2J\" FROM visits WHERE ORDER BY site").unwrap();
    fs::write(path.join("r.sql"), "SELECT 'x\u{1b}[2J' AS \"s\u{1b}[2J\" FROM visits LIMIT 1").unwrap();
    fs::write(path.join("group.toml"), "nam\u{1b}e = 3\n").unwrap();
    fs::write(path.join("export.csv"), "a,b\n1,2\n").unwrap();
    let (from, out, group) = (report(), path.join("out"), scratch.path().join("group"));
    small_sample(&group);
    let group = text(&group).to_owned();
    let is_plain = |text: &str| {
        let steers = |c: char| (c.is_control() && c != '\n') || matches!(c, '\u{202a}'..='\u{202e}');
        assert!(!text.contains(steers), "{text:?}");
    };
    let argument = |name: &str| text(&path.join(name)).to_owned();
    for arguments in [
        vec!["report".to_owned(), argument("none")],
        vec!["report".into(), argument("")],
        vec!["report".into(), argument("export.csv")],
        vec!["report".into(), group.clone(), format!("--{evil}")],
        vec!["report".into(), group.clone(), "--period".into(), evil.into()],
        vec!["report".into(), group.clone(), "--audience".into(), evil.into()],
        vec!["report".into(), group.clone(), "--out".into(), argument("q.sql")],
        vec!["report".into(), group.clone(), "--out".into(), text(&out).into()],
        vec!["inspect".into(), argument("none.csv")],
        vec!["inspect".into(), argument("export.csv")],
        vec!["query".into(), evil.into()],
        vec!["query".into(), argument("q.sql"), "--from".into(), text(&from).into()],
        vec!["query".into(), argument("r.sql"), "--from".into(), text(&from).into()],
        vec!["query".into(), "attendance".into(), "--from".into(), argument("none")],
        vec!["sample".into(), argument("")],
        vec!["patient".into(), evil.into(), group.clone()],
        vec![evil.into()],
    ] {
        let output = command(&arguments.iter().map(String::as_str).collect::<Vec<_>>()).output().unwrap();
        is_plain(&stdout(&output));
        is_plain(&stderr(&output));
        assert!(!stderr(&output).contains("\nowned"), "{}", stderr(&output));
    }
}

/// An attacker who sends a question: none reaches a file, and none takes the program down.
#[test]
fn a_question_reads_nothing_but_the_datasets_and_ends_in_an_answer_or_an_error() {
    let scratch = tempfile::tempdir().unwrap();
    let secret = scratch.path().join("secret.csv");
    fs::write(&secret, "a,b\nTOP-SECRET,2\n").unwrap();
    fs::copy(report().join("restricted/visits.parquet"), scratch.path().join("other.parquet")).unwrap();
    let from = report();
    let ask = |sql: &str| {
        let file = scratch.path().join("q.sql");
        fs::write(&file, sql).unwrap();
        mendcurve(&["query", text(&file), "--from", text(&from), "--format", "csv"])
    };
    let (csv, parquet) = (secret.display(), scratch.path().join("other.parquet").display().to_string());
    for source in [
        format!("read_csv('{csv}')"),
        format!("READ_CSV('{csv}')"),
        format!("\"read_csv\"('{csv}')"),
        format!("read_parquet('{parquet}')"),
        format!("scan_parquet('{parquet}')"),
        format!("read_ipc('{parquet}')"),
        format!("read_json('{csv}')"),
        format!("read_ndjson('{csv}')"),
        format!("'{parquet}'"),
        format!("\"{parquet}\""),
        format!("`{parquet}`"),
        "main.visits.restricted".into(),
        "on_track".into(),
    ] {
        for sql in [
            format!("SELECT * FROM {source}"),
            format!("SELECT COUNT(*) AS n FROM visits, {source} AS f"),
            format!("WITH a AS (SELECT * FROM {source}) SELECT * FROM a"),
            format!("SELECT site FROM visits WHERE site IN (SELECT * FROM {source})"),
            format!("SELECT site FROM visits UNION ALL SELECT a FROM {source}"),
        ] {
            let output = ask(&sql);
            let said = refused(&output, 2);
            assert!(stdout(&output).is_empty() && !said.contains("TOP-SECRET"), "{sql}: {said}");
        }
    }
    let nested = |n: usize, open: &str, close: &str| {
        format!("SELECT {}1{} AS x FROM visits LIMIT 1", open.repeat(n), close.repeat(n))
    };
    let brackets = [
        ("(", ")"),
        ("CASE WHEN true THEN ", " ELSE 0 END"),
        ("ABS(", ")"),
        ("(SELECT ", ")"),
        ("NOT (", ")"),
        ("-(", ")"),
    ];
    for (open, close) in brackets {
        for n in [10, 15, 19, 50, 300, 5_000, 200_000] {
            let output = ask(&nested(n, open, close));
            if !output.status.success() {
                refused(&output, 2);
            }
            assert!(n < 20 || output.status.code() == Some(2), "{n} times {open}");
        }
    }
    let from_nested =
        |n: usize| format!("SELECT * FROM {}visits{} LIMIT 1", "(SELECT * FROM ".repeat(n), ") AS a".repeat(n));
    for n in [10, 19, 5_000] {
        let output = ask(&from_nested(n));
        assert!(output.status.code().is_some_and(|code| code == 0 || code == 2), "{}", stderr(&output));
    }
    let links = [
        " + 1",
        " - visit_no",
        " AND true",
        " OR site = 'x'",
        " || 'a'",
        "::BIGINT",
        " UNION ALL SELECT 1 FROM visits",
        " - -1",
        " IS NULL",
        " = 1",
        " IN (1)",
        " BETWEEN 1 AND 2",
        " NOT LIKE 'x'",
    ];
    for link in links {
        for n in [70, 140, 400, 100_000] {
            let output = ask(&format!("SELECT visit_no{} AS x FROM visits LIMIT 1", link.repeat(n)));
            let code = output.status.code();
            assert!(code == Some(0) || code == Some(2), "{n} times {link}: {code:?} {}", stderr(&output));
            assert!(!stderr(&output).contains("overflow"), "{}", stderr(&output));
        }
    }
    for sign in ["-", "NOT ", "+", "~ "] {
        for n in [20, 900, 100_000] {
            let output = ask(&format!("SELECT {}visit_no AS x FROM visits LIMIT 1", sign.repeat(n)));
            assert!(matches!(output.status.code(), Some(0 | 2)), "{n} times {sign}: {}", stderr(&output));
        }
    }
    let joins: String =
        (0..60).map(|i| format!(" JOIN visits AS v{i} ON v{i}.site = v.site AND v{i}.day < 0")).collect();
    let output = ask(&format!("SELECT v.site FROM visits AS v{joins} LIMIT 1"));
    assert!(matches!(output.status.code(), Some(0 | 2)), "{}", stderr(&output));
}

#[test]
fn every_page_that_is_written_says_what_it_may_load() {
    let mut pages = 0;
    for (path, bytes) in tree(&report()) {
        if path.extension().is_some_and(|ending| ending == "html") {
            let page = String::from_utf8(bytes).unwrap();
            assert_eq!(
                page.matches("http-equiv=\"Content-Security-Policy\" content=\"default-src 'none';").count(),
                1,
                "{path:?}"
            );
            assert!(!page.contains("<script") && !page.contains(" style=\""), "{path:?}");
            pages += 1;
        }
    }
    assert!(pages > 100, "{pages}");
}
