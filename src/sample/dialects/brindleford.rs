//! Brindleford: semicolons, decimal commas, Windows-1252, German headers, dd.mm.yyyy, kilogram-force
//! and millimetres, raw sums; one file a quarter, the two oldest compressed.

use super::{PAIN_SITES, SiteRecords, VisitView, follow_up, header, own_word, points, region, yes_no};
use crate::sample::scores::FormKind;
use crate::sample::setup::NEWTONS_PER_KGF;
use crate::sample::sheet::{Cell, Encoding, Export, ExportRow, Format, Role, Spelling, cell, decimal, maybe, plain};
use chrono::{Datelike, NaiveDate};

const COLUMNS: &str = "Patient|Datum|Nr|Behandler|Liege|Gebiet|Diagnose|Lagerung|Winkel|Zugart|Zugkraft kg|Grundzug kg|Haltezeit|\
    Pause|Rampe|Zyklen|Dauer min|Körpergewicht|Größe cm|Rückzug kg|Umdrehungen|Spaltöffnung mm|Oberkörper|Gurt auf Höhe|Gurt sitzt|\
    Leerzyklus|Zug waagrecht|Liege waagrecht|Störung|erschienen|Verlauf|Alter|Geschlecht|Voroperation|Geplant|Abschluss|\
    Schmerz Rücken|Schmerz Bein|Schmerz Nacken|Schmerz Arm|ODI Summe|NDI Summe";

const WORDS: [&str; 2] = ["ja", "nein"];

const CONDITIONS: [(&str, &str); 5] = [
    ("lumbar_disc_radicular", "Bandscheibe mit Beinschmerz"),
    ("low_back_pain", "Kreuzschmerz"),
    ("lumbar_stenosis", "Enger Wirbelkanal"),
    ("cervical_radiculopathy", "Nacken mit Armschmerz"),
    ("neck_pain", "Nackenschmerz"),
];
const ENDINGS: [(&str, &str); 5] = [
    ("completed", "abgeschlossen"),
    ("stopped early", "abgebrochen"),
    ("referred on", "überwiesen"),
    ("lost", "verloren"),
    ("ongoing", "läuft"),
];
const RESTRAINTS: [(&str, &str); 4] =
    [("handholds", "Griffe"), ("chest harness", "Brustgurt"), ("axillary posts", "Achselstützen"), ("none", "keine")];
const ONSETS: [(&str, &str); 3] = [("acute", "akut"), ("subacute", "subakut"), ("persistent", "länger")];

const SPELLING: Spelling = Spelling {
    impossible_day: "31.04.2026",
    early_day: "11.03.0202",
    future_day: "10.02.2031",
    pain_too_high: "11",
    pains: ["3", "7"],
    percent_too_high: "120",
    pull_too_high: "1020,0",
    pull_negative: "-27,5",
};

pub fn exports(records: &SiteRecords) -> Vec<Export> {
    let mut files: Vec<Export> = Vec::new();
    for view in &records.visits {
        let quarter = quarter(view.visit.date);
        let gzip = quarter.starts_with("2025");
        let path = format!("exports/brindleford-{quarter}.csv{}", if gzip { ".gz" } else { "" });
        if files.last().is_none_or(|file| file.path != path) {
            files.push(Export {
                path,
                mapping: "brindleford.toml",
                site: records.site,
                treated: true,
                header: header(COLUMNS),
                rows: vec![],
                format: Format { encoding: Encoding::Windows1252, crlf: true, gzip, ..Format::plain(b';') },
                spelling: SPELLING,
            });
        }
        if let Some(file) = files.last_mut() {
            file.rows.push(ExportRow::sound(row(view)));
        }
    }
    let labels = follow_up::Labels { odi: "ODI points", ndi: "NDI points" };
    files.push(Export {
        path: "exports/follow-up-brindleford.csv".into(),
        mapping: "follow-up-brindleford.toml",
        site: records.site,
        treated: false,
        header: header("Patient|Datum|Skala|Wert"),
        rows: follow_up::rows(&records.calls, "%d.%m.%Y", &labels),
        format: Format { encoding: Encoding::Windows1252, ..Format::plain(b';') },
        spelling: SPELLING,
    });
    files
}

fn quarter(date: NaiveDate) -> String {
    format!("{}q{}", date.year(), date.month0() / 3 + 1)
}

fn row(v: &VisitView) -> Vec<Cell> {
    let p = v.patient;
    let comma = |value: f64, digits| decimal(value, digits, ',');
    // Read off a dial with half kilograms.
    let half_kgf = |n: f64| comma((n / NEWTONS_PER_KGF * 2.0).round() / 2.0, 1);
    let mut cells = vec![
        cell(Role::Patient, &p.key),
        cell(Role::Day, v.visit.date.format("%d.%m.%Y").to_string()),
        v.number(),
        plain(&v.visit.clinician),
        plain(&v.visit.table),
        region(v.condition.region, ["LWS", "HWS"]),
        plain(own_word(&v.condition.id, &CONDITIONS)),
        v.of_setup(|s| cell(Role::Word, if s.prone { "Bauchlage" } else { "Rückenlage" })),
        v.of_setup(|s| plain(s.angle)),
        v.of_dose(|d| plain(if d.is_static { "Dauerzug" } else { "Intervall" })),
        v.of_dose(|d| cell(Role::Pull, half_kgf(d.peak_n))),
        v.of_dose(|d| maybe(d.low_n.map(half_kgf))),
        v.of_dose(|d| plain(d.hold_s)),
        v.of_dose(|d| plain(d.rest_s)),
        v.of_dose(|d| plain(d.ramp_s)),
        v.of_dose(|d| plain(d.cycles)),
        v.of_dose(|d| plain(d.session_min)),
        plain(comma(p.mass_kg, 1)),
        plain(p.height_cm),
        v.of_setup(|s| maybe(s.tension_n.map(|n| comma(n / NEWTONS_PER_KGF, 1)))),
        v.of_setup(|s| maybe(s.turns.map(|t| comma(t, 1)))),
        v.of_setup(|s| maybe(s.gap_mm.map(|mm| comma(mm, 1)))),
        v.of_setup(|s| plain(own_word(s.restraint, &RESTRAINTS))),
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
        plain(own_word(v.episode.onset.word(), &ONSETS)),
        plain(p.age),
        plain(if p.female { "w" } else { "m" }),
        yes_no(Some(p.prior_surgery), WORDS),
        plain(v.episode.planned),
        plain(own_word(v.ended(), &ENDINGS)),
    ]);
    cells.extend(PAIN_SITES.map(|site| v.pain_number(site)));
    cells.push(maybe(v.form(FormKind::Odi).and_then(points)));
    cells.push(maybe(v.form(FormKind::Ndi).and_then(points)));
    cells
}
