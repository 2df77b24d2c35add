//! Names that terminals obey or spreadsheets compute: refused where a person writes them, defused where exports hold them.

use super::{SmallGroup, mendcurve, sheet, stderr, stdout, text};
use std::path::Path;

const MAPPING: &str = "[file]\ndates = \"iso\"\n[columns]\npatient = \"p\"\ndate = \"d\"\nclinician = \"c\"\ntable = \"t\"\n\
[[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\ncolumn = \"pain\"\nscale = \"0-10\"\n";

/// Ten visits each of four patients of these keys.
fn export(keys: [&str; 4], clinician: &str) -> String {
    let mut export = String::from("p,d,c,t,pain\n");
    for i in 0..40 {
        let key = keys[i % 4];
        export.push_str(&format!("{key},2026-03-{:02},{clinician},T1,{}\n", 1 + i / 4, 10 - i / 4));
    }
    export
}

#[test]
fn names_in_settings_that_hold_control_characters_or_begin_like_formulas_are_refused_with_their_place() {
    let settings = |name: &str, site: &str| {
        format!(
            "name = \"{name}\"\nas_of = 2026-11-25\n[[exports]]\nsite = \"{site}\"\nfiles = [\"export.csv\"]\nmapping = \"mapping.toml\"\n"
        )
    };
    let fixed =
        |clinician: &str| MAPPING.replace("clinician = \"c\"", &format!("clinician = {{ fixed = \"{clinician}\" }}"));
    let fine = || (settings("G", "A"), MAPPING.to_owned());
    let cases = [
        ((settings("G\\u001b[2J", "A"), MAPPING.to_owned()), "group.toml:1:8: `name` holds a control character"),
        ((settings("=G", "A"), MAPPING.to_owned()), "group.toml:1:8: `name` begins with a sign"),
        ((settings("G", "A\\u0007"), MAPPING.to_owned()), "group.toml:4:8: `site` holds a control character"),
        ((settings("G", "A\\u200e"), MAPPING.to_owned()), "group.toml:4:8: `site` holds a control character"),
        ((settings("G", "@A"), MAPPING.to_owned()), "group.toml:4:8: `site` begins with a sign"),
        (
            (settings("G", "A").replace("export.csv", "\\u009b.csv"), MAPPING.to_owned()),
            "group.toml:5:10: `files` holds",
        ),
        ((settings("G", "A"), fixed("C\\u202e1")), "mapping.toml:6:23: `fixed` holds a control character"),
        ((settings("G", "A"), fixed("\\u061cC")), "mapping.toml:6:23: `fixed` holds a control character"),
        ((settings("G", "A"), fixed("-C")), "mapping.toml:6:13: `clinician` begins with a sign"),
        ((settings("G", "A"), format!("{MAPPING}[words.table]\n\"+T\" = [\"T1\"]\n")), "`table` begins with a sign"),
        (
            (settings("G", "A") + "[measures.pain_nrs]\ntitle = \"=P\"\n", MAPPING.to_owned()),
            "group.toml:8:9: `title` begins with a sign",
        ),
        (
            (settings("G", "A") + "[conditions.\"=x\"]\ntitle = \"P\"\nregion = \"other\"\n", MAPPING.to_owned()),
            "group.toml:7:13: `=x` begins with a sign",
        ),
    ];
    for ((group, mapping), said) in cases {
        let small = SmallGroup::new(&mapping, export(["a", "b", "c", "d"], "C1"));
        small.put("group.toml", &group);
        let output = small.report();
        assert_eq!(output.status.code(), Some(2), "{said}: {}", stderr(&output));
        assert!(stderr(&output).contains(said), "{said}: {}", stderr(&output));
        assert!(stderr(&output).contains("what to do: "), "{}", stderr(&output));
        assert!(!holds_control(&stderr(&output)), "{:?}", stderr(&output));
    }
    let (group, mapping) = fine();
    let small = SmallGroup::new(&mapping, export(["a", "b", "c", "d"], "C1"));
    small.put("group.toml", &group);
    assert_eq!(small.report().status.code(), Some(0));
}

fn holds_control(text: &str) -> bool {
    text.chars().any(|c| c != '\n' && (c.is_control() || matches!(c, '\u{200f}' | '\u{202a}'..='\u{202e}')))
}

fn files(folder: &Path, found: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        match path.is_dir() {
            true => files(&path, found),
            false => found.push(path),
        }
    }
}

#[test]
fn names_in_cells_that_hold_control_characters_are_told_and_reach_no_output() {
    // one of 83 rows is rejected: below the limit
    let mut rows =
        export(["a", "b", "c", "d"], "C1") + &export(["e", "f", "g", "h"], "C1").replace("p,d,c,t,pain\n", "");
    rows.push_str(
        "k\u{1b}]0;x,2026-03-20,C1,T1,3\na,2026-03-21,C\u{9b}31m,T\u{202e}1,3\na,2026-03-22,C\u{200f}1,T1,3\n",
    );
    let small = SmallGroup::new(MAPPING, rows);
    let output = small.report();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let account = small.account();
    assert_eq!((account.read, account.rejected, account.blanked), (83, 1, 3));
    let rejected = sheet(&small.path("out/restricted/rejected_rows.csv"));
    assert_eq!((rejected[0]["line"].as_str(), rejected[0]["column"].as_str()), ("82", "p"));
    assert!(rejected[0]["reason"].contains("control character"), "{:?}", rejected[0]);
    assert!(!holds_control(&stdout(&output)) && !holds_control(&stderr(&output)));
    let mut written = Vec::new();
    files(&small.path("out"), &mut written);
    let mut looked_at = 0;
    for path in written {
        if path.extension().is_some_and(|ending| ["html", "csv", "json", "svg"].iter().any(|known| ending == *known)) {
            let text = std::fs::read_to_string(&path).unwrap().replace(['\t', '\r'], "");
            assert!(!holds_control(&text), "{}", path.display());
            looked_at += 1;
        }
    }
    assert!(looked_at > 10);
}

#[test]
fn keys_in_cells_that_begin_like_formulas_stand_in_sheets_with_an_apostrophe() {
    let small = SmallGroup::new(MAPPING, export(["=1+1", "-k", "@k", "k-1"], "+C1"));
    let output = small.report();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let on_track = sheet(&small.path("out/restricted/on_track.csv"));
    let keys: std::collections::BTreeSet<&str> = on_track.iter().map(|line| line["patient"].as_str()).collect();
    assert_eq!(keys.into_iter().collect::<Vec<_>>(), ["'-k", "'=1+1", "'@k", "k-1"]);
    assert!(on_track.iter().all(|line| line["clinician"] == "'+C1"));
    let mut written = Vec::new();
    files(&small.path("out"), &mut written);
    let mut cells = 0;
    for path in written.iter().filter(|path| path.extension().is_some_and(|ending| ending == "csv")) {
        for line in sheet(path) {
            for cell in line.values() {
                let bare = cell.starts_with(['=', '+', '-', '@']) && cell.parse::<f64>().is_err();
                assert!(!bare, "{}: {cell}", path.display());
                cells += 1;
            }
        }
    }
    assert!(cells > 60);
    // the key as the sheet has it finds the patient, and so does the key itself
    for key in ["'=1+1", "=1+1"] {
        let output = mendcurve(&["patient", key, text(small.folder.path())]);
        assert_eq!(output.status.code(), Some(0), "{key}: {}", stderr(&output));
    }
}
