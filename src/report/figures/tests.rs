//! What holds for every kind of figure, and what each must show.

use super::*;
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

fn axis() -> ScoreAxis {
    ScoreAxis {
        title: "Oswestry Disability Index, %".into(),
        change_title: "Oswestry Disability Index, percentage points".into(),
        range: (0.0, 100.0),
        lower_is_better: true,
        decimals: 1,
    }
}

fn course() -> WeeklyCourse {
    let week = |week, mean| Week {
        week,
        episodes: 1400 - 100 * u64::from(week),
        mean,
        low: mean - 2.0,
        high: mean + 2.0,
        median: mean - 1.0,
    };
    WeeklyCourse {
        axis: axis(),
        weeks: vec![week(0, 44.0), week(1, 38.0), week(2, 33.5), week(4, 29.0), week(6, 27.0)],
        curve: Some(CurveLine {
            points: (0..=42)
                .map(|day| {
                    let mean = 25.0 + 19.0 * (-f64::from(day) / 20.0).exp();
                    let (low, high, band) = (mean - 1.0, mean + 1.0, (mean - 20.0, mean + 20.0));
                    CurveAt { week: f64::from(day) / 7.0, mean, low, high, band }
                })
                .collect(),
            plateau: Some((25.0, "plateau 25.0 (23.0\u{a0}to\u{a0}27.0)".into())),
            half_time: Some((1.98, "half-time 2.0 weeks".into())),
            important_change: Some(ReachedAt { week: 2.1, low: 1.6, high: 2.7, label: "important by day 15".into() }),
        }),
        natural_course: Some(PublishedCohort {
            label: "published cohorts".into(),
            points: vec![
                PublishedPoint { week: 6.0, mean: 40.0, low: 33.0, high: 47.0 },
                PublishedPoint { week: 26.0, mean: 36.0, low: 30.0, high: 42.0 },
            ],
        }),
    }
}

fn waits() -> Incidence {
    let point = |day: f64, response: f64| IncidenceAt { day, response, low: response - 0.04, high: response + 0.04 };
    Incidence {
        points: vec![point(7.0, 0.1), point(14.0, 0.33), point(30.0, 0.5), point(61.0, 0.64)],
        stopped: vec![(7.0, 0.0), (14.0, 0.04), (30.0, 0.09), (61.0, 0.12)],
        median: Some(MedianDay { day: 28.0, low: Some(24.0), high: None }),
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
    let definition = |label: &str, rate: f64| ResponderDefinition {
        label: label.into(),
        denominator: "209 of 338".into(),
        rate: (rate, rate - 0.05, rate + 0.05),
        worst_case: 0.02,
        best_case: 0.98,
        imputed: Some((rate - 0.04, rate - 0.1, rate + 0.02)),
    };
    let change = |label: &str, mean: f64| ChangeOf {
        label: label.into(),
        shown: Some(ChangeShown { mean, low: mean - 2.0, high: mean + 2.0, episodes: 88 }),
    };
    let shares = SharesShown { with_baseline: 0.97, with_endpoint: 0.58, denominator: "52 of 89".into() };
    vec![
        weekly_course(&text("course"), &course()).unwrap(),
        responders(&text("responders"), &Responders { definitions: vec![definition("30 % lower", 0.62)] }).unwrap(),
        incidence(&text("response"), &waits()).unwrap(),
        change_by(
            &text("sites"),
            &ChangeBy {
                axis: axis(),
                rows: vec![change("Alderwick", -13.2), ChangeOf { label: "Fennick Bridge".into(), shown: None }],
                group: -14.2,
                group_label: "whole group −14.2".into(),
            },
        )
        .unwrap(),
        distribution_of_change(
            &text("distribution"),
            &DistributionOfChange {
                axis: axis(),
                points: vec![(-10.0, 1.0, 0.8), (0.0, 0.9, 0.7), (10.0, 0.6, 0.5), (30.0, 0.1, 0.08)],
                with_endpoint_label: "338 episodes with both readings".into(),
                worst_case_label: "all, the missing counted as not improved".into(),
                marks: vec![DistributionMark { at: 10.0, label: "half reach 10.0".into(), share: 0.6 }],
            },
        )
        .unwrap(),
        completeness_by_site(
            &text("completeness"),
            &CompletenessBySite {
                sites: vec![
                    SiteCompleteness { site: "Eastlow".into(), shown: Some(shares) },
                    SiteCompleteness { site: "Fennick Bridge".into(), shown: None },
                ],
            },
        )
        .unwrap(),
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
        row_accounts(
            &text("accounts"),
            &RowAccounts {
                files: vec![FileRows { file: "exports/a.csv".into(), kept: 2210, duplicate: 12, rejected: 30 }],
            },
        )
        .unwrap(),
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

fn texts<'d>(document: &'d Document<'_>) -> Vec<&'d str> {
    document.descendants().filter(|n| n.has_tag_name("text")).filter_map(|n| n.text()).map(str::trim).collect()
}

fn child_text<'d>(document: &'d Document<'_>, tag: &str) -> &'d str {
    document.descendants().find(|n| n.has_tag_name(tag)).and_then(|n| n.text()).unwrap_or("")
}

#[test]
fn every_figure_is_well_formed_and_has_a_title_and_a_description_in_numbers() {
    for figure in all() {
        let document = Document::parse(&figure.svg).unwrap();
        let root: Node<'_, '_> = document.root_element();
        assert_eq!(root.attribute("role"), Some("img"), "{}", figure.name);
        assert_eq!(child_text(&document, "title"), "A finding with < and & in it");
        let description = child_text(&document, "desc");
        assert!(description.contains(|c: char| c.is_ascii_digit()), "{}: {description}", figure.name);
        let labelled_by = root.attribute("aria-labelledby").unwrap();
        for id in labelled_by.split(' ') {
            assert!(document.descendants().any(|n| n.attribute("id") == Some(id)), "{id}");
        }
        assert!(texts(&document).contains(&"A finding with < and & in it"), "the title is drawn too");
        assert!(texts(&document).contains(&"338 of 412 episodes"), "and the denominator");
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
fn titles_are_drawn_in_a_heavier_weight_than_subtitles() {
    let ink = |title: &str, subtitle: &str| {
        let words = FigureText { title: title.into(), subtitle: subtitle.into(), ..text("weights") };
        let png = row_accounts(&words, &RowAccounts { files: Vec::new() }).unwrap().png().unwrap();
        let pixels = Pixmap::decode_png(&png).unwrap();
        pixels.pixels().iter().filter(|p| p.red() < 0x40).count()
    };
    let (as_title, as_subtitle) = (ink("mmmmmmmm", "i"), ink("i", "mmmmmmmm"));
    assert!(as_title > as_subtitle, "{as_title} {as_subtitle}");
}

#[test]
fn the_course_gives_n_for_each_week_and_a_dash_where_none_may_be_shown() {
    let figure = weekly_course(&text("course"), &course()).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    let texts = texts(&document);
    for expected in ["1,400", "1,300", "–", "half-time 2.0 weeks", "plateau 25.0", "published cohorts"] {
        assert!(texts.contains(&expected), "{expected} in {texts:?}");
    }
}

#[test]
fn mean_and_individual_band_are_two_tints_with_labels_of_their_own() {
    let figure = weekly_course(&text("course"), &course()).unwrap();
    assert_eq!(figure.svg.matches("<polygon").count(), 2);
    let document = Document::parse(&figure.svg).unwrap();
    let drawn = texts(&document).join(" ");
    for expected in ["upper edge of", "lower edge of", "fitted mean,", "observed median", "important by day 15"] {
        assert!(drawn.contains(expected), "{expected} in {drawn}");
    }
    let described = child_text(&document, "desc");
    assert!(described.contains("median 43.0"), "{described}");
    assert!(
        described.contains(
            "Fitted, week 0.0: mean 44.0 (95\u{a0}% CI 43.0 to 45.0), 80\u{a0}% individual band 24.0 to 64.0"
        )
    );
}

#[test]
fn a_curve_without_plateau_and_half_time_marks_neither() {
    let mut data = course();
    if let Some(curve) = &mut data.curve {
        (curve.plateau, curve.half_time, curve.important_change) = (None, None, None);
    }
    let figure = weekly_course(&text("spline"), &data).unwrap();
    assert!(!figure.svg.contains("plateau") && !figure.svg.contains("half-time") && !figure.svg.contains("important"));
    assert!(figure.svg.contains("observed median"));
}

#[test]
fn the_incidence_states_both_shares_at_the_end_and_a_limit_that_was_not_reached() {
    let figure = incidence(&text("response"), &waits()).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    let texts = texts(&document);
    for expected in ["64\u{a0}%", "12\u{a0}%"] {
        assert!(texts.contains(&expected), "{expected} in {texts:?}");
    }
    assert!(texts.iter().any(|t| t.starts_with("median day 28 (24\u{a0}to\u{a0}not\u{a0}reached)")), "{texts:?}");
    let described = child_text(&document, "desc");
    assert!(described.contains("By day 61: responded 64\u{a0}% (95\u{a0}% CI 60 to 68). "));
    let never = incidence(&text("never"), &Incidence { median: None, ..waits() }).unwrap();
    assert!(never.svg.contains("median not reached"));
}

#[test]
fn the_imputed_rate_stands_under_the_one_seen_and_only_where_there_is_one() {
    let row = |imputed| ResponderDefinition {
        label: "30 % lower".into(),
        denominator: "209 of 338".into(),
        rate: (0.62, 0.57, 0.67),
        worst_case: 0.5,
        best_case: 0.7,
        imputed,
    };
    let draw = |imputed| responders(&text("r"), &Responders { definitions: vec![row(imputed)] }).unwrap().svg;
    let with = draw(Some((0.58, 0.52, 0.64)));
    assert!(with.contains("missing imputed 58\u{a0}%") && with.contains("with the missing imputed 58\u{a0}% (95"));
    assert!(!draw(None).contains("imputed"));
}

#[test]
fn a_long_course_has_numbers_that_do_not_touch_and_no_tint_between_distant_weeks() {
    let week = |week, mean| Week { week, episodes: 301, mean, low: mean - 2.0, high: mean + 2.0, median: mean };
    let weeks = vec![week(0, 26.0), week(12, 20.0), week(13, 19.0), week(52, 17.0)];
    let data = WeeklyCourse { axis: axis(), weeks, curve: None, natural_course: None };
    let figure = weekly_course(&text("year"), &data).unwrap();
    let document = Document::parse(&figure.svg).unwrap();
    // weeks 12 and 13 are too near each other to both have their number
    assert_eq!(texts(&document).iter().filter(|t| **t == "301").count(), 3);
    assert!(!texts(&document).contains(&"–"));
    assert_eq!(figure.svg.matches("<polygon").count(), 1, "one tint, over weeks 12 and 13");
}

#[test]
fn published_points_beyond_the_last_week_are_not_drawn_but_said() {
    let with = weekly_course(&text("course"), &course()).unwrap();
    let mut data = course();
    if let Some(cohort) = &mut data.natural_course {
        cohort.points.truncate(1);
    }
    let without = weekly_course(&text("course"), &data).unwrap();
    assert_eq!(with.svg.matches("<circle").count(), without.svg.matches("<circle").count());
    assert!(with.svg.contains("week 26 36.0") && !without.svg.contains("week 26"));
}

#[test]
fn a_withheld_row_shows_no_number() {
    let figures = all();
    for name in ["sites", "completeness", "first-last", "strips", "words"] {
        let figure = figures.iter().find(|f| f.name == name).unwrap();
        let document = Document::parse(&figure.svg).unwrap();
        assert_eq!(texts(&document).iter().filter(|t| **t == "– withheld").count(), 1);
        assert!(child_text(&document, "desc").contains("Fennick Bridge: withheld."));
    }
}

#[test]
fn figures_of_nothing_are_drawn_without_a_panic() {
    let empty = WeeklyCourse { axis: axis(), weeks: Vec::new(), curve: None, natural_course: None };
    weekly_course(&text("empty"), &empty).unwrap().png().unwrap();
    responders(&text("empty"), &Responders { definitions: Vec::new() }).unwrap();
    incidence(&text("empty"), &Incidence { points: Vec::new(), stopped: Vec::new(), median: None })
        .unwrap()
        .png()
        .unwrap();
    let no_points = CurveLine { points: Vec::new(), plateau: None, half_time: None, important_change: None };
    weekly_course(&text("empty"), &WeeklyCourse { curve: Some(no_points), ..course() }).unwrap().png().unwrap();
    let no_sites = ChangeBy { axis: axis(), rows: Vec::new(), group: f64::NAN, group_label: String::new() };
    change_by(&text("empty"), &no_sites).unwrap();
    let nothing = DistributionOfChange {
        axis: axis(),
        points: Vec::new(),
        with_endpoint_label: String::new(),
        worst_case_label: String::new(),
        marks: Vec::new(),
    };
    distribution_of_change(&text("empty"), &nothing).unwrap().png().unwrap();
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
