//! What a group's settings name lies inside the group folder, unless `group.toml` says `allow_outside = true`: a folder that was
//! sent by someone else must not reach for files that it did not bring.

use super::document::Node;
use crate::error::{Problem, Spot};
use std::path::{Component, Path, PathBuf};

const REMEDY: &str = "put the file into the group folder, or write allow_outside = true in group.toml";

/// Where a group's files may lie.
pub(crate) struct Inside {
    /// The group folder as named; none where files may lie anywhere.
    folder: Option<PathBuf>,
}

impl Inside {
    /// Inside a folder.
    pub fn folder(folder: &Path) -> Self {
        Self { folder: Some(folder.to_path_buf()) }
    }

    /// Anywhere.
    pub fn anywhere() -> Self {
        Self { folder: None }
    }

    /// Refuses a path, as written in `node` and read from the folder `from`, that is absolute or climbs out. Nothing is looked up.
    ///
    /// # Errors
    /// At the node.
    pub fn check_written(&self, node: &Node, name: &str, from: &Path, written: &str) -> Result<(), Problem> {
        let Some(folder) = &self.folder else { return Ok(()) };
        let depth = from.strip_prefix(folder).map_or(0, |within| depth_of(0, within).unwrap_or(0));
        match depth_of(depth, Path::new(written)) {
            Some(_) => Ok(()),
            None => Err(node.problem(format!("`{name}` leads out of the group folder")).hint(REMEDY)),
        }
    }

    /// Refuses a file that a link leads out of the folder.
    ///
    /// # Errors
    /// At the node.
    pub fn check_found(&self, node: &Node, name: &str, path: &Path) -> Result<(), Problem> {
        match self.is_outside(path) {
            true => {
                let what =
                    format!("`{name}` names {}, and a link leads from there out of the group folder", path.display());
                Err(node.problem(what).hint(REMEDY))
            }
            false => Ok(()),
        }
    }

    /// The same for a file that is read without being named.
    ///
    /// # Errors
    /// At the file.
    pub fn check_unnamed(&self, path: &Path) -> Result<(), Problem> {
        match self.is_outside(path) {
            true => {
                Err(Problem::input("a link leads from here out of the group folder").at(Spot::file(path)).hint(REMEDY))
            }
            false => Ok(()),
        }
    }

    /// A file that cannot be found is not outside: that it is missing is said elsewhere.
    fn is_outside(&self, path: &Path) -> bool {
        let Some(folder) = &self.folder else { return false };
        match (path.canonicalize(), folder.canonicalize()) {
            (Ok(path), Ok(folder)) => !path.starts_with(folder),
            _ => false,
        }
    }
}

/// How far below the group folder a path leads that begins `depth` folders below it; none where it leaves it on the way.
fn depth_of(depth: usize, path: &Path) -> Option<usize> {
    path.components().try_fold(depth, |depth, part| match part {
        Component::Normal(_) => Some(depth + 1),
        Component::ParentDir => depth.checked_sub(1),
        Component::CurDir => Some(depth),
        Component::RootDir | Component::Prefix(_) => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_may_climb_as_far_as_the_group_folder_and_no_further() {
        let depth = |path: &str| depth_of(1, Path::new(path)); // read from a folder of mappings
        assert_eq!(depth("a.toml"), Some(2));
        assert_eq!(depth("./../shared/./a.toml"), Some(2));
        assert_eq!(depth("../../a.toml"), None);
        assert_eq!(depth("b/../../../c/d/e.toml"), None, "it comes back to another folder, maybe of the same name");
        assert_eq!(depth("/etc/a.toml"), None);
    }
}
