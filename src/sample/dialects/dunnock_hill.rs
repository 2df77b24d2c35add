//! Dunnock Hill: one row a reading with the visit repeated on each, bars between fields, CR LF, pain
//! on a line in mm or cm, units inside the cells, a harmless column with line breaks in it.

use super::{SiteRecords, VisitView, follow_up, header, own_word, pain_label, percent, region, yes_no};
use crate::sample::draw::whole_within;
use crate::sample::scores::FormKind;
use crate::sample::setup::NEWTONS_PER_LBF;
use crate::sample::sheet::{Cell, Export, ExportRow, Format, Role, Spelling, cell, decimal, maybe, plain};

const COLUMNS: &str = "Case|Day seen|Who|Couch|Part|Problem|Lying|Angle|Kind of pull|Pull|Low pull|Hold|Rest|Ramp|Repeats|Minutes|\
    Body weight|Spring|Turns|Gap|Held by|Belt on mark|Belt snug|Slack run|Pull level|Couch level|Upset|Came|Days since onset|\
    Age|Sex|Scale|Score|Sheet label";

const WORDS: [&str; 2] = ["Y", "N"];

const CONDITIONS: [(&str, &str); 5] = [
    ("lumbar_disc_radicular", "disc, leg"),
    ("low_back_pain", "low back"),
    ("lumbar_stenosis", "narrow canal"),
    ("cervical_radiculopathy", "neck and arm"),
    ("neck_pain", "neck"),
];
const IN_MM: [&str; 4] = ["line back mm", "line leg mm", "line neck mm", "line arm mm"];
const IN_CM: [&str; 4] = ["line back cm", "line leg cm", "line neck cm", "line arm cm"];

const SPELLING: Spelling = Spelling {
    impossible_day: "31/04/2026",
    early_day: "11/03/0202",
    future_day: "10/02/2031",
    pain_too_high: "110", // beyond the line in mm, and in cm too
    pains: ["3", "7"],
    percent_too_high: "120",
    pull_too_high: "2248 lb",
    pull_negative: "-60 lb",
};

/// The follow-up by telephone asks for a number, not a line.
const SPELLING_BY_TELEPHONE: Spelling = Spelling { pain_too_high: "11", ..SPELLING };

/// `rounder` is the clinician who writes whole tens of millimetres.
pub fn exports(records: &SiteRecords, rounder: &str) -> Vec<Export> {
    let format = Format { crlf: true, ..Format::plain(b'|') };
    let labels = follow_up::Labels { odi: "ODI percent", ndi: "NDI percent" };
    vec![
        Export {
            path: "exports/dunnock-hill.psv".into(),
            mapping: "dunnock-hill.toml",
            site: records.site,
            treated: true,
            header: header(COLUMNS),
            rows: records.visits.iter().enumerate().flat_map(|(i, v)| rows(v, i, rounder)).collect(),
            format,
            spelling: SPELLING,
        },
        Export {
            path: "exports/follow-up-dunnock-hill.psv".into(),
            mapping: "follow-up-dunnock-hill.toml",
            site: records.site,
            treated: false,
            header: header("Case|Day called|Scale|Score"),
            rows: follow_up::rows(&records.calls, "%d/%m/%Y", &labels),
            format,
            spelling: SPELLING_BY_TELEPHONE,
        },
    ]
}

/// One row a reading; a visit without a reading has one row with no scale.
fn rows(v: &VisitView, position: usize, rounder: &str) -> Vec<ExportRow> {
    let mut scores: Vec<(&'static str, Cell)> = v
        .visit
        .pains
        .iter()
        .map(|pain| {
            // One table's clinicians use a line in centimetres.
            if v.visit.table.ends_with('3') {
                let cm = f64::from(pain.mm) / 10.0;
                return (pain_label(pain, IN_CM), cell(Role::Pain, decimal(cm, 1, '.')));
            }
            let tens = whole_within(f64::from(pain.mm) / 10.0, 0, 10) * 10;
            let mm = if v.visit.clinician == rounder { tens } else { pain.mm };
            (pain_label(pain, IN_MM), cell(Role::Pain, mm.to_string()))
        })
        .collect();
    for (kind, label) in [(FormKind::Odi, "ODI percent"), (FormKind::Ndi, "NDI percent")] {
        if let Some(percent) = v.form(kind).and_then(percent) {
            scores.push((label, cell(Role::Percent, decimal(percent, 0, '.'))));
        }
    }
    if scores.is_empty() {
        scores.push(("", plain("")));
    }
    let label = if position % 12 == 5 { format!("sheet {}\nof the day", position % 7 + 1) } else { String::new() };
    let visit = visit_cells(v);
    let row = |(scale, score): (&str, Cell)| {
        let mut cells = visit.clone();
        cells.extend([plain(scale), score, plain(&label)]);
        ExportRow::sound(cells)
    };
    scores.into_iter().map(row).collect()
}

fn visit_cells(v: &VisitView) -> Vec<Cell> {
    let p = v.patient;
    // A dial with marks every 5 lb; the neck is pulled with a finer one.
    let lb = |n: f64| {
        let lbf = n / NEWTONS_PER_LBF;
        format!("{} lb", if lbf >= 35.0 { (lbf / 5.0).round() * 5.0 } else { lbf.round() })
    };
    let mut cells = vec![
        cell(Role::Patient, &p.key),
        cell(Role::Day, v.visit.date.format("%d/%m/%Y").to_string()),
        plain(&v.visit.clinician),
        plain(&v.visit.table),
        region(v.condition.region, ["low", "neck"]),
        plain(own_word(&v.condition.id, &CONDITIONS)),
        v.of_setup(|s| cell(Role::Word, if s.prone { "face down" } else { "face up" })),
        v.of_setup(|s| plain(s.angle)),
        v.of_dose(|d| plain(if d.is_static { "steady" } else { "on-off" })),
        v.of_dose(|d| cell(Role::Pull, lb(d.peak_n))),
        v.of_dose(|d| maybe(d.low_n.map(lb))),
        v.of_dose(|d| plain(d.hold_s)),
        v.of_dose(|d| plain(d.rest_s)),
        v.of_dose(|d| plain(d.ramp_s)),
        v.of_dose(|d| plain(d.cycles)),
        v.of_dose(|d| plain(d.session_min)),
        plain(format!("{} kg", p.mass_kg)),
        v.of_setup(|s| maybe(s.tension_n.map(|n| format!("{} N", decimal(n, 0, '.'))))),
        v.of_setup(|s| maybe(s.turns)),
        v.of_setup(|s| maybe(s.gap_mm.map(|mm| format!("{} mm", decimal(mm, 1, '.'))))),
        v.of_setup(|s| {
            plain(match s.restraint {
                "handholds" => "hands",
                "chest harness" => "chest",
                "axillary posts" => "posts",
                _ => "nothing",
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
    cells.extend([plain(v.episode.onset_days), plain(p.age), plain(if p.female { "F" } else { "M" })]);
    cells
}
