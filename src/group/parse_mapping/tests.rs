//! Whole mappings, right and wrong: each complaint with its exact place.

use super::*;
use crate::catalogue::PainSite;
use crate::group::field::Field;
use crate::group::mapping::{FieldRule, Layout, ScoreColumns, Source, UnitRule};
use crate::units::Unit;

fn parsed(text: &str) -> Result<Mapping, Problem> {
    parse_mapping(Path::new("m.toml"), text, &Measures::embedded().unwrap(), &Conditions::embedded().unwrap())
}

fn good(text: &str) -> Mapping {
    parsed(text).unwrap_or_else(|problem| panic!("{problem}"))
}

/// The complaint about a mapping that starts with these columns; line 1 is `[columns]`.
fn complaint(text: &str) -> String {
    parsed(text).unwrap_err().to_string()
}

fn rule(mapping: &Mapping, field: Field) -> &FieldRule {
    mapping.fields.iter().find(|rule| rule.field == field).unwrap()
}

fn means(rule: &FieldRule, word: &str) -> Option<String> {
    rule.words.iter().find(|(known, _)| known == word).map(|(_, canonical)| canonical.clone())
}

const START: &str = "[columns]\npatient = 'Pat'\ndate = 'Datum'\n";

fn after_start(rest: &str) -> String {
    complaint(&format!("{START}{rest}"))
}

#[test]
fn a_mapping_of_visit_rows_is_read_whole() {
    let mapping = good(
        r#"
[file]
delimiter = ";"
decimal = ","
missing = ["NA"]

[columns]
patient = "Pat"
date = "Datum"
peak_force = { column = "Zug", unit = "kgf" }
low_force = { column = "Low pull", unit = "in cell" }
body_mass = { column = "Weight", unit_column = "Weight unit" }
mode = { fixed = "intermittent" }
rest = { column = "Rest", unit = "s", missing = ["0"] }
ramp = { fixed = 2.5, unit = "s" }
position = "Lage"
attended = "da"
age = "Alter"
angle = "Winkel"

[words.position]
prone = ["P", "Bauchlage"]
supine = "R"

[words.attended]
no = ["x"]

[[scores]]
measure = "pain_nrs"
of = "back"
column = "Schmerz"
scale = "0-100"

[[scores]]
measure = "odi"
items = ["o1", "o2", "o3", "o4", "o5", "o6", "o7", "o8", "o9", "o10"]

[[keep]]
column = "is_patient"
only = ["1"]

[drop]
columns = ["Name"]

[ignore]
columns = ["Printed by"]
"#,
    );
    let peak = rule(&mapping, Field::PeakForce);
    assert_eq!(peak.unit, Some(UnitRule::Fixed(Unit::KilogramForce)));
    assert!(matches!(&peak.source, Source::Column(column) if column.text == "Zug" && !column.numbered));
    assert_eq!(rule(&mapping, Field::LowForce).unit, Some(UnitRule::InCell));
    assert!(matches!(&rule(&mapping, Field::BodyMass).unit, Some(UnitRule::Column(c)) if c.text == "Weight unit"));
    assert_eq!(rule(&mapping, Field::Mode).source, Source::Fixed("intermittent".into()));
    assert_eq!(rule(&mapping, Field::Ramp).source, Source::Fixed("2,5".into()), "as a cell of this export");
    assert_eq!(rule(&mapping, Field::Rest).missing, ["0"]);
    assert_eq!(rule(&mapping, Field::Angle).unit, Some(UnitRule::Fixed(Unit::Degree)));

    let position = rule(&mapping, Field::Position);
    assert_eq!(means(position, "bauchlage").as_deref(), Some("prone"));
    assert_eq!(means(position, "r").as_deref(), Some("supine"));
    assert_eq!(means(position, "supine").as_deref(), Some("supine"), "canonical words are always understood");
    let attended = rule(&mapping, Field::Attended);
    assert_eq!(means(attended, "oui").as_deref(), Some("yes"), "built in");
    assert_eq!(means(attended, "x").as_deref(), Some("no"), "the mapping wins over what is built in");

    let [pain, odi] = mapping.scores.as_slice() else { panic!("two scores") };
    assert_eq!((pain.kind.pain_site, pain.kind.factor, pain.kind.offset), (PainSite::Back, 0.1, 0.0));
    assert!(matches!(&odi.columns, ScoreColumns::Items(columns) if columns.len() == 10));
    assert_eq!(mapping.keep.len(), 1);
    assert_eq!((mapping.drop.len(), mapping.ignore.len()), (1, 1));
    assert_eq!(mapping.form.layout, Layout::VisitRows);
}

#[test]
fn a_mapping_of_reading_rows_is_read_whole() {
    let mapping = good(
        r#"
[file]
layout = "reading rows"
treated = false
[columns]
patient = "p"
quarter = "Q"
[columns.day]
column = "time"
words = { "0" = ["baseline"], "84" = ["week 12", "Week XII"] }
[readings]
measure_column = "scale"
value_column = "score"
[readings.measures]
"NRS back" = { measure = "pain_nrs", of = "back", scale = "0-10" }
" ODI " = { measure = "odi" }
"Pain in words" = { measure = "pain_verbal", words = { "3" = ["unbearable"] } }
"Mood" = { ignore = true }
"#,
    );
    let day = rule(&mapping, Field::Day);
    assert_eq!(means(day, "week xii").as_deref(), Some("84"));
    let readings = mapping.readings.as_ref().unwrap();
    let names: Vec<&str> = readings.kinds.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["NRS back", "ODI", "Pain in words", "Mood"]);
    assert!(readings.kinds[3].1.is_none());
    let words = &readings.kinds[2].1.as_ref().unwrap().words;
    assert!(words.contains(&("unbearable".to_owned(), 3.0)));
    assert!(words.contains(&("mild".to_owned(), 1.0)), "a scale of words knows its own");
}

#[test]
fn an_unknown_section_or_field_is_answered_with_the_nearest() {
    assert_eq!(
        complaint("[colums]\npatient = 'Pat'\n"),
        "m.toml:1:2: a mapping has no key `colums`\n  what to do: did you mean `columns`?"
    );
    assert_eq!(
        after_start("peak_forc = 'Zug'\n"),
        "m.toml:4:1: there is no field `peak_forc`\n  what to do: did you mean `peak_force`?"
    );
    assert_eq!(
        after_start("pain_nrs = 'Schmerz'\n"),
        "m.toml:4:1: there is no field `pain_nrs`\n  what to do: scores are mapped under [[scores]] with measure and column"
    );
}

#[test]
fn a_field_filled_twice_is_refused() {
    let message = after_start("patient = 'Other'\n");
    assert!(message.starts_with("m.toml:4:1: this key stands twice in the same table"), "{message}");
    let message = after_start("day = 'Tag'\n");
    assert!(message.starts_with("m.toml:4:1: both `date` and `day` are mapped"), "{message}");
    let message = after_start("mode = { column = 'M', fixed = 'static' }\n");
    assert!(message.starts_with("m.toml:4:24: `mode` has both a column and a fixed value"), "{message}");
    let score = "[[scores]]\nmeasure = 'pain_nrs'\nof = 'leg'\ncolumn = ";
    let message = after_start(&format!("{score}'A'\n{score}'B'\n"));
    assert!(message.starts_with("m.toml:8:1: this score is mapped twice (first at m.toml:4:1)"), "{message}");
}

#[test]
fn two_fields_may_not_read_one_column_but_a_code_and_a_label_may() {
    assert_eq!(
        after_start("age = 'Alter'\nonset_days = 'Alter'\n"),
        "m.toml:5:14: column `Alter` is used twice: for `age` and for `onset_days` (first at m.toml:4:7)\n  what to do: \
         name another column for one of them, or take one out; a second column with the same header is written with #2 \
         behind it"
    );
    good(&format!("{START}age = 'Alter'\nonset_days = 'Alter#2'\n"));
    good(&format!("{START}icd10 = 'Dx'\ncondition = 'Dx'\n"));
    let message = after_start("age = 'N'\n[[scores]]\nmeasure = 'pain_nrs'\ncolumn = 'N'\n");
    assert!(message.starts_with("m.toml:7:10: column `N` is used twice: for `age` and for a score"), "{message}");
}

#[test]
fn a_column_is_either_used_or_dropped() {
    let message = after_start("age = 'Alter'\n[drop]\ncolumns = ['Name', 'Alter']\n");
    assert!(message.starts_with("m.toml:6:20: column `Alter` is used twice: for `age` and for [drop]"), "{message}");
    let message = after_start("[drop]\ncolumns = ['Name']\n[ignore]\ncolumns = ['Name']\n");
    assert!(message.starts_with("m.toml:7:12: column `Name` is used twice: for [drop] and for [ignore]"), "{message}");
    let message = after_start("[ignore]\ncolumns = ['a', 'a']\n");
    assert!(message.contains("what to do: list it once"), "{message}");
    let message = after_start("[[keep]]\ncolumn = 'arm'\nonly = ['1']\n[drop]\ncolumns = ['arm']\n");
    assert!(message.starts_with("m.toml:8:12: column `arm` is used twice: for a unit or a filter and for [drop]"));
}

#[test]
fn a_filter_or_unit_column_may_serve_several_rules() {
    good(&format!(
        "{START}sex = 'sex'\npeak_force = {{ column = 'a', unit_column = 'u' }}\nlow_force = {{ column = 'b', unit_column = 'u' }}\n\
         [[keep]]\ncolumn = 'sex'\nonly = ['1']\n"
    ));
}

#[test]
fn a_quantity_must_state_a_unit_that_it_can_have() {
    assert_eq!(
        after_start("split_gap = { column = 'Spalt', unit = 'kg' }\n"),
        "m.toml:4:40: `split_gap` cannot be in `kg`\n  what to do: use mm, cm or in, or \"in cell\" when each cell names its unit"
    );
    let message = after_start("split_gap = 'Spalt'\n");
    assert!(message.starts_with("m.toml:4:1: `split_gap` must state its unit\n  what to do: write split_gap = { column = \"Spalt\", unit = \"...\" } with mm, cm or in"), "{message}");
    for field in ["peak_force", "return_tension", "height", "body_mass", "hold", "session"] {
        assert!(after_start(&format!("{field} = 'X'\n")).contains("must state its unit"), "{field}");
    }
    let message = after_start("age = { column = 'A', unit = 's' }\n");
    assert!(message.starts_with("m.toml:4:23: `age` has no unit"), "{message}");
    let message = after_start("hold = { column = 'A', unit = 's', unit_column = 'u' }\n");
    assert!(message.starts_with("m.toml:4:36: the unit of `hold` is given twice"), "{message}");
}

#[test]
fn percent_of_body_weight_needs_the_body_mass() {
    let message = after_start("peak_force = { column = 'Zug', unit = '%BW' }\n");
    assert!(
        message.starts_with("m.toml:4:1: `peak_force` is in percent of body weight, and `body_mass` is not mapped")
    );
    good(&format!(
        "{START}peak_force = {{ column = 'Zug', unit = '%BW' }}\nbody_mass = {{ column = 'kg', unit = 'kg' }}\n"
    ));
}

#[test]
fn a_measure_its_scale_its_items_and_its_site_must_be_known() {
    let score = |lines: &str| after_start(&format!("[[scores]]\n{lines}"));
    assert_eq!(
        score("measure = 'pain_nsr'\ncolumn = 'a'\n"),
        "m.toml:5:11: there is no measure `pain_nsr`\n  what to do: did you mean `pain_nrs`?"
    );
    assert_eq!(
        score("measure = 'pain_nrs'\ncolumn = 'a'\nscale = '0-5'\n"),
        "m.toml:7:9: `pain_nrs` has no scale `0-5`\n  what to do: its scales are: \"0-10\", \"0-100\""
    );
    assert_eq!(
        score("measure = 'odi'\nitems = ['a', 'b']\n"),
        "m.toml:6:9: `odi` has 10 items, and 2 columns are listed\n  what to do: list one column an item, in the order of the questionnaire"
    );
    assert!(score("measure = 'pain_nrs'\nitems = ['a']\n").starts_with("m.toml:6:9: `pain_nrs` has no items"));
    assert!(
        score("measure = 'odi'\nof = 'back'\ncolumn = 'a'\n").starts_with("m.toml:6:1: `odi` is not a measure of pain")
    );
    assert_eq!(
        score("measure = 'pain_nrs'\nof = 'bak'\ncolumn = 'a'\n"),
        "m.toml:6:6: there is no site of pain `bak`\n  what to do: did you mean `back`?"
    );
    assert!(score("measure = 'odi'\n").starts_with("m.toml:4:1: the score names no column"));
    assert!(score("column = 'a'\n").starts_with("m.toml:4:1: [[scores]] has no `measure`"));
    let items = "items = ['1','2','3','4','5','6','7','8','9','10']\n";
    assert!(score(&format!("measure = 'odi'\n{items}scale = 'percent'\n")).starts_with("m.toml:7:1: items are scored"));
    assert!(score(&format!("measure = 'odi'\n{items}column = 'a'\n")).contains("either one column or one a item"));
}

#[test]
fn a_word_must_stand_for_one_canonical_word_that_exists() {
    assert_eq!(
        after_start("position = 'L'\n[words.position]\npron = ['P']\n"),
        "m.toml:6:1: `position` has no word `pron`\n  what to do: the word before the = is ours, those behind it are the \
         export's; did you mean `prone`?"
    );
    assert_eq!(
        after_start("position = 'L'\n[words.position]\nprone = ['L']\nsupine = [' l ']\n"),
        "m.toml:7:11: `l` cannot mean `supine`: it already means `prone` (at m.toml:6:10)\n  what to do: give each word one \
         meaning; capitals and surrounding spaces make no difference"
    );
    assert!(after_start("[words.positon]\nprone = ['L']\n").contains("did you mean `position`?"));
    assert!(after_start("[words.date]\nx = ['L']\n").starts_with("m.toml:5:1: `date` is not read by words"));
    assert!(
        after_start("visit_no = { column = 'n', words = { one = ['eins'] } }\n")
            .starts_with("m.toml:4:38: `one` is not a number")
    );
    good(&format!("{START}[words.sex]\nfemale = ['w']\n"));
}

#[test]
fn a_condition_is_named_by_its_key_or_by_a_label_of_the_registry() {
    let mut group = toml::Table::new();
    let entry = "title = 'Trial arm'\nregion = 'other'\nlabels = ['treated arm']\n".parse::<toml::Table>().unwrap();
    group.insert("arm_a".into(), toml::Value::Table(entry));
    let conditions = Conditions::embedded().unwrap().with_overrides(&group).unwrap();
    let text = format!("{START}condition = 'arm'\n[words.condition]\n'treated arm' = ['1']\nneck_pain = ['2']\n");
    let mapping = parse_mapping(Path::new("m.toml"), &text, &Measures::embedded().unwrap(), &conditions).unwrap();
    assert_eq!(means(rule(&mapping, Field::Condition), "1").as_deref(), Some("treated arm"));
    assert_eq!(means(rule(&mapping, Field::Condition), "2").as_deref(), Some("neck_pain"));
    assert!(complaint(&text).starts_with("m.toml:6:1: `condition` has no word `treated arm`"));
}

#[test]
fn what_a_row_cannot_do_without_must_be_mapped() {
    assert!(complaint("").starts_with("m.toml: the mapping has no [columns]"));
    assert!(complaint("\n[columns]\ndate = 'D'\n").starts_with("m.toml:2:1: no column is mapped to `patient`"));
    assert!(complaint("[columns]\npatient = 'P'\n").starts_with("m.toml:1:1: neither `date` nor `day` is mapped"));
    assert!(
        complaint("[columns]\npatient = { fixed = 'x' }\ndate = 'D'\n").contains("every row would be the same patient")
    );
    assert!(after_start("quarter = 'Q'\n").starts_with("m.toml:4:1: `quarter` goes with `day`"));
}

#[test]
fn scores_and_readings_belong_to_their_layout() {
    let long = "[file]\nlayout = 'reading rows'\ntreated = false\n[columns]\npatient = 'P'\nday = 'd'\n";
    assert!(complaint(long).starts_with("m.toml: the layout is \"reading rows\", and there is no [readings]"));
    let message = complaint(&format!("{long}[[scores]]\nmeasure = 'odi'\ncolumn = 'a'\n"));
    assert!(message.starts_with("m.toml:7:3: [[scores]] belongs to visit rows"), "{message}");
    let message = after_start("[readings]\nmeasure_column = 'a'\n");
    assert!(message.starts_with("m.toml:4:2: [readings] belongs to reading rows"), "{message}");
    let readings = format!("{long}[readings]\nmeasure_column = 'm'\nvalue_column = 'v'\n[readings.measures]\n");
    assert!(complaint(&readings).starts_with("m.toml:10:1: [readings.measures] names no measure"));
    let message = complaint(&format!("{readings}a = {{ measure = 'odi' }}\n' a' = {{ measure = 'pain_nrs' }}\n"));
    assert!(message.starts_with("m.toml:12:1: `a` stands twice (first at m.toml:11:1)"), "{message}");
    let message = complaint(&format!("{readings}a = {{ measure = 'odi', ignore = true }}\n"));
    assert!(message.starts_with("m.toml:11:5: `a` is both ignored and measured"), "{message}");
}

#[test]
fn a_constant_must_be_something_its_field_can_hold() {
    assert_eq!(
        after_start("mode = { fixed = 'statc' }\n"),
        "m.toml:4:8: `mode` cannot be fixed to this\n  what to do: did you mean `static`?"
    );
    assert!(after_start("hold = { fixed = 'long', unit = 's' }\n").contains("write a number"));
    assert!(after_start("level_pull = { fixed = 'maybe' }\n").contains("write \"yes\" or \"no\""));
    assert!(after_start("mode = 5\n").starts_with("m.toml:4:8: `mode` must be the text of a column's header"));
    assert!(after_start("mode = {}\n").starts_with("m.toml:4:8: `mode` names no column"));
    good(&format!("{START}level_pull = {{ fixed = 'ja' }}\ncycles = {{ fixed = 12 }}\n"));
}

#[test]
fn a_complaint_points_into_the_file_that_holds_the_key_even_when_it_is_inherited() {
    let folder = tempfile::tempdir().unwrap();
    let shared = "[columns]\npatient = 'Pat'\nhold = { column = 'H', unit = 'kg' }\n";
    std::fs::write(folder.path().join("shared.toml"), shared).unwrap();
    let site = folder.path().join("site.toml");
    std::fs::write(&site, "extends = 'shared.toml'\n[columns]\ndate = 'D'\n").unwrap();
    let inside = Inside::folder(folder.path());
    let read =
        |path: &Path| read_mapping(path, &inside, &Measures::embedded().unwrap(), &Conditions::embedded().unwrap());
    let problem = read(&site).unwrap_err();
    assert_eq!(problem.spot.unwrap().to_string(), format!("{}:3:31", folder.path().join("shared.toml").display()));
    std::fs::write(&site, "extends = 'shared.toml'\n[columns]\ndate = 'D'\nhold = { unit = 's' }\n").unwrap();
    let mapping = read(&site).unwrap();
    assert_eq!(mapping.path, site);
    assert_eq!(rule(&mapping, Field::Hold).unit, Some(UnitRule::Fixed(Unit::Second)));
    assert_eq!(rule(&mapping, Field::Patient).spot.file, folder.path().join("shared.toml"));
}
