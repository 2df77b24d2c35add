//! What holds for every kind of figure, and what each must show.

use super::sampled::{change_by_site, child_text, drawn, edited, edition, rates, texts, with_accounts};
use super::*;
use crate::findings::bulletin::Shown;
use crate::findings::sites::SiteComparison;
use crate::findings::whole_tests::sample;
use crate::report::edition::Edition;
use resvg::tiny_skia::Pixmap;
use resvg::usvg::roxmltree::{Document, Node};

fn text(name: &str) -> FigureText {
    FigureText {
        name: name.into(),
        title: "A finding with < and & in it".into(),
        subtitle: "338 of 412 episodes".into(),
        source: "Source: exports of Harrow Vale group, 6 sites.".into(),
    }
}

fn strips() -> SetupStrips {
    let row = |name: &str, quantiles| StripRow {
        name: name.into(),
        visits: 1240,
        quantiles,
        is_group: name == "Whole group",
        stands_out: name == "Coldlarch",
    };
    SetupStrips {
        axis: "Return tension, lbf".into(),
        unit: "lbf".into(),
        decimals: 0,
        asked: Some((40.0, 35.0, 45.0)),
        aims: Vec::new(),
        rows: vec![
            row("Whole group", Some([35.0, 36.0, 38.0, 40.0, 42.0, 44.0, 52.0])),
            row("Coldlarch", Some([48.0, 49.0, 51.0, 52.0, 53.0, 55.0, 56.0])),
            row("Fennick Bridge", None),
        ],
    }
}

fn word_shares() -> SetupWords {
    let row =
        |name: &str, shares| WordsRow { name: name.into(), visits: 980, shares, is_group: false, stands_out: false };
    SetupWords {
        words: vec!["yes".into(), "no".into()],
        rows: vec![row("Alderwick", Some(vec![0.93, 0.07])), row("Fennick Bridge", None)],
    }
}

fn conformance() -> SetupFunnel {
    let limits = |visits: f64| LimitsAtVisits {
        visits,
        limits_95: (0.9 - 2.0 / visits.sqrt(), 0.99),
        limits_998: (0.9 - 3.0 / visits.sqrt(), 1.0),
    };
    let mark = |name: &str, is_site, share| FunnelMark {
        name: name.into(),
        is_site,
        visits: 800,
        share,
        stands_out: share < 0.5,
    };
    SetupFunnel {
        group: 0.9,
        limits: (1..=10).map(|step| limits(100.0 * f64::from(step))).collect(),
        marks: vec![mark("Alderwick", true, 0.92), mark("Coldlarch", true, 0.11), mark("AC1", false, 0.9)],
    }
}

fn charts() -> SetupCharts {
    let day = |week: i64| chrono::NaiveDate::from_ymd_opt(2026, 1, 5).unwrap() + chrono::TimeDelta::weeks(week);
    let point = |week: i64| ChartPoint {
        day: day(week),
        value: 6.4 + 0.1 * (week as f64 - 10.0).max(0.0),
        limits: (5.0, 7.8),
        signals: week > 25,
    };
    SetupCharts {
        axis: "Opening of the split, mm".into(),
        unit: "mm".into(),
        decimals: 1,
        panels: vec![
            ChartPanel { name: "Alderwick".into(), points: (0..30).map(point).collect(), centre: 6.4, change: None },
            ChartPanel {
                name: "Dunnock Hill, table DT2".into(),
                points: (0..30).map(point).collect(),
                centre: 7.1,
                change: Some(ChartChange {
                    since: (day(10), day(8), day(13)),
                    before: 6.4,
                    from: 6.4,
                    to: 8.3,
                    label: "16 Mar 2026".into(),
                }),
            },
        ],
    }
}

fn openings() -> SetupOpenings {
    let row = |name: &str, value: f64, siblings, stands_out| OpeningRow {
        name: name.into(),
        visits: 640,
        opening: (value, value - 0.4, value + 0.4),
        siblings,
        stands_out,
    };
    SetupOpenings {
        rows: vec![row("Dunnock Hill, DT1", 6.3, Some(8.6), false), row("Dunnock Hill, DT2", 8.6, Some(6.3), true)],
    }
}

fn all() -> Vec<Figure> {
    let sample = sample();
    let first = &sample.site_findings[0];
    let compared = sample.sites_compared.iter().find(|compared| compared.is_over_all()).unwrap();
    let of_sites =
        |draw: fn(&Edition<'_>, &SiteComparison) -> Drawn| draw(&edition(sample), compared).unwrap().unwrap();
    vec![
        drawn(sample, weekly_course::draw).unwrap(),
        drawn(sample, rates).unwrap(),
        drawn(sample, incidence::draw).unwrap(),
        drawn(sample, change_by_site).unwrap(),
        drawn(sample, distribution::draw).unwrap(),
        drawn(sample, completeness::draw).unwrap(),
        accounting::draw(&edition(&with_accounts())).unwrap(),
        of_sites(funnel::draw),
        of_sites(site_intervals::before_after),
        of_sites(site_intervals::shrunken),
        site_course::draw(&edition(sample), &first.site, &first.courses[0]).unwrap().unwrap(),
        by_quarter::draw(&edition(sample), &first.site, &first.quarters[0]).unwrap().unwrap(),
        setup_strips(&text("strips"), &strips()).unwrap(),
        setup_words(&text("words"), &word_shares()).unwrap(),
        setup_levels(
            &text("levels"),
            &SetupLevels {
                levels: vec![LevelRow {
                    name: "between sites".into(),
                    groups: "6 sites".into(),
                    share: (0.58, 0.31, 0.84),
                }],
            },
        )
        .unwrap(),
        setup_funnel(&text("conformance"), &conformance()).unwrap(),
        setup_charts(&text("charts"), &charts()).unwrap(),
        setup_openings(&text("openings"), &openings()).unwrap(),
        pull_by_visit(&text("pull"), &pulls()).unwrap(),
        first_and_last(&text("first-last"), &first_last()).unwrap(),
        odds_ratios(&text("odds"), &odds()).unwrap(),
    ]
}

fn pulls() -> PullByVisit {
    let at = |visit: u32| {
        let median = 30.0 + 0.6 * f64::from(visit);
        PullAt { visit, median, quartiles: (median - 4.0, median + 5.0) }
    };
    let panel = |title: &str, visits: Vec<u32>| PullPanel {
        title: title.into(),
        highest: 42.0,
        visits: visits.into_iter().map(at).collect(),
    };
    let all = (1..=12).collect();
    PullByVisit { panels: vec![panel("Low back pain", all), panel("Lumbar stenosis", vec![1, 2, 3, 7, 8])] }
}

fn first_last() -> FirstAndLast {
    let site = |site: &str, pulls: Option<(f64, f64)>| PullOfSite {
        site: site.into(),
        pulls,
        is_withheld: pulls.is_none(),
        progression: pulls.map(|_| 0.84),
        is_whole: site == "whole group",
    };
    let sites = vec![
        site("whole group", Some((31.0, 38.0))),
        site("Alderwick", Some((30.0, 39.5))),
        site("Fennick Bridge", None),
    ];
    FirstAndLast { groups: vec![PullGroup { label: "Lumbar care".into(), sites }] }
}

fn odds() -> OddsRatios {
    let of = |outcome: &str, ratio: f64, width: f64| OddsOf {
        outcome: outcome.into(),
        ratio,
        limits: (ratio / width, ratio * width),
        e_values: (1.6, 1.0),
        stands_out: ratio > 2.0,
    };
    let row = |exposure: &str, outcomes| OddsRow { exposure: exposure.into(), step: "per mm".into(), outcomes };
    OddsRatios {
        rows: vec![
            row("Opening of the split", vec![of("pain", 1.1, 1.2), of("disability", 0.9, 1.3)]),
            row("Setup standard met", vec![of("pain", 2.4, 40.0)]),
        ],
    }
}

#[test]
fn every_figure_is_well_formed_and_has_a_title_and_a_description_in_numbers() {
    for figure in all() {
        let document = Document::parse(&figure.svg).unwrap();
        let root: Node<'_, '_> = document.root_element();
        assert_eq!(root.attribute("role"), Some("img"), "{}", figure.name);
        assert_eq!(child_text(&document, "title"), figure.title);
        let description = child_text(&document, "desc");
        assert!(description.contains(|c: char| c.is_ascii_digit()), "{}: {description}", figure.name);
        let labelled_by = root.attribute("aria-labelledby").unwrap();
        for id in labelled_by.split(' ') {
            assert!(document.descendants().any(|n| n.attribute("id") == Some(id)), "{id}");
        }
        assert!(texts(&document).join(" ").starts_with(&figure.title), "the title is drawn too");
        assert!(texts(&document).iter().any(|t| t.starts_with("Source:")), "and the source");
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    for (first, second) in all().into_iter().zip(all()) {
        assert_eq!(first.svg, second.svg);
        assert_eq!(first.png().unwrap(), second.png().unwrap());
    }
}

#[test]
fn a_png_has_the_width_of_a_slide_white_paper_and_the_inks_of_the_figure() {
    for figure in all() {
        let pixels = Pixmap::decode_png(&figure.png().unwrap()).unwrap();
        assert_eq!(pixels.width(), PNG_WIDTH, "{}", figure.name);
        assert!(pixels.height() > 300 && pixels.height() < 2 * PNG_WIDTH, "{}", figure.name);
        let is = |r: u8, g: u8, b: u8| {
            pixels.pixels().iter().filter(|p| (p.red(), p.green(), p.blue()) == (r, g, b)).count()
        };
        let all = (pixels.width() * pixels.height()) as usize;
        assert!(is(0xff, 0xff, 0xff) > all / 2, "{}: mostly paper", figure.name);
        assert!(is(0x0f, 0x5c, 0x5c) + is(0x6d, 0xa5, 0x9f) > 300, "{}: teal", figure.name);
        assert!(pixels.pixels().iter().all(|p| p.alpha() == 255), "{}: nothing is see-through", figure.name);
    }
}

#[test]
fn a_withheld_row_shows_no_number() {
    let at_eastlow = |site: &Option<String>| site.as_deref() == Some("Eastlow");
    let bulletin = edited(|outcome| {
        outcome.change.iter_mut().filter(|row| at_eastlow(&row.site)).for_each(|row| row.change = Shown::Withheld);
        outcome.completeness.iter_mut().filter(|row| at_eastlow(&row.site)).for_each(|row| row.share = Shown::Withheld);
    });
    let withheld = |figure: &Figure| figure.svg.matches(">– withheld</text>").count();
    for draw in [change_by_site, completeness::draw] {
        let (before, after) = (drawn(sample(), draw).unwrap(), drawn(&bulletin, draw).unwrap());
        assert_eq!(withheld(&after), withheld(&before) + 1, "{}", after.name);
        assert!(!before.svg.contains("Eastlow: withheld.") && after.svg.contains("Eastlow: withheld."));
    }
    for figure in all().iter().filter(|figure| ["first-last", "strips", "words"].contains(&figure.name.as_str())) {
        assert_eq!(withheld(figure), 1, "{}", figure.name);
        assert!(figure.svg.contains("Fennick Bridge: withheld."));
    }
}

#[test]
fn figures_of_nothing_are_drawn_without_a_panic() {
    setup_strips(&text("empty"), &SetupStrips { rows: Vec::new(), asked: None, ..strips() }).unwrap().png().unwrap();
    setup_words(&text("empty"), &SetupWords { rows: Vec::new(), ..word_shares() }).unwrap().png().unwrap();
    setup_levels(&text("empty"), &SetupLevels { levels: Vec::new() }).unwrap().png().unwrap();
    let no_marks = SetupFunnel { group: 0.5, limits: Vec::new(), marks: Vec::new() };
    setup_funnel(&text("empty"), &no_marks).unwrap().png().unwrap();
    setup_charts(&text("empty"), &SetupCharts { panels: Vec::new(), ..charts() }).unwrap().png().unwrap();
    setup_openings(&text("empty"), &SetupOpenings { rows: Vec::new() }).unwrap().png().unwrap();
}

#[test]
fn a_change_is_drawn_with_its_day_and_signals_are_ringed() {
    let figure = setup_charts(&text("charts"), &charts()).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    assert!(texts(&document).contains(&"16 Mar 2026"));
    let described = child_text(&document, "desc");
    assert!(
        described.contains("6.4\u{a0}mm until 16\u{a0}March\u{a0}2026, then from 6.4\u{a0}mm to 8.3\u{a0}mm."),
        "{described}"
    );
    let without = {
        let mut data = charts();
        data.panels.iter_mut().flat_map(|panel| &mut panel.points).for_each(|point| point.signals = false);
        setup_charts(&text("charts"), &data).unwrap()
    };
    let circles = |figure: &Figure| figure.svg.matches("<circle").count();
    assert_eq!(circles(&figure) - circles(&without), 2 * 2 * 4, "a ring and its hole at four weeks of two charts");
}

#[test]
fn the_standard_stands_on_the_strips_with_its_edges_named() {
    let document_of = |data: &SetupStrips| setup_strips(&text("strips"), data).unwrap().svg;
    let svg = document_of(&strips());
    let document = Document::parse(&svg).unwrap();
    for expected in ["asked: 40", "35", "45", "Coldlarch", "1,240"] {
        assert!(texts(&document).contains(&expected), "{expected}");
    }
    let by_position =
        SetupStrips { asked: None, aims: vec![("prone 38".into(), 38.0), ("supine 42".into(), 42.0)], ..strips() };
    let svg = document_of(&by_position);
    assert!(svg.contains("prone 38") && svg.contains("supine 42") && !svg.contains("asked: "));
}

#[test]
fn figures_of_no_dose_are_drawn_without_harm() {
    pull_by_visit(&text("empty"), &PullByVisit { panels: Vec::new() }).unwrap().png().unwrap();
    first_and_last(&text("empty"), &FirstAndLast { groups: Vec::new() }).unwrap().png().unwrap();
    odds_ratios(&text("empty"), &OddsRatios { rows: Vec::new() }).unwrap().png().unwrap();
}

#[test]
fn a_visit_that_is_withheld_leaves_a_gap_in_line_and_tint() {
    let mut data = pulls();
    data.panels.truncate(1);
    let of = |data: &PullByVisit| pull_by_visit(&text("pull"), data).unwrap().svg.matches("<polygon").count();
    let whole = of(&data);
    data.panels[0].visits.retain(|at| at.visit != 6);
    assert_eq!((whole, of(&data)), (11, 9));
}

#[test]
fn odds_ratios_stand_with_their_limits_and_e_values_and_never_off_the_scale() {
    let figure = odds_ratios(&text("odds"), &odds()).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    let texts = texts(&document);
    assert!(texts.contains(&"1.10 (0.92 to 1.32)") && texts.contains(&"2.40 (0.06 to 96)"), "{texts:?}");
    assert_eq!(texts.iter().filter(|t| **t == "1.6, 1.0").count(), 3);
    assert!(texts.contains(&"0.125") && texts.contains(&"8"), "the widest scale");
}
