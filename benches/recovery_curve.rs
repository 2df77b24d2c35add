//! The nonlinear mixed recovery curve beside R's `nlme`, on the same readings in one run.
//!
//! `cargo bench -p mendcurve-stats --bench recovery_curve` draws 1,000 subjects with 15 readings each, fits them here (median
//! of five) and with `nlme` (once, from the true values; here the start comes from the data), and prints times, ratio and
//! the log-likelihood of the model at both sets of estimates. `-- 1000 10000` takes other numbers of subjects, each fitted
//! here; `nlme` gets the first. Needs Rscript with nlme (Debian: r-cran-nlme).

use mendcurve_stats::nlme::{Curve, KnownParameters, Options, Outcome, RecoveryModel};
use mendcurve_stats::random::{standard_normal, stream};
use mendcurve_stats::series::Series;
use nalgebra::{Matrix3, Vector3};
use std::fmt::Write as _;
use std::process::Command;
use std::time::Instant;

const TIMES: [f64; 15] = [0.0, 2.0, 4.0, 7.0, 10.0, 14.0, 18.0, 23.0, 28.0, 35.0, 42.0, 50.0, 60.0, 75.0, 90.0];
const RUNS: usize = 5;

fn main() {
    let sizes: Vec<usize> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let sizes = if sizes.is_empty() { vec![1000] } else { sizes };
    for (k, subjects) in sizes.into_iter().enumerate() {
        run(subjects, k == 0);
    }
}

fn run(subjects: usize, beside_r: bool) {
    let values = readings(subjects);
    let data: Vec<Series> = values.iter().map(|v| Series { times: &TIMES, values: v, covariates: &[] }).collect();
    println!("{subjects} subjects, {} readings", subjects * TIMES.len());
    let mut seconds = Vec::new();
    let mut fitted = None;
    for _ in 0..RUNS {
        let begun = Instant::now();
        let outcome = RecoveryModel::fit(&data, Options::default()).expect("the readings make sense");
        seconds.push(begun.elapsed().as_secs_f64());
        fitted = Some(outcome);
    }
    seconds.sort_by(f64::total_cmp);
    let here = seconds[RUNS / 2];
    let Some(Outcome::Fitted(fit)) = fitted else {
        println!("  here: {fitted:?}");
        return;
    };
    println!("  here:  {here:>9.3} s  log-likelihood {:.4}  {:?}", fit.log_likelihood, fit.evidence);
    if !beside_r {
        return;
    }
    let Some(Other { seconds: nlme, beta, log_tau_sd, known, own_log_likelihood, version }) = in_r(&values) else {
        return;
    };
    let there = known.log_likelihood(&data).expect("the readings make sense");
    println!(
        "  nlme:  {nlme:>9.3} s  log-likelihood {there:.4}  (its linear approximation: {own_log_likelihood:.4}; {version})"
    );
    println!(
        "  means of baseline, plateau, log tau: true 6.5 2.5 2.9; here {:.4?}; nlme {beta:.4?}",
        fit.fixed_effects()
    );
    println!("  SD of log tau: true 0.5; here {:.4}; nlme {log_tau_sd:.4}", fit.random_covariance()[(2, 2)].sqrt());
    println!("  ratio: {:>9.1}    log-likelihood here less there {:.4}", nlme / here, fit.log_likelihood - there);
}

/// Invented courses.
fn readings(subjects: usize) -> Vec<[f64; 15]> {
    let correlation = Matrix3::new(1.0, 0.4, 0.1, 0.4, 1.0, -0.2, 0.1, -0.2, 1.0);
    let root = correlation.cholesky().expect("positive definite").l();
    let mut s = stream(1, b"recovery curve bench");
    (0..subjects)
        .map(|_| {
            let u = root * Vector3::from_fn(|_, _| standard_normal(&mut s));
            let curve = Curve { baseline: 6.5 + 1.3 * u[0], plateau: 2.5 + 1.4 * u[1], log_tau: 2.9 + 0.5 * u[2] };
            TIMES.map(|t| curve.measurement(t, 0.9, &mut s))
        })
        .collect()
}

/// What nlme found.
struct Other {
    seconds: f64,
    beta: [f64; 3],
    log_tau_sd: f64,
    known: KnownParameters,
    own_log_likelihood: f64,
    version: String,
}

fn in_r(values: &[[f64; 15]]) -> Option<Other> {
    let mut csv = String::from("subject,t,y\n");
    for (i, v) in values.iter().enumerate() {
        for (t, y) in TIMES.iter().zip(v) {
            writeln!(csv, "{i},{t},{y}").expect("a string grows");
        }
    }
    let file = std::env::temp_dir().join("recovery_curve_bench.csv");
    std::fs::write(&file, csv).expect("the temporary folder can be written");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../../benches/nlme.R");
    let output = match Command::new("Rscript").arg(script).arg(&file).output() {
        Ok(output) if output.status.success() => output,
        other => {
            println!("  nlme: no result: {other:?}");
            return None;
        }
    };
    let text = String::from_utf8_lossy(&output.stdout);
    let numbers: Vec<f64> = text.lines().filter_map(|l| l.parse().ok()).collect();
    let &[seconds, b, p, t, ref rest @ ..] = numbers.as_slice() else { return None };
    let (g, rest) = rest.split_at_checked(9)?;
    let &[sigma, own_log_likelihood] = rest else { return None };
    let known = KnownParameters::new(&[b, p, t], &Matrix3::from_row_slice(g), sigma).ok()?;
    let version = text.lines().last().unwrap_or_default().to_owned();
    Some(Other { seconds, beta: [b, p, t], log_tau_sd: g[8].sqrt(), known, own_log_likelihood, version })
}
