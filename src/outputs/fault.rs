//! Lets a chosen step of writing fail, in tests.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Folders watched by tests that run at the same time, each with how its steps go on.
static WATCHED: Mutex<Vec<Watched>> = Mutex::new(Vec::new());

struct Watched {
    below: PathBuf,
    /// Steps so far.
    taken: u64,
    /// The step that fails, from 1, and all after it: a full disk stays full. 0 never.
    failing: u64,
}

/// Counts the steps below a folder while it lives, and lets them fail from one on.
pub(crate) struct Faults {
    below: PathBuf,
}

impl Faults {
    /// From step `failing` (from 1) on, every step below the folder fails as if the disk were full; 0 only counts.
    pub(crate) fn below(folder: &Path, failing: u64) -> Self {
        let below = folder.to_path_buf();
        watched().push(Watched { below: below.clone(), taken: 0, failing });
        Self { below }
    }

    /// Steps taken so far.
    pub(crate) fn taken(&self) -> u64 {
        watched().iter().find(|one| one.below == self.below).map_or(0, |one| one.taken)
    }
}

impl Drop for Faults {
    fn drop(&mut self) {
        watched().retain(|one| one.below != self.below);
    }
}

/// One step at a path.
pub(super) fn step(path: &Path) -> io::Result<()> {
    for one in watched().iter_mut().filter(|one| path.starts_with(&one.below)) {
        one.taken += 1;
        if one.failing > 0 && one.taken >= one.failing {
            return Err(io::ErrorKind::StorageFull.into());
        }
    }
    Ok(())
}

fn watched() -> std::sync::MutexGuard<'static, Vec<Watched>> {
    WATCHED.lock().unwrap_or_else(PoisonError::into_inner)
}
