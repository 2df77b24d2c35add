//! Settings files, whole and broken: what is read, and each complaint with its place.

use super::*;

fn problem(text: &str) -> String {
    parse(Path::new("a.toml"), text).unwrap_err().to_string()
}

#[test]
fn broken_toml_is_reported_with_its_place() {
    let message = problem("a = 1\nb = = 2\n");
    assert!(message.starts_with("a.toml:2:5: not TOML: "), "{message}");
    let message = problem("[x]\na = 1\na = 2\n");
    assert!(message.starts_with("a.toml:3:1: this key stands twice"), "{message}");
}

#[test]
fn keys_keep_the_order_and_the_place_they_have_in_the_file() {
    let table = parse(Path::new("a.toml"), "zeta = 1\n\"ä\" = { b = 'ü', c = 2 }\n").unwrap();
    let keys: Vec<_> = table.entries.iter().map(|entry| entry.key.as_str()).collect();
    assert_eq!(keys, ["zeta", "ä"]);
    let inner = table.get("ä").unwrap().table("ä").unwrap();
    assert_eq!(inner.entry("c").unwrap().key_spot.to_string(), "a.toml:2:18");
    assert_eq!(inner.get("c").unwrap().spot.to_string(), "a.toml:2:22");
}

#[test]
fn a_byte_order_mark_does_not_shift_the_places() {
    let table = parse(Path::new("a.toml"), "\u{feff}a = 'x'\n").unwrap();
    assert_eq!(table.get("a").unwrap().spot.to_string(), "a.toml:1:5");
}

#[test]
fn a_value_of_the_wrong_type_is_named() {
    let table = parse(Path::new("a.toml"), "a = 1\nb = 'x'\nc = 2.5\n").unwrap();
    let said = |result: Result<(), Problem>| result.unwrap_err().to_string();
    let at = |key: &str| table.get(key).unwrap();
    let wrong = [
        (at("a").text("a").map(drop), "a.toml:1:5: `a` must be text in quotation marks, not a number", "a = \"...\""),
        (at("b").number("b").map(drop), "a.toml:2:5: `b` must be a number, not text", "b = 0.05"),
        (at("c").whole("c", 0..=9).map(drop), "a.toml:3:5: `c` must be a whole number from 0 to 9", "c = 5"),
    ];
    for (result, what, example) in wrong {
        assert_eq!(said(result), format!("{what}\n  what to do: for example {example}"));
    }
}

#[test]
fn a_control_character_is_refused_where_it_stands_and_never_repeated() {
    for (text, said) in [
        ("a = 1\nname = \"x\\u001b[2J\"", "a.toml:2:8: `name` holds a control character"),
        ("a = [1, ['x', \"y\\n\"]]", "a.toml:1:15: `a` holds a control character"),
        ("[t.u]\nb = \"\\u202Ex\"", "a.toml:2:5: `b` holds a control character"),
        ("a = \"\"\"x\ny\"\"\"", "a.toml:1:5: `a` holds a control character"),
        ("[t]\n\"x\\u0007\" = 1", "a.toml:2:1: a key holds a control character"),
    ] {
        let message = problem(text);
        assert!(message.starts_with(said) && message.contains("what to do:"), "{message}");
        assert!(message.matches('\n').count() == 1 && !message.contains(['\u{1b}', '\u{7}', '\u{202e}']), "{message}");
    }
    assert!(parse(Path::new("a.toml"), "delimiter = \"\\t\"\nb = \"\"\"x \\\n  y\"\"\"").is_ok());
}

#[test]
fn an_unknown_key_is_answered_with_the_nearest_known_one() {
    let table = parse(Path::new("a.toml"), "\ndelimeter = ';'\n").unwrap();
    assert_eq!(
        table.only(&["delimiter", "dates"], "[file]").unwrap_err().to_string(),
        "a.toml:2:1: [file] has no key `delimeter`\n  what to do: did you mean `delimiter`?"
    );
}

#[test]
fn a_file_that_is_not_text_is_refused_with_the_first_bad_place() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("m.toml");
    std::fs::write(&path, b"a = 1\nb = '\xff'\n").unwrap();
    let problem = read(&path).unwrap_err();
    assert_eq!(problem.what, "not UTF-8 text");
    assert_eq!(problem.spot, Some(Spot { line: Some(2), column: Some(6), file: path }));
}
