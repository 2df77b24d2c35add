//! A fuzzer of our own: groups, exports and settings are changed at random and put through the program's own steps, and what
//! comes out is held against what must always be so (`oracle.rs`).
//!
//! It is part of the library's tests, since it calls steps that no other crate sees and another test program would link
//! everything once more. A few thousand inputs run with every `cargo test`; more by
//!
//! ```text
//! MENDCURVE_FUZZ_MINUTES=60 cargo test --release --lib fuzz_for_minutes -- --ignored --nocapture
//! MENDCURVE_FUZZ_INPUT=export@six-sites@exports/eastlow.csv@12.7 cargo test --release --lib fuzz_again -- --ignored --nocapture
//! ```
//!
//! `MENDCURVE_FUZZ_FROM` is the number of the first change (0); another number tries other inputs. An input that leads to a
//! kind of outcome not seen before is changed further. Finds are printed with the name that makes them anew, and their
//! files are laid into the temporary folder.

mod corpus;
mod csv_changes;
mod guard;
mod input;
mod known;
mod mutate;
mod oracle;
mod self_check;
mod subject;
mod toml_changes;

use corpus::Corpus;
use guard::{Watch, caught, pool};
use input::{Files, Lineage, Target, next_files};
use known::Known;
use oracle::{Find, examine, same};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use std::collections::{BTreeMap, HashSet};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use subject::{Outcome, Workplace, read_across_blocks};

/// No input may take longer; generous, since other work may run beside.
const LIMIT: Duration = Duration::from_secs(300);
/// Changes on top of one another.
const LONGEST_LINEAGE: usize = 12;
/// Inputs of a target that are kept to be changed further.
const KEPT: usize = 2_000;
/// Every so many inputs of one file are tried again on other threads.
const AGAIN: u64 = 16;
/// Every so many exports are read again across the end of a block.
const ACROSS: u64 = 1_000;
/// Every so many inputs of a whole group are tried again on other threads.
const WHOLE_AGAIN: u64 = 8;

/// Share of the time that each target gets, in percent.
const SHARES: [(Target, u64); 6] = [
    (Target::Export, 45),
    (Target::Mapping, 20),
    (Target::Settings, 8),
    (Target::Inspect, 5),
    (Target::Group, 14),
    (Target::Report, 8),
];

#[derive(Default)]
struct Tally {
    inputs: u64,
    took: Duration,
    kinds: HashSet<u64>,
    kept: Vec<(Lineage, Files)>,
}

struct Fuzzer {
    corpus: Corpus,
    workplace: Workplace,
    other_threads: rayon::ThreadPool,
    watch: Watch,
    tallies: BTreeMap<Target, Tally>,
    finds: BTreeMap<String, (Find, Lineage, u64)>,
    known: Known,
    step: u64,
    draw: ChaCha8Rng,
    saved: PathBuf,
    running: std::fs::File,
    _scratch: tempfile::TempDir,
}

impl Fuzzer {
    fn new(from: u64) -> Self {
        let in_memory = Path::new("/dev/shm");
        let scratch = if in_memory.is_dir() { tempfile::tempdir_in(in_memory) } else { tempfile::tempdir() };
        let scratch = scratch.expect("a folder");
        let saved = std::env::temp_dir().join(format!("mendcurve-fuzz-{}", std::process::id()));
        std::fs::create_dir_all(&saved).expect("a folder");
        let running = std::fs::File::create(saved.join("running")).expect("a file");
        Self {
            corpus: Corpus::read(),
            workplace: Workplace::new(scratch.path()),
            other_threads: pool(3),
            watch: Watch::start(|what| {
                eprintln!("find: hang: {what}");
                std::process::exit(101);
            }),
            tallies: Target::ALL.into_iter().map(|target| (target, Tally::default())).collect(),
            finds: BTreeMap::new(),
            known: Known::read(),
            step: from,
            draw: ChaCha8Rng::seed_from_u64(from),
            saved,
            running,
            _scratch: scratch,
        }
    }

    /// Makes one more input of a target and tries it.
    fn next(&mut self, target: Target) {
        let bases = self.corpus.of(target);
        let base = bases[self.draw.next_u32() as usize % bases.len()];
        let kept = &self.tallies[&target].kept;
        let parent = if !kept.is_empty() && self.draw.next_u32().is_multiple_of(2) {
            kept[self.draw.next_u32() as usize % kept.len()].clone()
        } else {
            (Lineage { target, base: base.name.clone(), steps: Vec::new() }, base.files.clone())
        };
        let (lineage, mut files) = parent;
        let lineage = lineage.then(self.step);
        let base = self.corpus.base(target, &lineage.base).expect("a base");
        next_files(&mut files, base, self.step, &self.corpus);
        self.step += 1;
        let started = Instant::now();
        let (outcome, finds) = self.run(&lineage, &files);
        let new_kind = outcome.map(|outcome| outcome.kind());
        let replaced = self.draw.next_u32() as usize % KEPT;
        let tally = self.tallies.entry(target).or_default();
        tally.inputs += 1;
        tally.took += started.elapsed();
        if new_kind.is_some_and(|kind| tally.kinds.insert(kind)) && lineage.steps.len() < LONGEST_LINEAGE {
            let input = (lineage.clone(), files.clone());
            if tally.kept.len() < KEPT {
                tally.kept.push(input);
            } else {
                tally.kept[replaced] = input;
            }
        }
        for find in finds {
            self.note(find, &lineage, &files);
        }
    }

    /// Tries an input in every way that its target has.
    fn run(&mut self, lineage: &Lineage, files: &Files) -> (Option<Outcome>, Vec<Find>) {
        let name = lineage.to_string();
        note_running(&self.running, &name);
        self.watch.begin(name, LIMIT);
        let Self { corpus, workplace, other_threads, .. } = self;
        let count = lineage.steps.last().copied().unwrap_or(0);
        let every = if lineage.target.is_of_one_file() { AGAIN } else { WHOLE_AGAIN };
        let again = count.is_multiple_of(every);
        let across = lineage.target == Target::Export && count.is_multiple_of(ACROSS);
        workplace.in_full = again || across;
        let result = caught(|| {
            let outcome = workplace.run(lineage, files, corpus);
            let mut finds = examine(&outcome, files);
            if again {
                let other = other_threads.install(|| workplace.run(lineage, files, corpus));
                finds.extend(same(&outcome, &other, "on other threads"));
            }
            if across
                && outcome.problem.is_none()
                && let Some(across) = read_across_blocks(workplace, lineage, files, corpus)
                && across.problem.is_none()
            {
                finds.extend(same(&outcome, &across, "across the end of a block"));
            }
            (outcome, finds)
        });
        self.watch.end();
        match result {
            Ok((outcome, finds)) => (Some(outcome), finds),
            Err(message) => (None, vec![Find::new("panic", message)]),
        }
    }

    fn note(&mut self, find: Find, lineage: &Lineage, files: &Files) {
        if self.known.holds(&find) {
            return;
        }
        let number = self.finds.len();
        let entry = self.finds.entry(find.class()).or_insert_with(|| {
            println!("find {number}: {}: {}\n  {lineage}", find.kind, find.what);
            input::Folder::new(&self.saved, &format!("find-{number}")).lay(files);
            (find, lineage.clone(), 0)
        });
        entry.2 += 1;
        if lineage.steps.len() < entry.1.steps.len() {
            entry.1 = lineage.clone();
        }
    }

    /// The target that has had least of its share of the time.
    fn most_wanting(&self) -> Target {
        let had = |(target, share): &(Target, u64)| self.tallies[target].took.as_micros() as u64 * 100 / share;
        SHARES.iter().min_by_key(|share| had(share)).map_or(Target::Export, |(target, _)| *target)
    }

    fn summary(&self) -> String {
        let mut out = String::from("target      inputs  a second  kinds of outcome\n");
        for (target, tally) in &self.tallies {
            let rate = tally.inputs as f64 / tally.took.as_secs_f64().max(1e-9);
            let line = format!("{:<9} {:>8} {rate:>9.1} {:>17}\n", target.word(), tally.inputs, tally.kinds.len());
            out.push_str(&line);
        }
        let inputs: u64 = self.tallies.values().map(|tally| tally.inputs).sum();
        out.push_str(&format!("{inputs} inputs, {} kinds of find not known\n", self.finds.len()));
        for (class, (_, lineage, count)) in &self.finds {
            out.push_str(&format!("  {count:>6} x {class}\n           {lineage}\n"));
        }
        out
    }

    fn finish(self) {
        println!("{}", self.summary());
        let finds = self.finds.len();
        if finds == 0 {
            let _ = std::fs::remove_dir_all(&self.saved);
        }
        assert_eq!(finds, 0, "finds are printed above, and their files lie under {}", self.saved.display());
    }
}

/// Writes the name of the input that runs, so that one which ends the whole process can be found.
fn note_running(file: &std::fs::File, name: &str) {
    let line = format!("{name:<300}\n");
    #[cfg(unix)]
    std::os::unix::fs::FileExt::write_all_at(file, line.as_bytes(), 0).expect("a note");
    #[cfg(not(unix))]
    let _ = (file, line);
}

fn setting(name: &str) -> Option<String> {
    std::env::var(name).ok()
}

#[test]
fn a_few_thousand_inputs_hold() {
    let run = || {
        let mut fuzzer = Fuzzer::new(0);
        let counts = [1_500, 500, 60, 40, 4, 2];
        for (target, count) in Target::ALL.into_iter().zip(counts) {
            (0..count).for_each(|_| fuzzer.next(target));
        }
        fuzzer.finish();
    };
    pool(1).install(run);
}

#[test]
#[ignore = "runs for as long as asked: MENDCURVE_FUZZ_MINUTES, one by itself"]
fn fuzz_for_minutes() {
    let minutes: f64 = setting("MENDCURVE_FUZZ_MINUTES").map_or(1.0, |text| text.parse().expect("minutes"));
    let from: u64 = setting("MENDCURVE_FUZZ_FROM").map_or(0, |text| text.parse().expect("a number"));
    pool(1).install(|| {
        let (started, mut told) = (Instant::now(), Instant::now());
        let mut fuzzer = Fuzzer::new(from);
        while started.elapsed().as_secs_f64() < 60.0 * minutes {
            let target = fuzzer.most_wanting();
            fuzzer.next(target);
            if told.elapsed() > Duration::from_secs(60) {
                told = Instant::now();
                println!("after {:.0} min\n{}", started.elapsed().as_secs_f64() / 60.0, fuzzer.summary());
            }
        }
        fuzzer.finish();
    });
}

#[test]
#[ignore = "tries the input that MENDCURVE_FUZZ_INPUT names"]
fn fuzz_again() {
    let name = setting("MENDCURVE_FUZZ_INPUT").expect("MENDCURVE_FUZZ_INPUT names an input");
    pool(1).install(|| {
        let lineage = Lineage::parse(&name).expect("target@base@changes");
        let mut fuzzer = Fuzzer::new(0);
        let files = lineage.files(&fuzzer.corpus).expect("a base of the corpus");
        let (outcome, finds) = fuzzer.run(&lineage, &files);
        if let Some(problem) = outcome.and_then(|outcome| outcome.problem) {
            println!("{problem}");
        }
        input::Folder::new(&fuzzer.saved, "again").lay(&files);
        println!("its files: {}", fuzzer.saved.join("again").display());
        assert!(finds.is_empty(), "{finds:#?}");
    });
}
