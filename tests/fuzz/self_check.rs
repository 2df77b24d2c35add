//! The fuzzer itself: each oracle sees a fault that is planted for it, past finds stay mended, and an input is made anew
//! from its name.

use super::corpus::{Corpus, files_below, folder, folders};
use super::csv_changes::SECRET;
use super::guard::{Watch, caught, pool};
use super::input::{Files, Folder, Lineage, Target, next_files};
use super::known::Known;
use super::oracle::{Find, examine, same};
use super::subject::{Account, Outcome, Workplace, findings, inspect, read, read_across_blocks, written_report};
use crate::error::Problem;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

fn kinds(outcome: &Outcome) -> Vec<&'static str> {
    examine(outcome, &Files::new()).iter().map(|find| find.kind).collect()
}

fn ended_in(problem: Problem) -> Outcome {
    Outcome { problem: Some(problem), ..Outcome::default() }
}

fn wrote(name: &str, text: &str) -> Outcome {
    Outcome { written: vec![(name.to_owned(), text.to_owned())], ..Outcome::default() }
}

#[test]
fn a_complaint_without_remedy_of_the_wrong_code_or_with_a_cell_is_found() {
    let good = Problem::input("a cell is wrong").hint("mend it");
    assert!(kinds(&ended_in(good.clone())).is_empty());
    assert_eq!(kinds(&ended_in(Problem::input("a cell is wrong"))), ["no remedy"]);
    assert_eq!(kinds(&ended_in(Problem::failure("the disk").hint("mend it"))), ["exit code"]);
    let told = Problem::input(format!("`{SECRET}` is no number")).hint("mend it");
    assert_eq!(kinds(&ended_in(told)), ["cell told"]);
}

#[test]
fn an_account_that_loses_invents_or_misplaces_a_row_is_found() {
    let account = |read, lines: &[u32], text: &str| Account {
        read,
        balances: true,
        printed: "Rejected { line: 3 }".to_owned(),
        bytes: Arc::new(text.as_bytes().to_vec()),
        skip_lines: 1,
        lines: lines.to_vec(),
    };
    let text = "title\na,b\n1,2\n\n3,4\n";
    let of = |account: Account| Outcome { accounts: vec![account], ..Outcome::default() };
    let said = |account: Account| examine(&of(account), &Files::new()).first().map(|find| find.what.clone());
    assert_eq!(said(account(2, &[3, 5], text)), None);
    let has = |account: Account, part: &str| assert!(said(account).is_some_and(|what| what.contains(part)), "{part}");
    has(Account { balances: false, ..account(2, &[3, 5], text) }, "does not balance");
    has(account(1, &[3], text), "fewer rows");
    has(account(3, &[3, 4, 5], text), "more rows");
    has(account(2, &[3, 9], text), "the file has not");
    has(Account { printed: "line: 99".to_owned(), ..account(2, &[3, 5], text) }, "the file has not");
    has(account(2, &[3, 3], text), "two rows stand on one");
    assert_eq!(said(account(3, &[3, 3, 4], "title\na,b\n1,2\r3,4\n5,6\n")), None);
}

#[test]
fn what_is_no_number_or_lies_outside_its_interval_is_found() {
    let printed = |text: &str| kinds(&Outcome { found: text.to_owned(), ..Outcome::default() });
    assert!(printed("Row { site: \"NaN\", label: \"inf\", rate: Some(0.5), info: 2 }").is_empty());
    for bad in ["Row { rate: NaN, n: 1 }", "Some(inf)", "[1.0, -inf]", "(NaN, 0.0)"] {
        assert_eq!(printed(bad), ["no number"], "{bad}");
    }
    assert!(kinds(&wrote("a.csv", "rate,ci_low,ci_high\n0.5,0.4,0.6\n,,\n")).is_empty());
    assert_eq!(kinds(&wrote("a.csv", "rate,ci_low,ci_high\n0.5,0.7,0.6\n")), ["interval"]);
    assert_eq!(kinds(&wrote("a.csv", "worst_case,best_case\n0.5,0.4\n")), ["interval"]);
    assert_eq!(kinds(&wrote("a.csv", "low_95,high_95\n-1,-inf\n")), ["no number", "interval"]);
    assert_eq!(kinds(&wrote("a.csv", "a,b\n1\n")), ["sheet"]);
    assert!(kinds(&wrote("a.html", "<p>information</p>")).is_empty());
    assert_eq!(kinds(&wrote("a.html", "<path d=\"M0 NaN\"/>")), ["no number"]);
}

#[test]
fn a_panic_on_any_of_our_threads_is_found_with_its_place() {
    let own = pool(2);
    let caught = own.install(|| caught(|| rayon::join(|| 1, || panic!("planted {}", 7))));
    let message = caught.expect_err("a panic");
    assert!(message.contains("self_check.rs") && message.ends_with("planted 7"), "{message}");
    assert_eq!(own.install(|| super::guard::caught(|| 3)), Ok(3));
}

#[test]
fn an_input_that_hangs_is_named_once_and_a_quick_one_is_not() {
    let called = Arc::new(AtomicUsize::new(0));
    let count = Arc::clone(&called);
    let watch = Watch::start(move |what| {
        assert_eq!(what, "slow");
        count.fetch_add(1, Ordering::SeqCst);
    });
    watch.begin("quick".to_owned(), Duration::from_secs(60));
    watch.end();
    watch.begin("slow".to_owned(), Duration::from_millis(30));
    std::thread::sleep(Duration::from_millis(400));
    watch.end();
    drop(watch);
    assert_eq!(called.load(Ordering::SeqCst), 1);
}

#[test]
fn a_result_that_differs_is_found() {
    let one = Outcome { understood: "7 rows".to_owned(), ..Outcome::default() };
    assert_eq!(same(&one, &one.clone(), "again"), None);
    let other = Outcome { understood: "8 rows".to_owned(), ..Outcome::default() };
    assert!(same(&one, &other, "again").is_some());
    assert!(same(&one, &ended_in(Problem::input("no")), "again").is_some());
}

#[test]
fn a_known_find_is_let_pass_and_its_neighbour_is_not() {
    let known = Known::parse("# why\npanic | src/x.rs:7: out of | waits for a new reader\n");
    assert!(known.holds(&Find::new("panic", "src/x.rs:7: out of bounds")));
    assert!(!known.holds(&Find::new("panic", "src/x.rs:8: out of bounds")));
    assert!(!known.holds(&Find::new("hang", "src/x.rs:7: out of bounds")));
}

#[test]
fn an_export_is_read_across_the_end_of_a_block_and_a_row_lost_there_would_show() {
    let corpus = Corpus::read();
    let scratch = tempfile::tempdir().expect("a folder");
    let mut workplace = Workplace::new(scratch.path());
    let base = "six-sites@exports/alderwick.csv".to_owned();
    let lineage = Lineage { target: Target::Export, base, steps: Vec::new() };
    let files = lineage.files(&corpus).expect("a base");
    let whole = workplace.run(&lineage, &files, &corpus);
    let across = read_across_blocks(&mut workplace, &lineage, &files, &corpus).expect("plain text");
    assert!(whole.accounts[0].read > 10);
    assert_eq!(same(&whole, &across, "across"), None);
    let mut fewer = files.clone();
    let bytes = Arc::make_mut(fewer.get_mut("exports/alderwick.csv").expect("the export"));
    let middle = bytes.len() / 2;
    let from = middle + bytes[middle..].iter().position(|byte| *byte == b'\n').expect("a line") + 1;
    let to = from + bytes[from..].iter().position(|byte| *byte == b'\n').expect("a line") + 1;
    bytes.drain(from..to);
    let lost = read_across_blocks(&mut workplace, &lineage, &fewer, &corpus).expect("plain text");
    assert!(same(&whole, &lost, "across").is_some());
}

#[test]
fn an_input_is_made_anew_from_its_name_and_changes_do_change() {
    let corpus = Corpus::read();
    for target in Target::ALL {
        let base = corpus.of(target)[0];
        let mut lineage = Lineage { target, base: base.name.clone(), steps: Vec::new() };
        let mut files = base.files.clone();
        for step in 0..8 {
            lineage = lineage.then(step);
            next_files(&mut files, base, step, &corpus);
        }
        assert_ne!(files, base.files, "{lineage}");
        let name = Lineage::parse(&lineage.to_string()).expect("its own name");
        assert_eq!(name, lineage);
        assert_eq!(name.files(&corpus).expect("a base"), files, "{lineage}");
    }
}

#[test]
fn the_corpus_itself_is_understood() {
    let corpus = Corpus::read();
    let scratch = tempfile::tempdir().expect("a folder");
    let mut workplace = Workplace::new(scratch.path());
    for target in [Target::Export, Target::Mapping, Target::Settings] {
        for base in corpus.of(target) {
            let lineage = Lineage { target, base: base.name.clone(), steps: Vec::new() };
            let outcome = workplace.run(&lineage, &base.files, &corpus);
            assert_eq!(outcome.problem, None, "{lineage}");
            assert!(examine(&outcome, &base.files).is_empty(), "{lineage}");
        }
    }
}

#[test]
fn past_finds_stay_mended() {
    let past = folders(&folder().join("finds"));
    assert!(!past.is_empty());
    let scratch = tempfile::tempdir().expect("a folder");
    let _ = Workplace::new(scratch.path()); // its secret
    let known = Known::read();
    for (name, path) in past {
        let files = files_below(&path);
        let mut folder = Folder::new(scratch.path(), &name);
        folder.lay(&files);
        let mut outcomes = vec![findings(folder.path(), &files)];
        outcomes.push(written_report(folder.path(), &scratch.path().join("out")));
        if let Ok(group) = crate::group::load::load(folder.path()) {
            outcomes.push(read(&group, &files, true));
        }
        let exports = files.keys().filter(|path| !path.ends_with(".toml"));
        outcomes.extend(exports.map(|path| inspect(&folder.path().join(path), scratch.path())));
        for outcome in outcomes {
            let mut finds = examine(&outcome, &files);
            finds.retain(|find| !known.holds(find));
            assert!(finds.is_empty(), "{name}: {finds:?}");
        }
    }
}
