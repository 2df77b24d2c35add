//! Replaces an output folder as a whole: write beside it, flush to disk, change places.
//!
//! A run writes into a hidden folder beside OUT. Only a finished one takes the place of OUT, so a reader
//! sees the previous report or the new one, never half of each, and a run that fails changes nothing.
//! Where the system can exchange two folders in one step (Linux, macOS) OUT is never absent either;
//! elsewhere it is for the moment between two renames.
//!
//! A folder that a report did not write is never replaced: each output carries a marker file.
//! The marker of a folder being written is locked, so what a killed run left behind is recognised by the
//! next one and removed; it may hold rows of patients.

use crate::error::{Problem, Spot};
use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// The file that says who wrote a folder.
const MARKER: &str = ".mendcurve";
const WHOLE: &str =
    "A report of mendcurve. The next run replaces this folder as a whole: keep nothing of your own in it.\n";
const PARTIAL: &str =
    "Rejected rows only: a run of mendcurve that ended without a report. The next run replaces this folder.\n";

/// Files that are flushed at a time: they wait for the disk, not for the processor.
const SIDE_BY_SIDE: usize = 16;

/// What a run that rejected too many rows leaves behind.
const KEPT_WITHOUT_REPORT: [&str; 2] = ["restricted/rejected_rows.csv", "tables/reconciliation.csv"];

/// An output folder being written. Dropped unfinished, it disappears and the previous output stays.
#[derive(Debug)]
pub struct Publication {
    out: PathBuf,
    folder: TempDir,
    _marker: File, // locked while the run lives
}

impl Publication {
    /// Starts writing what is to become `out`; missing parents are made. A link is followed, and stays.
    ///
    /// # Errors
    /// `out` is a file, a link to nothing, or a folder that no report wrote; its parent cannot be written.
    pub fn begin(out: &Path) -> Result<Self, Problem> {
        let out = resolve(out)?;
        check_replaceable(&out)?;
        let parent = parent_of(&out);
        let prefix = beside(&out, ".", ".writing-");
        remove_leftovers(parent, &prefix);
        let cannot_write =
            |error: io::Error| Problem::io(parent, &error).hint("name a folder you may write to with --out");
        let folder = new_folder(parent, &prefix).map_err(cannot_write)?;
        let marker = write_locked_marker(folder.path()).map_err(cannot_write)?;
        Ok(Self { out, folder, _marker: marker })
    }

    /// The folder to write into.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Puts the folder in the place of OUT, once all of it is on the disk, and removes the previous output,
    /// with the rejected rows of an earlier failed run beside it.
    ///
    /// # Errors
    /// The disk is full or gone: OUT is untouched. Or the previous output cannot be removed: the message says where it is.
    pub fn finish(self) -> Result<(), Problem> {
        let rejected = rejected_beside(&self.out);
        let out = self.out.clone();
        self.put_in_place_of(&out)?;
        match fs::read(rejected.join(MARKER)) {
            Ok(_) => fs::remove_dir_all(&rejected).map_err(|error| Problem::io(&rejected, &error)),
            Err(_) => Ok(()),
        }
    }

    /// Ends a run that rejected too many rows: keeps only `restricted/rejected_rows.csv` and
    /// `tables/reconciliation.csv`, in OUT when there is no report in OUT, else in `OUT.rejected` beside it,
    /// so that the previous report stays. Returns where they are.
    ///
    /// # Errors
    /// As [`Self::finish`]; also when `OUT.rejected` is a folder of someone else's.
    pub fn finish_partial(self) -> Result<PathBuf, Problem> {
        let holds_report =
            !is_vacant(&self.out) && fs::read_to_string(self.out.join(MARKER)).is_ok_and(|text| text != PARTIAL);
        let target = if holds_report { rejected_beside(&self.out) } else { self.out.clone() };
        check_replaceable(&target)?;
        let folder = self.path();
        keep_only_rejected(folder, folder).map_err(|error| Problem::io(folder, &error))?;
        fs::write(folder.join(MARKER), PARTIAL).map_err(|error| Problem::io(folder, &error))?;
        self.put_in_place_of(&target)?;
        Ok(target)
    }

    fn put_in_place_of(self, target: &Path) -> Result<(), Problem> {
        let new = self.folder.path();
        check_replaceable(target)?; // again: the run took a while
        inherit_modes(new, target).and_then(|()| sync_tree(new)).map_err(|error| Problem::io(new, &error))?;
        let previous = change_places(new, target).map_err(|error| {
            Problem::io(target, &error).hint("the previous output is untouched; name another folder with --out")
        })?;
        let _ = self.folder.keep(); // now named `target`, or removed below
        sync_folder(parent_of(target)).map_err(|error| Problem::io(target, &error))?;
        let Some(previous) = previous else {
            return Ok(());
        };
        fs::remove_dir_all(&previous).map_err(|error| {
            Problem::io(&previous, &error)
                .hint("the new report is in place; the previous one is left here: remove it, it holds rows of patients")
        })
    }
}

/// The folder to replace, with links followed and parents made.
fn resolve(out: &Path) -> Result<PathBuf, Problem> {
    let usable = |path: PathBuf| match path.file_name() {
        Some(_) => Ok(path),
        None => Err(Problem::input("the output needs a folder of its own")
            .at(Spot::file(out))
            .hint("name a folder with --out")),
    };
    match fs::symlink_metadata(out) {
        Ok(found) => {
            let whole = out.canonicalize().map_err(|error| match error.kind() {
                io::ErrorKind::NotFound if found.is_symlink() => {
                    Problem::input("the link leads nowhere").at(Spot::file(out))
                }
                _ => Problem::io(out, &error),
            })?;
            usable(whole)
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            let named = usable(out.to_path_buf())?;
            let parent = parent_of(&named);
            let writable =
                |error: io::Error| Problem::io(parent, &error).hint("name a folder you may write to with --out");
            fs::create_dir_all(parent).map_err(writable)?;
            let parent = parent.canonicalize().map_err(writable)?;
            Ok(parent.join(named.file_name().unwrap_or_default()))
        }
        Err(error) => Err(Problem::io(out, &error)),
    }
}

fn parent_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// The name of `out` with something before and after it.
fn beside(out: &Path, before: &str, after: &str) -> OsString {
    let mut name = OsString::from(before);
    name.push(out.file_name().unwrap_or_default());
    name.push(after);
    name
}

fn rejected_beside(out: &Path) -> PathBuf {
    out.with_file_name(beside(out, "", ".rejected"))
}

/// Absent, or an empty folder.
fn is_vacant(path: &Path) -> bool {
    match fs::read_dir(path) {
        Ok(mut entries) => entries.next().is_none(),
        Err(error) => error.kind() == io::ErrorKind::NotFound,
    }
}

fn check_replaceable(out: &Path) -> Result<(), Problem> {
    if is_vacant(out) || out.join(MARKER).is_file() {
        return Ok(());
    }
    let what =
        if out.is_dir() { "the folder is not empty and no report of ours" } else { "there is a file of that name" };
    Err(Problem::input(format!("{what}, so it is not replaced"))
        .at(Spot::file(out))
        .hint("name another folder with --out, or empty this one"))
}

fn new_folder(parent: &Path, prefix: &OsString) -> io::Result<TempDir> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(prefix);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o777)); // less the umask, like any folder one makes
    }
    builder.tempdir_in(parent)
}

/// The marker gets its name only when it is locked: without a lock it would look like a leftover.
fn write_locked_marker(folder: &Path) -> io::Result<File> {
    let unnamed = folder.join(".mendcurve.new");
    let mut marker = File::create(&unnamed)?;
    let _ = marker.try_lock(); // a file system without locks only loses the removal of leftovers
    marker.write_all(WHOLE.as_bytes())?;
    fs::rename(&unnamed, folder.join(MARKER))?;
    Ok(marker)
}

/// Removes what killed runs left: folders with our prefix and a marker that nobody holds.
fn remove_leftovers(parent: &Path, prefix: &OsString) {
    let Ok(entries) = fs::read_dir(parent) else {
        return;
    };
    for entry in entries.flatten() {
        let ours = entry.file_name().as_encoded_bytes().starts_with(prefix.as_encoded_bytes());
        if ours && File::open(entry.path().join(MARKER)).is_ok_and(|marker| marker.try_lock().is_ok()) {
            let _ = fs::remove_dir_all(entry.path()); // in the way of nothing: the next run tries again
        }
    }
}

/// Removes everything below `folder` but the kept files, the marker and the folders that hold them.
fn keep_only_rejected(root: &Path, folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let within = path.strip_prefix(root).unwrap_or(&path);
        if path.is_dir() && KEPT_WITHOUT_REPORT.iter().any(|kept| Path::new(kept).starts_with(within)) {
            keep_only_rejected(root, &path)?;
        } else if path.is_dir() {
            fs::remove_dir_all(&path)?;
        } else if within != Path::new(MARKER) && !KEPT_WITHOUT_REPORT.iter().any(|kept| Path::new(kept) == within) {
            fs::remove_file(&path)?;
        }
    }
    Ok(())
}

/// Who may read the output is for the group to say: what was set on the previous output is kept.
/// At first only the owner may open `restricted/`.
#[cfg(unix)]
fn inherit_modes(new: &Path, previous: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    let former = |path: PathBuf| fs::metadata(path).ok().map(|found| found.permissions());
    if let Some(mode) = former(previous.to_path_buf()) {
        fs::set_permissions(new, mode)?;
    }
    let restricted = new.join("restricted");
    if restricted.is_dir() {
        let mode = former(previous.join("restricted")).unwrap_or_else(|| fs::Permissions::from_mode(0o700));
        fs::set_permissions(&restricted, mode)?;
    }
    Ok(())
}

#[cfg(not(unix))]
fn inherit_modes(_: &Path, _: &Path) -> io::Result<()> {
    Ok(())
}

/// Flushes every file and folder below `folder` to the disk. Many wait side by side: the disk then writes its journal once for all
/// that wait, not once for each.
fn sync_tree(folder: &Path) -> io::Result<()> {
    let (mut files, mut folders) = (Vec::new(), Vec::new());
    below(folder, &mut files, &mut folders)?;
    let share = files.len().div_ceil(SIDE_BY_SIDE).max(1);
    std::thread::scope(|scope| {
        let waiting: Vec<_> = files
            .chunks(share)
            .map(|files| scope.spawn(|| files.iter().try_for_each(|file| File::open(file)?.sync_all())))
            .collect();
        let stopped = || Err(io::Error::other("the flushing of the files stopped"));
        waiting.into_iter().try_for_each(|thread| thread.join().unwrap_or_else(|_| stopped()))
    })?;
    // a folder's names after what they name
    folders.iter().rev().try_for_each(|folder| sync_folder(folder))
}

/// The files below a folder, and the folders with it first, each before those in it.
fn below(folder: &Path, files: &mut Vec<PathBuf>, folders: &mut Vec<PathBuf>) -> io::Result<()> {
    folders.push(folder.to_path_buf());
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.path().is_dir() {
            below(&entry.path(), files, folders)?;
        } else {
            files.push(entry.path());
        }
    }
    Ok(())
}

#[cfg(unix)]
fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(()) // a folder cannot be opened as a file there
}

/// Gives `new` the name `target`. Returns where the previous folder of that name is now.
fn change_places(new: &Path, target: &Path) -> io::Result<Option<PathBuf>> {
    if is_vacant(target) {
        // Renaming over an empty folder is one step on Unix; elsewhere it has to go first.
        if cfg!(not(unix)) && target.exists() {
            fs::remove_dir(target)?;
        }
        return fs::rename(new, target).map(|()| None);
    }
    if exchange(new, target).is_ok() {
        return Ok(Some(new.to_path_buf()));
    }
    let aside = new.with_file_name(beside(new, "", ".previous"));
    fs::rename(target, &aside)?;
    match fs::rename(new, target) {
        Ok(()) => Ok(Some(aside)),
        Err(error) => {
            fs::rename(&aside, target)?;
            Err(error)
        }
    }
}

#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE).map_err(io::Error::from)
}

#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

#[cfg(test)]
#[path = "publish_tests.rs"]
mod tests;
