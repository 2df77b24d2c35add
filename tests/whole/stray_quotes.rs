//! A stray quotation mark in an export: nothing is swallowed in silence.

use super::{SmallGroup, mendcurve, project, sheet, stderr, text};
use std::path::Path;

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        match entry.file_type().unwrap().is_dir() {
            true => copy(&entry.path(), &target),
            false => drop(std::fs::copy(entry.path(), target).unwrap()),
        }
    }
}

/// The sample with quotation marks at the start of some cells of its first export: line, from 1, and cell, from 0.
fn report_with_marks(marks: &[(usize, usize)]) -> (tempfile::TempDir, std::process::Output) {
    let scratch = tempfile::tempdir().unwrap();
    let group = scratch.path().join("group");
    copy(&project().join("sample-data"), &group);
    let path = group.join("exports/alderwick.csv");
    let export = std::fs::read_to_string(&path).unwrap();
    assert!(!export.contains('"'));
    let mut lines: Vec<String> = export.lines().map(str::to_owned).collect();
    for (line, cell) in marks {
        let at = lines[line - 1].match_indices(',').nth(cell.wrapping_sub(1)).map_or(0, |(at, _)| at + 1);
        lines[line - 1].insert(at, '"');
    }
    std::fs::write(&path, lines.join("\n") + "\n").unwrap();
    let output = mendcurve(&["report", text(&group), "--out", text(&scratch.path().join("out"))]);
    (scratch, output)
}

#[test]
fn one_that_is_never_closed_ends_the_run_with_its_place() {
    let (scratch, output) = report_with_marks(&[(100, 3)]);
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("exports/alderwick.csv:100:27: a quotation mark opens a cell here"), "{said}");
    assert!(said.contains("what to do: "), "{said}");
    assert!(!scratch.path().join("out").exists());
}

#[test]
fn one_that_another_closes_a_thousand_rows_later_costs_its_own_row() {
    let (scratch, output) = report_with_marks(&[(100, 3), (1100, 4)]);
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(2), "the second one is never closed: {said}");
    assert!(said.contains("alderwick.csv:1100:"), "{said}");
    drop(scratch);

    let (scratch, output) = report_with_marks(&[(100, 3), (1100, 4), (1100, 6)]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let out = scratch.path().join("out");
    let rejected = sheet(&out.join("restricted/rejected_rows.csv"));
    let stray: Vec<_> = rejected.iter().filter(|row| row["reason"].starts_with("stray quote")).collect();
    let told: Vec<_> = stray.iter().map(|row| (row["line"].as_str(), row["column"].as_str())).collect();
    assert_eq!(told, [("100", "clinician")], "line 1100 has two marks: its cell closes on its line");
    let account =
        sheet(&out.join("tables/reconciliation.csv")).into_iter().find(|a| a["file"].ends_with("(Alderwick)")).unwrap();
    let number = |column: &str| account[column].parse::<u64>().unwrap();
    assert_eq!(number("lines"), 2_192);
    assert_eq!(number("rows_read"), 2_191);
    assert_eq!(
        number("lines"),
        number("lines_of_head") + number("lines_blank") + number("rows_read") + number("lines_in_cells")
    );
}

const MAPPING: &str = "[file]\ndates = \"iso\"\n[columns]\npatient = \"p\"\ndate = \"d\"\n[drop]\ncolumns = [\"note\"]\n\
[[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\ncolumn = \"pain\"\nscale = \"0-10\"\n";

#[test]
fn a_note_of_several_lines_is_read_and_its_lines_are_told() {
    let mut export = String::from("p,d,note,pain\n");
    for i in 0..40 {
        export.push_str(&format!("k{},2026-03-{:02},\"slept well,\nwalked\",{}\n", i % 4, 1 + i / 4, i % 11));
    }
    let small = SmallGroup::new(MAPPING, export);
    let output = small.report();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let account = small.account();
    assert_eq!((account.read, account.kept, account.rejected), (40, 40, 0));
    let lines = sheet(&small.path("out/restricted/lines_in_cells.csv"));
    assert_eq!(lines.len(), 40);
    assert_eq!((lines[0]["line"].as_str(), lines[0]["row_line"].as_str(), lines[0]["lines"].as_str()), ("3", "2", "1"));
    let page = std::fs::read_to_string(small.path("out/data-quality.html")).unwrap();
    assert!(page.contains("81\u{a0}lines") || page.contains("81&nbsp;lines") || page.contains("81&#160;lines"));
    assert!(page.contains("40 inside quoted cells"));
}

#[test]
fn a_header_that_swallows_rows_is_refused_and_one_that_is_named_over_lines_is_read() {
    let rows: String = (0..40).map(|i| format!("k{},2026-03-{:02},fine,{}\n", i % 4, 1 + i / 4, i % 11)).collect();
    // the last column is not in the mapping, so that its name could hold anything
    let wider = rows.replace('\n', ",x\n").replacen(",x\n", ",x\",y\n", 2);
    let small = SmallGroup::new(MAPPING, format!("p,d,note,pain,\"more\n{wider}"));
    let output = small.report();
    assert_eq!(output.status.code(), Some(2), "{}", stderr(&output));
    assert!(
        stderr(&output).contains("export.csv:1: the name of column 5 runs over several lines"),
        "{}",
        stderr(&output)
    );
    let small = SmallGroup::new(
        &MAPPING.replace("\"pain\"\nscale", "\"pain today\"\nscale"),
        format!("p,d,note,\"pain\ntoday\"\n{rows}"),
    );
    let output = small.report();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(small.account().kept, 40);
}
