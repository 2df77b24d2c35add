//! Intake of one site's CSV beside a bare Polars read of the same file, in one run.
//!
//! `cargo bench --bench intake` writes files of 1 and 10 million visits to the temporary folder
//! (0.2 and 2 GB), reads each in processes of their own, in turn, and prints medians, ratios and
//! peak memory. `cargo bench --bench intake -- 1` takes other sizes, in millions of visits.
//! Invented numbers; the same bytes each time.

use mendcurve::export::place::FileId;
use mendcurve::group::load::load;
use mendcurve::rows::read_group::read_group;
use mendcurve::visits::duplicates::visits;
use polars_io::prelude::{CsvReadOptions, SerReader};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

const GROUP: &str = r#"
name = "bench"
as_of = 2027-01-01
[[exports]]
site = "Alderwick"
files = ["visits.csv"]
mapping = "mapping.toml"
"#;

const MAPPING: &str = r#"
[file]
layout = "visit rows"
dates = "iso"
[columns]
patient = "patient"
date = "date"
clinician = "clinician"
table = "table"
region = "region"
icd10 = "codes"
position = "position"
mode = "mode"
peak_force = { column = "pull_lb", unit = "lbf" }
low_force = { column = "low_lb", unit = "lbf" }
hold = { column = "hold_s", unit = "s" }
rest = { column = "rest_s", unit = "s" }
cycles = "cycles"
session = { column = "session_min", unit = "min" }
body_mass = { column = "weight_lb", unit = "lb" }
return_tension = { column = "tension_lb", unit = "lbf" }
split_gap = { column = "gap_in", unit = "in" }
belt_landmark_ok = "belt_ok"
slack_cycle_done = "slack_done"
level_pull = "level"
attended = "came"
age = "age"
sex = "sex"
onset = "onset"
[[scores]]
measure = "pain_nrs"
of = "back"
column = "pain_back"
[[scores]]
measure = "pain_nrs"
of = "leg"
column = "pain_leg"
[[scores]]
measure = "odi"
column = "odi"
"#;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    if let [task, folder] = arguments.as_slice() {
        return child(task, Path::new(folder));
    }
    let millions: Vec<u32> = match arguments.as_slice() {
        [] => vec![1, 10],
        sizes => sizes.iter().map(|s| s.parse().expect("sizes are whole millions of visits")).collect(),
    };
    println!("visits     file MB | bare read s   MB | intake s   MB | time ratio | intake memory / file");
    for millions in millions {
        let scratch = tempfile::tempdir().expect("a temporary folder");
        let bytes = write_group(scratch.path(), millions * 1_000_000);
        let runs = if millions >= 5 { 3 } else { 5 };
        let (mut bare, mut intake) = (Vec::new(), Vec::new());
        for _ in 0..runs {
            bare.push(spawn("bare", scratch.path()));
            intake.push(spawn("intake", scratch.path()));
        }
        let ((bare_s, bare_mb), (intake_s, intake_mb)) = (median(bare), median(intake));
        let file_mb = bytes as f64 / 1e6;
        println!(
            "{:>9}  {file_mb:>7.0} | {bare_s:>11.2} {bare_mb:>4.0} | {intake_s:>8.2} {intake_mb:>4.0} | {:>10.2} | {:.2}",
            u64::from(millions) * 1_000_000,
            intake_s / bare_s,
            intake_mb / file_mb
        );
    }
}

/// Median seconds with the peak memory of the same run.
fn median(mut runs: Vec<(f64, f64)>) -> (f64, f64) {
    runs.sort_by(|a, b| a.0.total_cmp(&b.0));
    runs[runs.len() / 2]
}

fn spawn(task: &str, folder: &Path) -> (f64, f64) {
    let program = std::env::current_exe().expect("this program");
    let out = Command::new(program).arg(task).arg(folder).output().expect("a child process");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let text = String::from_utf8_lossy(&out.stdout);
    let mut numbers = text.split_whitespace().map(|n| n.parse().expect("a number"));
    (numbers.next().expect("seconds"), numbers.next().expect("megabytes"))
}

fn child(task: &str, folder: &Path) {
    let start = Instant::now();
    let rows = match task {
        "bare" => {
            let reader = CsvReadOptions::default().try_into_reader_with_file_path(Some(folder.join("visits.csv")));
            reader.and_then(|reader| reader.finish()).expect("a frame").height()
        }
        _ => {
            let group = load(folder).expect("a group");
            let mut intake = read_group(&group, &|_, _| ()).expect("rows");
            let (visits, _) = visits(intake.rows, intake.scores, &intake.names, &[false], &mut intake.ledger);
            assert!(intake.ledger.unbalanced().is_empty() && intake.files.path(FileId(0)) == "visits.csv");
            visits.rows.len()
        }
    };
    let seconds = start.elapsed().as_secs_f64();
    assert!(rows > 0);
    println!("{seconds} {}", peak_megabytes());
}

/// The most memory this process ever held, from the kernel's own account.
fn peak_megabytes() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or("0 kB");
    line.trim().trim_end_matches("kB").trim().parse::<f64>().unwrap_or(0.0) * 1024.0 / 1e6
}

fn write_group(folder: &Path, visits: u32) -> u64 {
    std::fs::write(folder.join("group.toml"), GROUP).expect("group.toml");
    std::fs::write(folder.join("mapping.toml"), MAPPING).expect("mapping.toml");
    let path: PathBuf = folder.join("visits.csv");
    let mut file = std::io::BufWriter::new(std::fs::File::create(&path).expect("visits.csv"));
    writeln!(
        file,
        "patient,date,clinician,table,region,codes,position,mode,pull_lb,low_lb,hold_s,rest_s,cycles,session_min,weight_lb,\
         tension_lb,gap_in,belt_ok,slack_done,level,came,age,sex,onset,pain_back,pain_leg,odi"
    )
    .expect("header");
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let mut below = |n: u32| random.next_u32() % n;
    let mut line = String::new();
    for visit in 0..visits {
        let (patient, number) = (visit / 12, visit % 12);
        let day = (patient % 300) + number * 3;
        let date = chrono::NaiveDate::from_ymd_opt(2025, 7, 1).expect("a day") + chrono::Days::new(u64::from(day));
        line.clear();
        writeln!(
            line,
            "{:016x},{date},C-{:02},T{},lumbar,M51.16,prone,intermittent,{}.{},{},60,20,{},{},{}.{},{}.{},0.{},yes,yes,yes,yes,{},{},persistent,{},{},{}",
            u64::from(patient).wrapping_mul(0x9e37_79b9_7f4a_7c15),
            below(6), below(4), 60 + below(40), below(10), 20 + below(10), 9 + below(5), 12 + below(8),
            140 + below(80), below(10), 38 + below(5), below(10), 20 + below(10), 20 + below(60),
            if below(2) == 0 { "female" } else { "male" }, below(11), below(11), below(50) * 2,
        )
        .expect("a line");
        file.write_all(line.as_bytes()).expect("a line");
    }
    file.flush().expect("visits.csv");
    std::fs::metadata(&path).expect("visits.csv").len()
}
