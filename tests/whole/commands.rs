//! What the commands print: snapshots of the terminal, and every built-in question.

use super::sample_group::report;
use super::{command, mendcurve, stderr, stdout, text};
use std::process::Stdio;

#[test]
fn report_prints_where_the_page_is_and_a_ten_line_summary() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    let output = mendcurve(&["report", "sample-data", "--out", text(&out)]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let said = stdout(&output).replace(text(&out), "OUT").replace('\\', "/");
    assert!(said.lines().count() <= 10, "{said}");
    insta::assert_snapshot!(said);
}

#[test]
fn the_questions_are_listed() {
    insta::assert_snapshot!(stdout(&mendcurve(&["query", "--from", text(&report())])));
}

#[test]
fn every_built_in_question_is_answered_in_each_form() {
    let folder = super::project().join("queries");
    let mut asked = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        for form in ["sheet", "csv", "json"] {
            let output = mendcurve(&["query", &name, "--from", text(&report()), "--format", form]);
            assert!(output.status.success(), "{name}: {}", stderr(&output));
            let said = stdout(&output);
            assert!(said.lines().count() > 1, "{name} as {form} is empty");
            if form == "json" {
                let rows: serde_json::Value = serde_json::from_str(&said).unwrap();
                assert!(rows.as_array().is_some_and(|rows| !rows.is_empty()), "{name}");
            }
        }
        asked += 1;
    }
    assert!(asked >= 8, "{asked} questions");
}

#[test]
fn inspect_drafts_a_mapping_and_shows_no_identifier() {
    let output = mendcurve(&["inspect", "sample-data/exports/fennick-bridge-visits.csv"]);
    assert!(output.status.success(), "{}", stderr(&output));
    insta::assert_snapshot!(stdout(&output));
}

#[test]
fn a_closed_pipe_is_a_quiet_end() {
    let from = report();
    let mut child = command(&["query", "episode_sums", "--from", text(&from), "--format", "csv"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", stderr(&output));
    let said = stderr(&output);
    assert!(said.starts_with("mendcurve: Restricted") && said.lines().count() == 1, "nothing but the note: {said}");
}

#[test]
fn an_answer_for_machines_says_beside_it_that_it_is_restricted_and_a_list_of_questions_is_not() {
    let ask = |more: &[&str]| {
        let output = mendcurve(&[&["query", "--from", text(&report())], more].concat());
        (stdout(&output).contains("Restricted"), stderr(&output).contains("Restricted"))
    };
    assert_eq!(ask(&["attendance", "--format", "csv"]), (false, true));
    assert_eq!(ask(&["attendance", "--format", "json"]), (false, true));
    assert_eq!(ask(&["attendance"]), (true, false));
    assert_eq!(ask(&["--format", "csv"]), (false, false));
}

#[test]
fn the_help_carries_the_cautions() {
    let output = mendcurve(&["--help"]);
    assert!(output.status.success());
    for needed in ["no diagnosis", "no dose advice", "contraindications", "licensed clinicians"] {
        assert!(stdout(&output).contains(needed), "{needed}");
    }
}

#[test]
fn release_withholds_more_than_internal() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    let output = mendcurve(&["report", "sample-data", "--out", text(&out), "--quiet", "--audience", "release"]);
    assert!(output.status.success(), "{}", stderr(&output));
    let withheld = |folder: &std::path::Path| {
        super::sheet(&folder.join("tables/completeness.csv")).iter().filter(|line| line["withheld"] == "true").count()
    };
    assert!(withheld(&out) > withheld(&report()));
    for line in super::sheet(&out.join("tables/completeness.csv")) {
        let n: u32 = line["episodes"].parse().unwrap_or(0);
        assert!(n == 0 || n > 10, "{line:?}");
    }
}
