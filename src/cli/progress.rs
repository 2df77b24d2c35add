//! What a run shows of its stages: while it works the name of the stage, how far it is and the time left; afterwards, if
//! asked, how long each took.

use indicatif::{ProgressBar, ProgressStyle};
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
    /// Time on processors, of all threads together; where the system tells.
    processors: Option<Duration>,
    /// The most memory that the program had held when the stage ended, MiB; where the system tells.
    peak_mib: Option<u64>,
}

/// The stages of a run, one after another.
#[derive(Debug)]
pub struct Stages {
    quiet: bool,
    timings: bool,
    done: RefCell<Vec<Done>>,
}

impl Stages {
    /// None yet; without a bar when quiet, or when the standard error is no terminal.
    pub fn new(quiet: bool) -> Self {
        Self { quiet, timings: false, done: RefCell::default() }
    }

    /// The same, with a line on the standard error for each stage as it ends, if asked.
    pub fn with_timings(self, timings: bool) -> Self {
        Self { timings, ..self }
    }

    /// Runs a stage under its name. A stage that can count its work tells it, and its bar then has an end.
    pub fn run<T>(&self, name: &'static str, work: impl FnOnce(Tell<'_>) -> T) -> T {
        let bar = self.bar(name);
        let (counted, started, before) = (Once::new(), Instant::now(), on_processors());
        let result = work(&|pieces, of| {
            counted.call_once(|| {
                bar.set_style(style("{elapsed:>4} {msg} {wide_bar} {percent:>3} %, {eta} left"));
                bar.set_length(of);
            });
            bar.inc(pieces);
        });
        bar.finish_and_clear();
        let processors = on_processors().zip(before).map(|(now, before)| now.saturating_sub(before));
        let done = Done { name, took: started.elapsed(), processors, peak_mib: peak_mib() };
        self.done.borrow_mut().push(done);
        if self.timings {
            eprint!("{}", done.line());
        }
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

    /// The whole, as a last line.
    pub fn total(&self) -> String {
        let done = self.done.borrow();
        let took = done.iter().map(|stage| stage.took).sum();
        let processors = done.iter().map(|stage| stage.processors).sum();
        Done { name: "all stages", took, processors, peak_mib: peak_mib() }.line()
    }
}

impl Done {
    fn line(self) -> String {
        let processors =
            self.processors.map_or(String::new(), |time| format!("  processors {:>8.2} s", time.as_secs_f64()));
        let memory = self.peak_mib.map_or(String::new(), |mib| format!("  peak {mib:>6} MiB"));
        format!("{:<36} {:>8.2} s{processors}{memory}\n", self.name, self.took.as_secs_f64())
    }
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_spinner())
}

/// The time that the program has had on processors, as Linux tells it, in hundredths of a second.
fn on_processors() -> Option<Duration> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // the name, in brackets, may hold spaces; user and system time are the 12th and 13th field after it
    let after_name = stat.rsplit_once(')')?.1;
    let ticks: Vec<u64> = after_name.split_whitespace().skip(11).take(2).filter_map(|t| t.parse().ok()).collect();
    (ticks.len() == 2).then(|| Duration::from_millis(ticks.iter().sum::<u64>() * 10))
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
    fn the_total_is_the_sum_of_the_stages() {
        let stages = Stages::new(true);
        assert_eq!(stages.run("read", |tell| (0..3).map(|i| (tell(1, 3), i).1).sum::<u32>()), 3);
        stages.run("write", |_| std::thread::sleep(Duration::from_millis(20)));
        let of = |name| stages.done.borrow().iter().find(|done| done.name == name).unwrap().took;
        assert!(of("write") >= Duration::from_millis(20));
        let total = format!("{:.2} s", (of("read") + of("write")).as_secs_f64());
        assert!(stages.total().starts_with("all stages") && stages.total().contains(&total), "{}", stages.total());
    }

    #[test]
    fn the_templates_of_the_bars_are_understood() {
        for template in ["{elapsed:>4} {msg}", "{elapsed:>4} {msg} {wide_bar} {percent:>3} %, {eta} left"] {
            assert!(ProgressStyle::with_template(template).is_ok(), "{template}");
        }
    }
}
