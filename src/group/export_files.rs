//! Which files an `[[exports]]` stands for.

use super::document::Node;
use super::inside::Inside;
use super::plain_text::has_control;
use crate::error::{Problem, Spot};
use std::collections::HashMap;
use std::path::{Path, PathBuf};

/// The files that earlier exports have claimed, and where.
#[derive(Default)]
pub(super) struct Claimed(HashMap<PathBuf, Spot>);

impl Claimed {
    /// The files that a list of globs matches, sorted by name and without repeats, as paths
    /// relative to the group folder.
    pub fn files(&mut self, folder: &Path, inside: &Inside, list: &Node) -> Result<Vec<PathBuf>, Problem> {
        let globs = list.list("files")?;
        if globs.is_empty() {
            return Err(list
                .problem("`files` is empty")
                .hint("list at least one file, such as \"exports/site-*.csv\""));
        }
        let mut files: Vec<PathBuf> = Vec::new();
        let mut real_paths: Vec<PathBuf> = Vec::new();
        for node in globs {
            for path in matches(folder, inside, node)? {
                let real = path.canonicalize().unwrap_or_else(|_| path.clone());
                if let Some(first) = self.0.get(&real) {
                    return Err(node
                        .problem(format!("{} already belongs to another export (at {first})", path.display()))
                        .hint("make the globs narrower, so that each file is read once"));
                }
                if !real_paths.contains(&real) {
                    real_paths.push(real.clone());
                    files.push(path.strip_prefix(folder).map_or_else(|_| path.clone(), Path::to_path_buf));
                }
            }
        }
        self.0.extend(real_paths.into_iter().map(|real| (real, list.spot.clone())));
        files.sort();
        Ok(files)
    }
}

fn matches(folder: &Path, inside: &Inside, node: &Node) -> Result<Vec<PathBuf>, Problem> {
    let pattern = node.filled_text("files")?;
    inside.check_written(node, "files", folder, pattern)?;
    // the folder's own name is no pattern, whatever characters it holds
    let whole = Path::new(&glob::Pattern::escape(&folder.to_string_lossy())).join(pattern);
    let options = glob::MatchOptions { require_literal_leading_dot: true, ..Default::default() };
    let paths = glob::glob_with(&whole.to_string_lossy(), options).map_err(|error| {
        node.problem(format!("not a glob: {}", error.msg)).hint("* stands for any text, ? for one character")
    })?;
    let mut files = Vec::new();
    for path in paths {
        let path = path.map_err(|error| Problem::path(error.path(), error.error()))?;
        if path.is_file() {
            inside.check_found(node, "files", &path)?;
            if has_control(&path.to_string_lossy()) {
                return Err(node
                    .problem(format!("the name of a file that matches `{pattern}` holds a control character"))
                    .hint("rename the file"));
            }
            files.push(path);
        }
    }
    if files.is_empty() {
        return Err(node
            .problem(format!("no file matches `{pattern}`"))
            .hint("the path is read from the group folder; * stands for any text within a folder's or file's name"));
    }
    Ok(files)
}
