//! Fennick Bridge: visits in one file and every reading in another; semicolons, everything quoted,
//! decimal commas and thousands separators; a unit column; local labels; names and notes that must
//! be dropped at the door (all invented, and looking it).

use super::follow_up::{self, Labels};
use super::{SiteRecords, VisitView, header, own_word, region, yes_no};
use crate::sample::plan::Region;
use crate::sample::setup::{NEWTONS_PER_KGF, NEWTONS_PER_LBF};
use crate::sample::sheet::{Cell, Export, ExportRow, Format, Role, Spelling, cell, decimal, maybe, plain};

const COLUMNS: &str = "Key|Name|Day|Staff|Table|Complaint|Part|Position|Angle|Pull type|Pull|Pull unit|Low pull|Hold s|Rest s|\
    Ramp s|Cycles|Session s|Weight|Weight unit|Return N|Turns|Split mm|Upper hold|Belt landmark|Belt seated|Slack cycle|\
    Level pull|Table level|Adverse|Attended|Onset|Age|Sex|Operated|Planned|Ended|Notes";

const WORDS: [&str; 2] = ["true", "false"];

const CONDITIONS: [(&str, &str); 5] = [
    ("lumbar_disc_radicular", "back with leg signs"),
    ("low_back_pain", "back only"),
    ("lumbar_stenosis", "back, worse on walking"),
    ("cervical_radiculopathy", "neck with arm signs"),
    ("neck_pain", "neck only"),
];
const INVENTED_FIRST: [&str; 6] = ["Sample", "Specimen", "Placeholder", "Example", "Mockname", "Dummy"];
const INVENTED_LAST: [&str; 5] = ["Onesuch", "Twosuch", "Threesuch", "Foursuch", "Fivesuch"];

const SPELLING: Spelling = Spelling {
    impossible_day: "31 Apr 2026",
    early_day: "11 Mar 0202",
    future_day: "10 Feb 2031",
    pain_too_high: "11",
    pains: ["3", "7"],
    percent_too_high: "120",
    pull_too_high: "10.000",
    pull_negative: "-250",
};

pub fn exports(records: &SiteRecords) -> Vec<Export> {
    let format = Format { quote_all: true, ..Format::plain(b';') };
    let labels = Labels { odi: "ODI percent", ndi: "NDI points" };
    let at_visits = records.visits.iter().flat_map(|v| {
        follow_up::scores(&v.patient.key, v.visit.date, "%d %b %Y", &v.visit.pains, v.visit.form.as_ref(), &labels)
    });
    let mut readings: Vec<ExportRow> = at_visits.collect();
    readings.extend(follow_up::rows(&records.calls, "%d %b %Y", &labels));
    vec![
        Export {
            path: "exports/fennick-bridge-visits.csv".into(),
            mapping: "fennick-bridge-visits.toml",
            site: records.site,
            treated: true,
            header: header(COLUMNS),
            rows: records.visits.iter().map(|v| ExportRow::sound(row(v))).collect(),
            format: Format { preamble: "Fennick Bridge, all visits (invented)\n\n", ..format },
            spelling: SPELLING,
        },
        Export {
            path: "exports/fennick-bridge-readings.csv".into(),
            mapping: "fennick-bridge-readings.toml",
            site: records.site,
            treated: false,
            header: header("Key|Day|Scale|Value"),
            rows: readings,
            format,
            spelling: SPELLING,
        },
    ]
}

/// A name nobody bears, the same for a patient on every row.
fn invented_name(key: &str) -> String {
    let sum: usize = key.bytes().map(usize::from).sum();
    let pick = |list: &[&'static str], i: usize| list.get(i % list.len()).copied().unwrap_or("");
    format!("{} {}", pick(&INVENTED_FIRST, sum), pick(&INVENTED_LAST, sum / 7))
}

/// Whole seconds with a point between thousands.
fn with_thousands(seconds: i64) -> String {
    if seconds < 1000 { seconds.to_string() } else { format!("{}.{:03}", seconds / 1000, seconds % 1000) }
}

fn row(v: &VisitView) -> Vec<Cell> {
    let p = v.patient;
    let comma = |value: f64, digits| decimal(value, digits, ',');
    // The first table reads newtons, the second kilogram-force for the back and pounds for the neck.
    let (unit, size, digits) = match (v.visit.table.ends_with('1'), v.condition.region) {
        (true, _) => ("N", 1.0, 0),
        (false, Region::Lumbar) => ("kgf", NEWTONS_PER_KGF, 1),
        (false, Region::Cervical) => ("lbf", NEWTONS_PER_LBF, 0),
    };
    let (mass, mass_unit) =
        if p.key.ends_with(['0', '1', '2', '3']) { (p.mass_kg / 0.453_592_37, "lb") } else { (p.mass_kg, "kg") };
    let mut cells = vec![
        cell(Role::Patient, &p.key),
        plain(invented_name(&p.key)),
        cell(Role::Day, v.visit.date.format("%d %b %Y").to_string()),
        plain(&v.visit.clinician),
        plain(&v.visit.table),
        plain(own_word(&v.condition.id, &CONDITIONS)),
        region(v.condition.region, ["back", "neck"]),
        v.of_setup(|s| cell(Role::Word, if s.prone { "prone" } else { "supine" })),
        v.of_setup(|s| plain(s.angle)),
        v.of_dose(|d| plain(if d.is_static { "static" } else { "intermittent" })),
        v.of_dose(|d| cell(Role::Pull, comma(d.peak_n / size, digits))),
        v.of_dose(|_| plain(unit)),
        v.of_dose(|d| maybe(d.low_n.map(|n| comma(n / size, digits)))),
        v.of_dose(|d| plain(with_thousands(d.hold_s))),
        v.of_dose(|d| plain(d.rest_s)),
        v.of_dose(|d| plain(d.ramp_s)),
        v.of_dose(|d| plain(d.cycles)),
        v.of_dose(|d| plain(with_thousands(d.session_min * 60))),
        plain(comma(mass, 0)),
        plain(mass_unit),
        v.of_setup(|s| maybe(s.tension_n.map(|n| comma(n, 0)))),
        v.of_setup(|s| maybe(s.turns.map(|t| comma(t, 1)))),
        v.of_setup(|s| maybe(s.gap_mm.map(|mm| comma(mm, 1)))),
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
        plain(if p.female { "f" } else { "m" }),
        yes_no(Some(p.prior_surgery), WORDS),
        plain(v.episode.planned),
        plain(v.ended()),
        plain(if v.visit.number % 5 == 3 { "invented note" } else { "" }),
    ]);
    cells
}
