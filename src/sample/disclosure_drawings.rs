//! What a drawing tells: lines of figures measured off the SVG of the pages.
//!
//! **The attacker** opens the pages of conditions, takes from each figure of the time to a response and of the distribution of change the lines
//! drawn, reads the axis of shares off its labels, and turns each step of a line into people. A step of a few, a first step or an
//! end that leaves a few, tells when a patient stopped or responded, or how far the least or most improved patient came.

use crate::findings::bulletin::{Bulletin, OutcomeFindings, Period, Shown};
use crate::findings::whole_tests::circulating_of;
use crate::group::settings::Audience;
use crate::models::fitted_course::FittedCourses;
use crate::report::{Rules, write_pages};
use resvg::usvg::roxmltree::Document;

/// A line off a figure: shares from 0 to 1 in the order of days or thresholds.
type Line = Vec<f64>;

/// The figures of a page whose name ends so: (name, SVG).
fn figures<'p>(page: &'p str, ending: &str) -> Vec<(String, &'p str)> {
    let mut found = Vec::new();
    for part in page.split("id=\"figure-").skip(1) {
        let Some((name, rest)) = part.split_once('"') else { continue };
        let svg = rest.find("<svg").and_then(|from| Some(&rest[from..from + rest[from..].find("</svg>")? + 6]));
        if let (true, Some(svg)) = (name.ends_with(ending), svg) {
            found.push((name.to_owned(), svg));
        }
    }
    found
}

/// The share at a height, from the labels of the axis.
fn axis(document: &Document<'_>) -> impl Fn(f64) -> f64 {
    let label = |text: &str| text.strip_suffix('%')?.trim().parse::<f64>().ok();
    let mut ticks: Vec<(f64, f64)> = document
        .descendants()
        .filter(|node| node.has_tag_name("text"))
        .filter_map(|node| {
            Some((node.attribute("x")?.parse::<f64>().ok()?, node.attribute("y")?.parse().ok()?, label(node.text()?)?))
        })
        .filter(|(x, ..): &(f64, f64, f64)| *x < 450.0) // left of the plot: fine units, ten a pixel
        .map(|(_, y, percent)| (y, percent / 100.0))
        .collect();
    ticks.sort_by(|a, b| a.1.total_cmp(&b.1));
    ticks.dedup();
    let (low, high) = (ticks[0], *ticks.last().unwrap());
    move |y| low.1 + (y - low.0) / (high.0 - low.0) * (high.1 - low.1)
}

/// The lines of a colour drawn whole, as shares; of several the longest.
fn line(document: &Document<'_>, colour: &str) -> Line {
    let share = axis(document);
    let lines = document.descendants().filter(|node| node.has_tag_name("polyline"));
    let of_colour = lines.filter(|node| node.attribute("stroke").is_some_and(|ink| ink.eq_ignore_ascii_case(colour)));
    let heights = of_colour.map(|node| {
        let points = node.attribute("points").unwrap_or_default().split_whitespace();
        points.filter_map(|point| point.split_once(',')?.1.parse().ok()).map(&share).collect::<Line>()
    });
    heights.max_by_key(Vec::len).unwrap_or_default()
}

fn whole_row(outcome: &OutcomeFindings) -> Option<u32> {
    let row = outcome.change.iter().find(|row| row.period == Period::All && row.site.is_none())?;
    match row.episodes {
        Shown::Value(n) => Some(n),
        Shown::Withheld | Shown::Missing => None,
    }
}

/// The steps of a line in people, those from nothing or from all to its first point and the last one to its end among them.
fn steps(line: &Line, ends: (f64, f64), people: f64) -> Vec<f64> {
    let whole: Vec<f64> = std::iter::once(ends.0).chain(line.iter().copied()).chain([ends.1]).collect();
    whole.windows(2).map(|pair| people * (pair[1] - pair[0]).abs()).filter(|step| *step > 0.5).collect()
}

/// `least`: people of a step at least; for release less by what rounding in fives may take off two counts.
fn attack(bulletin: &Bulletin, least: f64) {
    let folder = tempfile::tempdir().unwrap();
    let rules = Rules {
        gap_days: 60,
        reject_limit: 0.05,
        baseline_days: (-14, 0),
        endpoint_days: (28, 84),
        thresholds: Vec::new(),
    };
    write_pages(bulletin, &rules, folder.path(), &|_, _| ()).unwrap();
    let (mut waits, mut distributions) = (0, 0);
    for condition in &bulletin.conditions {
        let file = format!("conditions/{}.html", condition.key.replace('_', "-"));
        let page = std::fs::read_to_string(folder.path().join(&file)).unwrap();
        for outcome in &condition.outcomes {
            let of_outcome = |ending: &str| {
                let ending = format!("_{}_{ending}", outcome.key.replace('_', "-"));
                figures(&page, &ending).into_iter().next()
            };
            if let Some((name, svg)) = of_outcome("distribution") {
                let document = Document::parse(svg).unwrap();
                let drawn = line(&document, TEAL);
                let n = f64::from(whole_row(outcome).unwrap());
                assert!(drawn.len() > 1, "{name}");
                // a pixel of the drawing is a tenth of a unit and half a person at most
                for step in steps(&drawn, (1.0, 0.0), n) {
                    assert!(step > least - READ_OFF * n, "{name}: a step of {step:.1} of {n} people");
                }
                distributions += 1;
            }
            let told = outcome.time_to_response.iter().find(|found| found.incidence.len() > 1);
            if let (Some((name, svg)), Some(found)) = (of_outcome("response"), told) {
                let document = Document::parse(svg).unwrap();
                let Shown::Value(n) = found.episodes else { continue };
                let drawn = line(&document, TEAL);
                // no more corners than are told, and nothing on the days between
                assert!(drawn.len() <= found.incidence.len() + 1, "{name}: {} corners", drawn.len());
                for step in steps(&drawn, (0.0, *drawn.last().unwrap()), f64::from(n)) {
                    assert!(step > least - READ_OFF * f64::from(n), "{name}: a step of {step:.1} of {n} people");
                }
                let stops = stops(&document);
                for step in steps(&stops, (0.0, stops.last().copied().unwrap_or(0.0)), f64::from(n)) {
                    // told in whole percent
                    assert!(step > least - READ_OFF * f64::from(n), "{name}: {step:.1} of {n} people stop");
                }
                waits += 1;
            }
        }
    }
    assert!(waits > 4 && distributions > 4, "{waits} and {distributions} drawings read");
}

/// The line of responses, and of those with an endpoint.
const TEAL: &str = "#0F5C5C";
/// How exactly a share is read off a drawing of rounded shares.
const READ_OFF: f64 = 0.01;

/// Day and share of the stops that the text beside the drawing tells.
fn stops(document: &Document<'_>) -> Line {
    let text =
        document.descendants().find(|node| node.has_tag_name("desc")).and_then(|node| node.text()).unwrap_or_default();
    let shares =
        text.split("stopped early ").skip(1).filter_map(|rest| rest.split('\u{a0}').next()?.parse::<f64>().ok());
    shares.map(|percent| percent / 100.0).collect()
}

#[test]
fn no_step_of_a_drawing_is_a_few_people() {
    let [shown, _] = circulating_of("sample-data", Audience::Internal, FittedCourses::fit);
    attack(&shown, 5.0);
}

#[test]
fn nor_is_one_of_an_edition_for_release() {
    let [shown, _] = circulating_of("sample-data", Audience::Release, FittedCourses::fit);
    attack(&shown, 11.0 - 6.0);
}
