//! Each way to write an export: the same visit, written in other forms, becomes the same row.

use super::SmallGroup;
use encoding_rs::WINDOWS_1252;
use mendcurve::group::load::load;
use mendcurve::rows::read_group::{Intake, read_group};
use mendcurve::rows::row::{Answers, Mode, Position};
use std::io::Write;

fn read(mapping: &str, export: impl AsRef<[u8]>) -> Intake {
    let small = SmallGroup::new(mapping, export);
    let group = load(small.folder.path()).unwrap_or_else(|problem| panic!("{problem}"));
    read_group(&group, &|_, _| ()).unwrap_or_else(|problem| panic!("{problem}"))
}

/// 177.93 N of pull (40 lbf) on 80 kg, 2 July 2026, pain 7 of 10.
fn is_the_visit(intake: &Intake) {
    let [row] = intake.rows.as_slice() else { panic!("{} rows; {:?}", intake.rows.len(), intake.ledger) };
    assert_eq!(row.when.date().map(|d| d.to_string()).as_deref(), Some("2026-07-02"));
    let close =
        |got: Option<f64>, want: f64| assert!(got.is_some_and(|x| (x - want).abs() < 1e-6), "{got:?} is not {want}");
    close(row.dose.peak_force.map(|x| x.get()), 177.928_864_610_42);
    close(row.dose.body_mass.map(|x| x.get()), 80.0);
    assert_eq!(row.setup.position, Some(Position::Prone));
    assert_eq!(row.dose.mode, Some(Mode::Intermittent));
    assert_eq!(intake.scores.len(), 1);
    let Answers::Value(pain) = intake.scores[0].answers() else { panic!("a value") };
    assert!((pain - 7.0).abs() < 1e-9, "{pain}");
}

const COLUMNS: &str =
    "[columns]\npatient = \"p\"\ndate = \"d\"\nposition = \"pos\"\nmode = { fixed = \"intermittent\" }\n";
const PAIN: &str = "[[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\ncolumn = \"pain\"\n";

fn mapping(file: &str, quantities: &str, rest: &str) -> String {
    format!("[file]\n{file}\n{COLUMNS}{quantities}\n{PAIN}{rest}")
}

#[test]
fn commas_iso_dates_pounds() {
    let m = mapping(
        "dates = \"iso\"",
        "peak_force = { column = \"pull\", unit = \"lbf\" }\nbody_mass = { column = \"w\", unit = \"lb\" }",
        "",
    );
    is_the_visit(&read(&m, "p,d,pos,pull,w,pain\nk,2026-07-02,prone,40,176.36980974790205,7\n"));
}

#[test]
fn semicolons_decimal_commas_windows_1252_kilograms_force() {
    let m = mapping(
        "dates = \"%d.%m.%Y\"\ndelimiter = \";\"\ndecimal = \",\"\nthousands = \".\"\nencoding = \"windows-1252\"",
        "peak_force = { column = \"Zug größer\", unit = \"kgf\" }\nbody_mass = { column = \"w\", unit = \"kg\" }",
        "[words.position]\nprone = [\"Bäuchlings\"]\n",
    );
    let text = "p;d;pos;Zug größer;w;pain\nk;2.7.2026;bäuchlings;18,143694800000;80,0;7\n";
    let (bytes, _, _) = WINDOWS_1252.encode(text);
    is_the_visit(&read(&m, bytes));
}

#[test]
fn utf_16_tabs_month_first_percent_of_body_weight() {
    let m = mapping(
        "dates = \"month first\"\ndelimiter = \"tab\"",
        "peak_force = { column = \"pull\", unit = \"%BW\" }\nbody_mass = { column = \"w\", unit = \"kg\" }",
        "",
    );
    // 177.92886461042 N of 80 kg x 9.80665 m/s2 = 784.532 N
    let text = "p\td\tpos\tpull\tw\tpain\r\nk\t07/02/2026\tProne\t22.679618500000\t80\t7\r\n";
    let mut bytes = vec![0xff, 0xfe];
    bytes.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
    is_the_visit(&read(&m, bytes));
}

#[test]
fn units_in_the_cell_and_in_a_column_and_quoted_line_ends() {
    let m = mapping(
        "dates = \"day first\"\ndelimiter = \"|\"",
        "peak_force = { column = \"pull\", unit = \"in cell\" }\nbody_mass = { column = \"w\", unit_column = \"wu\" }",
        "[ignore]\ncolumns = [\"form\"]\n",
    );
    is_the_visit(&read(&m, "p|d|pos|pull|w|wu|pain|form\nk|02/07/2026|PRONE|40 lb|80|kg|7|\"two\nlines\"\n"));
}

#[test]
fn gzip_and_zstd_are_opened_whatever_their_name() {
    let m = mapping(
        "dates = \"iso\"",
        "peak_force = { column = \"pull\", unit = \"N\" }\nbody_mass = { column = \"w\", unit = \"kg\" }",
        "",
    );
    let text = "p,d,pos,pull,w,pain\nk,2026-07-02,prone,177.92886461042,80,7\n";
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    gzip.write_all(text.as_bytes()).unwrap();
    is_the_visit(&read(&m, gzip.finish().unwrap()));
    is_the_visit(&read(&m, zstd::encode_all(text.as_bytes(), 3).unwrap()));
}

#[test]
fn one_row_a_reading_with_visit_columns_repeated() {
    let m = format!(
        "[file]\nlayout = \"reading rows\"\ntreated = true\ndates = \"iso\"\n{COLUMNS}\
         peak_force = {{ column = \"pull\", unit = \"lbf\" }}\nbody_mass = {{ column = \"w\", unit = \"kg\" }}\n\
         [readings]\nmeasure_column = \"scale\"\nvalue_column = \"score\"\n[readings.measures]\n\
         \"VAS cm\" = {{ measure = \"pain_vas\", of = \"back\", scale = \"cm\" }}\n\"ODI\" = {{ measure = \"odi\" }}\n\"Mood\" = {{ ignore = true }}\n"
    );
    let text = "p,d,pos,pull,w,scale,score\nk,2026-07-02,prone,40,80,VAS cm,7.3\nk,2026-07-02,prone,40,80,ODI,42\nk,2026-07-02,prone,40,80,Mood,9\n";
    let intake = read(&m, text);
    let values: Vec<f64> = intake
        .scores
        .iter()
        .map(|score| match score.answers() {
            Answers::Value(value) => value,
            Answers::Items { .. } => f64::NAN,
        })
        .collect();
    assert_eq!(values, [73.0, 42.0]);
    let mut ledger = intake.ledger;
    let (visits, _) =
        mendcurve::visits::duplicates::visits(intake.rows, intake.scores, &intake.names, &[true], &mut ledger);
    assert_eq!(visits.rows.iter().filter(|row| row.is_visit).count(), 1);
    assert!(ledger.unbalanced().is_empty());
}

#[test]
fn items_offsets_codes_and_spellings_of_yes() {
    let m = "[file]\nmissing = [\"999\", \"-\"]\n[columns]\npatient = \"p\"\nday = \"day\"\nquarter = \"q\"\nicd10 = \"dx\"\n\
             attended = \"came\"\nbelt_seated = \"belt\"\n[words.attended]\nyes = [\"anwesend\"]\n\
             [[scores]]\nmeasure = \"odi\"\nitems = [\"i1\",\"i2\",\"i3\",\"i4\",\"i5\",\"i6\",\"i7\",\"i8\",\"i9\",\"i10\"]\n";
    let text = "p,day,q,dx,came,belt,i1,i2,i3,i4,i5,i6,i7,i8,i9,i10\n\
                k,0,Q3 2026,M5450 M5116,anwesend,ja,2,2,2,2,2,2,2,2,999,-\n";
    let intake = read(m, text);
    let row = intake.rows[0];
    assert_eq!(row.when.quarter().map(|q| q.to_string()).as_deref(), Some("2026-Q3"));
    assert_eq!((row.attended, row.setup.belt_seated), (Some(true), Some(true)));
    assert!(row.condition.is_some());
    assert_eq!(intake.scores[0].answers(), Answers::Items { sum: 16.0, answered: 8, asked: 10 });
}

#[test]
fn patient_keys_of_two_sites_are_two_people_when_the_group_says_so() {
    let m = mapping("dates = \"iso\"", "site = \"s\"", "");
    let text = "p,d,pos,s,pain\n1,2026-07-02,prone,A,3\n1,2026-07-02,prone,B,4\n";
    for (keys, people) in [("group", 1), ("site", 2)] {
        let small = SmallGroup::new(&m, text);
        small.put(
            "group.toml",
            format!("name = \"x\"\nas_of = 2026-11-25\npatient_keys = \"{keys}\"\n[[exports]]\nfiles = [\"export.csv\"]\nmapping = \"mapping.toml\"\n"),
        );
        let group = load(small.folder.path()).unwrap();
        assert_eq!(read_group(&group, &|_, _| ()).unwrap().names.patients.len(), people, "{keys}");
    }
}
