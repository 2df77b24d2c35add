//! Replaces an output folder as a whole: write beside it, flush to disk, change places.
//!
//! A run writes into a closed folder beside OUT. Only a finished output takes the place of OUT, so a reader
//! sees the previous one or the new one, never half of each, and a run that fails changes nothing.
//! Where the system can exchange two folders in one step (Linux, macOS) OUT is never absent either;
//! elsewhere it is for the moment between two renames.
//!
//! Nothing of anyone else's is replaced: an output carries a list of its files with their hashes, and a file that is
//! not in it, or was changed since, stops the run or moves along.

use crate::error::{Problem, Spot};
use crate::outputs::create::{RESTRICTED, make_folder, step};
use crate::outputs::marker::{self, Foreign, Heading, Unmarked};
use crate::outputs::work_folder::{Leftovers, PREVIOUS, WorkFolder, above, clear_leftovers};
use std::ffi::OsString;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// What is published.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Output {
    /// A report.
    Report,
    /// The invented group.
    Sample,
}

/// What happens to files in OUT that are not the program's own, or were changed since it wrote them.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub enum ForeignFiles {
    /// They are named, and OUT is not replaced.
    #[default]
    Refuse,
    /// They stand in the new output as well, under the same name where that is free.
    Keep,
}

const REPORT: Heading = "A report of mendcurve. The next run replaces this folder as a whole, unless it holds other files than those \
    listed here.";
const SAMPLE: Heading = "An invented group of mendcurve. `mendcurve sample` replaces this folder as a whole, unless it holds other \
    files than those listed here.";
const REJECTED: Heading = "Rejected rows only: a run of mendcurve that ended without a report. The next run replaces this folder, unless \
    it holds other files than those listed here.";

/// Files that are flushed at a time: they wait for the disk, not for the processor.
const SIDE_BY_SIDE: usize = 16;

/// Foreign files that are named; of more, how many.
const NAMED: usize = 8;

/// What a run that rejected too many rows leaves behind.
const KEPT_WITHOUT_REPORT: [&str; 3] =
    ["restricted/rejected_rows.csv", "restricted/columns.csv", "tables/reconciliation.csv"];

impl Output {
    /// What the folder may hold now: an output of this kind.
    fn replaces(self) -> &'static [Heading] {
        match self {
            Self::Report => &[REPORT, REJECTED],
            Self::Sample => &[SAMPLE],
        }
    }

    fn heading(self) -> Heading {
        match self {
            Self::Report => REPORT,
            Self::Sample => SAMPLE,
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Report => "report",
            Self::Sample => "sample",
        }
    }

    /// How another folder is named.
    fn elsewhere(self) -> &'static str {
        match self {
            Self::Report => "name another folder with --out",
            Self::Sample => "name a new folder",
        }
    }
}

/// An output folder being written. Dropped unfinished, it disappears and the previous output stays.
#[derive(Debug)]
pub struct Publication {
    what: Output,
    out: PathBuf,
    foreign: ForeignFiles,
    work: WorkFolder,
    new: PathBuf,
    left_behind: Leftovers,
}

impl Publication {
    /// Starts writing what is to become `out`; missing parents are made. A link is followed, and stays.
    ///
    /// # Errors
    /// `out` is a file, a link to nothing, or a folder that holds something else; its parent cannot be written.
    pub fn begin(out: &Path, what: Output, foreign: ForeignFiles) -> Result<Self, Problem> {
        let cannot_write = |path: &Path, error: &io::Error| unusable(path, error, what);
        let out = resolve(out, what)?;
        foreign_files(&out, what, foreign)?;
        let left_behind = clear_leftovers(&out);
        let work = WorkFolder::beside(&out).map_err(|error| cannot_write(above(&out), &error))?;
        let new = work.path().join("new");
        fs::create_dir(&new).map_err(|error| cannot_write(above(&out), &error))?;
        Ok(Self { what, out, foreign, work, new, left_behind })
    }

    /// The folder to write into.
    pub fn path(&self) -> &Path {
        &self.new
    }

    /// What earlier runs that were killed had left beside `out`.
    pub fn left_behind(&self) -> &Leftovers {
        &self.left_behind
    }

    /// Puts the folder in the place of OUT, once all of it is on the disk, and removes the previous output,
    /// with the rejected rows of an earlier failed run beside it. Returns those, if they cannot be removed whole because
    /// something else lies among them.
    ///
    /// # Errors
    /// The disk is full or gone, or someone put a file into OUT: OUT is untouched. Or the previous output cannot be removed:
    /// the message says where it is.
    pub fn finish(self) -> Result<Option<PathBuf>, Problem> {
        let (what, out) = (self.what, self.out.clone());
        self.put_in_place_of(&out, what.heading())?;
        let rejected = rejected_beside(&out);
        if what != Output::Report || !marker::is_headed(&rejected, REJECTED) {
            return Ok(None);
        }
        if marker::foreign(&rejected, &[REJECTED]) != Ok(Vec::new()) {
            return Ok(Some(rejected));
        }
        fs::remove_dir_all(&rejected).map(|()| None).map_err(|error| Problem::io(&rejected, &error))
    }

    /// Ends a run that rejected too many rows: keeps only `restricted/rejected_rows.csv` and
    /// `tables/reconciliation.csv`, in OUT when there is no report in OUT, else in `OUT.rejected` beside it,
    /// so that the previous report stays. Returns where they are.
    ///
    /// # Errors
    /// As [`Self::finish`]; also when `OUT.rejected` is a folder of someone else's.
    pub fn finish_partial(self) -> Result<PathBuf, Problem> {
        let holds_report = !is_vacant(&self.out) && !marker::is_headed(&self.out, REJECTED);
        let target = if holds_report { rejected_beside(&self.out) } else { self.out.clone() };
        keep_only_rejected(&self.new, &self.new).map_err(|error| Problem::io(&self.new, &error))?;
        self.put_in_place_of(&target, REJECTED)?;
        Ok(target)
    }

    fn put_in_place_of(self, target: &Path, heading: Heading) -> Result<(), Problem> {
        let new = self.new.as_path();
        let mut foreign = foreign_files(target, self.what, self.foreign)?; // again: the run took a while
        foreign.sort_by_key(|one| one.is_changed); // a changed file needs another name: those that have theirs come first
        marker::mark(new, heading)
            .and_then(|()| foreign.iter().try_for_each(|one| take_along(&target.join(&one.path), &new.join(&one.path))))
            .and_then(|()| inherit_mode(new, target))
            .and_then(|()| sync_tree(new))
            .map_err(|error| Problem::io(target, &error))?;
        change_places(new, target, &self.work.path().join(PREVIOUS))
            .and_then(|()| sync_folder(above(target)))
            .map_err(|error| unusable(target, &error, self.what))?;
        let previous = self.work.path().to_path_buf();
        self.work.remove().map_err(|error| {
            Problem::io(&previous, &error).hint(
                "the new output is in place; the previous one is left here: remove it, it may hold rows of patients",
            )
        })
    }
}

/// The output cannot be written where it was asked for: a fault of the argument, unless the disk is full.
fn unusable(path: &Path, error: &io::Error, what: Output) -> Problem {
    Problem::path(path, error).or_name(what.elsewhere())
}

/// The folder to replace, with links followed and parents made.
fn resolve(out: &Path, what: Output) -> Result<PathBuf, Problem> {
    let usable = |path: PathBuf| match path.file_name() {
        Some(_) => Ok(path),
        None => Err(Problem::input("the output needs a folder of its own").at(Spot::file(out)).hint(what.elsewhere())),
    };
    match fs::symlink_metadata(out) {
        Ok(found) => {
            let whole = out.canonicalize().map_err(|error| match error.kind() {
                io::ErrorKind::NotFound if found.is_symlink() => {
                    Problem::input("the link leads nowhere").at(Spot::file(out)).hint(what.elsewhere())
                }
                _ => unusable(out, &error, what),
            })?;
            usable(whole)
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            let named = usable(out.to_path_buf())?;
            let parent = above(&named);
            fs::create_dir_all(parent).map_err(|error| unusable(parent, &error, what))?;
            let parent = parent.canonicalize().map_err(|error| unusable(parent, &error, what))?;
            Ok(parent.join(named.file_name().unwrap_or_default()))
        }
        Err(error) => Err(unusable(out, &error, what)),
    }
}

fn rejected_beside(out: &Path) -> PathBuf {
    let mut name = OsString::from(out.file_name().unwrap_or_default());
    name.push(".rejected");
    out.with_file_name(name)
}

/// Absent, or an empty folder.
fn is_vacant(path: &Path) -> bool {
    match fs::read_dir(path) {
        Ok(mut entries) => entries.next().is_none(),
        Err(error) => error.kind() == io::ErrorKind::NotFound,
    }
}

/// The files in `target` that are to be taken along; none where there is nothing to replace.
///
/// # Errors
/// `target` is not an output of this kind, or holds foreign files that are not to be kept.
fn foreign_files(target: &Path, what: Output, foreign: ForeignFiles) -> Result<Vec<Foreign>, Problem> {
    if is_vacant(target) {
        return Ok(Vec::new());
    }
    let name = what.name();
    let refuse = |why: String, remedy: String| Err(Problem::input(why).at(Spot::file(target)).hint(remedy));
    if !target.is_dir() {
        return refuse("there is a file of that name, so it is not replaced".into(), what.elsewhere().into());
    }
    let or_remove = || format!("{}, or rename or remove this one and run again", what.elsewhere());
    match marker::foreign(target, what.replaces()) {
        Ok(found) if found.is_empty() || foreign == ForeignFiles::Keep => Ok(found),
        Ok(found) => refuse(
            format!("the folder holds what is not the {name}'s own, so it is not replaced: {}", named(&found)),
            match what {
                Output::Report => {
                    "move that elsewhere and run again, or add --keep-foreign-files to have it moved along with the new \
                     report"
                        .into()
                }
                Output::Sample => or_remove(),
            },
        ),
        Err(Unmarked::NotOurs) => refuse(
            format!("the folder is not empty and no {name} of ours, so it is not replaced"),
            format!("{}, or empty this one", what.elsewhere()),
        ),
        Err(Unmarked::Earlier) => refuse(
            "this report was written by an earlier version, which kept no list of its files; what is yours in it cannot be \
             told, so it is not replaced"
                .into(),
            or_remove(),
        ),
        Err(Unmarked::Damaged) => refuse(
            format!("the list of the {name}'s files was changed, so what is yours among them cannot be told"),
            or_remove(),
        ),
    }
}

/// Foreign files for a message. Below a folder of `restricted/` a name may be a patient's key: there they are counted only.
fn named(found: &[Foreign]) -> String {
    let mut words: Vec<(String, usize)> = Vec::new();
    for one in found {
        let folder =
            one.path.parent().filter(|folder| folder.starts_with(RESTRICTED) && *folder != Path::new(RESTRICTED));
        let name = match folder {
            Some(folder) => format!("in {}", folder.display()),
            None if one.is_changed => format!("{} (changed since it was written)", one.path.display()),
            None => one.path.display().to_string(),
        };
        match words.iter_mut().find(|(known, _)| *known == name) {
            Some((_, count)) => *count += 1,
            None => words.push((name, 1)),
        }
    }
    let more = words.len().saturating_sub(NAMED);
    let told = words.into_iter().take(NAMED).map(|(name, count)| match name.strip_prefix("in ") {
        Some(folder) => format!("{count} {} in {folder}", if count == 1 { "file" } else { "files" }),
        None => name,
    });
    let mut told: Vec<String> = told.collect();
    if more > 0 {
        told.push(format!("and {more} more"));
    }
    told.join(", ")
}

/// Gives a foreign file a place in the new output: its own where that is free, else one beside it.
fn take_along(from: &Path, to: &Path) -> io::Result<()> {
    let mut place = to.to_path_buf();
    let mut number = 1;
    while place.symlink_metadata().is_ok() {
        let mut name = OsString::from(to.file_name().unwrap_or_default());
        name.push(if number == 1 { ".kept".to_owned() } else { format!(".kept-{number}") });
        place = to.with_file_name(name);
        number += 1;
    }
    make_folder(above(&place))?;
    step(&place)?;
    if fs::hard_link(from, &place).is_ok() {
        return Ok(()); // both names until the previous output is removed
    }
    fs::copy(from, &place).map(drop)
}

/// Removes everything below `folder` but the kept files and the folders that hold them.
fn keep_only_rejected(root: &Path, folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let within = path.strip_prefix(root).unwrap_or(&path);
        if path.is_dir() && KEPT_WITHOUT_REPORT.iter().any(|kept| Path::new(kept).starts_with(within)) {
            keep_only_rejected(root, &path)?;
        } else if path.is_dir() {
            fs::remove_dir_all(&path)?;
        } else if !KEPT_WITHOUT_REPORT.iter().any(|kept| Path::new(kept) == within) {
            fs::remove_file(&path)?;
        }
    }
    Ok(())
}

/// Who may look into the output is for the group to say: what was set on the previous one is kept. `restricted/` is always the
/// owner's alone.
#[cfg(unix)]
fn inherit_mode(new: &Path, previous: &Path) -> io::Result<()> {
    match fs::metadata(previous) {
        Ok(found) => fs::set_permissions(new, found.permissions()),
        Err(_) => Ok(()),
    }
}

#[cfg(not(unix))]
fn inherit_mode(_: &Path, _: &Path) -> io::Result<()> {
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
            .map(|files| scope.spawn(|| files.iter().try_for_each(|file| sync_file(file))))
            .collect();
        let stopped = || Err(io::Error::other("the flushing of the files stopped"));
        waiting.into_iter().try_for_each(|thread| thread.join().unwrap_or_else(|_| stopped()))
    })?;
    // a folder's names after what they name
    folders.iter().rev().try_for_each(|folder| sync_folder(folder))
}

fn sync_file(path: &Path) -> io::Result<()> {
    step(path)?;
    File::open(path)?.sync_all()
}

/// The files below a folder, and the folders with it first, each before those in it.
fn below(folder: &Path, files: &mut Vec<PathBuf>, folders: &mut Vec<PathBuf>) -> io::Result<()> {
    folders.push(folder.to_path_buf());
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let kind = entry.file_type()?;
        if kind.is_dir() {
            below(&entry.path(), files, folders)?;
        } else if kind.is_file() {
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

/// Gives `new` the name `target`, and the previous folder of that name, if any, that of `new` or `aside`.
fn change_places(new: &Path, target: &Path, aside: &Path) -> io::Result<()> {
    step(target)?;
    if is_vacant(target) {
        // Renaming over an empty folder is one step on Unix; elsewhere it has to go first.
        if cfg!(not(unix)) && target.exists() {
            fs::remove_dir(target)?;
        }
        return fs::rename(new, target);
    }
    if exchange(new, target).is_ok() {
        return Ok(());
    }
    fs::rename(target, aside)?;
    fs::rename(new, target).or_else(|error| fs::rename(aside, target).and(Err(error)))
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
