//! The marker of an output folder: which files in it are the program's own, each with the hash of its bytes.
//!
//! ```text
//! A report of mendcurve. ...
//! 9f86d0...  index.html
//! 60303a...  tables/change.csv
//! list 2c26b4...
//! ```
//!
//! The last line is the hash of all before it. A folder is replaced only when every file in it is listed and has its bytes
//! still; what is missing does no harm. `restricted/` has a marker of its own, so that no name of a file in it, which may be a
//! patient's key, stands in the part that circulates.

use super::create::{self, RESTRICTED};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// The marker's file name.
pub const MARKER: &str = ".mendcurve";
/// What the first line of a marker says: what the folder is.
pub type Heading = &'static str;

/// Before the hash in the last line.
const LIST: &str = "list ";
/// The marker of `restricted/`.
const OF_RESTRICTED: Heading = "Files of mendcurve that show patients one by one. The next run replaces this folder.";
/// The whole marker of a report, and of a run without one, in versions that kept no list.
const WITHOUT_LIST: [&str; 2] = [
    "A report of mendcurve. The next run replaces this folder as a whole: keep nothing of your own in it.\n",
    "Rejected rows only: a run of mendcurve that ended without a report. The next run replaces this folder.\n",
];

/// A file that is not as the program wrote it.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Foreign {
    /// Its path within the folder.
    pub path: PathBuf,
    /// Whether it is a file of the program's that was changed since.
    pub is_changed: bool,
}

/// Why a folder is not the program's.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unmarked {
    /// There is no marker, or it says something else.
    NotOurs,
    /// The marker is of a version that kept no list of files.
    Earlier,
    /// The list is not as it was written.
    Damaged,
}

/// Marks a folder as the program's own, with all that is in it now.
///
/// # Errors
/// A file cannot be read, or the marker cannot be written.
pub fn mark(folder: &Path, heading: Heading) -> io::Result<()> {
    let restricted = folder.join(RESTRICTED);
    if restricted.is_dir() {
        write(&restricted, OF_RESTRICTED, &files_of(&restricted, &[])?)?;
    }
    write(folder, heading, &files_of(folder, &[RESTRICTED])?)
}

/// What stands in a marked folder and is not as the program wrote it, sorted.
///
/// # Errors
/// The folder is not marked with one of the headings.
pub fn foreign(folder: &Path, headings: &[Heading]) -> Result<Vec<Foreign>, Unmarked> {
    let listed = read(folder, headings)?;
    let mut found = unlisted(folder, &[RESTRICTED], &listed);
    let restricted = folder.join(RESTRICTED);
    if is_folder(&restricted) {
        let listed = read(&restricted, &[OF_RESTRICTED]);
        let mut within = unlisted(&restricted, &[], listed.as_ref().unwrap_or(&Listed::new()));
        if listed.is_err() && restricted.join(MARKER).symlink_metadata().is_ok() {
            within.push(Foreign { path: MARKER.into(), is_changed: true }); // then nothing in the folder is known to be ours
        }
        found.extend(within.into_iter().map(|one| Foreign { path: Path::new(RESTRICTED).join(one.path), ..one }));
    } else if restricted.symlink_metadata().is_ok() {
        found.push(Foreign { path: RESTRICTED.into(), is_changed: false });
    }
    found.sort();
    Ok(found)
}

/// Whether the first line of a folder's marker is this one.
pub fn is_headed(folder: &Path, heading: Heading) -> bool {
    fs::read_to_string(folder.join(MARKER)).is_ok_and(|text| text.lines().next() == Some(heading))
}

type Listed = BTreeMap<String, String>;

fn unlisted(folder: &Path, but: &[&str], listed: &Listed) -> Vec<Foreign> {
    let judged = |path: &PathBuf| {
        let is_listed = path.to_str().and_then(|path| listed.get(&slashed(path)));
        let is_same = is_listed.is_some_and(|hash| hash_of(&folder.join(path)).is_ok_and(|now| now == *hash));
        (!is_same).then(|| Foreign { path: path.clone(), is_changed: is_listed.is_some() })
    };
    below(folder, but).par_iter().filter_map(judged).collect()
}

fn files_of(folder: &Path, but: &[&str]) -> io::Result<Listed> {
    let name = |path: &PathBuf| {
        let text = path.to_str().filter(|text| !text.contains(['\n', '\r']));
        text.map(slashed).ok_or_else(|| io::Error::other("a file of the program has a name that cannot be listed"))
    };
    below(folder, but).par_iter().map(|path| Ok((name(path)?, hash_of(&folder.join(path))?))).collect()
}

fn slashed(path: &str) -> String {
    path.replace('\\', "/")
}

/// Paths of everything but folders below a folder, relative to it, its marker and some of its own entries left out. Links are not followed.
fn below(folder: &Path, but: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![PathBuf::new()];
    while let Some(within) = folders.pop() {
        let Ok(entries) = fs::read_dir(folder.join(&within)) else {
            found.push(within); // what cannot be looked into is not known to be ours
            continue;
        };
        for entry in entries.flatten() {
            let name = entry.file_name();
            let is_left_out = within.as_os_str().is_empty() && (name == MARKER || but.iter().any(|but| name == *but));
            if is_left_out {
                continue;
            }
            let path = within.join(name);
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) { folders.push(path) } else { found.push(path) }
        }
    }
    found
}

fn is_folder(path: &Path) -> bool {
    path.symlink_metadata().is_ok_and(|found| found.is_dir())
}

/// The hash of a file's bytes; a link or a device has none.
fn hash_of(path: &Path) -> io::Result<String> {
    if !path.symlink_metadata()?.is_file() {
        return Err(io::ErrorKind::InvalidInput.into());
    }
    let mut hash = blake3::Hasher::new();
    hash.update_reader(File::open(path)?)?;
    Ok(hash.finalize().to_hex().to_string())
}

fn write(folder: &Path, heading: Heading, files: &Listed) -> io::Result<()> {
    let mut text = format!("{heading}\n");
    for (path, hash) in files {
        let _ = writeln!(text, "{hash}  {path}"); // writing to a string cannot fail
    }
    let hash = blake3::hash(text.as_bytes()).to_hex();
    let _ = writeln!(text, "{LIST}{hash}");
    create::write(&folder.join(MARKER), text.as_bytes())
}

fn read(folder: &Path, headings: &[Heading]) -> Result<Listed, Unmarked> {
    let path = folder.join(MARKER);
    if !path.symlink_metadata().is_ok_and(|found| found.is_file()) {
        return Err(Unmarked::NotOurs);
    }
    let text = fs::read_to_string(path).map_err(|_| Unmarked::NotOurs)?;
    if WITHOUT_LIST.contains(&text.as_str()) {
        return Err(Unmarked::Earlier);
    }
    let heading = text.lines().next().unwrap_or_default();
    if !headings.contains(&heading) {
        return Err(Unmarked::NotOurs);
    }
    let (list, hash) = text.rsplit_once(LIST).ok_or(Unmarked::Damaged)?;
    if hash.trim_end() != blake3::hash(list.as_bytes()).to_hex().as_str() {
        return Err(Unmarked::Damaged);
    }
    let lines = list.lines().skip(1);
    let entry = |line: &str| line.split_once("  ").map(|(hash, path)| (path.to_owned(), hash.to_owned()));
    lines.map(|line| entry(line).ok_or(Unmarked::Damaged)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADING: Heading = "A test.";

    fn marked() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for file in ["index.html", "tables/a.csv", "restricted/worklist.html", "restricted/patients/HV-1.html"] {
            let path = folder.path().join(file);
            create::make_folder(path.parent().unwrap()).unwrap();
            create::write(&path, file.as_bytes()).unwrap();
        }
        mark(folder.path(), HEADING).unwrap();
        folder
    }

    fn found(folder: &Path) -> Vec<String> {
        let name = |one: Foreign| format!("{}{}", one.path.display(), if one.is_changed { " changed" } else { "" });
        foreign(folder, &[HEADING]).unwrap().into_iter().map(name).collect()
    }

    #[test]
    fn what_was_written_is_known_and_what_came_later_is_named() {
        let folder = marked();
        assert_eq!(found(folder.path()), Vec::<String>::new());
        fs::write(folder.path().join("notes.txt"), "mine").unwrap();
        fs::write(folder.path().join("index.html"), "edited").unwrap();
        fs::write(folder.path().join("restricted/patients/HV-2.html"), "mine").unwrap();
        fs::create_dir(folder.path().join("drafts")).unwrap();
        fs::write(folder.path().join("drafts/.mendcurve"), "mine").unwrap();
        fs::remove_file(folder.path().join("tables/a.csv")).unwrap();
        let expected = ["drafts/.mendcurve", "index.html changed", "notes.txt", "restricted/patients/HV-2.html"];
        assert_eq!(found(folder.path()), expected);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_not_the_programs_wherever_it_leads() {
        let folder = marked();
        let original = folder.path().join("tables/a.csv");
        fs::rename(&original, folder.path().join("restricted/a.csv")).unwrap();
        std::os::unix::fs::symlink("../restricted/a.csv", &original).unwrap();
        std::os::unix::fs::symlink("/", folder.path().join("root")).unwrap();
        assert_eq!(found(folder.path()), ["restricted/a.csv", "root", "tables/a.csv changed"]);
    }

    #[test]
    fn no_key_of_a_patient_stands_in_the_marker_that_circulates() {
        let folder = marked();
        let text = fs::read_to_string(folder.path().join(MARKER)).unwrap();
        assert!(text.contains("index.html") && !text.contains("HV-1") && !text.contains(RESTRICTED), "{text}");
    }

    #[test]
    fn a_marker_that_is_forged_or_damaged_or_old_marks_nothing() {
        let folder = marked();
        let marker = folder.path().join(MARKER);
        let text = fs::read_to_string(&marker).unwrap();
        let read_as = |text: &str| {
            fs::write(&marker, text).unwrap();
            foreign(folder.path(), &[HEADING])
        };
        assert_eq!(read_as(""), Err(Unmarked::NotOurs));
        assert_eq!(read_as("A test.\n"), Err(Unmarked::Damaged));
        assert_eq!(read_as(&text.replace("A test.", "A report.")), Err(Unmarked::NotOurs));
        assert_eq!(read_as(&text.replace("index", "other")), Err(Unmarked::Damaged));
        assert_eq!(read_as(&text.replace("list", "note")), Err(Unmarked::Damaged));
        assert_eq!(read_as(WITHOUT_LIST[0]), Err(Unmarked::Earlier));
        assert_eq!(read_as(&text), Ok(vec![]));
        fs::write(folder.path().join("restricted").join(MARKER), "forged").unwrap();
        let expected = ["restricted/.mendcurve changed", "restricted/patients/HV-1.html", "restricted/worklist.html"];
        assert_eq!(found(folder.path()), expected);
    }

    #[test]
    fn the_same_files_are_marked_by_the_same_bytes() {
        let [a, b] = [marked(), marked()];
        assert_eq!(fs::read(a.path().join(MARKER)).unwrap(), fs::read(b.path().join(MARKER)).unwrap());
    }
}
