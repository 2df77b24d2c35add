//! The clinician's pages of the invented worklist.

use super::*;
use crate::findings::worklist::Status;
use crate::report::invented_worklist::worklist;
use resvg::usvg::roxmltree::Document;
use std::collections::BTreeSet;
use std::fs;

fn pages(worklist: &Worklist) -> BTreeMap<String, String> {
    let restricted = Restricted::of(worklist);
    restricted.pages().iter().map(|page| restricted.rendered(page).unwrap()).collect()
}

/// What stands between two marks, each time.
fn between<'t>(text: &'t str, from: &str, to: char) -> Vec<&'t str> {
    text.split(from).skip(1).filter_map(|rest| rest.split(to).next()).collect()
}

#[test]
fn every_page_says_that_it_is_restricted_and_carries_the_notice() {
    for (name, page) in pages(&worklist()) {
        let head = page.find("<h1").unwrap();
        assert!(page.find(words::RESTRICTED).is_some_and(|at| at < head), "{name}");
        for paragraph in notice::NOTICE {
            assert!(page.contains(paragraph.split('\'').next().unwrap()), "{name}");
        }
        assert!(page.contains(words::NOTHING_WITHHELD) && page.contains("<html lang=\"en-GB\">"), "{name}");
    }
}

#[test]
fn every_link_leads_to_a_page_and_a_place_on_it_and_nothing_is_fetched() {
    let pages = pages(&worklist());
    for (name, page) in &pages {
        let text = page.replace("http://www.w3.org/2000/svg", "").replace("<meta http-equiv=", "");
        assert!(!text.contains("http") && !text.contains("<script") && !text.contains(" src="), "{name}");
        for target in between(&text, " href=\"", '"').into_iter().filter(|target| !target.starts_with("data:")) {
            let (file, place) = target.split_once('#').map_or((target, None), |(file, place)| (file, Some(place)));
            let file = match (name.split_once('/'), file.strip_prefix("../")) {
                _ if file.is_empty() => name.clone(),
                (Some(_), Some(up)) => up.to_string(),
                (Some((folder, _)), None) => format!("{folder}/{file}"),
                (None, _) => file.to_string(),
            };
            if file == STYLE_FILE {
                continue;
            }
            let to = pages.get(&file).unwrap_or_else(|| panic!("{name}: {target}"));
            assert!(place.is_none_or(|place| to.contains(&format!("id=\"{place}\""))), "{name}: {target}");
        }
    }
}

#[test]
fn every_page_says_what_it_may_load_and_needs_no_more() {
    for (name, page) in pages(&worklist()) {
        let policies = between(&page, "<meta http-equiv=\"Content-Security-Policy\" content=\"", '"');
        let &[policy] = policies.as_slice() else { panic!("{name}: {policies:?}") };
        assert!(policy.starts_with("default-src 'none'; style-src 'self' file:; font-src data:;"), "{name}: {policy}");
        assert!(!policy.contains("unsafe") && !policy.contains("script") && !policy.contains('*'), "{name}: {policy}");
        assert!(!page.contains("<style") && !page.contains(" style=") && !page.contains("<script"), "{name}");
    }
}

#[test]
fn the_most_worrying_comes_first_and_each_links_to_its_page() {
    let worklist = worklist();
    let pages = pages(&worklist);
    let list = &pages[LIST_FILE];
    let headings: Vec<usize> = ["worsening", "behind", "too-few-readings", "as-expected", "ahead", "overdue", "ended"]
        .iter()
        .map(|id| list.find(&format!("<section id=\"{id}\"")).unwrap())
        .collect();
    assert!(headings.is_sorted(), "{headings:?}");
    assert_eq!(list.matches("<p class=\"standing\">").count(), worklist.patients.len());
    assert!(
        list.replace('\u{a0}', " ")
            .contains("7 episodes in care: 1 worsening, 2 behind, 2 too few readings, 1 as expected, 1 ahead.")
    );
    assert!(list.contains("2\u{a0}episodes without a recorded clinician stand on this list only."));
    assert!(list.contains("<b>Worsening</b>. Pain 0-10, leg: 9.0 on day 35, 7.0 at baseline: worse"));
    assert!(list.contains("<a href=\"patients/~48~56-0412.html#episode-2\">HV-0412</a>"));
}

#[test]
fn a_clinician_sees_own_patients_only() {
    let pages = pages(&worklist());
    let own = &pages["clinicians/~413.html"];
    assert!(own.contains("Patients of clinician A3") && own.contains(">HV-0412<") && own.contains(">con<"));
    assert!(!own.contains(">hv-0412<") && !own.contains("HV-1001"));
    let without =
        |key: &str| pages.iter().filter(|(name, page)| name.starts_with("clin") && page.contains(key)).count();
    assert_eq!(without("HV-1001"), 0);
    assert_eq!(pages.keys().filter(|name| name.starts_with("clinicians/")).count(), 4);
}

#[test]
fn keys_become_names_that_are_safe_and_markup_that_is_text() {
    let pages = pages(&worklist());
    let folded: BTreeSet<String> = pages.keys().map(|name| name.to_lowercase()).collect();
    assert_eq!(folded.len(), pages.len(), "no two differ in capitals only");
    assert!(pages.contains_key("patients/~2e~2e~2f~2e~2e~2fetc~2fpasswd.html"));
    assert!(pages.contains_key("patients/~63on.html"));
    for (name, page) in &pages {
        assert!(!name.contains("..") && name.matches('/').count() <= 1, "{name}");
        assert!(!page.contains("<b>Öz") && !page.contains("<Brindleford"), "{name}");
    }
}

#[test]
fn a_patient_page_holds_every_episode_with_a_figure_that_is_said_in_words() {
    let pages = pages(&worklist());
    let page = &pages["patients/~48~56-0412.html"];
    assert_eq!((page.matches("<svg").count(), page.matches("<h1").count()), (2, 1));
    assert!(page.contains("id=\"episode-2\"") && page.contains("id=\"episode-1\""));
    assert!(
        page.contains(words::CAUTION)
            && page.contains("would be good news")
            && page.contains("Disability was last read 21 days")
    );
    assert!(page.contains("At the last visit, day 35, no recorded quantity of dose or setup differed"));
    for (name, page) in pages.iter().filter(|(name, _)| name.starts_with("patients/")) {
        for svg in page.split("<svg").skip(1).filter_map(|rest| rest.split("</svg>").next()) {
            let svg = format!("<svg{svg}</svg>");
            let document = Document::parse(&svg).unwrap();
            let said = document.descendants().find(|n| n.has_tag_name("desc")).and_then(|n| n.text()).unwrap();
            assert!(
                said.contains("Day ") || said.contains("peak pull") || said.contains("Peak pull"),
                "{name}: {said}"
            );
        }
        assert_eq!(page.matches("role=\"img\"").count(), page.matches("<figure").count(), "{name}");
        assert_eq!(page.matches("<caption>").count(), page.matches("<table").count(), "{name}");
        assert!(!page.contains(".png"), "{name}");
    }
    assert!(pages["patients/~63on.html"].contains(" or higher would be good news"));
}

#[test]
fn headings_follow_each_other_and_no_id_stands_twice() {
    for (name, page) in pages(&worklist()) {
        let mut last = 0;
        for level in between(&page, "<h", '>').iter().filter_map(|h| h.get(..1)?.parse::<u32>().ok()) {
            assert!(level <= last + 1, "{name}: h{level} after h{last}");
            last = level;
        }
        let ids = between(&page, " id=\"", '"');
        let once: BTreeSet<&&str> = ids.iter().collect();
        assert_eq!(once.len(), ids.len(), "{name}");
    }
}

#[test]
fn the_same_worklist_is_written_as_the_same_files() {
    let worklist = worklist();
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let written = folders.each_ref().map(|folder| write_restricted(&worklist, folder.path(), &|_, _| ()).unwrap());
    assert_eq!(written[0].index, folders[0].path().join("restricted/worklist.html"));
    assert_eq!(written[0].pages.first(), Some(&written[0].index));
    assert!(folders[0].path().join("restricted/bulletin.css").is_file());
    for (a, b) in written[0].pages.iter().zip(&written[1].pages) {
        assert_eq!(a.strip_prefix(folders[0].path()).unwrap(), b.strip_prefix(folders[1].path()).unwrap());
        assert!(fs::read(a).unwrap() == fs::read(b).unwrap(), "{}", a.display());
    }
}

#[test]
fn an_empty_worklist_is_a_page_that_says_so() {
    let empty = Worklist { patients: Vec::new(), ..worklist() };
    let pages = pages(&empty);
    assert_eq!(pages.len(), 1);
    assert!(pages[LIST_FILE].contains(words::NOBODY) && pages[LIST_FILE].contains(words::NONE_OVERDUE));
}

#[test]
fn numbers_that_are_none_do_not_stop_a_page() {
    let mut worklist = worklist();
    for patient in &mut worklist.patients {
        patient.status = Status::Behind;
        for outcome in &mut patient.outcomes {
            outcome.last_value = f64::NAN;
            outcome.readings.iter_mut().for_each(|reading| reading.value = f64::NAN);
            outcome.to_come.truncate(1);
        }
        for channel in &mut patient.channels {
            channel.points.iter_mut().for_each(|point| point.1 = f64::INFINITY);
        }
    }
    assert!(!pages(&worklist).is_empty());
}

/// Not a check: leaves the pages of the invented worklist to be looked at.
#[test]
#[ignore = "writes pages to look at into the folder that RESTRICTED_PAGES names"]
fn the_pages_can_be_looked_at() {
    let Some(folder) = std::env::var_os("RESTRICTED_PAGES") else { panic!("RESTRICTED_PAGES names no folder") };
    write_restricted(&worklist(), Path::new(&folder), &|_, _| ()).unwrap();
}
