//! A draft for each dialect of export, read back by the loader.

use super::*;
use crate::catalogue::PainSite;
use crate::group::field::Field;
use crate::group::mapping::{FieldRule, Layout, Mapping, ScoreColumns, Source, UnitRule};
use crate::group::parse_mapping::parse_mapping;
use crate::units::Unit;
use std::io::Write;

fn draft(name: &str, bytes: &[u8]) -> Draft {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    inspect(&path).unwrap_or_else(|problem| panic!("{problem}"))
}

/// The draft must be a mapping as it stands.
fn mapping(draft: &Draft) -> Mapping {
    let (measures, conditions) = (Measures::embedded().unwrap(), Conditions::embedded().unwrap());
    parse_mapping(Path::new("draft.toml"), &draft.text, &measures, &conditions)
        .unwrap_or_else(|problem| panic!("{problem}\n{}", draft.text))
}

fn rule(mapping: &Mapping, field: Field) -> &FieldRule {
    mapping.fields.iter().find(|rule| rule.field == field).unwrap_or_else(|| panic!("{field} is not mapped"))
}

fn column(mapping: &Mapping, field: Field) -> String {
    match &rule(mapping, field).source {
        Source::Column(name) => name.text.clone(),
        Source::Fixed(_) => panic!("{field} is fixed"),
    }
}

fn scores(mapping: &Mapping) -> Vec<(String, PainSite, f64)> {
    let measures = Measures::embedded().unwrap();
    let key = |id| measures.get(id).key.clone();
    mapping.scores.iter().map(|rule| (key(rule.kind.measure), rule.kind.pain_site, rule.kind.factor)).collect()
}

/// Rows of a text, one for each number.
fn rows(count: usize, row: impl Fn(usize) -> String) -> String {
    (1..=count).map(row).collect()
}

#[test]
fn a_german_export_with_semicolons_decimal_commas_and_windows_1252() {
    let text = String::from(
        "Praxisexport\nPat-Nr;Datum;Zug (kgf);Gewicht [kg];Haltezeit (s);Lage;Geschlecht;Schmerz Rücken;Bemerkung\n",
    ) + &rows(30, |i| {
        format!(
            "Q{i:04};{:02}.07.2026;{},5;8{},0;30;{};{};{};ging nach der zweiten Sitzung deutlich besser\n",
            i % 28 + 1,
            20 + i % 5,
            i % 10,
            if i % 2 == 0 { "Bauchlage" } else { "Rückenlage" },
            if i % 2 == 0 { "w" } else { "m" },
            i % 10
        )
    });
    let (bytes, _, _) = encoding_rs::WINDOWS_1252.encode(&text);
    let draft = draft("alderwick.csv", &bytes);
    let mapping = mapping(&draft);
    assert_eq!((mapping.form.delimiter, mapping.form.decimal, mapping.form.skip_lines), (b';', b',', 1));
    assert_eq!(mapping.form.encoding.name(), "windows-1252");
    assert_eq!(mapping.form.dates, "%d.%m.%Y");
    assert_eq!(column(&mapping, Field::Patient), "Pat-Nr");
    assert_eq!(rule(&mapping, Field::PeakForce).unit, Some(UnitRule::Fixed(Unit::KilogramForce)));
    assert_eq!(rule(&mapping, Field::BodyMass).unit, Some(UnitRule::Fixed(Unit::Kilogram)));
    assert_eq!(rule(&mapping, Field::Hold).unit, Some(UnitRule::Fixed(Unit::Second)));
    let position = rule(&mapping, Field::Position);
    assert!(position.words.contains(&("bauchlage".into(), "prone".into())));
    assert!(rule(&mapping, Field::Sex).words.contains(&("w".into(), "female".into())));
    assert_eq!(scores(&mapping), [("pain_nrs".into(), PainSite::Back, 1.0)]);
    assert_eq!(mapping.drop.iter().map(|name| name.text.as_str()).collect::<Vec<_>>(), ["Bemerkung"], "free text");
    assert!(draft.text.contains("encoding = \"windows-1252\"  # guess"));
    assert!(draft.text.contains("# certain; numbers from 20 to 30"), "{}", draft.text);
    assert!(!draft.text.contains("Q0001") && !draft.text.contains("deutlich"), "keys and free text are not shown");
}

#[test]
fn a_french_export_in_utf_16_with_tabs() {
    let text = String::from("Patient\tDate de visite\tForce max (N)\tDurée (min)\tEVA dolor\tSexe\tPrésent\n")
        + &rows(20, |i| {
            format!(
                "k{i}\t2026-07-{:02}\t{}\t20\t{}\t{}\toui\n",
                i % 28 + 1,
                200 + i,
                i * 4,
                if i % 3 == 0 { "homme" } else { "femme" }
            )
        });
    let utf16: Vec<u8> = [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let draft = draft("brindleford.txt", &utf16);
    let mapping = mapping(&draft);
    assert_eq!((mapping.form.delimiter, mapping.form.encoding.name()), (b'\t', "UTF-16LE"));
    assert!(draft.text.contains("encoding = \"utf-16le\"  # certain: the file says so"));
    assert_eq!(column(&mapping, Field::Session), "Durée (min)");
    assert_eq!(column(&mapping, Field::Attended), "Présent");
    assert_eq!(scores(&mapping), [("pain_vas".into(), PainSite::Unspecified, 1.0)]);
}

#[test]
fn pounds_and_inches_in_the_cells_and_dates_that_do_not_tell_day_from_month() {
    let text = String::from("Pt ID,Visit Date,Peak Pull,Split Gap,Body Weight,Weight Unit,Leg pain VAS\n")
        + &rows(20, |i| {
            format!("z{i},0{}/0{}/2026,{} lb,0.{} in,18{},lb,{}\n", i % 9 + 1, i % 8 + 1, 40 + i, i % 9, i % 10, i * 4)
        });
    let draft = draft("coldlarch.csv", text.as_bytes());
    let mapping = mapping(&draft);
    assert_eq!(rule(&mapping, Field::PeakForce).unit, Some(UnitRule::InCell));
    assert_eq!(rule(&mapping, Field::SplitGap).unit, Some(UnitRule::InCell));
    assert!(
        matches!(&rule(&mapping, Field::BodyMass).unit, Some(UnitRule::Column(name)) if name.text == "Weight Unit")
    );
    assert_eq!(scores(&mapping), [("pain_vas".into(), PainSite::Leg, 1.0)]);
    assert!(draft.text.contains("# dates = \"%d/%m/%Y\"\n# dates = \"%m/%d/%Y\"\n"), "{}", draft.text);
    assert!(draft.warnings.iter().any(|warning| warning.contains("do not tell day from month")));
}

#[test]
fn a_long_file_in_gzip() {
    let names = ["NRS back", "NRS leg", "ODI", "Sleep"];
    let text = String::from("Subject,Study day,Quarter,Scale,Score\n")
        + &rows(80, |i| {
            let kind = i % 4;
            let score = if kind == 2 { i % 50 * 2 } else { i % 11 };
            format!("s{},{},2026-Q3,{},{score}\n", i / 8, i / 4, names[kind])
        });
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gzip.write_all(text.as_bytes()).unwrap();
    let draft = draft("dunnock-hill.csv.gz", &gzip.finish().unwrap());
    let mapping = mapping(&draft);
    assert_eq!(mapping.form.layout, Layout::ReadingRows);
    assert!(!mapping.form.treated);
    assert_eq!(
        (column(&mapping, Field::Day), column(&mapping, Field::Quarter)),
        ("Study day".into(), "Quarter".into())
    );
    let readings = mapping.readings.unwrap();
    assert_eq!((readings.measure_column.text.as_str(), readings.value_column.text.as_str()), ("Scale", "Score"));
    let kinds: Vec<_> =
        readings.kinds.iter().map(|(name, kind)| (name.as_str(), kind.as_ref().map(|k| k.pain_site))).collect();
    assert_eq!(
        kinds,
        [("NRS leg", Some(PainSite::Leg)), ("ODI", Some(PainSite::Unspecified)), ("NRS back", Some(PainSite::Back))]
    );
}

#[test]
fn items_in_columns_of_their_own_and_numbers_for_missing_in_zstd() {
    let items: Vec<String> = (1..=10).map(|i| format!("ODI_{i}")).collect();
    let text = format!("patient,date,age,nrs,{}\n", items.join(","))
        + &rows(40, |i| {
            let answers: Vec<String> = (0..10).map(|j| ((i + j) % 6).to_string()).collect();
            let nrs = if i % 7 == 0 { 99 } else { i % 10 };
            let age = if i % 9 == 0 { "-9".to_owned() } else { (30 + i).to_string() };
            format!("p{i},2026-07-{:02},{age},{nrs},{}\n", i % 28 + 1, answers.join(","))
        });
    let draft = draft("eastlow.csv.zst", &zstd::encode_all(text.as_bytes(), 1).unwrap());
    let mapping = mapping(&draft);
    assert!(matches!(&mapping.scores[1].columns, ScoreColumns::Items(columns) if columns.len() == 10));
    assert_eq!(scores(&mapping).iter().map(|(key, _, _)| key.as_str()).collect::<Vec<_>>(), ["pain_nrs", "odi"]);
    assert_eq!(mapping.form.missing, ["99"]);
    assert_eq!(rule(&mapping, Field::Age).missing, ["-9"]);
    assert_eq!(mapping.scores[0].kind.factor, 1.0, "99 is no score, so the scale is 0-10");
}

#[test]
fn items_answered_with_yes_or_no_and_items_told_by_their_first_letter() {
    let header = |letter: &str, count: usize| (1..=count).map(|i| format!("{letter}{i}")).collect::<Vec<_>>().join(",");
    let text = format!("Key,date,{},{},{}\n", header("r", 24), header("o", 10), header("n", 10))
        + &rows(30, |i| {
            let answers: Vec<&str> = (0..24).map(|j| if (i + j) % 3 == 0 { "Y" } else { "N" }).collect();
            let items: Vec<String> = (0..20).map(|j| ((i + j) % 6).to_string()).collect();
            format!("c{i},2026-07-{:02},{},{}\n", i % 28 + 1, answers.join(","), items.join(","))
        });
    let draft = draft("x.csv", text.as_bytes());
    let mapping = mapping(&draft);
    assert_eq!(scores(&mapping).iter().map(|(key, _, _)| key.as_str()).collect::<Vec<_>>(), ["rmdq", "odi", "ndi"]);
    assert!(mapping.scores[0].kind.words.contains(&("y".into(), 1.0)));
    assert!(mapping.scores[0].kind.words.contains(&("n".into(), 0.0)));
}

#[test]
fn a_lone_column_of_opaque_words_is_a_guess_at_the_key_and_one_unit_column_serves_two_pulls() {
    let text = String::from("Ref;Day;Pull;Low pull;Pull unit;leg\n")
        + &rows(20, |i| format!("r{i};{:02} Jul 2026;{};{};N;{}\n", i % 28 + 1, 200 + i, 100 + i, i % 10));
    let draft = draft("x.csv", text.as_bytes());
    let mapping = mapping(&draft);
    assert_eq!(column(&mapping, Field::Patient), "Ref");
    assert!(draft.text.contains("# guess; 20 different cells, not shown\npatient = \"Ref\""));
    assert_eq!(mapping.form.dates, "%d %b %Y");
    for field in [Field::PeakForce, Field::LowForce] {
        assert!(matches!(&rule(&mapping, field).unit, Some(UnitRule::Column(name)) if name.text == "Pull unit"));
    }
    assert_eq!(scores(&mapping), [("pain_nrs".into(), PainSite::Leg, 1.0)]);
}

#[test]
fn codes_labels_and_columns_of_one_text() {
    let text = String::from("id|Visit Date|Dx|Diagnosis label|pain|pain|Printed by\n")
        + &rows(12, |i| format!("w{i}|2026-07-{i:02}|M5416;M62830|LWS-Beschwerden|{}|{}|frontdesk\n", i % 9, i % 7));
    let draft = draft("fennick.csv", text.as_bytes());
    let mapping = mapping(&draft);
    assert_eq!(mapping.form.delimiter, b'|');
    assert_eq!(
        (column(&mapping, Field::Icd10), column(&mapping, Field::Condition)),
        ("Dx".into(), "Diagnosis label".into())
    );
    assert!(
        draft.text.contains("# ? = [\"...\"]  # the word on line 2") && !draft.text.contains("LWS"),
        "{}",
        draft.text
    );
    assert!(draft.text.contains("column = \"pain#1\""));
    assert!(draft.text.contains("#   \"pain#2\": whole numbers; another column is used for the same score"));
    assert!(
        draft.text.contains("#   \"Printed by\": text; one cell throughout, not shown")
            && !draft.text.contains("frontdesk")
    );
}

#[test]
fn what_is_missing_is_left_for_a_person_to_fill_in() {
    let draft = draft("x.csv", b"foo;Zug;bar\n1;20;x\n2;21;y\n");
    assert!(draft.text.contains("# patient = \"...\"\n") && draft.text.contains("# date = \"...\"\n"));
    assert!(draft.text.contains("# peak_force = { column = \"Zug\", unit = \"...\" }"), "a unit is never guessed");
    assert_eq!(draft.warnings.len(), 3, "{:?}", draft.warnings);
}

#[test]
fn cells_that_may_identify_a_person_are_nowhere_in_the_draft() {
    let text = String::from("Patient,Date,Contact,Seen by,Geb,Ref,Age,Note\n")
        + &rows(15, |i| {
            format!(
                "KEY{i:03},2026-07-{i:02},person{i}@harrow.example,Dr Quillfeather,19{}-03-1{},{},9{},called back about the new appointment time today\n",
                50 + i,
                i % 10,
                700_100 + i,
                i % 6
            )
        });
    let draft = draft("x.csv", text.as_bytes());
    for secret in ["KEY0", "@", "Quillfeather", "-03-1", "7001", "called", " 91", " 95"] {
        assert!(!draft.text.contains(secret), "{secret} in\n{}", draft.text);
        assert!(draft.warnings.iter().all(|warning| !warning.contains(secret)));
    }
    let dropped: Vec<String> = mapping(&draft).drop.into_iter().map(|name| name.text).collect();
    for name in ["Contact", "Geb", "Note"] {
        assert!(dropped.iter().any(|text| text == name), "{name} is not dropped: {dropped:?}");
    }
}

#[test]
fn a_key_that_is_a_name_is_mapped_with_a_warning_and_not_shown() {
    let names = ["Ada Quill", "Bo Thimble", "Cy Marrow", "Dee Larch", "Eli Fern", "Flo Alder", "Gus Brook", "Hal Dunn"];
    let text =
        String::from("Patient,Date,Therapist\n") + &rows(24, |i| format!("k{i},2026-07-{i:02},{}\n", names[i % 8]));
    let draft = draft("x.csv", text.as_bytes());
    assert_eq!(column(&mapping(&draft), Field::Clinician), "Therapist");
    assert!(draft.warnings.iter().any(|warning| warning.contains("the cells of clinician look like a person's name")));
    assert!(names.iter().all(|name| !draft.text.contains(name)));
}

#[test]
fn awkward_headers_do_not_break_the_draft() {
    let text = "\"pa\"\"tient\",Datum,\"two\nlines\",,\"a\\b\",Visit #2\n1,2026-07-25,x,y,z,3\n2,2026-07-26,x,y,z,4\n";
    let draft = draft("x.csv", text.as_bytes());
    let table = draft.text.parse::<toml::Table>();
    assert!(table.is_ok(), "{table:?}\n{}", draft.text);
    let empty = self::draft("y.csv", b"patient,date,unused\n1,2026-07-25,\n2,2026-07-26,\n");
    assert_eq!(mapping(&empty).ignore[0].text, "unused");
}

#[test]
fn every_export_of_the_sample_drafts_to_a_mapping_that_the_loader_takes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/exports");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    assert!(paths.len() > 6, "one export a site at least");
    for path in paths {
        mapping(&inspect(&path).unwrap_or_else(|problem| panic!("{problem}")));
    }
}

#[test]
fn the_same_export_gives_the_same_draft() {
    let text = String::from("id,date,nrs\n") + &rows(50, |i| format!("{i},2026-07-{:02},{}\n", i % 28 + 1, i % 11));
    assert_eq!(draft("x.csv", text.as_bytes()), draft("x.csv", text.as_bytes()));
}
