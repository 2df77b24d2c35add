//! Alderwick: commas, UTF-8, ISO dates, pounds and inches, one row a visit, plain headers,
//! disability in percent.

use super::{PAIN_SITES, SiteRecords, VisitView, follow_up, header, percent, points, region, yes_no};
use crate::sample::scores::FormKind;
use crate::sample::setup::NEWTONS_PER_LBF;
use crate::sample::sheet::{Cell, Export, ExportRow, Format, Role, Spelling, cell, decimal, maybe, plain};

const COLUMNS: &str = "patient|date|visit|clinician|table|region|icd10|position|angle|mode|peak lbf|low lbf|hold s|rest s|\
    ramp s|cycles|minutes|weight lb|height in|return lbf|turns back|split in|restraint|belt on landmark|belt seated|\
    slack cycle|level pull|table level|adverse|attended|onset|age|sex|surgery before|claim|planned|ended|\
    pain back|pain leg|pain neck|pain arm|odi percent|ndi points";

const WORDS: [&str; 2] = ["yes", "no"];

pub(super) const SPELLING: Spelling = Spelling {
    impossible_day: "2026-04-31",
    early_day: "0202-03-11",
    future_day: "2031-02-10",
    pain_too_high: "11",
    pains: ["3", "7"],
    percent_too_high: "120",
    pull_too_high: "2248",
    pull_negative: "-60",
};

/// Pounds in a kilogram (the pound is 0.453 592 37 kg, exact).
const POUNDS_PER_KG: f64 = 1.0 / 0.453_592_37;

pub fn exports(records: &SiteRecords) -> Vec<Export> {
    let visits = Export {
        path: "exports/alderwick.csv".into(),
        mapping: "alderwick.toml",
        site: records.site,
        treated: true,
        header: header(COLUMNS),
        rows: records.visits.iter().map(|v| ExportRow::sound(row(v))).collect(),
        format: Format::plain(b','),
        spelling: SPELLING,
    };
    let labels = follow_up::Labels { odi: "ODI percent", ndi: "NDI points" };
    let calls = Export {
        path: "exports/follow-up-alderwick.csv".into(),
        mapping: "follow-up-alderwick.toml",
        treated: false,
        header: header("patient|date|scale|score"),
        rows: follow_up::rows(&records.calls, "%Y-%m-%d", &labels),
        ..visits_like(&visits)
    };
    vec![visits, calls]
}

/// An empty export in the same format.
fn visits_like(other: &Export) -> Export {
    Export { path: String::new(), mapping: "", header: vec![], rows: vec![], ..*other }
}

fn row(v: &VisitView) -> Vec<Cell> {
    let p = v.patient;
    let lbf = |n: f64, digits| decimal(n / NEWTONS_PER_LBF, digits, '.');
    let mut cells = vec![
        cell(Role::Patient, &p.key),
        cell(Role::Day, v.visit.date.to_string()),
        v.number(),
        plain(&v.visit.clinician),
        plain(&v.visit.table),
        region(v.condition.region, ["lumbar", "cervical"]),
        cell(Role::Codes, v.episode.codes.join(" ")),
        v.of_setup(|s| cell(Role::Word, if s.prone { "prone" } else { "supine" })),
        v.of_setup(|s| plain(s.angle)),
        v.of_dose(|d| plain(if d.is_static { "static" } else { "intermittent" })),
        v.of_dose(|d| cell(Role::Pull, lbf(d.peak_n, 0))),
        v.of_dose(|d| maybe(d.low_n.map(|n| lbf(n, 0)))),
        v.of_dose(|d| plain(d.hold_s)),
        v.of_dose(|d| plain(d.rest_s)),
        v.of_dose(|d| plain(d.ramp_s)),
        v.of_dose(|d| plain(d.cycles)),
        v.of_dose(|d| plain(d.session_min)),
        plain(decimal(p.mass_kg * POUNDS_PER_KG, 0, '.')),
        plain(decimal(p.height_cm / 2.54, 0, '.')),
        v.of_setup(|s| maybe(s.tension_n.map(|n| lbf(n, 1)))),
        v.of_setup(|s| maybe(s.turns)),
        v.of_setup(|s| maybe(s.gap_mm.map(|mm| decimal(mm / 25.4, 2, '.')))),
        v.of_setup(|s| plain(s.restraint)),
    ];
    let setup = v.setup();
    let checks = [
        setup.and_then(|s| s.landmark),
        setup.and_then(|s| s.seated),
        setup.and_then(|s| s.slack),
        setup.map(|s| s.level_pull),
        setup.map(|s| s.table_level),
        setup.map(|_| v.visit.adverse),
        Some(v.attended()),
    ];
    cells.extend(checks.map(|answer| yes_no(answer, WORDS)));
    cells.extend([
        plain(v.episode.onset.word()),
        plain(p.age),
        plain(if p.female { "female" } else { "male" }),
        yes_no(Some(p.prior_surgery), WORDS),
        yes_no(Some(p.compensation), WORDS),
        plain(v.episode.planned),
        plain(v.ended()),
    ]);
    cells.extend(PAIN_SITES.map(|site| v.pain_number(site)));
    let odi = v.form(FormKind::Odi).and_then(percent);
    cells.push(cell(Role::Percent, odi.map_or_else(String::new, |p| decimal(p, 0, '.'))));
    cells.push(maybe(v.form(FormKind::Ndi).and_then(points)));
    cells
}
