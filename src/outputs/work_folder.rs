//! A closed folder beside an output, in which it is written: nobody but its owner can look into it, whatever the umask.
//!
//! It holds a file that is locked while the run lives, so what a killed run left behind is recognised: its lock is
//! nobody's. A run removes what was left by earlier ones that wrote the same output, and names the others.

use super::create::step;
use std::ffi::{OsStr, OsString};
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The locked file.
const LOCK: &str = ".lock";
/// What held the lock in folders of earlier versions.
const EARLIER_LOCK: &str = ".mendcurve";
const LOCK_TEXT: &str = "A run of mendcurve writes in this folder. When no run is going on, it can be removed.\n";
/// Where a previous output stands for the moment between two renames, on systems that cannot exchange two folders in one step.
pub const PREVIOUS: &str = "previous";
/// Stands in the name of each such folder: `.NAME.writing-xxxxxx`.
const WRITING: &str = ".writing-";
const RANDOM: usize = 6;
/// A run needs far less from making the folder to locking it.
const STARTED_BY_THEN: Duration = Duration::from_secs(60);

/// The folder. Dropped, it disappears with all that is in it.
#[derive(Debug)]
pub struct WorkFolder {
    path: PathBuf,
    _lock: File,
}

/// What killed runs left beside an output.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct Leftovers {
    /// Removed now.
    pub removed: Vec<PathBuf>,
    /// Still there: of another output, or they cannot be removed.
    pub remaining: Vec<PathBuf>,
}

impl WorkFolder {
    /// A new one beside `out`.
    ///
    /// # Errors
    /// The folder above `out` cannot be written.
    pub fn beside(out: &Path) -> io::Result<Self> {
        let above = above(out);
        step(above)?;
        let mut builder = tempfile::Builder::new();
        let prefix = prefix(out.file_name().unwrap_or_default());
        builder.prefix(&prefix).rand_bytes(RANDOM);
        #[cfg(unix)]
        let closed = {
            use std::os::unix::fs::PermissionsExt;
            fs::Permissions::from_mode(0o700)
        };
        #[cfg(unix)]
        builder.permissions(closed.clone());
        let folder = builder.tempdir_in(above)?;
        #[cfg(unix)]
        fs::set_permissions(folder.path(), closed)?; // a umask may have taken the owner's rights, too
        let lock = locked(folder.path())?;
        Ok(Self { path: folder.keep(), _lock: lock })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Removes it with all that is in it.
    ///
    /// # Errors
    /// Something in it cannot be removed.
    pub fn remove(self) -> io::Result<()> {
        remove(&self.path)
    }
}

impl Drop for WorkFolder {
    fn drop(&mut self) {
        let _ = remove(&self.path); // what stays is found by the next run
    }
}

/// The folder above a path.
pub fn above(path: &Path) -> &Path {
    match path.parent() {
        Some(above) if !above.as_os_str().is_empty() => above,
        _ => Path::new("."),
    }
}

/// Removes what killed runs left of the same output, and finds what they left of others beside it.
pub fn clear_leftovers(out: &Path) -> Leftovers {
    let mut found = Leftovers::default();
    let Ok(entries) = fs::read_dir(above(out)) else {
        return found;
    };
    let mut paths: Vec<PathBuf> = entries.flatten().filter(is_folder).map(|e| e.path()).collect();
    paths.sort();
    for path in paths {
        let Some(output) = output_of(&path) else { continue };
        let Some(lock) = left_behind(&path) else { continue };
        let own = out.file_name() == Some(&output);
        if own && lock.is_some() && put_back(&path, &path.with_file_name(&output)).and_then(|()| remove(&path)).is_ok()
        {
            found.removed.push(path);
        } else if own && lock.is_none() && fs::remove_dir(&path).is_ok() {
            found.removed.push(path); // it was empty
        } else {
            found.remaining.push(path);
        }
    }
    found
}

fn is_folder(entry: &fs::DirEntry) -> bool {
    entry.file_type().is_ok_and(|kind| kind.is_dir())
}

fn prefix(name: &OsStr) -> OsString {
    let mut prefix = OsString::from(".");
    prefix.push(name);
    prefix.push(WRITING);
    prefix
}

/// The name of the output that a folder named `.NAME.writing-xxxxxx` was for.
fn output_of(path: &Path) -> Option<OsString> {
    let name = path.file_name()?.to_str()?;
    let (output, random) = name.strip_prefix('.')?.rsplit_once(WRITING)?;
    (random.len() == RANDOM && !output.is_empty()).then(|| output.into())
}

/// None while a run writes in the folder. Else its lock, which is held then; inside none if the run had not come so far.
fn left_behind(path: &Path) -> Option<Option<File>> {
    for name in [LOCK, EARLIER_LOCK] {
        let lock = path.join(name);
        match fs::symlink_metadata(&lock) {
            Ok(found) if found.is_file() => {
                let lock = File::open(lock).ok()?; // not another user's
                return lock.try_lock().is_ok().then_some(Some(lock));
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            _ => return None,
        }
    }
    let age = fs::metadata(path).ok()?.modified().ok()?.elapsed().unwrap_or_default();
    (age > STARTED_BY_THEN).then_some(None)
}

/// Gives a previous output its name again, if the run was killed between taking it away and putting the new one there.
fn put_back(folder: &Path, out: &Path) -> io::Result<()> {
    let previous = folder.join(PREVIOUS);
    if out.symlink_metadata().is_err() && previous.is_dir() { fs::rename(previous, out) } else { Ok(()) }
}

/// The lock gets its name only when it is held: without that it would look like a leftover.
fn locked(folder: &Path) -> io::Result<File> {
    let unnamed = folder.join(".lock.new");
    let mut lock = File::create(&unnamed)?;
    let _ = lock.try_lock(); // a file system without locks only loses the removal of leftovers
    lock.write_all(LOCK_TEXT.as_bytes())?;
    fs::rename(&unnamed, folder.join(LOCK))?;
    Ok(lock)
}

/// The lock goes last: a run that is killed while it removes is found again.
fn remove(folder: &Path) -> io::Result<()> {
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        entries => entries?,
    };
    for entry in entries {
        let entry = entry?;
        if is_folder(&entry) {
            fs::remove_dir_all(entry.path())?;
        } else if entry.file_name() != LOCK {
            fs::remove_file(entry.path())?;
        }
    }
    fs::remove_dir_all(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A run that was killed: its folder stays, its lock is let go.
    fn killed(out: &Path) -> PathBuf {
        let mut work = WorkFolder::beside(out).unwrap();
        let path = std::mem::take(&mut work.path); // nothing is left to remove
        fs::create_dir(path.join("new")).unwrap();
        fs::write(path.join("new/visits.parquet"), "patients").unwrap();
        path
    }

    #[test]
    fn the_leftovers_of_the_same_output_go_and_those_of_another_are_named() {
        let scratch = tempfile::tempdir().unwrap();
        let [out, other] = ["report", "other"].map(|name| scratch.path().join(name));
        let (own, of_other) = (killed(&out), killed(&other));
        let living = WorkFolder::beside(&out).unwrap();
        assert_eq!(clear_leftovers(&out), Leftovers { removed: vec![own.clone()], remaining: vec![of_other.clone()] });
        assert!(!own.exists() && of_other.exists() && living.path().exists());
        assert_eq!(clear_leftovers(&other).removed, [of_other]);
        assert_eq!(clear_leftovers(&out), Leftovers::default());
    }

    #[test]
    fn a_name_that_only_looks_alike_is_left_alone() {
        let scratch = tempfile::tempdir().unwrap();
        let out = scratch.path().join("report");
        for name in [".report.writing-", "report.writing-abcdef", ".report.writing-abc", ".writing-abcdef"] {
            fs::create_dir(scratch.path().join(name)).unwrap();
        }
        fs::write(scratch.path().join(".report.writing-ABCDEF"), "a file").unwrap();
        fs::create_dir(scratch.path().join(".report.writing-abcdef")).unwrap(); // a run about to lock it
        assert_eq!(clear_leftovers(&out), Leftovers::default());
        assert_eq!(fs::read_dir(scratch.path()).unwrap().count(), 6);
    }

    #[test]
    fn a_previous_output_that_was_taken_away_gets_its_name_again() {
        let scratch = tempfile::tempdir().unwrap();
        let out = scratch.path().join("report");
        let left = killed(&out);
        fs::create_dir(left.join(PREVIOUS)).unwrap();
        fs::write(left.join(PREVIOUS).join("index.html"), "the only whole one").unwrap();
        assert_eq!(clear_leftovers(&out).removed, [left]);
        assert_eq!(fs::read_to_string(out.join("index.html")).unwrap(), "the only whole one");
    }

    #[cfg(unix)]
    #[test]
    fn nobody_else_can_look_into_it() {
        use std::os::unix::fs::PermissionsExt;
        let scratch = tempfile::tempdir().unwrap();
        let work = WorkFolder::beside(&scratch.path().join("report")).unwrap();
        assert_eq!(fs::metadata(work.path()).unwrap().permissions().mode() & 0o777, 0o700);
        work.remove().unwrap();
        assert_eq!(fs::read_dir(scratch.path()).unwrap().count(), 0);
    }
}
