//! The whole report of the invented group.

use super::{Report, report_of, write_pages};
use crate::findings::bulletin::{Bulletin, Shown};
use crate::findings::curve::CurveOutcome;
use crate::report::edition::Edition;
use crate::report::invented;
use crate::report::wording::notice;
use base64::Engine as _;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;

fn report(bulletin: &Bulletin) -> Report {
    report_of(&Edition::new(bulletin, &invented::rules())).unwrap()
}

fn page<'r>(report: &'r Report, name: &str) -> &'r str {
    &report.pages.iter().find(|(file, _)| file.contains(name)).unwrap().1
}

fn page_of<'r>(report: &'r Report, file: &str) -> &'r str {
    &report.pages.iter().find(|(name, _)| name == file).unwrap().1
}

/// What stands between two marks, each time.
fn between<'t>(text: &'t str, from: &str, to: char) -> Vec<&'t str> {
    text.split(from).skip(1).filter_map(|rest| rest.split(to).next()).collect()
}

#[test]
fn every_page_carries_notice_cautions_and_what_is_withheld() {
    let report = report(&invented::bulletin());
    assert_eq!(report.pages.len(), 7 + 1 + 6 + 1, "the sites compared, each of six, and setups");
    for (name, page) in &report.pages {
        for paragraph in notice::NOTICE {
            let start = paragraph.split('\'').next().unwrap();
            assert!(page.contains(start), "{name}: {start}");
        }
        assert!(page.contains("Counts of 1 to 4"), "{name}");
        assert!(page.contains("for use inside the group"), "{name}");
        assert!(page.contains("<html lang=\"en-GB\">"), "{name}");
    }
}

#[test]
fn pages_fetch_nothing_and_their_links_lead_to_written_files() {
    let report = report(&invented::bulletin());
    let mut files: BTreeSet<String> = report.pages.iter().map(|(name, _)| name.clone()).collect();
    files.extend(report.figures.iter().map(|figure| format!("figures/{}.png", figure.name)));
    for (name, page) in &report.pages {
        let text = page.replace("http://www.w3.org/2000/svg", "").replace("<meta http-equiv=", "");
        assert!(!text.contains("http"), "{name} names an address");
        assert!(!text.contains("<script") && !text.contains("@import") && !text.contains(" src="), "{name}");
        for target in between(&text, " href=\"", '"') {
            if target.starts_with("data:") {
                continue;
            }
            if let Some(id) = target.strip_prefix('#') {
                assert!(text.contains(&format!("id=\"{id}\"")), "{name}: {target}");
                continue;
            }
            let (target, id) = target.split_once('#').unwrap_or((target, ""));
            let path = match (name.split_once('/'), target.strip_prefix("../")) {
                (Some(_), Some(up)) => up.to_string(),
                (Some((folder, _)), None) => format!("{folder}/{target}"),
                (None, _) => target.to_string(),
            };
            assert!(files.contains(&path), "{name}: {target}");
            if !id.is_empty() {
                assert!(page_of(&report, &path).contains(&format!("id=\"{id}\"")), "{name}: {target}#{id}");
            }
        }
    }
}

#[test]
fn every_page_says_what_it_may_load_and_needs_no_more() {
    let report = report(&invented::bulletin());
    for (name, page) in &report.pages {
        let policy = between(page, "<meta http-equiv=\"Content-Security-Policy\" content=\"", '"');
        let &[policy] = policy.as_slice() else { panic!("{name}: {policy:?}") };
        assert!(policy.starts_with("default-src 'none'; style-src 'sha256-"), "{name}: {policy}");
        assert!(!policy.contains("unsafe") && !policy.contains("script") && !policy.contains('*'), "{name}: {policy}");
        let before = page.split("<meta http-equiv").next().unwrap();
        assert!(!before.contains("<style") && !before.contains("<link"), "{name}: it holds from the first tag on");
        let style = page.split_once("<style>").unwrap().1.split_once("</style>").unwrap().0;
        let hash = base64::engine::general_purpose::STANDARD.encode(Sha256::digest(style));
        assert!(policy.contains(&hash) && page.matches("<style").count() == 1, "{name}");
        let body = page.split_once("<body>").unwrap().1;
        for needless in [" style=", "<script", "<iframe", "<object", "<img", "javascript:", " on"] {
            let attributes = body.match_indices(needless).filter(|(at, _)| {
                let rest = &body[at + needless.len()..];
                needless != " on"
                    || rest.split('=').next().is_some_and(|n| n.len() < 12 && n.bytes().all(|b| b.is_ascii_lowercase()))
            });
            assert_eq!(attributes.count(), 0, "{name}: {needless}");
        }
    }
}

#[test]
fn two_sites_conditions_or_measures_whose_names_shorten_alike_share_no_file() {
    let mut bulletin = invented::bulletin();
    let before = report(&bulletin);
    let renamed = |name: &mut String| {
        if name == "Brindleford" {
            *name = "Alderwick ".into();
        }
        if name == "Alderwick" {
            *name = "alderwick-".into();
        }
    };
    let text = |bulletin: &Bulletin| report(bulletin);
    bulletin.sites.iter_mut().for_each(renamed);
    bulletin.site_findings.iter_mut().for_each(|of| renamed(&mut of.site));
    let after = text(&bulletin);
    assert_eq!((after.pages.len(), after.figures.len()), (before.pages.len(), before.figures.len()));
    let files: BTreeSet<&String> = after.pages.iter().map(|(file, _)| file).collect();
    assert_eq!(files.len(), after.pages.len());
    bulletin.sites.reverse();
    bulletin.site_findings.reverse();
    let reversed = text(&bulletin);
    assert_eq!(files, reversed.pages.iter().map(|(file, _)| file).collect());
    let names = |report: &Report| report.figures.iter().map(|figure| figure.name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&after), names(&reversed));
}

#[test]
fn headings_follow_each_other_and_sheets_and_figures_say_what_they_are() {
    let report = report(&invented::bulletin());
    for (name, page) in &report.pages {
        let mut last = 0;
        for level in between(page, "<h", '>').iter().filter_map(|h| h.get(..1)?.parse::<u32>().ok()) {
            assert!(level <= last + 1, "{name}: h{level} after h{last}");
            last = level;
        }
        assert_eq!(page.matches("<h1").count(), 1, "{name}");
        let (sheets, figures) = (page.matches("<table").count(), page.matches("<figure").count());
        assert_eq!(page.matches("<caption>").count(), sheets, "{name}");
        assert!(between(page, "<th", '>').iter().all(|th| th.contains("scope=") || th.starts_with("ead")), "{name}");
        assert_eq!(page.matches("<svg").count(), figures, "{name}");
        assert_eq!(page.matches("role=\"img\"").count(), figures, "{name}");
        assert_eq!(page.matches("<desc").count(), figures, "{name}");
        assert_eq!(page.matches("<figcaption>").count(), figures, "{name}");
    }
}

#[test]
fn the_same_bulletin_gives_the_same_pages_and_figures() {
    let (first, second) = (report(&invented::bulletin()), report(&invented::bulletin()));
    assert_eq!(first.pages, second.pages);
    assert_eq!(first.figures, second.figures);
}

#[test]
fn a_report_is_written_into_its_folder() {
    let mut bulletin = invented::bulletin();
    bulletin.conditions.truncate(0);
    bulletin.sites_compared.clear();
    bulletin.setups = None;
    let folder = tempfile::tempdir().unwrap();
    let written = write_pages(&bulletin, &invented::rules(), &folder.path().join("new"), &|_, _| ()).unwrap();
    assert_eq!(written.pages.first(), Some(&written.index));
    assert_eq!((written.pages.len(), written.figures.len()), (3, 1));
    for path in written.pages.iter().chain(&written.figures) {
        assert!(std::fs::metadata(path).unwrap().len() > 1000, "{}", path.display());
    }
}

#[test]
fn the_first_page_leads_with_at_most_five_sentences() {
    let report = report(&invented::bulletin());
    let index = page(&report, "index.html");
    let leads = index.matches("<p class=\"lead\">").count();
    assert!((1..=5).contains(&leads), "{leads}");
    assert!(index.contains("What these figures can and cannot say"));
}

#[test]
fn a_withheld_cell_is_a_dash_that_is_read_out_and_its_number_appears_nowhere() {
    let mut bulletin = invented::bulletin();
    for condition in &mut bulletin.conditions {
        for outcome in &mut condition.outcomes {
            for row in outcome.change.iter_mut().filter(|row| row.site.as_deref() == Some("Eastlow")) {
                row.episodes = Shown::Value(31_337);
            }
        }
    }
    let shown = report(&bulletin);
    for condition in &mut bulletin.conditions {
        for outcome in &mut condition.outcomes {
            for row in outcome.change.iter_mut().filter(|row| row.site.as_deref() == Some("Eastlow")) {
                row.episodes = Shown::Withheld;
                row.change = Shown::Withheld;
            }
        }
    }
    let withheld = report(&bulletin);
    let has = |report: &Report| report.pages.iter().any(|(_, page)| page.contains("31,337"));
    assert!(has(&shown) && !has(&withheld));
    let condition = page(&withheld, "lumbar-disc");
    assert!(condition.contains("<span aria-hidden=\"true\">–</span><span class=\"unseen\">withheld</span>"));
    assert!(condition.contains("4 or fewer patients"));
}

#[test]
fn a_curve_that_is_not_identified_is_said_in_words_and_not_drawn() {
    let report = report(&invented::bulletin());
    let neck = page(&report, "cervical");
    assert!(neck.contains("these readings do not identify one. The weekly means fall at once"));
    assert!(!neck.contains("plateau "));
}

#[test]
fn a_sheet_of_nothing_but_dashes_is_a_sentence() {
    let mut bulletin = invented::bulletin();
    for row in bulletin.conditions[0].outcomes[1].responders.iter_mut() {
        (row.episodes, row.with_outcome, row.responders) = (Shown::Withheld, Shown::Withheld, Shown::Withheld);
        (row.baseline_too_low, row.baseline_missing) = (Shown::Withheld, Shown::Withheld);
        (row.rate, row.worst_case, row.best_case) = (Shown::Withheld, Shown::Withheld, Shown::Withheld);
        row.imputed = Shown::Withheld;
    }
    let report = report(&bulletin);
    let sentence = "Responders, Oswestry Disability Index, all quarters: too few episodes";
    assert!(page(&report, "lumbar-disc").contains(sentence));
    assert!(!page(&report, "lumbar-disc").contains("<caption>Responders, Oswestry"));
}

#[test]
fn a_scale_of_words_is_counted_and_never_averaged() {
    let report = report(&invented::bulletin());
    let stenosis = page(&report, "stenosis");
    assert!(stenosis.contains("Scales of ordered words") && stenosis.contains("so it is never averaged"));
    assert!(!stenosis.contains("pain-verbal_course"));
}

#[test]
fn a_name_with_markup_stays_text() {
    let mut bulletin = invented::bulletin();
    bulletin.group = "Vale <script>alert(1)</script>".into();
    bulletin.sites[0] = "<b>Alderwick</b>".into();
    for (name, page) in &report(&bulletin).pages {
        assert!(!page.contains("<script>") && !page.contains("<b>Alderwick"), "{name}");
    }
}

#[test]
fn beside_every_curve_stands_what_an_uncontrolled_series_cannot_tell() {
    let report = report(&invented::bulletin());
    for (name, page) in report.pages.iter().filter(|(_, page)| page.contains("_course\"")) {
        let drawn = between(page, "<figure id=\"", '"').iter().filter(|id| id.ends_with("_course")).count();
        assert_eq!(
            page.matches("An uncontrolled series cannot separate treatment from natural course").count(),
            drawn,
            "{name}"
        );
    }
    let figure = report.figures.iter().find(|figure| figure.name.ends_with("_course")).unwrap();
    assert!(figure.svg.contains("Uncontrolled:"), "the figure says it without its page too");
}

#[test]
fn a_curve_is_followed_by_the_choice_of_model_and_by_the_ends_of_the_scale() {
    let mut bulletin = invented::bulletin();
    if let CurveOutcome::Fitted(curve) = &mut bulletin.conditions[0].outcomes[0].curve {
        curve.singular = Some("the correlation of baseline and plateau cannot be told from 1".into());
        curve.ends = Some("without the readings at the ends the plateau would be 3.6".into());
    }
    let shown = report(&bulletin);
    let condition = page(&shown, "lumbar-disc");
    assert!(condition.contains("foresaw the readings of patients it had not seen better than the spline: by 0.21"));
    assert!(condition.contains("The correlation of baseline and plateau cannot be told from 1."));
    assert!(condition.contains("12\u{a0}% of the readings lie at the best end"));
    assert!(condition.contains("Without the readings at the ends the plateau would be 3.6."));
}

#[test]
fn imputed_rates_and_tipping_points_stand_only_where_a_course_was_fitted() {
    let report = report(&invented::bulletin());
    let (fitted, unfitted) = (page(&report, "lumbar-disc"), page(&report, "stenosis"));
    assert_eq!(fitted.matches("drawn 50 times").count(), 1, "explained once");
    assert!(fitted.contains("missing imputed 59\u{a0}%") && fitted.contains("imputed (95\u{a0}%\u{a0}CI)"));
    assert!(fitted.contains("ended 2.1 points worse than imputed."));
    assert!(fitted.contains("ended 15.0 percentage points worse than imputed."));
    assert!(unfitted.contains("Nothing is imputed here") && !unfitted.contains("imputed (95"));
}

#[test]
fn the_wait_for_a_response_is_drawn_once_and_listed_by_definition() {
    let mut bulletin = invented::bulletin();
    bulletin.conditions[0].outcomes[1].time_to_response.clear();
    for found in &mut bulletin.conditions[1].outcomes[0].time_to_response {
        found.incidence.truncate(1); // nothing after the first day may be shown
    }
    let report = report(&bulletin);
    let condition = page(&report, "lumbar-disc");
    assert!(condition.contains("figure-lumbar-disc-radicular_pain-nrs-back_response\""));
    assert!(!condition.contains("figure-lumbar-disc-radicular_odi_response"));
    assert!(condition.contains("Sustained minimal important change: at least 2 points lower"));
    assert!(condition.contains("31 (28\u{a0}to\u{a0}not\u{a0}reached)") && condition.contains("not reached (63"));
    assert!(condition.contains("Too few episodes for the time to a response to be shown."));
    let neck = page(&report, "cervical");
    assert!(!neck.contains("_response\"") && neck.contains("<caption>Time to a response"));
}

#[test]
fn the_backtest_is_printed_and_says_when_words_are_withheld_or_nothing_was_tried() {
    let report = report(&invented::bulletin());
    let condition = page(&report, "lumbar-disc");
    assert!(condition.contains("held 79\u{a0}% (95\u{a0}% CI 77 to 81) of those readings, as it should."));
    assert!(condition.contains("bands are too narrow"));
    assert!(condition.contains("are withheld for this measure, since its 80 % band held 66 %"));
    assert!(condition.contains("Of those called behind at follow-up reading 1, 70\u{a0}%"));
    assert!(condition.contains("later episodes predicted from earlier ones"));
    assert!(page(&report, "stenosis").contains("No prediction was tried"));
}

#[test]
fn the_pages_of_sites_name_who_stands_out_and_keep_what_is_withheld() {
    let report = report(&invented::bulletin());
    let sites = page_of(&report, "sites.html");
    assert!(sites.contains("Alderwick: 71\u{a0}% of those with both readings reached the minimal important change"));
    assert!(sites.contains("Fennick Bridge: 38\u{a0}% of due episodes have baseline and endpoint"));
    assert!(sites.contains("Alderwick: response above what chance explains"), "the funnel says so in its title");
    let coldlarch = page_of(&report, "sites/coldlarch.html");
    assert!(coldlarch.contains("does not differ from what is expected for its case mix"));
    assert!(coldlarch.contains("withheld"));
    let index = page_of(&report, "index.html");
    assert!(index.contains("href=\"sites.html#figure-sites_all-conditions_pain_minimal-important_funnel\""));
}

#[test]
fn the_first_page_leads_with_at_most_five_findings_each_with_a_link() {
    let report = report(&invented::bulletin());
    let index = page_of(&report, "index.html");
    let opening = index.split("class=\"opening\"").nth(1).unwrap().split("</section>").next().unwrap();
    let leads = opening.matches("class=\"lead\"").count();
    assert!((3..=5).contains(&leads), "{leads}");
    assert_eq!(opening.matches("class=\"shows\"").count(), leads);
}
