//! Whole exports, before and after.

use super::*;
use chrono::NaiveDate;
use std::collections::BTreeMap;
use std::fs;

const SECRET: &str = "0q7Rk2+Zt9wLx4BvN8mCy1/Hs6JdFpG3";
const EXPORT: &str = "Pat;Datum;Name;\"Zug\";Text\r\n\
     \"K001\";01.07.2026;Quillfeather;20,5;\"a;b \"\"c\"\"\"\r\n\
     K002;02.07.2026;Thimblewood;21,5; spaced \r\n\
     K001;15.07.2026;Quillfeather;22,5;\"two\nlines\"\r\n\
     \r\n\
     K003;NA;Marrowby;23,5;";

struct Clinic(tempfile::TempDir);

impl Clinic {
    fn new(export: &[u8]) -> Self {
        let clinic = Self(tempfile::tempdir().unwrap());
        fs::write(clinic.path("export.csv"), export).unwrap();
        fs::write(clinic.path("secret.txt"), SECRET).unwrap();
        #[cfg(unix)]
        fs::set_permissions(clinic.path("secret.txt"), std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
        clinic
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn request(&self) -> Request {
        Request {
            file: self.path("export.csv"),
            key_columns: vec!["Pat".into()],
            secret_file: self.path("secret.txt"),
            out: self.path("out.csv"),
            drop: vec!["Name".into()],
            shift_dates: vec!["Datum".into()],
            date_format: Some("%d.%m.%Y".into()),
            delimiter: ";".into(),
            encoding: "utf-8".into(),
        }
    }

    fn run(&self, request: &Request) -> Vec<u8> {
        pseudonymise(request).unwrap_or_else(|problem| panic!("{problem}"));
        fs::read(&request.out).unwrap()
    }

    /// Runs a request that must fail, and checks that it leaves nothing behind.
    fn refused(&self, request: &Request) -> String {
        let before = fs::read_dir(self.0.path()).unwrap().count();
        let message = pseudonymise(request).unwrap_err().to_string();
        assert_eq!(fs::read_dir(self.0.path()).unwrap().count(), before, "something was left behind");
        message.replace(&format!("{}/", self.0.path().display()), "")
    }
}

fn text(bytes: Vec<u8>) -> String {
    String::from_utf8(bytes).unwrap()
}

fn cells(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().delimiter(b';').flexible(true).from_reader(text.as_bytes());
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn date(text: &str) -> NaiveDate {
    NaiveDate::parse_from_str(text, "%d.%m.%Y").unwrap()
}

#[test]
fn keys_are_replaced_columns_dropped_dates_shifted_and_all_else_kept() {
    let clinic = Clinic::new(EXPORT.as_bytes());
    let out = text(clinic.run(&clinic.request()));
    for gone in ["K001", "K002", "K003", "Quillfeather", "Name", "01.07.2026"] {
        assert!(!out.contains(gone), "{gone} in {out}");
    }
    let secret = Secret::read(&clinic.path("secret.txt"), &clinic.path("export.csv")).unwrap();
    let key = |key: &str| secret.pseudonym(key);
    let day = |at: &str, key: &str| {
        (date(at) + chrono::TimeDelta::days(secret.shift_days(key))).format("%d.%m.%Y").to_string()
    };
    let expected = format!(
        "Pat;Datum;\"Zug\";Text\r\n\"{}\";{};20,5;\"a;b \"\"c\"\"\"\r\n{};{};21,5; spaced \r\n{};{};22,5;\"two\nlines\"\r\n\r\n{};NA;23,5;",
        key("K001"),
        day("01.07.2026", "K001"),
        key("K002"),
        day("02.07.2026", "K002"),
        key("K001"),
        day("15.07.2026", "K001"),
        key("K003"),
    );
    assert_eq!(out, expected);
}

#[test]
fn the_summary_counts_what_was_done() {
    let clinic = Clinic::new(EXPORT.as_bytes());
    let summary = pseudonymise(&clinic.request()).unwrap();
    assert_eq!(summary, Summary { rows: 4, keys: 4, dates_shifted: 3, dates_emptied: 0, columns_dropped: 1 });
}

#[test]
fn the_same_secret_gives_the_same_file_and_another_secret_another() {
    let clinic = Clinic::new(EXPORT.as_bytes());
    let once = clinic.run(&clinic.request());
    let again = clinic.run(&Request { out: clinic.path("again.csv"), ..clinic.request() });
    assert_eq!(once, again);
    fs::write(clinic.path("secret.txt"), SECRET.replace('0', "z")).unwrap();
    let other = clinic.run(&Request { out: clinic.path("other.csv"), ..clinic.request() });
    let (once, other) = (cells(&text(once)), cells(&text(other)));
    for (one, another) in once.iter().zip(&other) {
        assert_ne!(one[0], another[0]);
    }
}

#[test]
fn all_dates_of_a_patient_move_alike_and_those_of_others_differently() {
    let rows: String = (0..60).map(|i| format!("K{:03};{:02}.07.2026\n", i % 20, i % 28 + 1)).collect();
    let clinic = Clinic::new(format!("Pat;Datum\n{rows}").as_bytes());
    let out = text(clinic.run(&Request { drop: Vec::new(), ..clinic.request() }));
    let mut shifts: BTreeMap<String, i64> = BTreeMap::new();
    for (before, after) in cells(&format!("Pat;Datum\n{rows}")).iter().zip(cells(&out)) {
        let moved = (date(&after[1]) - date(&before[1])).num_days();
        assert!(moved.abs() <= 182);
        assert_eq!(*shifts.entry(before[0].clone()).or_insert(moved), moved);
    }
    let mut different: Vec<i64> = shifts.values().copied().collect();
    different.sort_unstable();
    different.dedup();
    assert!(different.len() > 15, "{} different shifts of 20 patients", different.len());
}

#[test]
fn a_time_of_day_in_the_format_is_kept() {
    let clinic = Clinic::new(b"Pat;Datum\nK001;2026-07-01 10:30\n");
    let request = Request { drop: Vec::new(), date_format: Some("%Y-%m-%d %H:%M".into()), ..clinic.request() };
    assert!(text(clinic.run(&request)).ends_with(" 10:30\n"));
}

#[test]
fn a_date_without_a_patient_is_emptied_and_counted() {
    let clinic = Clinic::new(b"Pat;Datum\n;01.07.2026\nK001;02.07.2026\n");
    let request = Request { drop: Vec::new(), ..clinic.request() };
    let summary = pseudonymise(&request).unwrap();
    assert_eq!((summary.dates_emptied, summary.dates_shifted, summary.keys), (1, 1, 1));
    assert!(fs::read_to_string(&request.out).unwrap().starts_with("Pat;Datum\n;\n"));
}

#[test]
fn the_encoding_and_its_mark_are_kept_and_a_key_is_the_same_key_in_each() {
    let export = "Pat;Text\nKäfer1;größer\n";
    let plain = |encoding: &str| Request {
        drop: Vec::new(),
        shift_dates: Vec::new(),
        date_format: None,
        encoding: encoding.into(),
        ..Clinic::new(b"").request()
    };
    let run = |bytes: &[u8], encoding: &str| {
        let clinic = Clinic::new(bytes);
        let paths = clinic.request();
        clinic.run(&Request { file: paths.file, secret_file: paths.secret_file, out: paths.out, ..plain(encoding) })
    };
    let utf8 = run(export.as_bytes(), "utf-8");
    let expected = text(utf8.clone());
    assert!(expected.ends_with(";größer\n") && !expected.contains("Käfer1"));
    let (latin, _, _) = encoding_rs::WINDOWS_1252.encode(export);
    let (expected_latin, _, _) = encoding_rs::WINDOWS_1252.encode(&expected);
    assert_eq!(run(&latin, "windows-1252"), expected_latin.as_ref());
    let utf16 = |text: &str| {
        [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect::<Vec<u8>>()
    };
    assert_eq!(run(&utf16(export), "utf-8"), utf16(&expected));
    assert_eq!(run(&[b"\xef\xbb\xbf", export.as_bytes()].concat(), "utf-8"), [b"\xef\xbb\xbf".to_vec(), utf8].concat());
}

#[test]
fn a_compressed_export_is_read_and_the_result_is_plain() {
    let clinic = Clinic::new(&zstd::encode_all(EXPORT.as_bytes(), 1).unwrap());
    assert!(text(clinic.run(&clinic.request())).starts_with("Pat;Datum;"));
    let named = Request { out: clinic.path("out.csv.gz"), ..clinic.request() };
    assert!(clinic.refused(&named).contains("written as plain text"));
}

#[test]
fn a_result_that_is_there_already_is_not_replaced() {
    let clinic = Clinic::new(EXPORT.as_bytes());
    fs::write(clinic.path("out.csv"), "precious").unwrap();
    assert!(clinic.refused(&clinic.request()).starts_with("out.csv: there is such a file already"));
    assert_eq!(fs::read_to_string(clinic.path("out.csv")).unwrap(), "precious");
}

#[test]
fn what_could_let_a_key_or_a_date_through_is_refused_at_its_line() {
    let ragged = Clinic::new(b"Pat;Datum;Name\nK001;01.07.2026;a\nK002;02.07.2026;a;b\n");
    assert!(ragged.refused(&ragged.request()).starts_with("export.csv:3: the line has 4 fields and the header 3"));
    let short = Clinic::new(b"Pat;Datum;Name\nK001\n");
    assert!(short.refused(&short.request()).starts_with("export.csv:2: the line has 1 fields"));
    let trailing = Clinic::new(b"Pat;Datum;Name\nK001;01.07.2026;a;\n");
    assert!(text(trailing.run(&trailing.request())).ends_with(";\n"), "an empty field too many holds no key");
    let american = Clinic::new(b"Pat;Datum;Name\n\nK001;07/25/2026;a\n");
    let message = american.refused(&american.request());
    assert!(message.starts_with("export.csv:3: the cell of `Datum` is not a date in the form %d.%m.%Y"), "{message}");
    assert!(!message.contains("07/25"), "a cell is never shown");
    let rows: String = (0..9).map(|i| format!("K00{i};01.07.2026;a;K00{i}\n")).collect();
    let repeated = Clinic::new(format!("Pat;Datum;Name;Ref\n{rows}").as_bytes());
    assert!(repeated.refused(&repeated.request()).starts_with("export.csv: column `Ref` repeats the keys"));
}

#[test]
fn options_that_do_not_fit_the_export_are_refused() {
    let clinic = Clinic::new(EXPORT.as_bytes());
    let refused = |change: &dyn Fn(&mut Request)| {
        let mut request = clinic.request();
        change(&mut request);
        clinic.refused(&request)
    };
    let message = refused(&|request| request.key_columns = vec!["Patt".into()]);
    assert_eq!(
        message,
        "export.csv:1: --key-columns names `Patt`, and there is no such column\n  what to do: did you mean `Pat`?"
    );
    assert!(refused(&|request| request.drop = vec!["Pat".into()]).contains("is named for two things"));
    assert!(refused(&|request| request.delimiter = ",".into()).contains("set --delimiter"));
    assert!(refused(&|request| request.delimiter = "::".into()).contains("use one of: \",\""));
    assert!(refused(&|request| request.encoding = "utf-9".into()).contains("did you mean `utf-8`?"));
    assert!(refused(&|request| request.encoding = "shift_jis".into()).contains("cannot be written back unchanged"));
    assert!(refused(&|request| request.date_format = None).contains("add --date-format"));
    assert!(refused(&|request| request.date_format = Some("%d.%m.".into())).contains("does not settle"));
    assert!(refused(&|request| request.key_columns = Vec::new()).contains("no key column is named"));
    assert!(refused(&|request| request.secret_file = "nowhere".into()).contains("no such secret file"));
    let latin = Clinic::new(b"Pat;Datum;Name\nK\xe4;01.07.2026;a\n");
    assert!(latin.refused(&latin.request()).contains("--encoding"));
    let empty = Clinic::new(b"");
    assert!(empty.refused(&empty.request()).contains("holds no header"));
}

#[test]
fn a_result_that_still_holds_identifiers_is_refused_and_leaves_nothing() {
    type Cells<'c> = &'c dyn Fn(usize) -> String;
    let rows = |more: Cells<'_>| (0..12).map(|i| format!("K{i:03};{}\n", more(i))).collect::<String>();
    let only_keys =
        |clinic: &Clinic| Request { drop: Vec::new(), shift_dates: Vec::new(), date_format: None, ..clinic.request() };
    let cases: [(&str, Cells<'_>, &str); 6] = [
        ("Surname", &|_| "x".into(), "'Surname' (a person's name)"),
        ("Mail", &|i| format!("q{i}@example.org"), "'Mail' (an e-mail address)"),
        ("Ref", &|i| if i == 7 { "q@example.org".into() } else { "r".into() }, "'Ref' (an e-mail address)"),
        (
            "Therapist",
            &|i| if i == 5 { "Dr Anna Zelk".into() } else { "C-1".into() },
            "'Therapist' (line 7: a person's name)",
        ),
        ("Table", &|i| if i == 0 { "Frau Zelk".into() } else { "Table 2".into() }, "'Table' (line 2: a person's name)"),
        ("Geb.", &|i| format!("12.03.19{}", 40 + i), "'Geb.' (a date of birth or death)"),
    ];
    for (header, cell, said) in cases {
        let clinic = Clinic::new(format!("Pat;{header}\n{}", rows(cell)).as_bytes());
        let problem = pseudonymise(&only_keys(&clinic)).unwrap_err();
        assert_eq!(problem.exit, crate::error::Exit::PrivacyGate, "{header}");
        let message = clinic.refused(&only_keys(&clinic));
        assert!(message.contains(said), "{message}");
        assert!(!message.contains("Zelk") && !message.contains("example.org"), "{message}");
        let dropped = Request { drop: vec![header.into()], ..only_keys(&clinic) };
        clinic.run(&dropped);
    }
}

#[cfg(unix)]
#[test]
fn the_result_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    let clinic = Clinic::new(EXPORT.as_bytes());
    clinic.run(&clinic.request());
    assert_eq!(fs::metadata(clinic.path("out.csv")).unwrap().permissions().mode() & 0o777, 0o600);
}
