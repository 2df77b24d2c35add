//! Standards right and wrong: each complaint with its exact place and what to do.

use super::*;
use crate::catalogue::Region;
use crate::catalogue::parameter::Parameter;
use crate::catalogue::rule::Rule;
use crate::catalogue::setup_standard::{Grade, Target};
use crate::catalogue::sourced::SET_BY_GROUP;

const NEWTONS_PER_LBF: f64 = 4.448_221_615_260_5; // NIST SP 811, B.8

fn read(text: &str) -> Result<SetupStandard, Problem> {
    of_file(&document::parse(Path::new("s.toml"), text)?, default_standard()?)
}

fn standard(text: &str) -> SetupStandard {
    read(text).unwrap_or_else(|problem| panic!("{problem}"))
}

/// Where, what, and what to do.
fn complaint(text: &str) -> (String, String) {
    let problem = read(text).unwrap_err();
    let remedy = problem.remedy.clone().unwrap_or_default();
    (Problem { remedy: None, ..problem }.to_string(), remedy)
}

/// An item whose first five lines are these, from line 2 of the file on.
fn item(lines: &[&str]) -> String {
    format!("[[item]]\n{}\n", lines.join("\n"))
}

const TENSION: [&str; 6] = [
    "parameter = 'return_tension'",
    "region = 'lumbar'",
    "target = 40",
    "tolerance = 5",
    "grade = 'required'",
    "source = 'ours'",
];

/// The item on tension with one line (from 0) replaced.
fn tension_but(line: usize, text: &str) -> String {
    let mut lines = TENSION;
    lines[line] = text;
    item(&lines)
}

#[test]
fn the_programs_own_standard_reads_and_gives_a_source_for_everything() {
    let standard = default_standard().unwrap_or_else(|problem| panic!("{problem}"));
    assert!(standard.is_default);
    assert_eq!(standard.items.len(), 8);
    for item in &standard.items {
        assert_eq!((item.region, item.position), (Region::Lumbar, None));
        assert_eq!(item.source, "common practice, no published source", "{:?}", item.parameter);
        assert!(!item.note.is_empty(), "{:?}", item.parameter);
        let dose = [Parameter::Mode, Parameter::PullShare, Parameter::Hold, Parameter::Rest, Parameter::Ramp];
        assert!(!dose.contains(&item.parameter) && item.parameter != Parameter::Session, "no dose advice");
    }
    for rule in Rule::ALL {
        let text = standard.rules.text(rule);
        assert!(standard.rules.is_on(rule), "{rule:?}");
        assert!(!text.source.is_empty() && text.title.ends_with(char::is_alphabetic), "{rule:?}");
        assert!(text.explanation.ends_with('.') && text.explanation.matches(". ").count() <= 1, "{rule:?}");
        assert!(standard.rules.limits.named(rule).iter().all(|(_, limit)| *limit > 0.0), "{rule:?}");
    }
}

#[test]
fn the_default_values_are_common_practice() {
    let standard = default_standard().unwrap();
    let of = |parameter| standard.items.iter().find(|item| item.parameter == parameter).unwrap();
    // common practice, no published source: about 40 lbf, which 5 or 6 turns back from 50 to 55 lbf leave; 1/4 inch
    let tension = of(Parameter::ReturnTension);
    assert_eq!((tension.grade, tension.unit.symbol, tension.unit.factor), (Grade::Required, "lbf", NEWTONS_PER_LBF));
    let Target::Number { aim, low, high } = tension.target else { panic!("a number") };
    for (newtons, lbf) in [(aim, 40.0), (low, 35.0), (high, 45.0)] {
        assert!((newtons / NEWTONS_PER_LBF - lbf).abs() < 1e-12, "{newtons}");
    }
    let Target::Number { aim, low, high } = of(Parameter::SplitGap).target else { panic!("a number") };
    for (found, mm) in [(aim, 6.35), (low, 3.15), (high, 9.55)] {
        assert!((found - mm).abs() < 1e-12, "{found}");
    }
    let turns = of(Parameter::TensionTurns);
    assert_eq!(turns.target, Target::Number { aim: 5.5, low: 5.0, high: 6.0 });
    assert_eq!((turns.grade, turns.unit.symbol), (Grade::Advised, "turns"));
    for (parameter, grade) in [(Parameter::BeltSeated, Grade::Required), (Parameter::TableLevel, Grade::Advised)] {
        assert_eq!((of(parameter).target, of(parameter).grade), (Target::YesNo(true), grade));
    }
}

#[test]
fn the_default_text_is_a_standard_that_a_group_may_start_from() {
    let own = standard(default_text());
    let default = default_standard().unwrap();
    assert_eq!(own, SetupStandard { is_default: false, ..default });
}

#[test]
fn numbers_are_kept_in_the_parameters_own_unit_and_words_by_their_place() {
    let one = |text: &str| standard(text).items[0].clone();
    let angle = item(&[
        "parameter = 'angle'",
        "region = 'cervical'",
        "position = 'prone'",
        "target = -10",
        "tolerance = [3, 5]",
        "unit = 'deg'",
        "grade = 'advised'",
        "source = 'ours'",
        "note = ' as the protocol says '",
    ]);
    let angle = one(&angle);
    assert_eq!(angle.target, Target::Number { aim: -10.0, low: -13.0, high: -5.0 });
    assert_eq!((angle.region, angle.position), (Region::Cervical, Some("prone")));
    assert_eq!(
        (angle.grade, angle.source.as_str(), angle.note.as_str()),
        (Grade::Advised, "ours", "as the protocol says")
    );
    let number = |parameter: &str, target: &str, unit: &str| {
        let lines =
            [&format!("parameter = '{parameter}'"), TENSION[1], target, "tolerance = 0", unit, TENSION[4], TENSION[5]];
        let found = one(&item(&lines));
        let Target::Number { aim, .. } = found.target else { panic!("a number") };
        (aim, found.unit.symbol, found.unit.factor)
    };
    assert_eq!(number("return_tension", "target = 178", ""), (178.0, "N", 1.0));
    let (newtons, symbol, factor) = number("return_tension", "target = 10", "unit = 'kgf'");
    assert!((newtons - 98.066_5).abs() < 1e-9 && (symbol, factor) == ("kgf", 9.806_65), "{newtons}");
    assert_eq!(number("split_gap", "target = 0.6", "unit = 'cm'"), (6.0, "cm", 10.0));
    assert_eq!(number("hold", "target = 1", "unit = 'min'"), (60.0, "min", 60.0));
    assert_eq!(number("session", "target = 15", ""), (15.0, "min", 1.0));
    assert_eq!(number("session", "target = 15", "unit = 'min'"), (15.0, "min", 1.0));
    let (minutes, symbol, _) = number("session", "target = 900", "unit = 's'");
    assert!((minutes - 15.0).abs() < 1e-12 && symbol == "s");
    assert_eq!(number("percent_of_body_weight", "target = 30", "unit = '%BW'"), (30.0, "%BW", 1.0));
    let lines = ["parameter = 'upper_restraint'", TENSION[1], "target = 'axillary posts'", TENSION[4], TENSION[5]];
    let words = one(&item(&lines));
    assert_eq!((words.target, words.unit.symbol), (Target::Word(2), ""));
}

#[test]
fn an_unknown_key_parameter_or_word_is_answered_with_the_nearest() {
    let said = |text: &str| complaint(text);
    let (what, to_do) = said("[[items]]\n");
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:1:3: the setup standard has no key `items`", "did you mean `item`?")
    );
    let (what, to_do) = said(&tension_but(3, "tolerence = 5"));
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:5:1: [[item]] has no key `tolerence`", "did you mean `tolerance`?")
    );
    let (what, to_do) = said(&tension_but(0, "parameter = 'return_tenson'"));
    assert_eq!(what, "s.toml:2:13: `parameter` cannot be `return_tenson`");
    assert_eq!(to_do, "did you mean `return_tension`?");
    let (what, to_do) = said(&tension_but(1, "region = 'hip'"));
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:3:10: `region` cannot be `hip`", "use one of: lumbar, cervical, other")
    );
    let (what, _) = said(&tension_but(4, "grade = 'must'"));
    assert_eq!(what, "s.toml:6:9: `grade` cannot be `must`");
    let (what, to_do) = said(&(tension_but(5, "source = 'ours'") + "position = 'prome'\n"));
    assert_eq!((what.as_str(), to_do.as_str()), ("s.toml:8:12: `position` cannot be `prome`", "did you mean `prone`?"));
    let (what, to_do) = said(&item(&["parameter = 'mode'", TENSION[1], "target = 'pulsed'", TENSION[4], TENSION[5]]));
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:4:10: `target` cannot be `pulsed`", "use one of: static, intermittent")
    );
    let (what, to_do) = said("item = 3\n");
    assert!(what.starts_with("s.toml:1:8: `item` must be a list of tables") && to_do.contains("[[item]]"), "{what}");
}

#[test]
fn a_missing_key_is_named_where_its_item_stands() {
    for (line, key) in [(0, "parameter"), (1, "region"), (2, "target"), (4, "grade"), (5, "source")] {
        let (what, to_do) = complaint(&tension_but(line, ""));
        assert_eq!(what, format!("s.toml:1:1: [[item]] has no `{key}`"));
        assert_eq!(to_do.contains("common practice, no published source"), key == "source", "{to_do}");
    }
    let (what, to_do) = complaint(&tension_but(5, "source = ' '"));
    assert_eq!(what, "s.toml:7:10: `source` is empty");
    assert!(to_do.starts_with("say who or what it comes from"), "{to_do}");
}

#[test]
fn a_target_fits_its_parameter() {
    let (what, to_do) = complaint(&tension_but(2, "target = true"));
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:4:10: `target` must be a number, not true or false", "for example target = 0.05")
    );
    let (what, to_do) = complaint(&tension_but(2, "target = -1"));
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:4:10: `target` cannot be negative", "only an angle may be negative: extension")
    );
    let belt = |target: &str| item(&["parameter = 'belt_seated'", TENSION[1], target, TENSION[4], TENSION[5]]);
    let (what, to_do) = complaint(&belt("target = 'yes'"));
    assert_eq!(what, "s.toml:4:10: `target` must be true or false, not text");
    assert_eq!(to_do, "belt_seated is a yes or no: write target = true");
    let (what, to_do) = complaint(&belt("target = true\ntolerance = 1"));
    assert_eq!(what, "s.toml:5:1: `tolerance` is for numbers, and belt_seated is a yes or no");
    assert_eq!(to_do, "take this line out");
    let mode = ["parameter = 'mode'", TENSION[1], "target = 'static'\nunit = 's'", TENSION[4], TENSION[5]];
    assert_eq!(complaint(&item(&mode)).0, "s.toml:5:1: `unit` is for numbers, and mode is a word");
    let (what, to_do) = complaint(&item(&["parameter = 'mode'", TENSION[1], "target = 1", TENSION[4], TENSION[5]]));
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:4:10: `target` must be text in quotation marks, not a number", "mode is one of: static, intermittent")
    );
}

#[test]
fn a_tolerance_is_there_and_not_negative() {
    let (what, to_do) = complaint(&tension_but(3, ""));
    assert_eq!(what, "s.toml:1:1: [[item]] has no `tolerance`, and return_tension is a number");
    assert!(to_do.starts_with("write tolerance = 5, or [3, 5]"), "{to_do}");
    assert_eq!(complaint(&tension_but(3, "tolerance = -5")).0, "s.toml:5:13: `tolerance` cannot be negative");
    assert_eq!(complaint(&tension_but(3, "tolerance = [3, -5]")).0, "s.toml:5:17: `tolerance` cannot be negative");
    let (what, _) = complaint(&tension_but(3, "tolerance = [3]"));
    assert_eq!(what, "s.toml:5:13: `tolerance` as a list has two numbers: below and above");
    let (what, _) = complaint(&tension_but(3, "tolerance = '5'"));
    assert_eq!(what, "s.toml:5:13: `tolerance` must be a number, not text");
    assert_eq!(complaint(&tension_but(3, "tolerance = nan")).0, "s.toml:5:13: `tolerance` must be a finite number");
}

#[test]
fn a_unit_is_of_the_parameters_dimension() {
    let unit = |unit: &str| complaint(&tension_but(5, &format!("source = 'ours'\nunit = '{unit}'")));
    let (what, to_do) = unit("mm");
    assert_eq!((what.as_str(), to_do.as_str()), ("s.toml:8:8: return_tension has no unit `mm`", "write N, lbf or kgf"));
    assert_eq!(unit("%BW").0, "s.toml:8:8: return_tension has no unit `%BW`");
    let turns = tension_but(0, "parameter = 'tension_turns'") + "unit = 'lbf'\n";
    let (what, to_do) = complaint(&turns);
    assert_eq!((what.as_str(), to_do.as_str()), ("s.toml:8:8: tension_turns has no unit `lbf`", "write turns"));
}

#[test]
fn no_visit_falls_under_two_items_of_one_parameter() {
    let one = item(&TENSION);
    let (what, to_do) = complaint(&format!("{one}{one}"));
    assert_eq!(what, "s.toml:8:1: a second item for lumbar return_tension; the first is at s.toml:1:1");
    assert!(to_do.starts_with("keep one of the two"), "{to_do}");
    let (_, to_do) = complaint(&format!("{one}{one}position = 'prone'\n"));
    assert!(to_do.starts_with("one of the two holds for both positions"), "{to_do}");
    let both = format!("{one}position = 'supine'\n{one}position = 'prone'\n{}", one.replace("lumbar", "cervical"));
    assert_eq!(standard(&both).items.len(), 3);
    let lines =
        ["parameter = 'position'", TENSION[1], "target = 'prone'", TENSION[4], TENSION[5], "position = 'prone'"];
    assert_eq!(complaint(&item(&lines)).0, "s.toml:7:12: an item on the position cannot hold for one position");
}

#[test]
fn a_groups_rules_go_over_the_default_ones() {
    let default = default_standard().unwrap();
    let own = standard("[rule.session_long]\non = false\n[rule.pull_jumps]\nleast_difference_n = 60\n");
    assert!(own.is_default, "its items are still the program's own");
    assert_eq!(own.items, default.items);
    assert!(!own.rules.is_on(Rule::SessionLong) && own.rules.is_on(Rule::PullJumps));
    assert_eq!(own.rules.limits.pull_jumps.least_difference_n, 60.0);
    assert_eq!(own.rules.limits.pull_jumps.larger_to_smaller_ratio, 1.5, "not mentioned");
    assert_eq!(own.rules.text(Rule::PullJumps).source, SET_BY_GROUP, "the default's source is not that of the limit");
    assert_eq!(own.rules.text(Rule::SessionLong), default.rules.text(Rule::SessionLong));
    let own = standard("[rule.session_long]\nmost_min = 25\nsource = 'protocol'\ntitle = 'Long'\n");
    assert_eq!(own.rules.text(Rule::SessionLong).source, "protocol");
    assert_eq!(own.rules.text(Rule::SessionLong).title, "Long");
    let own = standard(&item(&TENSION));
    assert_eq!((own.is_default, own.items.len()), (false, 1), "its items replace the default's");
    assert_eq!(own.rules, default.rules);
}

#[test]
fn a_rule_or_limit_that_makes_no_sense_is_reported_at_its_place() {
    let (what, to_do) = complaint("[rule.session_lon]\n");
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:1:7: there is no rule `session_lon`", "did you mean `session_long`?")
    );
    let (what, to_do) = complaint("[rule.session_long]\nmost_mins = 30\n");
    assert_eq!(
        (what.as_str(), to_do.as_str()),
        ("s.toml:2:1: [rule.session_long] has no key `most_mins`", "did you mean `most_min`?")
    );
    assert_eq!(complaint("[rule.session_long]\nmost_min = -1\n").0, "s.toml:2:12: `most_min` cannot be negative");
    assert_eq!(complaint("[rule.session_long]\non = 'no'\n").0, "s.toml:2:6: `on` must be true or false, not text");
    assert_eq!(complaint("[rule.session_long]\ntitle = ''\n").0, "s.toml:2:9: `title` is empty");
    let (what, _) = complaint("[rule.unit_swapped]\nfactor_share = 5\n");
    assert_eq!(what, "s.toml:2:16: `factor_share` is a share and lies between 0 and 1");
    let (what, _) = complaint("[rule.split_stays_closed]\npull_to_tension_ratio = 0.8\n");
    assert_eq!(what, "s.toml:2:25: `pull_to_tension_ratio` is how many times as large, and over 1");
    let (what, _) = complaint("[rule.turns_and_tension_disagree]\nfull_tension_low_lbf = 60\n");
    assert!(what.ends_with("the full tension runs backwards: its lower end is above its upper end"), "{what}");
    assert!(what.starts_with("s.toml:1:1: "), "{what}");
    assert_eq!(complaint("rule = 3\n").0, "s.toml:1:8: `rule` must be a table, not a number");
    assert_eq!(
        complaint("[rule]\nsession_long = false\n").0,
        "s.toml:2:16: `[rule.session_long]` must be a table, not true or false"
    );
}

#[test]
fn the_programs_own_rules_leave_nothing_out() {
    let without = |part: &str| {
        let text = default_text().replace(part, "");
        assert_ne!(text, default_text(), "{part}");
        rule::rules(&document::parse(Path::new("s.toml"), &text).unwrap(), None).unwrap_err().what
    };
    assert_eq!(without("most_min = 30\n"), "[rule.session_long] has no `most_min`");
    assert_eq!(without("source = \"meaning of the words\"\n"), "[rule.low_pull_above_peak] has no `source`");
    assert_eq!(
        rule::rules(&document::parse(Path::new("s.toml"), "").unwrap(), None).unwrap_err().what,
        "there is no [rule]"
    );
}
