//! Eastlow: no calendar, only days since the patient's first visit and the quarter of the row;
//! newtons and kilograms; 24 yes-or-no items; several codes a cell without dots; `-` and `999` for
//! missing; rows of another service that a filter leaves out.

use super::{PAIN_SITES, SiteRecords, VisitView, header, points, region, yes_no};
use crate::sample::plan::PainSite;
use crate::sample::scores::FormKind;
use crate::sample::sheet::{
    Cell, Encoding, Export, ExportRow, Fault, Format, Planted, Role, Spelling, cell, decimal, plain,
};
use chrono::{Datelike, NaiveDate};

const COLUMNS: &str = "service|person|episode|day|quarter|staff|table|part|codes|position|angle|pull N|low N|hold|rest|ramp|cycles|\
    minutes|mass kg|return N|turns|gap mm|upper|belt mark|belt seated|slack|level|table level|event|came|onset|age|sex|\
    surgery|claim|planned|back|leg|neck|arm|r1|r2|r3|r4|r5|r6|r7|r8|r9|r10|r11|r12|r13|r14|r15|r16|r17|r18|r19|r20|r21|r22|r23|\
    r24|ndi";

const WORDS: [&str; 2] = ["Y", "N"];

const SPELLING: Spelling = Spelling {
    impossible_day: "12.5",
    early_day: "-9999",
    future_day: "99999",
    pain_too_high: "11",
    pains: ["3", "7"],
    percent_too_high: "120",
    pull_too_high: "10000",
    pull_negative: "-250",
};

pub fn exports(records: &SiteRecords) -> Vec<Export> {
    let mut rows = Vec::new();
    for (i, view) in records.visits.iter().enumerate() {
        let sound = row(view);
        if i % 40 == 17 {
            rows.push(exercise_class(&sound));
        }
        rows.push(ExportRow::sound(sound));
    }
    vec![Export {
        path: "exports/eastlow.csv".into(),
        mapping: "eastlow.toml",
        site: records.site,
        treated: true,
        header: header(COLUMNS),
        rows,
        format: Format { encoding: Encoding::Utf8Marked, ..Format::plain(b',') },
        spelling: SPELLING,
    }]
}

/// A row of the exercise class: another service in the same export.
fn exercise_class(traction: &[Cell]) -> ExportRow {
    let of = |(i, cell): (usize, &Cell)| match i {
        0 => plain("EX"),
        1..=5 => cell.clone(),
        _ => plain(""),
    };
    let cells = traction.iter().enumerate().map(of).collect();
    ExportRow {
        planted: Some(Planted { kind: Fault::LeftOutByFilter, column: Some(0), copy_of: None }),
        ..ExportRow::sound(cells)
    }
}

fn quarter(date: NaiveDate) -> String {
    format!("{}-Q{}", date.year(), date.month0() / 3 + 1)
}

fn row(v: &VisitView) -> Vec<Cell> {
    let p = v.patient;
    let newtons = |n: f64| decimal((n / 5.0).round() * 5.0, 0, '.');
    let or_dash = |text: Option<String>| plain(text.unwrap_or_else(|| "-".into()));
    let codes: Vec<String> = v.episode.codes.iter().map(|code| code.replace('.', "")).collect();
    let mut cells = vec![
        plain("TR"),
        cell(Role::Patient, &p.key),
        plain(v.episode_no),
        cell(Role::Day, (v.visit.date - v.day_zero).num_days().to_string()),
        plain(quarter(v.visit.date)),
        plain(&v.visit.clinician),
        plain(&v.visit.table),
        region(v.condition.region, ["LS", "CS"]),
        cell(Role::Codes, codes.join(", ")),
        v.of_setup(|s| cell(Role::Word, if s.prone { "PR" } else { "SU" })),
        v.of_setup(|s| plain(s.angle)),
        v.of_dose(|d| cell(Role::Pull, newtons(d.peak_n))),
        v.of_dose(|d| or_dash(d.low_n.map(newtons))),
        v.of_dose(|d| plain(d.hold_s)),
        v.of_dose(|d| plain(d.rest_s)),
        v.of_dose(|d| plain(d.ramp_s)),
        v.of_dose(|d| plain(d.cycles)),
        v.of_dose(|d| plain(d.session_min)),
        plain(p.mass_kg),
        v.of_setup(|s| or_dash(s.tension_n.map(|n| decimal(n, 0, '.')))),
        v.of_setup(|s| or_dash(s.turns.map(|t| t.to_string()))),
        v.of_setup(|s| or_dash(s.gap_mm.map(|mm| decimal(mm, 1, '.')))),
        v.of_setup(|s| {
            plain(match s.restraint {
                "handholds" => "hand",
                "chest harness" => "chest",
                "axillary posts" => "post",
                _ => "none",
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
        plain(v.episode.onset.word().get(..3).unwrap_or("")),
        plain(p.age),
        plain(if p.female { "F" } else { "M" }),
        yes_no(Some(p.prior_surgery), WORDS),
        yes_no(Some(p.compensation), WORDS),
        plain(v.episode.planned),
    ]);
    cells.extend(PAIN_SITES.map(|site| pain(v, site)));
    match v.form(FormKind::Rmdq) {
        Some(form) => cells.extend(form.items.iter().map(|item| yes_no(item.map(|i| i == 1), WORDS))),
        None => cells.extend((0..24).map(|_| plain(""))),
    }
    cells.push(plain(v.form(FormKind::Ndi).and_then(points).map_or_else(String::new, |p| p.to_string())));
    cells
}

/// Pain as 0-10; 999 where the condition's main pain was not asked at a visit.
fn pain(v: &VisitView, site: PainSite) -> Cell {
    let asked = v.pain_number(site);
    let not_asked = v.attended() && v.condition.main_pain == site && asked.text.is_empty();
    if not_asked { plain("999") } else { asked }
}
