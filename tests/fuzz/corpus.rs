//! The corpus: small group folders that inputs start from, and folders of past finds.

use super::input::{Files, Target};
use crate::group::load::load;
use flate2::read::MultiGzDecoder;
use std::collections::HashMap;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Lines of an export that inputs of one file start from: enough for every kind of row, and quick to read.
const LINES: usize = 24;

/// A start for inputs.
pub struct Base {
    /// What is done with its inputs.
    pub target: Target,
    /// The group, and the file where one file is changed.
    pub name: String,
    /// The files as they are before any change.
    pub files: Files,
    /// Paths of the files that change.
    pub changes: Vec<String>,
    /// The export that is read, where it is one alone.
    pub export: Option<String>,
}

/// All starts.
pub struct Corpus {
    bases: Vec<Base>,
    by_name: HashMap<(Target, String), usize>,
}

/// `tests/fuzz`.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz")
}

impl Corpus {
    /// Reads the groups under `tests/fuzz/corpus`.
    pub fn read() -> Self {
        let mut bases = Vec::new();
        for (name, path) in folders(&folder().join("corpus")) {
            bases.extend(bases_of(&name, &path));
        }
        let by_name = bases.iter().enumerate().map(|(i, base)| ((base.target, base.name.clone()), i)).collect();
        Self { bases, by_name }
    }

    /// The starts of a target.
    pub fn of(&self, target: Target) -> Vec<&Base> {
        self.bases.iter().filter(|base| base.target == target).collect()
    }

    /// The start of a target and name.
    pub fn base(&self, target: Target, name: &str) -> Option<&Base> {
        self.bases.get(*self.by_name.get(&(target, name.to_owned()))?)
    }

    /// Some file of the corpus, for splices: of the kind that ends in `.toml`, or of the others.
    pub fn some_file(&self, toml: bool, draw: u32) -> Option<&[u8]> {
        let bases: Vec<&Base> = self.of(if toml { Target::Mapping } else { Target::Export });
        let base = bases.get(draw as usize % bases.len().max(1))?;
        base.files.get(base.changes.first()?).map(|bytes| bytes.as_slice())
    }
}

/// Folders in a folder, by name.
pub fn folders(path: &Path) -> Vec<(String, PathBuf)> {
    let entries = std::fs::read_dir(path).into_iter().flatten();
    let mut found: Vec<(String, PathBuf)> = entries
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.is_dir())
        .map(|path| (path.file_name().expect("a name").to_string_lossy().into_owned(), path))
        .collect();
    found.sort();
    found
}

/// Every file below a folder; none where there is no folder.
pub fn files_below_if_there(folder: &Path) -> Files {
    if folder.is_dir() { files_below(folder) } else { Files::new() }
}

/// Every file below a folder.
pub fn files_below(folder: &Path) -> Files {
    let mut files = Files::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(path) = open.pop() {
        for entry in std::fs::read_dir(&path).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                open.push(path);
                continue;
            }
            let name = path.strip_prefix(folder).expect("below").to_string_lossy().replace('\\', "/");
            files.insert(name, Arc::new(std::fs::read(&path).expect("a file")));
        }
    }
    files
}

/// A file of the corpus without its packing: a change to packed bytes mostly breaks the packing alone.
fn unpacked(bytes: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    if bytes.starts_with(&[0x1f, 0x8b]) {
        MultiGzDecoder::new(bytes).read_to_end(&mut out).expect("whole gzip");
        return out;
    }
    bytes.to_vec()
}

/// The first lines of an export, in whatever encoding: cut after a line end of one byte, or of two.
fn first_lines(bytes: &[u8]) -> Vec<u8> {
    let wide = bytes.starts_with(&[0xff, 0xfe]);
    let ends =
        bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + if wide { 2 } else { 1 });
    let end = ends.into_iter().nth(LINES).unwrap_or(bytes.len());
    bytes[..end.min(bytes.len())].to_vec()
}

fn bases_of(name: &str, path: &Path) -> Vec<Base> {
    let whole = files_below(path);
    let group = load(path).unwrap_or_else(|problem| panic!("corpus: {problem}"));
    let with = |path: &str, bytes: Vec<u8>| {
        let mut files = whole.clone();
        files.insert(path.to_owned(), Arc::new(bytes));
        files
    };
    let mut bases = Vec::new();
    for export in &group.exports {
        let mut longest: Option<(usize, String, Files)> = None;
        for file in &export.files {
            let file = file.to_string_lossy().replace('\\', "/");
            let short = with(&file, first_lines(&unpacked(&whole[&file])));
            for target in [Target::Export, Target::Inspect] {
                let name = format!("{name}@{file}");
                let (changes, export) = (vec![file.clone()], (target == Target::Export).then(|| file.clone()));
                bases.push(Base { target, name, files: short.clone(), changes, export });
            }
            let bytes = short[&file].len();
            if longest.as_ref().is_none_or(|(most, ..)| *most < bytes) {
                longest = Some((bytes, file, short));
            }
        }
        let mapping = export.mapping.path.strip_prefix(path).expect("a mapping of the group");
        let mapping = mapping.to_string_lossy().replace('\\', "/");
        let (_, file, files) = longest.expect("an export has files");
        let (name, changes) = (format!("{name}@{mapping}"), vec![mapping]);
        bases.push(Base { target: Target::Mapping, name, files, changes, export: Some(file) });
    }
    let settings = whole.keys().filter(|path| path.ends_with(".toml") && !path.starts_with("mappings/"));
    for file in settings {
        let name = format!("{name}@{file}");
        bases.push(Base {
            target: Target::Settings,
            name,
            files: whole.clone(),
            changes: vec![file.clone()],
            export: None,
        });
    }
    let (toml, exports): (Vec<String>, Vec<String>) = whole.keys().cloned().partition(|path| path.ends_with(".toml"));
    for target in [Target::Group, Target::Report] {
        // an export changes four times for once that a setting does: most changes of a setting end the run at once
        let changes: Vec<String> = exports.iter().cycle().take(4 * exports.len()).chain(&toml).cloned().collect();
        bases.push(Base { target, name: name.to_owned(), files: whole.clone(), changes, export: None });
    }
    bases
}
