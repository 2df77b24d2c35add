//! The linear mixed model beside R's lme4 in one run, and by itself at growing size.
//!
//! `cargo bench -p mendcurve-stats --bench mixed_models` fits 300,000 readings of 20,000 invented subjects here and with
//! `lmer` (the same model by REML; needs R and lme4, as `apt-get install r-cran-lme4`), checks that the criteria agree to
//! 1e-6 and prints both times: here from the readings to the proven fit, in lme4 that of `lmer` alone without its checks
//! afterwards. Then it fits 10,000 to 1,000,000 subjects of 15 readings, each in a process of its own, and prints time and
//! peak memory, the readings themselves included. `-- lme4` does the first half only, `-- 1000000` only that size.

use std::fmt::Write as _;
use std::process::Command;
use std::time::Instant;

use mendcurve_stats::lmm::trajectory::{self, Options};
use mendcurve_stats::lmm::{Criterion, Outcome, Spline};
use mendcurve_stats::random::{standard_normal, stream};
use mendcurve_stats::series::Series;

const READINGS: usize = 15;
const KNOTS: [f64; 3] = [0.0, 21.0, 150.0];
const SIZES: [usize; 5] = [10_000, 30_000, 100_000, 300_000, 1_000_000];
/// Largest relative difference of the two criteria.
const AGREEMENT: f64 = 1e-6;

/// Times and values of all subjects, one after the other.
struct Invented {
    times: Vec<f64>,
    values: Vec<f64>,
}

impl Invented {
    /// Readings on days 0 to 180 or so, each subject with a level, a speed and a bend of its own.
    fn new(subjects: usize) -> Self {
        let mut s = stream(1, b"mixed models");
        let mut invented = Self { times: Vec::new(), values: Vec::new() };
        for _ in 0..subjects {
            let own = [15.0, 4.0, 3.0].map(|sd| sd * standard_normal(&mut s));
            for r in 0..READINGS {
                let day = if r == 0 { 0.0 } else { (r as f64 * 13.0 + 3.0 * standard_normal(&mut s)).max(1.0).round() };
                let x = day.ln_1p();
                let mean = 62.0 + own[0] - (7.0 - own[1]) * x + (0.1 * own[2] - 0.2) * x * x;
                invented.times.push(day);
                invented.values.push((mean + 6.0 * standard_normal(&mut s)).round());
            }
        }
        invented
    }

    /// Fits them; seconds, criterion, passes and how it ended.
    fn fit(&self) -> (f64, f64, String) {
        let from = Instant::now();
        let readings = self.times.chunks(READINGS).zip(self.values.chunks(READINGS));
        let series: Vec<Series> = readings.map(|(times, values)| Series { times, values, covariates: &[] }).collect();
        let spline = Spline::with_knots(&KNOTS).expect("ascending knots");
        let options = Options { criterion: Criterion::Reml, covariates_change_course: false };
        let outcome = trajectory::fit(&spline, &series, options).expect("finite numbers");
        let seconds = from.elapsed().as_secs_f64();
        match outcome {
            Outcome::Fitted(trajectory) => {
                let evidence = &trajectory.fit().evidence;
                let end =
                    format!("{} steps, {:.0e} standard errors from the top", evidence.iterations, evidence.distance);
                (seconds, trajectory.fit().deviance, end)
            }
            Outcome::NotFitted(why) => panic!("{why:?}"),
        }
    }
}

fn beside_lme4() {
    let invented = Invented::new(20_000);
    let mut csv = String::from("subject,t,y\n");
    for (r, (t, y)) in invented.times.iter().zip(&invented.values).enumerate() {
        writeln!(csv, "{},{t},{y}", r / READINGS).expect("writing to a string");
    }
    let file = std::env::temp_dir().join(format!("mixed-models-{}.csv", std::process::id()));
    std::fs::write(&file, csv).expect("a writable temporary folder");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../../benches/lme4.R");
    let output = Command::new("Rscript").arg(script).arg(&file).args(KNOTS.map(|k| k.to_string())).output();
    std::fs::remove_file(&file).expect("the file just written");
    let output = output.expect("Rscript");
    let text = String::from_utf8_lossy(&output.stdout);
    let words: Vec<&str> = text.split_whitespace().collect();
    let [seconds, criterion, version] = words[..] else {
        panic!("lme4 failed: {}", String::from_utf8_lossy(&output.stderr));
    };
    let (theirs, their_criterion): (f64, f64) =
        (seconds.parse().expect("seconds"), criterion.parse().expect("a criterion"));
    let mut runs: Vec<_> = (0..3).map(|_| invented.fit()).collect();
    runs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (ours, our_criterion, end) = &runs[1];
    println!("300,000 readings of 20,000 subjects, REML criterion");
    println!("  lme4 {version}: {theirs:8.3} s   {their_criterion:.6}");
    println!("  here:       {ours:8.3} s   {our_criterion:.6}   (median of 3; {end})");
    println!("  {:.1} times as fast; criteria differ by {:+.1e}", theirs / ours, our_criterion / their_criterion - 1.0);
    assert!((our_criterion / their_criterion - 1.0).abs() < AGREEMENT, "the criteria differ");
}

/// Peak memory of this process in MB, where the system tells.
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|l| l.split_whitespace().next()?.parse::<f64>().ok()).map_or(f64::NAN, |kb| kb / 1024.0)
}

fn by_itself(subjects: usize) {
    let invented = Invented::new(subjects);
    let before = peak_mb();
    let (seconds, _, end) = invented.fit();
    println!(
        "{subjects:>9} subjects {:>10} readings {seconds:8.2} s {:6.2} us a subject  peak {:6.0} MB ({before:.0} MB before the fit)  {end}",
        subjects * READINGS,
        1e6 * seconds / subjects as f64,
        peak_mb(),
    );
}

fn main() {
    // cargo itself passes --bench
    let arguments: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    match arguments.first().map(String::as_str) {
        None => {
            beside_lme4();
            let this = std::env::current_exe().expect("the path of this program");
            for size in SIZES {
                let status = Command::new(&this).arg(size.to_string()).status().expect("this program");
                assert!(status.success());
            }
        }
        Some("lme4") => beside_lme4(),
        Some(size) => by_itself(size.parse().expect("lme4, or a number of subjects")),
    }
}
