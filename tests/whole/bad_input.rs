//! Bad input: each ends in a clear error or a counted rejection, never in a panic, and leaves no half-written output.

use super::{Account, SmallGroup, mendcurve, sheet, stderr, stdout, text};
use std::io::Write;
use std::process::Output;

const MAPPING: &str = "[file]\ndates = \"iso\"\n[columns]\npatient = \"p\"\ndate = \"d\"\n\
peak_force = { column = \"pull\", unit = \"N\" }\nbody_mass = { column = \"kg\", unit = \"kg\" }\n\
[[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\ncolumn = \"pain\"\nscale = \"0-10\"\n\
[[scores]]\nmeasure = \"odi\"\ncolumn = \"odi\"\nscale = \"percent\"\n";
const HEADER: &str = "p,d,pull,kg,pain,odi\n";

fn group(rows: &str) -> SmallGroup {
    SmallGroup::new(MAPPING, format!("{HEADER}{rows}"))
}

/// Good rows enough that one bad one stays below the limit of 5 %.
fn among_good_rows(bad: &str) -> SmallGroup {
    let mut rows = String::new();
    for i in 0..40 {
        rows.push_str(&format!("k{},2026-03-{:02},300,80,{},40\n", i % 4, 1 + i / 4, i % 11));
    }
    rows.push_str(bad);
    rows.push('\n');
    group(&rows)
}

fn refused(small: &SmallGroup, code: i32) -> String {
    let output = small.report();
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(code), "{said}");
    no_panic(&output);
    assert!(!small.path("out").exists(), "output was left behind");
    let others: Vec<_> = std::fs::read_dir(small.folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(others.iter().all(|name| !name.to_string_lossy().starts_with('.')), "{others:?}");
    assert!(said.contains("what to do:"), "{said}");
    said
}

fn no_panic(output: &Output) {
    assert!(!stderr(output).contains("panicked"), "{}", stderr(output));
}

/// Runs the report; every row must be accounted for.
fn balanced(small: &SmallGroup) -> Account {
    let output = small.report();
    no_panic(&output);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let account = small.account();
    assert_eq!(account.read, account.kept + account.duplicate + account.rejected, "{account:?}");
    account
}

fn rejected_for(bad: &str, reason: &str) {
    let small = among_good_rows(bad);
    let account = balanced(&small);
    assert_eq!((account.read, account.rejected), (41, 1), "{bad}");
    let rejected = sheet(&small.path("out/restricted/rejected_rows.csv"));
    assert_eq!((rejected[0]["line"].as_str(), rejected[0]["file"].as_str()), ("42", "export.csv"));
    assert!(rejected[0]["reason"].contains(reason), "{:?}", rejected[0]);
}

fn blanked(bad: &str, cells: u64) {
    let account = balanced(&among_good_rows(bad));
    assert_eq!((account.kept, account.rejected, account.blanked), (41, 0, cells), "{bad}");
}

#[test]
fn an_empty_file_is_refused() {
    let said = refused(&SmallGroup::new(MAPPING, ""), 2);
    assert!(said.contains("export.csv: the file is empty"), "{said}");
}

#[test]
fn a_header_alone_gives_a_report_of_nothing_and_is_doubted() {
    let small = group("");
    let output = small.report();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let account = small.account();
    assert_eq!((account.read, account.kept), (0, 0));
    let said = stdout(&output);
    assert!(said.contains("doubt: a header and no row in ") && said.contains("was it exported whole?"), "{said}");
    let page = std::fs::read_to_string(small.path("out/data-quality.html")).unwrap();
    assert!(page.contains("One export holds a header and no row. Was it exported whole?"));
    let full = among_good_rows("k,2026-03-20,300,80,3,40");
    assert!(!stdout(&full.report()).contains("doubt"));
    assert!(!std::fs::read_to_string(full.path("out/data-quality.html")).unwrap().contains("exported whole?"));
}

#[test]
fn a_wrong_delimiter_is_recognised() {
    let said = refused(&SmallGroup::new(MAPPING, "p;d;pull;kg;pain;odi\nk;2026-03-01;1;80;3;40\n"), 2);
    assert!(said.contains("mapping.toml:4:"), "{said}");
    assert!(said.contains("';'"), "{said}");
}

#[test]
fn a_binary_file_is_refused() {
    let said = refused(&SmallGroup::new(MAPPING, b"PK\x03\x04\x14\x00\x06\x00\x08\x00\x00\x00!\x00"), 2);
    assert!(said.contains("not a table of text"), "{said}");
}

#[test]
fn a_truncated_gzip_file_is_refused() {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    for i in 0..50_000 {
        writeln!(encoder, "k{i},2026-03-01,{},80,3,40", i * 7919 % 1000).unwrap();
    }
    let whole = encoder.finish().unwrap();
    let said = refused(&SmallGroup::new(MAPPING, &whole[..whole.len() / 2]), 2);
    assert!(said.contains("damaged or ends too early"), "{said}");
}

#[test]
fn a_damaged_zstd_file_is_refused_as_bad_input() {
    let text: String = (0..5_000).map(|i| format!("k{i},2026-03-01,{},80,3,40\n", i * 7919 % 1000)).collect();
    let mut packed = zstd::encode_all(format!("{HEADER}{text}").as_bytes(), 3).unwrap();
    let from = packed.len() / 2;
    packed[from..from + 64].fill(0xff);
    let said = refused(&SmallGroup::new(MAPPING, packed), 2);
    assert!(said.contains("damaged or ends too early"), "{said}");
}

fn gzip(text: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    encoder.write_all(text).unwrap();
    encoder.finish().unwrap()
}

#[test]
fn a_compressed_file_that_holds_more_than_the_group_allows_is_refused() {
    let small = SmallGroup::new(MAPPING, gzip(format!("{HEADER}{}", "\n".repeat(2_000_000)).as_bytes()));
    let settings = std::fs::read_to_string(small.path("group.toml")).unwrap();
    small.put("group.toml", format!("unpacked_limit_gb = 0.001\n{settings}"));
    let said = refused(&small, 2);
    assert!(said.contains("export.csv: the compressed file holds more than 0.001 GB of text"), "{said}");
    assert!(said.contains("unpacked_limit_gb"), "{said}");
    small.put("group.toml", format!("unpacked_limit_gb = 0\n{settings}"));
    assert!(refused(&small, 2).contains("group.toml:1:21: `unpacked_limit_gb` is how many GB"));
    small.put("group.toml", settings);
    let account = balanced(&small);
    assert_eq!((account.read, account.rejected), (0, 0), "blank lines are counted, whatever their number");
    let reconciliation = sheet(&small.path("out/tables/reconciliation.csv"));
    assert_eq!(
        (reconciliation[0]["lines"].as_str(), reconciliation[0]["lines_blank"].as_str()),
        ("2000001", "2000000")
    );
}

#[test]
fn beyond_a_limit_rejected_rows_are_counted_and_not_listed_and_sheet_and_page_say_so() {
    let rows = 250_000;
    let small = SmallGroup::new(MAPPING, gzip(format!("{HEADER}{}", ",,,,,\n".repeat(rows)).as_bytes()));
    let settings = std::fs::read_to_string(small.path("group.toml")).unwrap();
    small.put("group.toml", format!("reject_limit = 1\n{settings}"));
    let account = balanced(&small);
    assert_eq!((account.read, account.rejected), (250_000, 250_000));
    let rejected = sheet(&small.path("out/restricted/rejected_rows.csv"));
    assert_eq!(rejected.len(), 100_001);
    let last = rejected.last().unwrap();
    assert_eq!((last["line"].as_str(), last["rows"].as_str()), ("100002", "150000"));
    let reconciliation = sheet(&small.path("out/tables/reconciliation.csv"));
    assert_eq!(reconciliation[0]["rows_not_listed"], "150000");
    let page = std::fs::read_to_string(small.path("out/data-quality.html")).unwrap();
    assert!(page.contains("150,000 rejected rows are counted here and not listed one by one"));
}

#[test]
fn a_record_that_never_ends_is_refused_without_reading_it_all() {
    // as a two-gigabyte line would be: the reader gives up after 16 MB
    let mut export = HEADER.as_bytes().to_vec();
    export.extend(std::iter::repeat_n(b'x', 40 << 20));
    let said = refused(&SmallGroup::new(MAPPING, export), 2);
    assert!(said.contains("has not ended after 16 MB"), "{said}");
}

#[test]
fn ten_thousand_columns_are_read() {
    let more: Vec<String> = (0..10_000).map(|i| format!("c{i}")).collect();
    let export =
        format!("p,d,pull,kg,pain,odi,{}\nk,2026-03-01,300,80,3,40,{}\n", more.join(","), vec!["1"; 10_000].join(","));
    assert_eq!(balanced(&SmallGroup::new(MAPPING, export)).kept, 1);
}

#[test]
fn a_header_twice_is_refused_unless_the_mapping_says_which() {
    let export = "p,d,pull,kg,pain,pain,odi\nk,2026-03-01,300,80,3,4,40\n";
    let said = refused(&SmallGroup::new(MAPPING, export), 2);
    assert!(said.contains("2 columns called 'pain'") && said.contains("pain#1"), "{said}");
    let which = MAPPING.replace("\"pain\"", "\"pain#2\"");
    assert_eq!(balanced(&SmallGroup::new(&which, export)).kept, 1);
}

#[test]
fn mixed_line_ends_and_a_mark_in_the_middle_are_read() {
    let export =
        format!("{HEADER}a,2026-03-01,300,80,3,40\r\nb,2026-03-01,300,80,3,40\n\u{feff}c,2026-03-01,300,80,3,40\r\n");
    let small = SmallGroup::new(MAPPING, export);
    assert_eq!(balanced(&small).kept, 3);
}

#[test]
fn two_files_joined_end_to_end_reject_the_second_header() {
    rejected_for(HEADER.trim_end(), "the header stands again");
}

#[test]
fn a_nul_byte_rejects_its_row() {
    rejected_for("k,2026-03-20,300,80,\0,40", "NUL");
}

#[test]
fn a_ragged_row_is_rejected() {
    rejected_for("k,2026-03-20,300,80", "more or fewer fields");
}

#[test]
fn impossible_days_are_rejected() {
    rejected_for("k,0202-03-20,300,80,3,40", "before 1990");
    rejected_for("k,2031-03-20,300,80,3,40", "after the day the group is read as of");
    rejected_for("k,2026-02-30,300,80,3,40", "not a date");
    rejected_for("k,03/04/2026,300,80,3,40", "not a date");
    rejected_for("k,,300,80,3,40", "cannot be understood without it");
    rejected_for(",2026-03-20,300,80,3,40", "cannot be understood without it");
}

#[test]
fn impossible_numbers_blank_their_cell_and_keep_the_row() {
    blanked("k,2026-03-20,-300,80,3,40", 1);
    blanked("k,2026-03-20,10000,80,3,40", 1);
    blanked("k,2026-03-20,10000,,3,40", 1);
    blanked("k,2026-03-20,300,80,11,40", 1);
    blanked("k,2026-03-20,300,80,3,101", 1);
    blanked("k,2026-03-20,three,80,nan,inf", 3);
}

#[test]
fn a_mapping_that_names_a_missing_column_points_into_the_mapping() {
    let wrong = MAPPING.replace("\"pain\"\nscale", "\"pian\"\nscale");
    let said = refused(&SmallGroup::new(&wrong, format!("{HEADER}k,2026-03-01,300,80,3,40\n")), 2);
    assert!(said.contains("mapping.toml:11:") && said.contains("did you mean 'pain'"), "{said}");
}

#[test]
fn two_fields_from_one_column_are_refused() {
    let wrong = MAPPING.replace("column = \"kg\"", "column = \"pull\"");
    let said = refused(&SmallGroup::new(&wrong, HEADER), 2);
    assert!(said.contains("mapping.toml:"), "{said}");
}

#[test]
fn a_cycle_of_mappings_is_named() {
    let small = SmallGroup::new("extends = \"b.toml\"\n", HEADER);
    small.put("b.toml", "extends = \"mapping.toml\"\n");
    let said = refused(&small, 2);
    assert!(said.contains("mapping.toml") && said.contains("b.toml"), "{said}");
}

#[test]
fn a_mapping_that_is_not_toml_and_a_missing_one_are_refused() {
    let said = refused(&SmallGroup::new("[file\n", HEADER), 2);
    assert!(said.contains("mapping.toml:1:"), "{said}");
    let small = SmallGroup::new(MAPPING, HEADER);
    std::fs::remove_file(small.path("mapping.toml")).unwrap();
    let said = refused(&small, 2);
    assert!(said.contains("mapping.toml"), "{said}");
}

#[test]
fn a_patient_at_two_sites_on_one_day_is_kept_at_both() {
    let small = SmallGroup::new(&MAPPING.replace("patient = \"p\"", "patient = \"p\"\nsite = \"s\""), "");
    small.put("export.csv", "p,d,pull,kg,pain,odi,s\nk,2026-03-01,300,80,3,40,A\nk,2026-03-01,300,80,3,40,B\n");
    small.put(
        "group.toml",
        "name = \"Two\"\nas_of = 2026-11-25\n[[exports]]\nfiles = [\"export.csv\"]\nmapping = \"mapping.toml\"\n",
    );
    let account = balanced(&small);
    assert_eq!((account.kept, account.duplicate), (2, 0));
    let page = std::fs::read_to_string(small.path("out/data-quality.html")).unwrap();
    assert!(page.contains("two sites on one day"));
}

#[test]
fn a_column_of_names_that_is_not_declared_stops_the_run() {
    let names = ["Ada Quill", "Bo Marsh", "Cy Thorn", "Di Brook", "Ed Fallow", "Fay Gorse", "Gus Heath", "Hal Ivy"];
    for (header, cell) in [("who", true), ("surname", false)] {
        let mut export = format!("p,d,pull,kg,pain,odi,{header}\n");
        for (i, name) in names.iter().enumerate() {
            let value = if cell { *name } else { "x" };
            export.push_str(&format!("k{i},2026-03-01,300,80,3,40,{value}\n"));
        }
        let said = refused(&SmallGroup::new(MAPPING, &export), 4);
        assert!(said.contains(header), "{said}");
        assert!(names.iter().all(|name| !said.contains(name)), "{said}");
        let dropped = format!("{MAPPING}[drop]\ncolumns = [\"{header}\"]\n");
        assert_eq!(balanced(&SmallGroup::new(&dropped, export)).kept, 8);
    }
}

#[test]
fn an_address_as_patient_key_stops_the_run_wherever_it_stands() {
    // past the records that are screened first
    let mut export = HEADER.to_owned();
    for i in 0..6_000 {
        export.push_str(&format!("k{i},2026-03-01,300,80,3,40\n"));
    }
    for i in 0..40 {
        export.push_str(&format!("someone{i}@example.org,2026-03-01,300,80,3,40\n"));
    }
    let said = refused(&SmallGroup::new(MAPPING, export), 4);
    assert!(!said.contains("example.org"), "{said}");
    assert!(said.contains("pseudonymise"), "{said}");
}

#[test]
fn too_many_rejected_rows_end_the_run_with_the_account_alone() {
    let small = group("k,2026-03-01,300,80,3,40\nk,not a day,300,80,3,40\n");
    let output = small.report();
    assert_eq!(output.status.code(), Some(3), "{}", stderr(&output));
    let account = small.account();
    assert_eq!((account.read, account.kept, account.rejected), (2, 1, 1));
    assert_eq!(sheet(&small.path("out/restricted/rejected_rows.csv")).len(), 1);
    assert!(!small.path("out/index.html").exists());
}

#[test]
fn a_failed_run_leaves_the_previous_report_as_it_was() {
    let small = among_good_rows("k,2026-03-20,300,80,3,40");
    balanced(&small);
    let before = std::fs::read(small.path("out/index.html")).unwrap();
    small.put("export.csv", "");
    let output = small.report();
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(std::fs::read(small.path("out/index.html")).unwrap(), before);
}

#[test]
fn one_million_episodes_of_one_visit_are_read() {
    let mut export = String::with_capacity(40_000_000);
    export.push_str(HEADER);
    for i in 0..1_000_000 {
        use std::fmt::Write;
        writeln!(export, "k{i},2026-03-01,300,80,{},40", i % 11).unwrap();
    }
    let account = balanced(&SmallGroup::new(MAPPING, export));
    assert_eq!((account.read, account.kept), (1_000_000, 1_000_000));
}

#[test]
fn a_quarter_beside_a_day_offset_may_not_lie_after_that_of_as_of() {
    let mapping = "[columns]\npatient = \"p\"\nday = \"day\"\nquarter = \"q\"\n\
                   [[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\ncolumn = \"pain\"\n";
    let mut export = String::from("p,day,q,pain\n");
    for i in 0..40 {
        export.push_str(&format!("k{},{},2026-Q4,{}\n", i % 4, 3 * i, i % 11)); // as of 25 November 2026
    }
    export.push_str("k1,200,2027-Q1,3\n");
    let small = SmallGroup::new(mapping, export);
    let account = balanced(&small);
    assert_eq!((account.read, account.rejected), (41, 1));
    let rejected = sheet(&small.path("out/restricted/rejected_rows.csv"));
    assert_eq!((rejected[0]["line"].as_str(), rejected[0]["column"].as_str()), ("42", "q"));
    assert!(rejected[0]["reason"].contains("after the day the group is read as of"), "{:?}", rejected[0]);
}

#[test]
fn a_folder_without_settings_and_a_quarter_that_is_none_are_refused() {
    let scratch = tempfile::tempdir().unwrap();
    let output = mendcurve(&["report", text(scratch.path()), "--out", text(&scratch.path().join("out"))]);
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("group.toml"), "{}", stderr(&output));
    let output = mendcurve(&["report", "sample-data", "--period", "autumn"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("2026-Q3"), "{}", stderr(&output));
}
