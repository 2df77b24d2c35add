//! Coldlarch: UTF-16 with a mark, tabs, month-first dates, pull in percent of body weight, disability
//! item by item.

use super::{PAIN_SITES, SiteRecords, VisitView, header, region, yes_no};
use crate::sample::scores::FormKind;
use crate::sample::setup::NEWTONS_PER_LBF;
use crate::sample::sheet::{Cell, Encoding, Export, ExportRow, Format, Role, Spelling, cell, decimal, maybe, plain};

const COLUMNS: &str = "Pt|Visit date|Therapist|Table|Area|Dx|Lying|Tilt|Pull type|Pull %BW|Low %BW|On|Off|Ramp|Cycles|Time|\
    Weight kg|Return lbf|Turns|Split mm|Upper body|Belt at crest|Belt seated|Slack out|Pull level|Table level|Event|Seen|\
    Onset days|Age|Sex|Planned|Back|Leg|Neck|Arm|O1|O2|O3|O4|O5|O6|O7|O8|O9|O10|N1|N2|N3|N4|N5|N6|N7|N8|N9|N10";

const WORDS: [&str; 2] = ["1", "0"];

const SPELLING: Spelling = Spelling {
    impossible_day: "04/31/2026",
    early_day: "03/11/0202",
    future_day: "02/10/2031",
    pain_too_high: "11",
    pains: ["3", "7"],
    percent_too_high: "120",
    pull_too_high: "1275",
    pull_negative: "-35",
};

pub fn exports(records: &SiteRecords) -> Vec<Export> {
    vec![Export {
        path: "exports/coldlarch.txt".into(),
        mapping: "coldlarch.toml",
        site: records.site,
        treated: true,
        header: header(COLUMNS),
        rows: records.visits.iter().map(|v| ExportRow::sound(row(v))).collect(),
        format: Format { encoding: Encoding::Utf16Marked, crlf: true, ..Format::plain(b'\t') },
        spelling: SPELLING,
    }]
}

fn row(v: &VisitView) -> Vec<Cell> {
    let p = v.patient;
    let mut cells = vec![
        cell(Role::Patient, &p.key),
        cell(Role::Day, v.visit.date.format("%m/%d/%Y").to_string()),
        plain(&v.visit.clinician),
        plain(&v.visit.table),
        region(v.condition.region, ["L", "C"]),
        cell(Role::Codes, v.episode.codes.join("; ")),
        v.of_setup(|s| cell(Role::Word, if s.prone { "P" } else { "S" })),
        v.of_setup(|s| plain(s.angle)),
        v.of_dose(|d| plain(if d.is_static { "ST" } else { "IM" })),
        v.of_dose(|d| cell(Role::Pull, decimal(d.percent, 0, '.'))),
        v.of_dose(|d| maybe(d.low_n.map(|_| decimal(d.percent / 2.0, 0, '.')))),
        v.of_dose(|d| plain(d.hold_s)),
        v.of_dose(|d| plain(d.rest_s)),
        v.of_dose(|d| plain(d.ramp_s)),
        v.of_dose(|d| plain(d.cycles)),
        v.of_dose(|d| plain(d.session_min)),
        plain(p.mass_kg),
        v.of_setup(|s| maybe(s.tension_n.map(|n| decimal(n / NEWTONS_PER_LBF, 1, '.')))),
        v.of_setup(|s| maybe(s.turns)),
        v.of_setup(|s| maybe(s.gap_mm.map(|mm| decimal(mm, 1, '.')))),
        v.of_setup(|s| {
            plain(match s.restraint {
                "handholds" => "HH",
                "chest harness" => "CH",
                "axillary posts" => "AP",
                _ => "0",
            })
        }),
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
        plain(v.episode.onset_days),
        plain(p.age),
        plain(if p.female { "F" } else { "M" }),
        plain(v.episode.planned),
    ]);
    cells.extend(PAIN_SITES.map(|site| v.pain_number(site)));
    for kind in [FormKind::Odi, FormKind::Ndi] {
        match v.form(kind) {
            Some(form) => cells.extend(form.items.iter().map(|item| maybe(*item))),
            None => cells.extend((0..10).map(|_| plain(""))),
        }
    }
    cells
}
