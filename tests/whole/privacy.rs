//! The privacy gate, tried by somebody who knows its rules: no name, key or cell comes out where it should not.

use super::{SmallGroup, mendcurve, sheet, stderr, stdout, text};
use std::path::Path;
use std::process::Output;

const MAPPING: &str = "[file]\ndates = \"iso\"\n[columns]\npatient = \"p\"\ndate = \"d\"\nclinician = \"c\"\ntable = \"t\"\n\
icd10 = \"dx\"\npeak_force = { column = \"pull\", unit = \"N\" }\n\
[[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\ncolumn = \"pain\"\nscale = \"0-10\"\n";
const HEADER: &str = "p,d,c,t,dx,pull,pain\n";

/// A file of regular keys, 4 visits each.
fn regular(patients: usize) -> String {
    let mut rows = String::from(HEADER);
    for i in 0..patients * 4 {
        let (patient, day) = (i / 4, 1 + i % 4 * 7);
        rows.push_str(&format!(
            "C-{patient:04},2026-03-{day:02},C{},Table {},M54.5,300,{}\n",
            patient % 3,
            patient % 2,
            i % 11
        ));
    }
    rows
}

/// Every file below a folder that may circulate, as text; PNGs apart.
fn circulating(out: &Path) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut folders = vec![out.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() && path.file_name().is_some_and(|name| name != "restricted") {
                folders.push(path);
            } else if path.is_file() && path.extension().is_none_or(|ending| ending != "png") {
                let bytes = std::fs::read(&path).unwrap();
                found.push((path.display().to_string(), String::from_utf8_lossy(&bytes).into_owned()));
            }
        }
    }
    assert!(!found.is_empty());
    found
}

fn said(output: &Output) -> String {
    stdout(output) + &stderr(output)
}

/// What a question about the datasets answers, as CSV.
fn asked(small: &SmallGroup, question: &str) -> String {
    small.put("question.sql", question);
    let output =
        mendcurve(&["query", text(&small.path("question.sql")), "--from", text(&small.path("out")), "--format", "csv"]);
    assert!(output.status.success(), "{}", stderr(&output));
    stdout(&output)
}

#[test]
fn a_name_typed_into_a_column_of_keys_or_codes_comes_out_nowhere_and_is_counted_at_its_line() {
    // beyond the records that are screened first
    let mut export = regular(1_500);
    export.push_str("Quillfeather,2026-03-01,C1,Table 1,M54.5,300,3\n");
    export.push_str("C-0001,2026-04-08,Dr Anna Zelk,Frau Marrow,M54.5 Dubrenne,300,3\n");
    export.push_str("AQ19580312,2026-03-01,C1,Table 1,M54.5,300,3\n");
    let small = SmallGroup::new(MAPPING, export);
    let output = small.report();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let account = small.account();
    assert_eq!((account.read, account.kept, account.rejected, account.blanked), (6_003, 6_001, 2, 2));
    let rejected = sheet(&small.path("out/restricted/rejected_rows.csv"));
    let places: Vec<(&str, &str)> =
        rejected.iter().map(|line| (line["line"].as_str(), line["column"].as_str())).collect();
    assert_eq!(places, [("6002", "p"), ("6004", "p")]);
    assert!(rejected[0]["reason"].contains("looks like a direct identifier"), "{:?}", rejected[0]);
    let kept = ["patient", "clinician", "\"table\""].map(|column| format!("{column} FROM visits ORDER BY {column}"));
    let kept = kept.into_iter().chain(["icd10 FROM episodes ORDER BY icd10".to_owned()]);
    let kept: String = kept.map(|question| asked(&small, &format!("SELECT DISTINCT {question}"))).collect();
    assert!(kept.contains("C-0001") && kept.contains("Table 1") && kept.contains("M54.5"), "{kept}");
    let mut everything = circulating(&small.path("out"));
    everything.extend(circulating(&small.path("out/restricted")));
    everything.push(("terminal".into(), said(&output)));
    everything.push(("datasets".into(), kept));
    for (place, text) in everything {
        for name in ["Quillfeather", "Zelk", "Marrow", "Dubrenne", "AQ19580312"] {
            assert!(!text.contains(name), "{name} in {place}");
        }
    }
    let patient = mendcurve(&["patient", "Quillfeather", text(small.folder.path())]);
    assert_eq!(patient.status.code(), Some(2), "{}", said(&patient));
}

#[test]
fn keys_that_are_identifiers_stop_the_run_whatever_their_form() {
    let surnames = ["Quill", "Mackleby", "Zelk", "Dubrenne", "Marrow", "Larch", "Fenn", "Alder", "Brook", "Dunn"];
    let key = |form: &dyn Fn(usize) -> String| (0..40).map(form).collect::<Vec<_>>();
    let spread = |i: usize, digits: u32| 10usize.pow(digits - 1) + i * 7_919_317 % (9 * 10usize.pow(digits - 1));
    let letter = |i: usize| char::from(b'A' + (i * 7 % 26) as u8);
    let cases: [(&str, Vec<String>); 8] = [
        ("surnames", key(&|i| format!("{}{}", surnames[i % 10], ["", "er", "ton", "ley"][i / 10]))),
        ("surnames with a number", key(&|i| format!("{}{}", surnames[i % 10], ["", "er", "ton", "ley"][i / 10]) + "1")),
        (
            "initials and birth date",
            key(&|i| format!("{}{}{:02}{:02}{:02}", letter(i), letter(i + 3), 1 + i % 28, 1 + i % 12, 30 + i)),
        ),
        ("social security numbers", key(&|i| spread(i, 9).to_string())),
        ("record numbers", key(&|i| spread(i, 7).to_string())),
        ("record numbers with a word", key(&|i| format!("MRN{:07}", 4_000 + i))),
        ("telephone digits", key(&|i| format!("202555{:04}", 100 + i * 37))),
        ("birth dates", key(&|i| format!("19{:02}{:02}{:02}", 30 + i, 1 + i % 12, 1 + i % 28))),
    ];
    for (what, keys) in cases {
        let rows: String = keys.iter().map(|key| format!("{key},2026-03-01,C1,Table 1,M54.5,300,3\n")).collect();
        let small = SmallGroup::new(MAPPING, format!("{HEADER}{rows}"));
        let output = small.report();
        assert_eq!(output.status.code(), Some(4), "{what}: {}", stderr(&output));
        assert!(!small.path("out").exists());
        assert!(keys.iter().all(|key| !said(&output).contains(key.as_str())), "{what}: {}", said(&output));
    }
}

#[test]
fn a_clinicians_name_stops_the_run_and_a_declared_label_does_not() {
    let named = regular(20).replace(",C0,", ",Dr Anna Zelk,").replace(",C1,", ",Marrow,");
    let small = SmallGroup::new(MAPPING, &named);
    let output = small.report();
    assert_eq!(output.status.code(), Some(4), "{}", stderr(&output));
    assert!(!said(&output).contains("Zelk") && said(&output).contains("'c'"), "{}", said(&output));
    // what stands before the = is the group's own choice
    let declared = format!("{MAPPING}[words.clinician]\n\"Willow\" = [\"Dr Anna Zelk\"]\n\"Heron\" = [\"Marrow\"]\n");
    let small = SmallGroup::new(&declared, &named);
    let output = small.report();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(small.account().blanked, 0);
}

#[test]
fn what_circulates_names_files_by_their_place_and_unmapped_columns_by_their_position() {
    let export =
        regular(30).lines().map(|line| format!("{line},x\n")).collect::<String>().replacen(",x\n", ",Zelk 1958\n", 1);
    let small = SmallGroup::new(MAPPING, "");
    small.put("export-quillfeather-anna.csv", export);
    let group = std::fs::read_to_string(small.path("group.toml")).unwrap();
    small.put("group.toml", group.replace("export.csv", "export-*.csv"));
    let output = small.report();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    for (place, text) in circulating(&small.path("out")) {
        assert!(!text.contains("quillfeather") && !text.contains("Zelk 1958"), "{place}");
    }
    let page = std::fs::read_to_string(small.path("out/data-quality.html")).unwrap();
    assert!(page.contains("export 1 (Alderwick)") && page.contains("column 8"));
    let columns = sheet(&small.path("out/restricted/columns.csv"));
    let unmapped = columns.iter().find(|line| line["use"] == "not mentioned").unwrap();
    assert_eq!(
        (
            unmapped["export"].as_str(),
            unmapped["file"].as_str(),
            unmapped["position"].as_str(),
            unmapped["header"].as_str()
        ),
        ("export 1 (Alderwick)", "export-quillfeather-anna.csv", "8", "Zelk 1958")
    );
}

/// Cells that give themselves away, whatever is done with them.
const SECRETS: [&str; 5] = ["Zqvorlane", "zqvorlane@example.org", "Anna Zqvorlane", "917391555", "zq-vor-7391"];

/// What a terminal or a page would have to hold to have told a cell.
fn tells(text: &str) -> bool {
    let lower = text.to_lowercase();
    ["zqvorlane", "917391555", "zq-vor"].iter().any(|mark| lower.contains(mark))
}

#[test]
fn no_command_prints_a_cell_in_any_failure() {
    let (mut tried, mut told) = (0, Vec::new());
    let mut check = |what: &str, output: &Output, out: Option<&Path>| {
        tried += 1;
        assert!(!stderr(output).contains("panicked"), "{what}: {}", stderr(output));
        if tells(&said(output)) {
            told.push(format!("{what}: {}", said(output)));
        }
        let pages = out.filter(|out| out.exists()).map(circulating).unwrap_or_default();
        told.extend(pages.into_iter().filter(|(_, text)| tells(text)).map(|(place, _)| format!("{what}: {place}")));
    };
    for secret in SECRETS {
        let row = |n: usize| vec![secret; n].join(",") + "\n";
        let good = "C-0001,2026-03-01,C1,Table 1,M54.5,300,3\n";
        let one_at = |column: usize| {
            let mut cells: Vec<&str> = good.trim_end().split(',').collect();
            cells[column] = secret;
            format!("{}{}\n", regular(30), cells.join(","))
        };
        let mut exports: Vec<(String, Vec<u8>)> = vec![
            ("every cell".into(), format!("{HEADER}{}", row(7).repeat(40)).into()),
            ("half of the rows".into(), format!("{}{}", regular(10), row(7).repeat(40)).into()),
            ("short rows".into(), format!("{HEADER}{}", row(3).repeat(40)).into()),
            ("long rows".into(), format!("{HEADER}{}", row(9).repeat(40)).into()),
            ("no header".into(), row(7).repeat(40).into()),
            ("an open quote".into(), format!("{}\"{}", regular(10), row(7).repeat(4)).into()),
            ("another delimiter".into(), format!("{HEADER}{}", row(7).repeat(4)).replace(',', ";").into()),
            ("a NUL".into(), format!("{}{}\0\n", regular(10), row(7)).into()),
            (
                "not UTF-8".into(),
                [format!("{HEADER}{}", row(7)).as_bytes(), b"\xff\xfe\xfd", row(7).as_bytes()].concat(),
            ),
        ];
        exports.extend((0..7).map(|column| (format!("column {column}"), one_at(column).into_bytes())));
        for (what, export) in &exports {
            let what = format!("{what} with {secret}");
            let small = SmallGroup::new(MAPPING, export);
            let folder = text(small.folder.path()).to_owned();
            let file = text(&small.path("export.csv")).to_owned();
            let out = small.path("out");
            check(&format!("report: {what}"), &small.report(), Some(&out));
            for command in ["setups", "backtest"] {
                check(&format!("{command}: {what}"), &mendcurve(&[command, &folder, "--quiet"]), None);
            }
            check(&format!("patient: {what}"), &mendcurve(&["patient", "C-9999", &folder, "--quiet"]), None);
            check(&format!("inspect: {what}"), &mendcurve(&["inspect", &file]), None);
            small.put("secret.txt", "q7Rk2+Zt9wLx4BvN8mCy1/Hs6JdFpG3e");
            #[cfg(unix)]
            std::fs::set_permissions(small.path("secret.txt"), std::os::unix::fs::PermissionsExt::from_mode(0o600))
                .unwrap();
            let (key, result) = (small.path("secret.txt"), small.path("result.csv"));
            let pseudonymise = |more: &[&str]| {
                let first = ["pseudonymise", &file, "--secret-file", text(&key), "--out", text(&result)];
                let output = mendcurve(&[&first[..], more].concat());
                let _ = std::fs::remove_file(&result);
                output
            };
            for more in [
                &["--key-columns", "p"][..],
                &["--key-columns", "p", "--shift-dates", "d", "--date-format", "%d.%m.%Y"],
                &["--key-columns", "p,c,t", "--shift-dates", "d", "--date-format", "%Y-%m-%d", "--drop", "dx"],
                &["--key-columns", "nobody"],
                &["--key-columns", "p", "--encoding", "utf-16le"],
            ] {
                check(&format!("pseudonymise {more:?}: {what}"), &pseudonymise(more), None);
            }
        }
        // files in each other's place
        let small = SmallGroup::new(MAPPING, format!("{HEADER}{}", row(7).repeat(40)));
        for (name, wrong) in [
            ("mapping.toml", HEADER.to_owned() + &row(7)),
            ("group.toml", row(7)),
            ("mapping.toml", format!("{secret}\n")),
        ] {
            let before = std::fs::read(small.path(name)).unwrap();
            small.put(name, wrong);
            check(&format!("{name} is an export"), &small.report(), Some(&small.path("out")));
            small.put(name, before);
        }
        let words = MAPPING.replace("icd10 = \"dx\"", "region = \"dx\"\nposition = \"t\"\ncondition = \"c\"");
        let small = SmallGroup::new(&words, format!("{}{}", regular(30), row(7)));
        check("words not understood", &small.report(), Some(&small.path("out")));
    }
    assert!(tried > 600, "{tried}");
    assert!(told.is_empty(), "{} told: {:#?}", told.len(), told);
}

#[test]
fn a_draft_repeats_words_that_the_program_knows_and_no_others() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("Zqvorlane Anna.csv");
    let mut export = String::from("Patient,Date,Sex,Position,Part,Seen,Diagnosis,NRS back,Scale,Age,Ref,Pull\n");
    for i in 0..40 {
        let (sex, place, score, scale) = match i {
            7 => ("Zqvorlane", "zq-vor", "917391555", "Zqvorlane scale"),
            _ => ("f", "prone", "3", "NRS back"),
        };
        export.push_str(&format!(
            "K{i:03},2026-07-{:02},{sex},{place},lumbar,yes,Zqvorlane back,{score},{scale},917391555,917391555,{}\n",
            1 + i % 28,
            200 + i
        ));
    }
    std::fs::write(&file, export).unwrap();
    let output = mendcurve(&["inspect", text(&file)]);
    assert!(output.status.success(), "{}", stderr(&output));
    assert!(!tells(&said(&output)), "{}", said(&output));
    let draft = stdout(&output);
    assert!(draft.contains("such as f") && draft.contains("such as prone"), "{draft}");
    assert!(
        draft.contains("# ? = [\"...\"]  # the word on line 9") && draft.contains("numbers from 200 to 300"),
        "{draft}"
    );
}
