//! Group folders, right and wrong: each complaint with its exact place.

use super::*;

const MAPPING: &str = "[columns]\npatient = 'P'\ndate = 'D'\n";

struct Folder(tempfile::TempDir);

impl Folder {
    fn new(group: &str) -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        folder.write("group.toml", group);
        folder.write("m.toml", MAPPING);
        for name in ["exports/b-2.csv", "exports/b-10.csv", "exports/a.csv", "exports/.hidden.csv"] {
            folder.write(name, "P,D\n");
        }
        folder
    }

    fn write(&self, name: &str, text: &str) {
        let path = self.0.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }

    fn load(&self) -> Group {
        load(self.0.path()).unwrap_or_else(|problem| panic!("{problem}"))
    }

    fn complaint(&self) -> String {
        let message = load(self.0.path()).unwrap_err().to_string();
        message.replace(&format!("{}/", self.0.path().display()), "")
    }
}

fn with_exports(head: &str) -> String {
    format!("{head}\n[[exports]]\nsite = 'A'\nfiles = ['exports/*.csv']\nmapping = 'm.toml'\n")
}

fn complaint(head: &str) -> String {
    Folder::new(&with_exports(head)).complaint()
}

#[test]
fn a_group_that_says_little_takes_the_defaults() {
    let group = Folder::new(&with_exports("name = 'Harrow Vale group'")).load();
    assert_eq!(group.name, "Harrow Vale group");
    assert_eq!(group.audience, Audience::Internal);
    assert_eq!(group.reject_limit, 0.05);
    assert_eq!(group.patient_keys, PatientKeys::Group);
    assert_eq!(group.episodes, EpisodeRules::default());
    let [export] = group.exports.as_slice() else { panic!("one export") };
    assert_eq!(export.site.as_deref(), Some("A"));
    let files: Vec<_> = export.files.iter().map(|path| path.to_str().unwrap()).collect();
    assert_eq!(
        files,
        ["exports/a.csv", "exports/b-10.csv", "exports/b-2.csv"],
        "sorted by name, hidden files left out"
    );
}

#[test]
fn each_setting_is_read() {
    let group = Folder::new(
        "name = 'G'\naudience = 'release'\nreject_limit = 1\npatient_keys = 'site'\nas_of = 2026-10-01\n\
         [episodes]\ngap_days = 90\nbaseline_days = [-7, 1]\nendpoint_days = [14, 42]\n\
         [on_track]\nbehind_below = 10\nin_care_days = 14\n\
         [[exports]]\nsite = 'A'\nfiles = ['exports/b*.csv', 'exports/b-2.csv']\nmapping = 'm.toml'\n\
         [[exports]]\nsite = 'B'\nfiles = ['exports/a.csv']\nmapping = 'm.toml'\n\
         [measures.pain_nrs]\ntitle = 'Pain'\n",
    )
    .load();
    assert_eq!((group.audience, group.patient_keys), (Audience::Release, PatientKeys::Site));
    assert_eq!(group.reject_limit, 1.0);
    assert_eq!(group.as_of.to_string(), "2026-10-01");
    assert_eq!(group.episodes, EpisodeRules { gap_days: 90, baseline_days: (-7, 1), endpoint_days: (14, 42) });
    let on_track = OnTrackRules { behind_below: 10.0, in_care_days: 14, ..OnTrackRules::default() };
    assert_eq!(group.on_track, on_track);
    assert_eq!(group.exports.len(), 2);
    assert_eq!(group.exports[0].files.len(), 2, "a file matched by two globs of one export is read once");
    let pain = group.measures.find("pain_nrs").unwrap();
    assert_eq!(group.measures.get(pain).title, "Pain");
}

#[test]
fn a_folder_that_is_no_group_is_named() {
    let folder = tempfile::tempdir().unwrap();
    assert!(load(folder.path()).unwrap_err().what.contains("holds no group.toml"));
    assert_eq!(load(&folder.path().join("nowhere")).unwrap_err().what, "there is no such folder");
    std::fs::write(folder.path().join("f"), "").unwrap();
    assert_eq!(load(&folder.path().join("f")).unwrap_err().what, "this is a file, not a group folder");
}

#[test]
fn an_unknown_key_or_word_is_answered_with_the_nearest() {
    assert_eq!(
        complaint("name = 'G'\naudiense = 'release'"),
        "group.toml:2:1: group.toml has no key `audiense`\n  what to do: did you mean `audience`?"
    );
    assert_eq!(
        complaint("name = 'G'\naudience = 'public'"),
        "group.toml:2:12: `audience` cannot be `public`\n  what to do: use one of: internal, release"
    );
    assert_eq!(
        complaint("name = 'G'\npatient_keys = 'groop'"),
        "group.toml:2:16: `patient_keys` cannot be `groop`\n  what to do: did you mean `group`?"
    );
    assert!(complaint("name = 'G'\n[episodes]\ngap = 3").starts_with("group.toml:3:1: [episodes] has no key `gap`"));
}

#[test]
fn a_value_out_of_range_or_of_the_wrong_type_is_refused_where_it_stands() {
    assert!(complaint("name = 'G'\nreject_limit = 5").starts_with("group.toml:2:16: `reject_limit` is a share"));
    assert!(
        complaint("name = 'G'\nreject_limit = nan")
            .starts_with("group.toml:2:16: `reject_limit` must be a finite number")
    );
    assert_eq!(
        complaint("name = 'G'\nreject_limit = '5 %'"),
        "group.toml:2:16: `reject_limit` must be a number, not text\n  what to do: for example reject_limit = 0.05"
    );
    assert!(complaint("audience = 'release'").starts_with("group.toml: group.toml has no `name`"));
    assert!(complaint("name = ' '").starts_with("group.toml:1:8: `name` is empty"));
    assert!(complaint("name = 'G'\nas_of = 2026-13-01").starts_with("group.toml:2:"));
    assert!(
        complaint("name = 'G'\nas_of = '1.10.2026'").starts_with("group.toml:2:9: `as_of` must be a calendar date")
    );
    assert!(complaint("name = 'G").starts_with("group.toml:1:"));
}

#[test]
fn windows_run_forwards_and_the_endpoint_follows_the_baseline() {
    let episodes = |line: &str| complaint(&format!("name = 'G'\n[episodes]\n{line}"));
    assert_eq!(
        episodes("endpoint_days = [84, 28]"),
        "group.toml:3:17: `endpoint_days` runs backwards\n  what to do: write endpoint_days = [28, 84]"
    );
    assert!(episodes("baseline_days = [0]").starts_with("group.toml:3:17: `baseline_days` must be two days"));
    assert!(episodes("endpoint_days = [0, 84]").starts_with("group.toml:3:17: the endpoint window must begin after"));
    assert!(episodes("gap_days = 0").starts_with("group.toml:3:12: `gap_days` must be a whole number from 1"));
    assert!(episodes("gap_days = 1.5").starts_with("group.toml:3:12: `gap_days` must be a whole number"));
}

#[test]
fn cut_offs_of_the_worklist_lie_in_their_range_and_in_order() {
    let on_track = |line: &str| complaint(&format!("name = 'G'\n[on_track]\n{line}"));
    assert!(on_track("behind_below = 101").starts_with("group.toml:3:16: `behind_below` lies between 0 and 100"));
    assert!(on_track("unlikely_below = 2").contains("lies between 0 and 1"));
    assert!(on_track("behind_below = 90").contains("`behind_below` must be less than `ahead_above`"));
    assert!(on_track("overdue_days = 0").contains("`overdue_days` must be a whole number from 1"));
}

#[test]
fn exports_must_be_there_and_belong_to_one_site_each() {
    let exports = |text: &str| Folder::new(&format!("name = 'G'\n{text}")).complaint();
    assert!(exports("").starts_with("group.toml: group.toml names no exports"));
    assert!(exports("[exports]\nsite = 'A'\n").starts_with("group.toml:2:1: `exports` must be a list of tables"));
    let message = exports("[[exports]]\nsite = 'A'\nfiles = ['exports/c*.csv']\nmapping = 'm.toml'\n");
    assert!(message.starts_with("group.toml:4:10: no file matches `exports/c*.csv`"), "{message}");
    let message = exports("[[exports]]\nsite = 'A'\nfiles = ['exports/[.csv']\nmapping = 'm.toml'\n");
    assert!(message.starts_with("group.toml:4:10: not a glob"), "{message}");
    let message = exports("[[exports]]\nsite = 'A'\nfiles = []\nmapping = 'm.toml'\n");
    assert!(message.starts_with("group.toml:4:9: `files` is empty"), "{message}");
    let message = exports("[[exports]]\nsite = 'A'\nfiles = 'exports/a.csv'\nmapping = 'm.toml'\n");
    assert!(message.starts_with("group.toml:4:9: `files` must be a list"), "{message}");
    let message = exports("[[exports]]\nsite = 'A'\nfiles = ['exports/*.csv']\nmapping = 'n.toml'\n");
    assert!(message.starts_with("group.toml:5:11: `mapping` names n.toml, and there is no such file"), "{message}");
    let message = exports("[[exports]]\nsite = 'A'\nfiles = ['exports/*.csv']\n");
    assert!(message.starts_with("group.toml:2:1: [[exports]] has no `mapping`"), "{message}");
    let message = exports("[[exports]]\nfiles = ['exports/*.csv']\nmapping = 'm.toml'\n");
    assert!(message.starts_with("group.toml:2:1: no site: neither"), "{message}");
    let one = "[[exports]]\nsite = 'A'\nfiles = ['exports/*.csv']\nmapping = 'm.toml'\n";
    let message = exports(&format!("{one}{}", one.replace("*.csv", "b-2.csv")));
    assert!(
        message.starts_with("group.toml:8:10: exports/b-2.csv already belongs to another export (at group.toml:4:9)"),
        "{message}"
    );
}

#[test]
fn the_site_is_named_once_here_or_in_the_mapping() {
    let folder = Folder::new("name = 'G'\n[[exports]]\nfiles = ['exports/*.csv']\nmapping = 'm.toml'\n");
    folder.write("m.toml", &format!("{MAPPING}site = 'S'\n"));
    assert_eq!(folder.load().exports[0].site, None);
    let folder = Folder::new(&with_exports("name = 'G'"));
    folder.write("m.toml", &format!("{MAPPING}site = 'S'\n"));
    assert!(
        folder
            .complaint()
            .starts_with("group.toml:2:1: the site is given twice: here and by the mapping (at m.toml:4:1)")
    );
}

#[test]
fn an_override_that_makes_no_measure_is_reported_at_its_field() {
    let message = complaint("name = 'G'\n[measures.pain_nrs]\ntitle = 'Pain'\nhigh = 'ten'\n");
    assert!(message.starts_with("group.toml:4:1: measures.pain_nrs.high: "), "{message}");
    let message = complaint("name = 'G'\n[measures]\npain_nrs = 3\n");
    assert!(message.starts_with("group.toml:3:1: measures.pain_nrs"), "{message}");
}

#[test]
fn a_folder_whose_name_looks_like_a_glob_is_read_literally() {
    let outer = tempfile::tempdir().unwrap();
    let folder = outer.path().join("group [2026] *");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("group.toml"), with_exports("name = 'G'").replace("exports/", "")).unwrap();
    std::fs::write(folder.join("m.toml"), MAPPING).unwrap();
    std::fs::write(folder.join("a.csv"), "P,D\n").unwrap();
    assert_eq!(load(&folder).unwrap().exports[0].files, [Path::new("a.csv")]);
}

#[test]
fn the_setup_standard_is_the_file_named_else_the_usual_one_else_the_programs_own() {
    let long = |group: &Group| group.setup_standard.rules.limits.session_long.most_min;
    let folder = Folder::new(&with_exports("name = 'G'"));
    let group = folder.load();
    assert!(group.setup_standard.is_default);
    assert_eq!((group.setup_standard_file.as_deref(), long(&group)), (None, 30.0));
    folder.write("setup-standard.toml", "[rule.session_long]\nmost_min = 25\n");
    let group = folder.load();
    assert_eq!((group.setup_standard_file.as_deref(), long(&group)), (Some("setup-standard.toml"), 25.0));
    folder.write("group.toml", &with_exports("name = 'G'\nsetup_standard = 'ours/table.toml'"));
    assert!(
        folder.complaint().starts_with("group.toml:2:18: `setup_standard` names ours/table.toml, and there is no such")
    );
    folder.write("ours/table.toml", "[rule.session_long]\nmost_min = 20\n");
    let group = folder.load();
    assert_eq!((group.setup_standard_file.as_deref(), long(&group)), (Some("ours/table.toml"), 20.0));
    folder.write("ours/table.toml", "[rule.session_long]\nmost_min = 'short'\n");
    assert!(folder.complaint().starts_with("ours/table.toml:2:12: `most_min` must be a number, not text"));
}

#[test]
fn a_standard_with_a_misspelt_name_is_not_passed_over() {
    let folder = Folder::new(&with_exports("name = 'G'"));
    folder.write("setup_standard.toml", "");
    let message = folder.complaint();
    assert!(message.starts_with("setup_standard.toml: this file would not be read"), "{message}");
    assert!(message.contains("rename it setup-standard.toml"), "{message}");
}

#[test]
fn nothing_outside_the_group_folder_is_read_unless_the_group_allows_it() {
    let elsewhere = tempfile::tempdir().unwrap();
    std::fs::write(elsewhere.path().join("a.csv"), "P,D\n").unwrap();
    std::fs::write(elsewhere.path().join("m.toml"), MAPPING).unwrap();
    std::fs::write(elsewhere.path().join("s.toml"), "").unwrap();
    let outside = elsewhere.path().display();
    let named = |files: &str, mapping: &str| {
        format!("name = 'G'\n[[exports]]\nsite = 'A'\nfiles = ['{files}']\nmapping = '{mapping}'\n")
    };
    let standard = format!("name = 'G'\nsetup_standard = '{outside}/s.toml'");
    for (group, place) in [
        (named(&format!("{outside}/*.csv"), "m.toml"), "group.toml:4:10: `files`"),
        (named("exports/../../*/a.csv", "m.toml"), "group.toml:4:10: `files`"),
        (named("*/../../a.csv", "m.toml"), "group.toml:4:10: `files`"),
        (named("exports/*.csv", &format!("{outside}/m.toml")), "group.toml:5:11: `mapping`"),
        (named("exports/*.csv", "../m.toml"), "group.toml:5:11: `mapping`"),
        (with_exports(&standard), "group.toml:2:18: `setup_standard`"),
        (with_exports("name = 'G'\nsetup_standard = '../s.toml'"), "group.toml:2:18: `setup_standard`"),
    ] {
        let message = Folder::new(&group).complaint();
        assert!(message.starts_with(&format!("{place} leads out of the group folder")), "{message}");
        assert!(message.contains("allow_outside = true in group.toml"), "{message}");
    }
    let allowed = format!("allow_outside = true\n{}", named(&format!("{outside}/*.csv"), &format!("{outside}/m.toml")));
    assert_eq!(Folder::new(&allowed).load().exports[0].files, [elsewhere.path().join("a.csv")]);
    Folder::new(&named("exports/../exports/./a.csv", "exports/../m.toml")).load();
    assert!(
        complaint("name = 'G'\nallow_outside = 'yes'").starts_with("group.toml:2:17: `allow_outside` must be true")
    );
}

#[cfg(unix)]
#[test]
fn a_link_out_of_the_group_folder_is_refused_and_one_within_is_not() {
    use std::os::unix::fs::symlink;
    let elsewhere = tempfile::tempdir().unwrap();
    for (name, text) in [("a.csv", "P,D\n"), ("m.toml", MAPPING), ("s.toml", "")] {
        std::fs::write(elsewhere.path().join(name), text).unwrap();
    }
    let link = |link: &str, to: &str| {
        let folder = Folder::new(&with_exports("name = 'G'"));
        let _ = std::fs::remove_file(folder.0.path().join(link));
        symlink(elsewhere.path().join(to), folder.0.path().join(link)).unwrap();
        let refused = folder.complaint();
        folder.write("group.toml", &with_exports("name = 'G'\nallow_outside = true"));
        folder.load();
        refused
    };
    let message = link("exports/linked.csv", "a.csv");
    assert!(message.starts_with("group.toml:4:10: `files` names exports/linked.csv, and a link leads"), "{message}");
    let message = link("m.toml", "m.toml");
    assert!(message.starts_with("group.toml:5:11: `mapping` names m.toml, and a link leads"), "{message}");
    let message = link("setup-standard.toml", "s.toml");
    assert!(message.starts_with("setup-standard.toml: a link leads from here out of the group folder"), "{message}");
    let folder = Folder::new(&with_exports("name = 'G'"));
    symlink("a.csv", folder.0.path().join("exports/within.csv")).unwrap();
    folder.load();
}
