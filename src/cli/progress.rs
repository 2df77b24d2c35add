//! What a run shows of its stages: while it works the name of the stage, how far it is and the time left; afterwards, if
//! asked, how long each took.

use indicatif::{HumanDuration, ProgressBar, ProgressStyle};
use std::cell::RefCell;
use std::sync::Once;
use std::time::{Duration, Instant};

/// Told by a stage: pieces of work done since the last call, and pieces in all.
pub type Tell<'a> = &'a (dyn Fn(u64, u64) + Sync);

/// A stage that ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Done {
    name: &'static str,
    took: Duration,
    /// The most memory that the program had held when the stage ended, MiB; where the system tells.
    peak_mib: Option<u64>,
}

/// The stages of a run, one after another.
#[derive(Debug)]
pub struct Stages {
    quiet: bool,
    done: RefCell<Vec<Done>>,
}

impl Stages {
    /// None yet; without a bar when quiet, or when the standard error is no terminal.
    pub fn new(quiet: bool) -> Self {
        Self { quiet, done: RefCell::default() }
    }

    /// Runs a stage under its name. A stage that can count its work tells it, and its bar then has an end.
    pub fn run<T>(&self, name: &'static str, work: impl FnOnce(Tell<'_>) -> T) -> T {
        let bar = self.bar(name);
        let (counted, started) = (Once::new(), Instant::now());
        let result = work(&|pieces, of| {
            counted.call_once(|| {
                bar.set_style(style("{elapsed:>4} {msg} {wide_bar} {human_pos}/{human_len}, {eta} left"));
                bar.set_length(of);
            });
            bar.inc(pieces);
        });
        bar.finish_and_clear();
        self.done.borrow_mut().push(Done { name, took: started.elapsed(), peak_mib: peak_mib() });
        result
    }

    fn bar(&self, name: &'static str) -> ProgressBar {
        if self.quiet {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::new_spinner(); // hidden by itself when the standard error is no terminal
        bar.set_style(style("{elapsed:>4} {msg}"));
        bar.set_message(name);
        bar.enable_steady_tick(Duration::from_millis(200));
        bar
    }

    /// Each stage with its seconds, and the most memory held so far where the system tells it.
    pub fn timings(&self) -> String {
        let done = self.done.borrow();
        let total: Duration = done.iter().map(|stage| stage.took).sum();
        let mut text = String::new();
        for Done { name, took, peak_mib } in done.iter() {
            let memory = peak_mib.map_or(String::new(), |mib| format!("  peak {mib:>6} MiB"));
            text.push_str(&format!("{name:<36} {:>8.2} s{memory}\n", took.as_secs_f64()));
        }
        text.push_str(&format!("{:<36} {:>8.2} s  ({})\n", "all stages", total.as_secs_f64(), HumanDuration(total)));
        text
    }
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_spinner())
}

/// The high-water mark of the program's memory, as Linux tells it.
fn peak_mib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok()? / 1024)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_stage_is_listed_in_order_with_the_total_last() {
        let stages = Stages::new(true);
        assert_eq!(stages.run("read", |tell| (0..3).map(|i| (tell(1, 3), i).1).sum::<u32>()), 3);
        stages.run("write", |_| ());
        let timings = stages.timings();
        let names: Vec<&str> = timings.lines().filter_map(|line| line.split("  ").next()).collect();
        assert_eq!(names, ["read", "write", "all stages"], "{timings}");
    }

    #[test]
    fn the_templates_of_the_bars_are_understood() {
        for template in ["{elapsed:>4} {msg}", "{elapsed:>4} {msg} {wide_bar} {human_pos}/{human_len}, {eta} left"] {
            assert!(ProgressStyle::with_template(template).is_ok(), "{template}");
        }
    }
}
