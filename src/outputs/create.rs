//! Files and folders of an output, made with their modes from the first byte on, whatever the umask.
//!
//! What lies in a closed folder is closed: below a folder that only its owner may open, files are made 0600 and folders
//! 0700. `restricted/` is such a folder from the start. All else follows the umask.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

/// The folder that holds what is said of patients one by one.
pub const RESTRICTED: &str = "restricted";

/// A file of an output being written.
#[derive(Debug)]
pub struct OutputFile {
    file: File,
    #[cfg(test)]
    path: std::path::PathBuf,
}

/// Makes a file that does not exist yet: two files of one name would be a fault of the program, and one of them lost.
///
/// # Errors
/// There is such a file, or it cannot be made.
pub fn create(path: &Path) -> io::Result<OutputFile> {
    step(path)?;
    let mut options = File::options();
    options.write(true).create_new(true);
    let closed = path.parent().is_some_and(is_closed);
    let file = if closed { open_closed(&mut options, path)? } else { options.open(path)? };
    Ok(OutputFile {
        file,
        #[cfg(test)]
        path: path.to_path_buf(),
    })
}

/// Makes a file with all its bytes.
///
/// # Errors
/// As [`create`]; or the disk is full.
pub fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    create(path)?.write_all(bytes)
}

/// Makes a folder with those above it that are missing.
///
/// # Errors
/// It cannot be made, or there is a file of that name.
pub fn make_folder(path: &Path) -> io::Result<()> {
    if path.is_dir() {
        return Ok(());
    }
    let above = path.parent().filter(|above| !above.as_os_str().is_empty());
    above.map_or(Ok(()), make_folder)?;
    step(path)?;
    let closed = path.file_name().is_some_and(|name| name == RESTRICTED) || above.is_some_and(is_closed);
    let made = if closed { make_closed_folder(path) } else { fs::create_dir(path) };
    match made {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists && path.is_dir() => Ok(()), // by another thread
        made => made,
    }
}

impl OutputFile {
    /// Waits until the file is on the disk.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn sync(&self) -> io::Result<()> {
        #[cfg(test)]
        step(&self.path)?;
        self.file.sync_all()
    }
}

impl Write for OutputFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        #[cfg(test)]
        step(&self.path)?;
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// A step that may fail, because the disk is full, say. Tests let the one they choose fail.
///
/// # Errors
/// Those that a test asks for.
#[inline]
pub fn step(path: &Path) -> io::Result<()> {
    #[cfg(test)]
    super::fault::step(path)?;
    let _ = path;
    Ok(())
}

#[cfg(unix)]
fn is_closed(folder: &Path) -> bool {
    use std::os::unix::fs::PermissionsExt;
    fs::metadata(folder).is_ok_and(|found| found.permissions().mode() & 0o077 == 0)
}

#[cfg(unix)]
fn open_closed(options: &mut fs::OpenOptions, path: &Path) -> io::Result<File> {
    use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
    let file = options.mode(0o600).open(path)?;
    file.set_permissions(fs::Permissions::from_mode(0o600))?; // a umask may have taken the owner's rights, too
    Ok(file)
}

/// Makes one folder that only its owner may open.
///
/// # Errors
/// It cannot be made.
#[cfg(unix)]
pub fn make_closed_folder(path: &Path) -> io::Result<()> {
    use std::os::unix::fs::{DirBuilderExt, PermissionsExt};
    fs::DirBuilder::new().mode(0o700).create(path)?;
    fs::set_permissions(path, fs::Permissions::from_mode(0o700))
}

#[cfg(not(unix))]
fn is_closed(_: &Path) -> bool {
    false // no modes there: a folder is as open as the one above it
}

#[cfg(not(unix))]
fn open_closed(options: &mut fs::OpenOptions, path: &Path) -> io::Result<File> {
    options.open(path)
}

/// Makes one folder.
///
/// # Errors
/// It cannot be made.
#[cfg(not(unix))]
pub fn make_closed_folder(path: &Path) -> io::Result<()> {
    fs::create_dir(path)
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    fn mode(path: &Path) -> u32 {
        fs::metadata(path).unwrap().permissions().mode() & 0o777
    }

    #[test]
    fn what_is_of_patients_is_closed_all_the_way_down_and_the_rest_follows_the_umask() {
        let scratch = tempfile::tempdir().unwrap();
        let out = scratch.path().join("out");
        fs::create_dir(&out).unwrap();
        fs::set_permissions(&out, fs::Permissions::from_mode(0o755)).unwrap();
        make_folder(&out.join("restricted/patients")).unwrap();
        make_folder(&out.join("tables")).unwrap();
        for file in ["restricted/a.csv", "restricted/patients/b.html", "tables/c.csv"] {
            write(&out.join(file), b"x").unwrap();
        }
        assert_eq!((mode(&out.join("restricted")), mode(&out.join("restricted/patients"))), (0o700, 0o700));
        assert_eq!(
            (mode(&out.join("restricted/a.csv")), mode(&out.join("restricted/patients/b.html"))),
            (0o600, 0o600)
        );
        let plain = scratch.path().join("plain");
        fs::write(&plain, "x").unwrap();
        assert!(mode(&plain) == 0o600 || mode(&out.join("tables/c.csv")) == mode(&plain));
    }

    #[test]
    fn no_file_is_written_over() {
        let scratch = tempfile::tempdir().unwrap();
        let path = scratch.path().join("a.csv");
        write(&path, b"first").unwrap();
        assert_eq!(create(&path).unwrap_err().kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).unwrap(), b"first");
    }
}
