//! An input: the files of a group folder, and how they came about.
//!
//! Every input is a chain of changes to a base of the corpus. Each change is drawn from a stream keyed by its number
//! alone, so that `target@base@12.7.301` names the input on every machine, whatever else was tried before it.

use super::corpus::{Base, Corpus};
use super::mutate::{SomeBytes, change};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Path within the group folder -> content.
pub type Files = BTreeMap<String, Arc<Vec<u8>>>;

/// What is done with an input.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Target {
    /// One export is changed and read.
    Export,
    /// A mapping is changed; if it still holds, its export is read through it.
    Mapping,
    /// `group.toml` or the setup standard is changed and loaded.
    Settings,
    /// An export is changed, a mapping drafted for it, and its keys replaced.
    Inspect,
    /// Any files of a whole group are changed; everything a report says is worked out.
    Group,
    /// The same, and the report is written.
    Report,
}

impl Target {
    /// Every target.
    pub const ALL: [Self; 6] = [Self::Export, Self::Mapping, Self::Settings, Self::Inspect, Self::Group, Self::Report];

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Export => "export",
            Self::Mapping => "mapping",
            Self::Settings => "settings",
            Self::Inspect => "inspect",
            Self::Group => "group",
            Self::Report => "report",
        }
    }

    /// Whether one file is changed, and not several.
    pub fn is_of_one_file(self) -> bool {
        !matches!(self, Self::Group | Self::Report)
    }
}

/// How an input came about.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Lineage {
    /// What is done with it.
    pub target: Target,
    /// The base of the corpus, by name.
    pub base: String,
    /// Numbers of the changes, in order.
    pub steps: Vec<u64>,
}

impl fmt::Display for Lineage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let steps: Vec<String> = self.steps.iter().map(u64::to_string).collect();
        write!(f, "{}@{}@{}", self.target.word(), self.base, steps.join("."))
    }
}

impl Lineage {
    /// Reads what `Display` wrote.
    pub fn parse(text: &str) -> Option<Self> {
        let (target, rest) = text.trim().split_once('@')?;
        let (base, steps) = rest.rsplit_once('@')?;
        let target = Target::ALL.into_iter().find(|known| known.word() == target)?;
        let steps = steps.split('.').filter(|step| !step.is_empty()).map(|step| step.parse().ok());
        Some(Self { target, base: base.to_owned(), steps: steps.collect::<Option<_>>()? })
    }

    /// The same with one more change.
    pub fn then(&self, step: u64) -> Self {
        let mut next = self.clone();
        next.steps.push(step);
        next
    }

    /// Makes the input anew from its base.
    pub fn files(&self, corpus: &Corpus) -> Option<Files> {
        let base = corpus.base(self.target, &self.base)?;
        let mut files = base.files.clone();
        for step in &self.steps {
            next_files(&mut files, base, *step, corpus);
        }
        Some(files)
    }
}

/// Applies the change of a number to the files that its base lets change.
pub fn next_files(files: &mut Files, base: &Base, step: u64, corpus: &Corpus) {
    let mut random = ChaCha8Rng::seed_from_u64(step);
    let changed = if base.target.is_of_one_file() { 1 } else { 1 + random.next_u32() as usize % 3 };
    for _ in 0..changed {
        let Some(path) = base.changes.get(random.next_u32() as usize % base.changes.len().max(1)) else { return };
        let Some(file) = files.get_mut(path) else { return };
        let kind = if path.ends_with(".toml") { SomeBytes::Toml } else { SomeBytes::Export };
        change(Arc::make_mut(file), kind, &mut random, corpus);
    }
}

/// A folder that holds one input after another.
pub struct Folder {
    path: PathBuf,
    laid: Files,
}

impl Folder {
    /// A new folder under `parent`.
    pub fn new(parent: &Path, name: &str) -> Self {
        let path = parent.join(name);
        std::fs::create_dir_all(&path).expect("a folder");
        Self { path, laid: Files::new() }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Makes the folder hold these files and no others; only what differs is written.
    pub fn lay(&mut self, files: &Files) {
        for path in self.laid.keys().filter(|path| !files.contains_key(*path)) {
            std::fs::remove_file(self.path.join(path)).expect("a file that goes");
        }
        for (path, bytes) in files {
            if self.laid.get(path).is_some_and(|there| Arc::ptr_eq(there, bytes)) {
                continue;
            }
            let full = self.path.join(path);
            if !self.laid.contains_key(path) {
                std::fs::create_dir_all(full.parent().expect("a parent")).expect("a folder");
            }
            std::fs::write(&full, bytes.as_slice()).expect("a file");
        }
        self.laid.clone_from(files);
    }
}
